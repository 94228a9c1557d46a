#!/usr/bin/env python3
"""Sends a photo to a depot with tuspy, a tus 1.0.0 client that knows nothing of ours.

    python3 tests/peers/tus_upload.py URL TOKEN FILE [--chunk BYTES] [--checksum [--spoil-after BYTES]] [--with-hash]
                                      [--break-after BYTES [--wait SECONDS]]

--break-after stops there with a new client that asks for the offset and goes on, as after a crash, after --wait; where the upload is gone by
then the photo is sent anew. --spoil-after sends the checksum of other bytes from there on. Prints one JSON document.
"""

import argparse
import hashlib
import json
import os
import sys
import time

try:
    from tusclient import client
    from tusclient.exceptions import TusCommunicationError
except ImportError:
    sys.exit("tuspy is not installed: .ci/setup installs it")


def spoiled(uploader):
    """The uploader with the checksum of other bytes, as where a part was changed on its way."""
    uploader._BaseUploader__checksum_algorithm = lambda _: hashlib.sha1(b"other bytes")
    return uploader


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("url")
    parser.add_argument("token")
    parser.add_argument("file")
    parser.add_argument("--chunk", type=int, default=1 << 20)
    parser.add_argument("--checksum", action="store_true", help="send each chunk's SHA-1 along")
    parser.add_argument("--spoil-after", type=int)
    parser.add_argument("--break-after", type=int)
    parser.add_argument("--wait", type=float, default=0)
    parser.add_argument("--with-hash", action="store_true", help="declare the photo's SHA-256 when the upload is made")
    arguments = parser.parse_args()
    with open(arguments.file, "rb") as file:
        digest = hashlib.sha256(file.read()).hexdigest()
    metadata = {"filename": os.path.basename(arguments.file)}
    if arguments.with_hash:
        metadata["sha256"] = digest
    tus = client.TusClient(arguments.url + "/v1/photos", headers={"Authorization": "Bearer " + arguments.token})
    fresh = {"chunk_size": arguments.chunk, "metadata": metadata, "upload_checksum": arguments.checksum}
    uploader = tus.uploader(arguments.file, **fresh)
    said = {"sha256": digest, "resumed_at": None}
    if arguments.spoil_after:
        uploader.upload(stop_at=arguments.spoil_after)
        try:
            spoiled(uploader).upload_chunk()
        except TusCommunicationError as refused:
            said["refused"] = refused.status_code
        said["offset_after"] = uploader.get_offset()
        print(json.dumps(said))
        return
    if arguments.break_after:
        uploader.upload(stop_at=arguments.break_after)
        said["first_location"] = location = uploader.url
        said["expires"] = uploader.request.response_headers.get("upload-expires")
        time.sleep(arguments.wait)
        try:
            uploader = tus.uploader(arguments.file, chunk_size=arguments.chunk, url=location, upload_checksum=arguments.checksum)
            said["resumed_at"] = uploader.offset
        except TusCommunicationError as gone:
            said["status_after"] = gone.status_code
            uploader = tus.uploader(arguments.file, **fresh)
    uploader.upload()
    print(json.dumps({**said, "bytes": uploader.offset, "location": uploader.url}))


if __name__ == "__main__":
    main()
