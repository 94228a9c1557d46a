"""Fails where a native library of a signed APK does not begin at a multiple of 16 KB. Arguments: the APK, its largest size in bytes."""

import pathlib
import struct
import sys
import zipfile

path, largest = pathlib.Path(sys.argv[1]), int(sys.argv[2])
raw = path.read_bytes()
wrong = []
with zipfile.ZipFile(path) as archive:
    names = archive.namelist()
    for entry in archive.infolist():
        name_length, extra_length = struct.unpack_from("<HH", raw, entry.header_offset + 26)
        start = entry.header_offset + 30 + name_length + extra_length
        if entry.filename.endswith(".so") and (start % 16384 or entry.compress_type != zipfile.ZIP_STORED):
            wrong.append(f"{entry.filename} begins at {start}, {start % 16384} bytes off a page of 16 KB")
for needed in ("classes.dex", "AndroidManifest.xml", "resources.arsc"):
    if needed not in names:
        wrong.append(f"{needed} is missing")
if len(raw) > largest:
    wrong.append(f"{len(raw)} bytes are more than {largest}")
print(f"{path.name}: {len(raw)} bytes, {sum(name.endswith('.so') for name in names)} native libraries at 16 KB")
for line in wrong:
    print("WRONG ", line)
sys.exit(1 if wrong else 0)
