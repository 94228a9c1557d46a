"""What schemathesis cannot know of a depot: which ids are there, and what ties a form to its page.

Nothing here takes a check away or changes what an answer is held against.
"""

import hashlib
import itertools
import json
import os

import schemathesis

@schemathesis.serializer("application/offset+octet-stream")
def as_it_is(context, value):
    return value if isinstance(value, bytes) else str(value).encode()


KNOWN = json.loads(os.environ["GRITBOOK_KNOWN"])  # {"pumps": [...], "entries": [...], "photos": [...], ...}
# A secret of our own making for the sign-in form: the cookie and the field belong together.
FORM_SECRET = "x" * 43
calls = itertools.count()
sessions, uploads = iter(KNOWN["sessions"]), iter(KNOWN["uploads"])


def form_token(secret):
    return hashlib.sha256(f"gritbook form {secret}".encode()).hexdigest()


@schemathesis.hook
def before_call(context, case, kwargs):
    path, meta = case.operation.path, case.meta
    positive = meta is not None and meta.generation.mode.is_positive
    # Made-up ids are never there: of calls that ought to go well three in four get one that is. Stateful runs bring their own.
    if positive and case.path_parameters and meta.phase.name.name != "STATEFUL" and next(calls) % 4:
        for part, name in (("/pumps/", "id"), ("/entries/", "id"), ("/photos/", "sha256"), ("/thumbs/", "sha256")):
            if part in path and name in case.path_parameters:
                known = KNOWN["photos" if part == "/thumbs/" else part.strip("/")]
                case.path_parameters[name] = known[next(calls) % len(known)]
        if path.endswith("/window.jpg"):
            case.path_parameters["id"] = KNOWN["readings"][next(calls) % len(KNOWN["readings"])]
        if path == "/v1/photos/{id}":
            upload = next(uploads, None) if case.method in ("PATCH", "DELETE") else None
            case.path_parameters["id"] = upload or KNOWN["photos"][0]
            if upload and case.method == "PATCH":
                case.headers["Upload-Offset"] = "0"
    if positive and case.headers and case.headers.get("Upload-Checksum") == "":
        # Its generator puts in nothing at all where it finds no value for a pattern.
        del case.headers["Upload-Checksum"]
    if isinstance(case.body, dict) and isinstance(case.body.get("form"), str):
        if path == "/sign-in":
            case.cookies = {**(case.cookies or {}), "gritbook-form": FORM_SECRET}
            case.body["form"] = form_token(FORM_SECRET)
            if positive:
                case.body.update(name="Ines", password=KNOWN["password"])
        else:
            case.body["form"] = form_token(KNOWN["session"])
            if path == "/me/password" and positive:
                case.body.update(dict.fromkeys(("password", "fresh", "again"), KNOWN["password"]))
            if path == "/sign-out" and "gritbook" in (case.cookies or {}):
                # Not the session that everything else goes by.
                session = next(sessions, None)
                if session:
                    case.cookies["gritbook"] = session
                    case.body["form"] = form_token(session)
