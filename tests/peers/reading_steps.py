"""What the peer readings share: their command line, the clock, the gradation and the document."""

import argparse
import json
import time

import numpy as np

SIEVES_MM = [0.075, 0.15, 0.3, 0.6, 1.18, 2.36, 4.75, 9.5, 19.0, 37.5]  # ASTM E11


class Clock:
    """Seconds of each step."""

    def __init__(self):
        self.seconds, self.last = {}, time.perf_counter()

    def lap(self, step):
        now = time.perf_counter()
        self.seconds[step] = round(now - self.last, 4)
        self.last = now


def box_of_corners(window_mm, px_per_mm):
    """Width and height of the straightened window, px."""
    return round(window_mm[0] * px_per_mm), round(window_mm[1] * px_per_mm)


def gradation(grains, window_mm):
    """Volume gradation of the whole grains, each weighted by the inverse of its chance to lie whole in the window."""
    whole = [g for g in grains if not g["cut"]]
    if not whole:
        return None
    ecd = np.array([g["ecd_mm"] for g in whole])
    chance = np.array([(window_mm[0] - g["box_mm"][0]) * (window_mm[1] - g["box_mm"][1]) / (window_mm[0] * window_mm[1]) for g in whole])
    volume = np.pi / 6 * ecd**3 / chance
    order = np.argsort(ecd)
    running = np.cumsum(volume[order]) / volume.sum()
    sizes = {f"d{q}_mm": float(ecd[order][min(np.searchsorted(running, q / 100), len(ecd) - 1)]) for q in (10, 50, 90)}
    return {"sieves_mm": SIEVES_MM, "finer_percent": [float(100 * volume[ecd < s].sum() / volume.sum()) for s in SIEVES_MM], **sizes}


def arguments(about):
    """The command line of a peer reading."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo")
    parser.add_argument("--corners-from", help="a scene's truth or a reading, for window_corners_px and px_per_mm")
    parser.add_argument("--px-per-mm", type=float)
    given = parser.parse_args()
    if not given.corners_from and not given.px_per_mm:
        parser.error("--corners-from or --px-per-mm is needed")
    return given


def answer(given, *, decode, rectify, segment, measure):
    """The document of a reading by the four steps of a library."""
    clock = Clock()
    photo = decode(given.photo)
    clock.lap("decode")
    if given.corners_from:
        with open(given.corners_from, encoding="utf-8") as file:
            known = json.load(file)
        known = known.get("scale", known)
        window_mm, scale = known["window_mm"], known["px_per_mm"]
        window = rectify(photo, known["window_corners_px"], window_mm, scale)
    else:
        scale, window = given.px_per_mm, photo
        window_mm = [photo.shape[1] / scale, photo.shape[0] / scale]
    clock.lap("rectify")
    labels = segment(window, scale, clock)
    grains = measure(labels, scale)
    clock.lap("measure")
    document = {"px_per_mm": scale, "window_mm": window_mm, "cover_percent": float(100 * (labels > 0).mean()), "gradation": gradation(grains, window_mm)}
    clock.lap("gradation")
    return {**document, "count": len(grains), "seconds": clock.seconds, "grains": grains}


def print_answer(document):
    """One JSON document on standard output."""
    print(json.dumps(document))
