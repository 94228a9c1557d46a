#!/usr/bin/env python3
"""Sends a photo to a depot with tuspy, a tus 1.0.0 client that knows nothing of ours.

    python3 tests/peers/tus_upload.py URL TOKEN FILE [--chunk BYTES] [--checksum] [--break-after BYTES] [--with-hash]

--break-after stops there with a new client that asks for the offset and goes on, as after a crash. Prints one JSON document.
"""

import argparse
import hashlib
import json
import os
import sys

try:
    from tusclient import client
except ImportError:
    sys.exit("tuspy is not installed: pip install tuspy==1.1.0")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("url")
    parser.add_argument("token")
    parser.add_argument("file")
    parser.add_argument("--chunk", type=int, default=1 << 20)
    parser.add_argument("--checksum", action="store_true", help="send each chunk's SHA-1 along")
    parser.add_argument("--break-after", type=int)
    parser.add_argument("--with-hash", action="store_true", help="declare the photo's SHA-256 when the upload is made")
    arguments = parser.parse_args()
    with open(arguments.file, "rb") as file:
        digest = hashlib.sha256(file.read()).hexdigest()
    metadata = {"filename": os.path.basename(arguments.file)}
    if arguments.with_hash:
        metadata["sha256"] = digest
    tus = client.TusClient(arguments.url + "/v1/photos", headers={"Authorization": "Bearer " + arguments.token})
    uploader = tus.uploader(arguments.file, chunk_size=arguments.chunk, metadata=metadata, upload_checksum=arguments.checksum)
    resumed_at = None
    if arguments.break_after:
        uploader.upload(stop_at=arguments.break_after)
        location = uploader.url
        uploader = tus.uploader(arguments.file, chunk_size=arguments.chunk, url=location, upload_checksum=arguments.checksum)
        resumed_at = uploader.offset
    uploader.upload()
    print(json.dumps({"sha256": digest, "bytes": uploader.offset, "resumed_at": resumed_at, "location": uploader.url}))


if __name__ == "__main__":
    main()
