"""First inputs of a fuzz target, small ones: seeds.py TARGET FOLDER."""

import sys
from pathlib import Path

from PIL import Image

fixtures = Path(__file__).resolve().parents[2] / "fixtures"


def photos(folder):
    """The fixtures' photos, as they are where small, else drawn smaller; the files that are broken on purpose stay broken."""
    for path in sorted(fixtures.glob("photos/**/*.*")) + sorted(fixtures.glob("faces/**/*.*")):
        if path.suffix not in (".jpg", ".png"):
            continue
        small_file = path.stat().st_size < 60_000
        try:
            with Image.open(path) as picture:
                small_file = small_file and picture.width * picture.height < 500_000
                exif = picture.info.get("exif")
                for wide in (1100, 500):
                    small = picture.convert("RGB").resize((wide, max(1, wide * picture.height // picture.width)))
                    for kind, more in (("jpg", {"quality": 80} | ({"exif": exif} if exif else {})), ("png", {})):
                        if kind == "jpg" or wide < 600:
                            small.save(folder / f"{path.stem}_{wide}.{kind}", **more)
        except Exception as error:  # broken on purpose
            print(f"{path.name}: {error}", file=sys.stderr)
        if small_file:
            (folder / path.name).write_bytes(path.read_bytes())


def texts(folder):
    """Tables, histories and documents of the fixtures."""
    for path in fixtures.rglob("*"):
        if path.suffix in (".csv", ".jsonl", ".json", ".ndjson") and path.stat().st_size < 60_000:
            (folder / path.name).write_bytes(path.read_bytes())
    (folder / "code").write_text('GRITBOOK1 {"url":"https://depot.example","token":"t","key":""}', encoding="utf-8")


def plates(folder):
    """A mark's nested squares at three places, four numbers and a grey to a plate."""
    marks = b"".join(bytes([x + d, y + d, 40 - 3 * d, 40 - 3 * d, grey, 0]) for x, y in ((10, 10), (200, 10), (10, 200), (200, 200)) for d, grey in ((0, 10), (4, 240), (8, 10)))
    (folder / "marks").write_bytes(marks)


if __name__ == "__main__":
    folder = Path(sys.argv[2])
    {"photo": photos, "texts": texts, "shapes": plates, "settings": plates}[sys.argv[1]](folder)
