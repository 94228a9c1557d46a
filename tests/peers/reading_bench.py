#!/usr/bin/env python3
"""How fast a photo is read, side by side in one run: `gritbook read`, the decoding of its JPEG, scikit-image, OpenCV.

    pip install numpy scikit-image opencv-python-headless pillow matplotlib
    cargo build --release && python3 tests/peers/reading_bench.py --gritbook target/release/gritbook --picture docs/pictures/speed.png

One thread, same photo, the least of some runs. The peers are given the window's corners and do not search for the card: theirs is the easier job.
Three tables: a 12-megapixel photo of spread sand step by step; the same photo at 3 to 48 megapixels; 10 to 20 000 grains on 12 megapixels.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "fixtures" / "scenes"))

from card import load_card  # noqa: E402
from score import render, run_reader  # noqa: E402

ONE_THREAD = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
MEGAPIXELS = (3, 6, 12, 24, 48)
GRAINS = (10, 100, 1_000, 5_000, 20_000)


def least(runs, once):
    """The quickest of some runs, by the first of what each gives."""
    return min((once() for _ in range(runs)), key=lambda answer: answer[0])


def own(gritbook, photo, *more):
    """(seconds from bytes to document, seconds of each step, the document, peak MB)."""
    status, document, _, peak_mb, said = run_reader(gritbook, photo, ["--timings", *more])
    if status != 0:
        raise SystemExit(f"{photo}: {said}")
    steps = {line.split()[0]: float(line.split()[1]) / 1000 for line in said.splitlines() if line.endswith(" ms")}
    return steps.pop("together"), steps, document, peak_mb


def decoded(photo):
    """Seconds in which libjpeg-turbo, through OpenCV, decodes the same bytes."""
    bytes_ = np.frombuffer(Path(photo).read_bytes(), np.uint8)
    cv2.setNumThreads(1)
    begun = time.perf_counter()
    cv2.imdecode(bytes_, cv2.IMREAD_COLOR)
    return (time.perf_counter() - begun,)


def peer(library, photo, corners):
    """(seconds without the start of Python, the document)."""
    command = [sys.executable, str(Path(__file__).parent / f"reading_{library}.py"), str(photo), "--corners-from", str(corners)]
    document = json.loads(subprocess.run(command, capture_output=True, check=True, env=ONE_THREAD).stdout)
    return sum(document["seconds"].values()), document


def side_by_side(gritbook, photo, truth, runs):
    """Rows of the first table: who, seconds, seconds with the window already found and straight, grains, D50."""
    corners = photo.with_suffix(".json")
    corners.write_text(json.dumps(truth), encoding="utf-8")
    seconds, steps, document, peak_mb = least(runs, lambda: own(gritbook, photo))
    jpeg = least(runs, lambda: decoded(photo))[0]
    inner = seconds - steps["load"] - steps["locate"] - steps["rectify"]
    rows = [("gritbook", seconds, inner, len(document["grains"]), document["gradation"]["d50_mm"])]
    for library in ("opencv", "skimage"):
        total, answer = least(max(1, runs // 2), lambda library=library: peer(library, photo, corners))
        rest = total - answer["seconds"]["decode"] - answer["seconds"]["rectify"]
        rows.append((library, total, rest, answer["count"], answer["gradation"]["d50_mm"]))
    return rows, steps, jpeg, peak_mb


def scaled(gritbook, picture, folder, runs):
    """(megapixels, seconds, seconds of decoding, peak MB) of the same photo at other sizes."""
    rows = []
    for size in MEGAPIXELS:
        factor = (size * 1e6 / (picture.shape[0] * picture.shape[1])) ** 0.5
        path = folder / f"size_{size}.jpg"
        cv2.imwrite(str(path), cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC), [cv2.IMWRITE_JPEG_QUALITY, 92])
        seconds, _, _, peak_mb = least(runs, lambda path=path: own(gritbook, path))
        rows.append((size, seconds, least(runs, lambda path=path: decoded(path))[0], peak_mb))
    return rows


def crowds(gritbook, folder, runs):
    """(grains drawn, grains read, seconds, peak MB): dark discs in rows on white paper, 4000 x 3000 px, scale by hand."""
    rows = []
    for count in GRAINS:
        random = np.random.default_rng(count)
        picture = np.full((3000, 4000, 3), 225, np.float32) + random.normal(0, 1.5, (3000, 4000, 1)).astype(np.float32)
        across = int(np.ceil((count * 4 / 3) ** 0.5))
        pitch = 4000 / across
        for index in range(count):
            middle = ((index % across + 0.5) * pitch, (index // across + 0.5) * pitch)
            radius = min(40.0, 0.3 * pitch) * random.uniform(0.6, 1)
            cv2.circle(picture, tuple(int(16 * c) for c in middle), int(16 * radius), (70, 85, 100), cv2.FILLED, cv2.LINE_AA, 4)
        path = folder / f"grains_{count}.jpg"
        cv2.imwrite(str(path), cv2.GaussianBlur(np.clip(picture, 0, 255).astype(np.uint8), (0, 0), 1.0), [cv2.IMWRITE_JPEG_QUALITY, 92])
        seconds, _, document, peak_mb = least(runs, lambda path=path: own(gritbook, path, "--px-per-mm", "25"))
        rows.append((count, len(document["grains"]), seconds, peak_mb))
    return rows


def tell(rows, steps, jpeg, peak_mb, sizes, counts):
    """The tables, for people."""
    print(f"Decoding the JPEG alone (libjpeg-turbo): {jpeg:.3f} s. Our peak: {peak_mb:.0f} MB.\n")
    print("| reader | bytes to reading, s | over decoding | window to reading, s | over ours | grains | D50, mm |\n|---|---|---|---|---|---|---|")
    for who, seconds, rest, grains, d50 in rows:
        print(f"| {who} | {seconds:.3f} | {seconds / jpeg:.1f} | {rest:.3f} | {rest / rows[0][2]:.1f} | {grains} | {d50:.3f} |")
    print("\nOurs by step, s: " + ", ".join(f"{step} {seconds:.3f}" for step, seconds in steps.items()))
    print("\n| megapixels | seconds | decoding, s | peak, MB |\n|---|---|---|---|")
    for size, seconds, decode, peak in sizes:
        print(f"| {size} | {seconds:.3f} | {decode:.3f} | {peak:.0f} |")
    print("\n| grains drawn | read | seconds | peak, MB |\n|---|---|---|---|")
    for count, read, seconds, peak in counts:
        print(f"| {count} | {read} | {seconds:.3f} | {peak:.0f} |")


def draw(path, rows, steps, jpeg, sizes, counts):
    """The tables as one picture."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    pyplot.rcParams.update({"font.size": 12, "axes.spines.top": False, "axes.spines.right": False})
    figure, (bars, by_size, by_count) = pyplot.subplots(1, 3, figsize=(16, 5.2), layout="constrained")
    names = ["JPEG decoding", *({"opencv": "OpenCV", "skimage": "scikit-image"}.get(who, who) for who, *_ in rows)]
    values = [jpeg, *(seconds for _, seconds, *_ in rows)]
    bars.barh(names[::-1], values[::-1], color=["#b8b2a6", "#b8b2a6", "#c4501b", "#6b6459"])
    for place, value in enumerate(values[::-1]):
        bars.text(value, place, f" {value:.2f} s", va="center")
    bars.set(title="12 megapixels, bytes to reading", xlabel="seconds, one thread", xlim=(0, max(values) * 1.2))
    by_size.plot([r[0] for r in sizes], [r[1] for r in sizes], "o-", color="#c4501b", label="reading")
    by_size.plot([r[0] for r in sizes], [r[2] for r in sizes], "s-", color="#6b6459", label="decoding")
    by_size.set(title="The same photo, larger", xlabel="megapixels", ylabel="seconds", xlim=(0, None), ylim=(0, None))
    by_size.legend(frameon=False)
    by_count.plot([r[0] for r in counts], [r[2] for r in counts], "o-", color="#c4501b")
    by_count.set(title="More grains, 12 megapixels by hand", xlabel="grains", ylabel="seconds", xlim=(0, None), ylim=(0, None))
    figure.savefig(path, dpi=90)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--gritbook", required=True)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--picture")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        subprocess.run([given.gritbook, "card", "--out", str(folder / "card.png"), "--geometry", str(folder / "card.json"), "--dpi", "600"], check=True, capture_output=True)
        card = load_card(folder / "card.png", folder / "card.json")
        jpeg_bytes, truth = render("spread", 101, card, 1.0)
        photo = folder / "spread.jpg"
        photo.write_bytes(jpeg_bytes)
        first = side_by_side(given.gritbook, photo, truth, given.runs)
        sizes = scaled(given.gritbook, cv2.imread(str(photo)), folder, given.runs)
        counts = crowds(given.gritbook, folder, given.runs)
    rows, steps, jpeg, peak_mb = first
    tell(rows, steps, jpeg, peak_mb, sizes, counts)
    if given.picture:
        draw(given.picture, rows, steps, jpeg, sizes, counts)


if __name__ == "__main__":
    main()
