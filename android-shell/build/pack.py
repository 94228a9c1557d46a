"""Packs an APK before signing: resources as aapt2 made them, classes.dex deflated, native libraries stored at 16 KB.

zipalign can align at 16 KB, but apksigner 0.9 moves its entries back to 4 KB; it keeps an entry whose extra field says what it is
aligned to (0xd935, as the signer itself writes it). Arguments: resources.apk, classes.dex, out.apk, then abi=library pairs.
"""

import struct
import sys
import zipfile

PAGE = 16384


def aligned(archive, name, data, page):
    """Stores `data` so that its first byte lies on a multiple of `page`."""
    entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    entry.compress_type = zipfile.ZIP_STORED
    start = archive.fp.tell() + 30 + len(name.encode()) + 6
    padding = -start % page
    entry.extra = struct.pack("<HHH", 0xD935, 2 + padding, page) + bytes(padding)
    archive.writestr(entry, data)


def main(resources, dex, out, *libraries):
    with zipfile.ZipFile(out, "w") as archive:
        with zipfile.ZipFile(resources) as made:
            for entry in made.infolist():
                data = made.read(entry)
                if entry.compress_type == zipfile.ZIP_STORED:
                    aligned(archive, entry.filename, data, 4)
                else:
                    plain = zipfile.ZipInfo(entry.filename, (1980, 1, 1, 0, 0, 0))
                    archive.writestr(plain, data, zipfile.ZIP_DEFLATED, 9)
        with open(dex, "rb") as file:
            archive.writestr(zipfile.ZipInfo("classes.dex", (1980, 1, 1, 0, 0, 0)), file.read(), zipfile.ZIP_DEFLATED, 9)
        for pair in libraries:
            abi, path = pair.split("=", 1)
            with open(path, "rb") as file:
                aligned(archive, f"lib/{abi}/{path.rsplit('/', 1)[1]}", file.read(), PAGE)


main(*sys.argv[1:])
