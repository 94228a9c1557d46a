"""A depot in a few lines, behind the bindings' Transport: takes batches and tus uploads, and can be told to misbehave.

Written from the description of the protocol (entries: one verdict each, idempotent by hash; photos: tus 1.0.0 with
creation-with-upload and checksum), not from the program under test.
"""

import base64
import hashlib
import json

import gritbook as g


class DepotDouble(g.Transport):
    def __init__(self):
        self.requests = []
        self.entries = {}
        self.uploads = {}
        self.troubles = []

    def carry(self, request):
        self.requests.append(request)
        if self.troubles:
            trouble = self.troubles.pop(0)
            if callable(trouble):
                return trouble(self, request)
            if trouble is not None:
                raise trouble
        return self.answer(request)

    def answer(self, request):
        headers = {header.name.lower(): header.value for header in request.headers}
        body = self.bytes_of(request.body)
        if request.method == g.HttpMethod.PUT and request.path == "/v1/entries":
            return self.put_entries(body)
        if request.method == g.HttpMethod.GET and request.path.startswith("/v1/entries?"):
            return answer(200, {}, {"schema": "gritbook.entries/1", "entries": [], "cursor": "1", "more": False})
        if request.method == g.HttpMethod.POST and request.path == "/v1/photos":
            return self.create(headers, body)
        upload = self.uploads.get(request.path)
        if upload is None:
            return answer(404, {}, {"type": "urn:gritbook:problem:no_such_upload", "title": "no such upload", "status": 404})
        if request.method == g.HttpMethod.HEAD:
            return answer(200, {"upload-offset": len(upload["bytes"]), "upload-length": upload["length"]})
        if request.method == g.HttpMethod.PATCH:
            return self.append(upload, headers, body, 204)
        return answer(405)

    def put_entries(self, body):
        # The hash is of each entry's text exactly as it stands in the batch.
        text, verdicts = body.decode(), []
        decoder = json.JSONDecoder()
        at = text.index("[", text.index('"entries"')) + 1
        while text[at] != "]":
            entry, end = decoder.raw_decode(text, at)
            digest = hashlib.sha256(text[at:end].encode()).hexdigest()
            verdict = "already_there" if digest in self.entries else "stored"
            self.entries[digest] = entry
            verdicts.append({"id": entry["id"], "hash": digest, "verdict": verdict})
            at = end + (text[end] == ",")
        return answer(200, {}, {"schema": "gritbook.verdicts/1", "verdicts": verdicts})

    def create(self, headers, body):
        metadata = dict(pair.split(" ") for pair in headers["upload-metadata"].split(","))
        metadata = {name: base64.b64decode(value).decode() for name, value in metadata.items()}
        path = "/v1/photos/" + metadata["upload_id"]
        upload = self.uploads.setdefault(path, {"bytes": b"", "length": int(headers["upload-length"]), **metadata})
        made = self.append(upload, {"upload-offset": "0", **headers}, body, 201)
        made.headers.append(g.Header(name="location", value=path))
        return made

    def append(self, upload, headers, body, status):
        if int(headers["upload-offset"]) != len(upload["bytes"]):
            return answer(409)
        # A place that is asked for alone carries no bytes to sum up.
        if not body and "upload-checksum" not in headers:
            return answer(status, {"upload-offset": len(upload["bytes"]), "tus-resumable": "1.0.0"})
        algorithm, digest = headers["upload-checksum"].split(" ")
        if algorithm != "sha256" or base64.b64decode(digest) != hashlib.sha256(body).digest():
            return answer(460)
        upload["bytes"] += body
        return answer(status, {"upload-offset": len(upload["bytes"]), "tus-resumable": "1.0.0"})

    @staticmethod
    def bytes_of(body):
        if body.is_empty():
            return b""
        if body.is_bytes():
            return body.bytes
        with open(body.path, "rb") as file:
            file.seek(body.offset_bytes)
            return file.read(body.length_bytes)

    def photos(self):
        """The photos that are here whole, by the hash of what came."""
        whole = [upload for upload in self.uploads.values() if len(upload["bytes"]) == upload["length"]]
        return {hashlib.sha256(upload["bytes"]).hexdigest(): upload["bytes"] for upload in whole}


def answer(status, headers=(), document=None):
    headers = [g.Header(name=name, value=str(value)) for name, value in dict(headers).items()]
    body = b"" if document is None else json.dumps(document).encode()
    return g.Answer(status=status, headers=headers, body=body)
