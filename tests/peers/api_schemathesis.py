#!/usr/bin/env python3
"""Holds every request of a depot against its OpenAPI document with schemathesis.

    python3 tests/peers/api_schemathesis.py --gritbook target/debug/gritbook [--examples 50] [--seed 1] [--max-time SECONDS]

Makes a depot with a pump, photos and people, starts it on loopback, signs in as an owner, enrols a device, and runs schemathesis
with every check, right and wrong data, and chains of requests. What its settings say of single operations, and why, stands in
`tests/peers/api/schemathesis.toml`. Ends with schemathesis's own exit status.
"""

import argparse
import http.cookiejar
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import urllib.parse
import urllib.request

HERE = pathlib.Path(__file__).resolve().parent
PHOTOS = HERE.parent.parent / "fixtures" / "photos"
PASSWORD = "gravel under the boots"


class NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_):
        return None


def sign_in(url, name):
    """The cookie of a new session."""
    cookies = http.cookiejar.CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(cookies), NoRedirect)
    page = browser.open(url + "/sign-in").read().decode()
    token = re.search(r'name="form" value="([0-9a-f]+)"', page).group(1)
    body = urllib.parse.urlencode({"name": name, "password": PASSWORD, "next": "/", "form": token}).encode()
    try:
        browser.open(url + "/sign-in", body)
    except urllib.error.HTTPError as answer:
        if answer.code != 303:
            raise
    return next(cookie.value for cookie in cookies if cookie.name == "gritbook")


def begin_upload(url, token):
    """The name of a new upload of 2000 bytes."""
    headers = {"Authorization": "Bearer " + token, "Tus-Resumable": "1.0.0", "Upload-Length": "2000"}
    request = urllib.request.Request(url + "/v1/photos", method="POST", headers=headers)
    return urllib.request.urlopen(request).headers["Location"].rsplit("/", 1)[1]


def ask(url, token):
    request = urllib.request.Request(url, headers={"Authorization": "Bearer " + token})
    return json.load(urllib.request.urlopen(request))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--gritbook", default="target/debug/gritbook")
    parser.add_argument("--examples", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--max-time", type=int)
    parser.add_argument("more", nargs="*", help="further arguments of `st run`, after --")
    arguments = parser.parse_args()
    gritbook = str(pathlib.Path(arguments.gritbook).resolve())

    def run(*command, given=None):
        return subprocess.run([gritbook, *command], check=True, input=given, capture_output=True, text=True).stdout

    with tempfile.TemporaryDirectory() as folder:
        data, book = os.path.join(folder, "depot"), os.path.join(folder, "book")
        token = json.loads(run("enroll", "--data", data, "--name", "tester", "--json"))["token"]
        for name, role in (("Olga", "owner"), ("Ines", "office")):
            run("people", "add", "--data", data, "--name", name, "--role", role, "--password-stdin", given=PASSWORD + "\n")
        depot = subprocess.Popen(
            [gritbook, "depot", "--data", data, "--listen", "127.0.0.1:0", "--requests-per-minute", "1000000"],
            stdout=subprocess.PIPE, stderr=open(os.path.join(folder, "log"), "w"), text=True,
        )
        try:
            url = depot.stdout.readline().strip().removeprefix("depot ready at ")
            for photo, total in (("demo_sand.jpg", "120"), ("demo_paste.jpg", "260")):
                run("book", book, "check", "--pump", "Otter", "--pump-m3", total, "--photo", str(PHOTOS / photo), "--grade", "A=2", "--liquid", "grey")
            run("book", book, "sync", "--depot", url, "--token", token)
            entries = ask(url + "/v1/entries", token)["entries"]
            photos = sorted({photo for entry in entries for photo in entry["body"].get("photos", [])})
            known = {
                "pumps": [pump["id"] for pump in ask(url + "/v1/pumps", token)["pumps"]],
                "entries": [entry["id"] for entry in entries],
                "readings": [entry["id"] for entry in entries if entry["body"].get("reading")],
                "photos": photos,
                "password": PASSWORD,
                "uploads": [begin_upload(url, token) for _ in range(400)],
                "session": sign_in(url, "Olga"),
                "sessions": [sign_in(url, "Ines") for _ in range(40)],
            }
            environment = {**os.environ, "GRITBOOK_TOKEN": token, "GRITBOOK_SESSION": known["session"], "GRITBOOK_KNOWN": json.dumps(known),
                           "SCHEMATHESIS_HOOKS": "hooks", "PYTHONPATH": str(HERE / "api")}
            limits = ["--max-examples", str(arguments.examples), "--seed", str(arguments.seed)]
            if arguments.max_time:
                limits += ["--max-time", str(arguments.max_time)]
            st = pathlib.Path(sys.executable).with_name("st")
            command = [str(st if st.exists() else "st"), "--config-file", str(HERE / "api" / "schemathesis.toml"),
                       "run", url + "/openapi.json", *limits, *arguments.more]
            status = subprocess.run(command, env=environment, cwd=folder).returncode
            if depot.poll() is not None:
                sys.exit("the depot ended")
            log = open(os.path.join(folder, "log")).read()
            for line in [line for line in log.splitlines() if "panicked" in line or " ERROR " in line][:20]:
                print(line)
            sys.exit(status)
        finally:
            depot.terminate()
            depot.wait()


if __name__ == "__main__":
    main()
