#!/usr/bin/env python3
"""A debris reading with scikit-image: the same steps as `gritbook read`, by common recipes, for comparison.

    python3 tests/peers/reading_skimage.py PHOTO --corners-from TRUTH_OR_READING.json     the window's corners from that document
    python3 tests/peers/reading_skimage.py PHOTO --px-per-mm 12                           no card: the whole frame is the window

The card is not searched for (scikit-image has no mark reader): the corners are given. Prints one JSON document: grains, gradation, seconds a step.
Textbook settings, not tuned to any picture: Otsu on the CIELAB distance from the flattened ground, h-maxima watershed on the distance map.
"""

import argparse
import json
import time

import numpy as np
from scipy import ndimage
from skimage import color, filters, io, measure, morphology, segmentation, transform

SIEVES_MM = [0.075, 0.15, 0.3, 0.6, 1.18, 2.36, 4.75, 9.5, 19.0, 37.5]  # ASTM E11


class Clock:
    """Seconds of each step."""

    def __init__(self):
        self.seconds, self.last = {}, time.perf_counter()

    def lap(self, step):
        now = time.perf_counter()
        self.seconds[step] = round(now - self.last, 4)
        self.last = now


def rectify(photo, corners_px, window_mm, px_per_mm):
    """The window straight on; photo pixel centres lie at half-integers."""
    width, height = round(window_mm[0] * px_per_mm), round(window_mm[1] * px_per_mm)
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], float) - 0.5
    warp = transform.ProjectiveTransform.from_estimate(flat, np.array(corners_px, float) - 0.5)
    return transform.warp(photo, warp, output_shape=(height, width), order=1, preserve_range=True)


def segment(window, px_per_mm, clock):
    """Labels of grains."""
    # The ground: the bright half of each neighbourhood, smoothed at a scale well above the grains.
    small = transform.downscale_local_mean(window, (8, 8, 1))
    ground = ndimage.percentile_filter(small, 70, size=(max(3, int(8 * px_per_mm / 8)),) * 2 + (1,))
    ground = ndimage.gaussian_filter(ground, (px_per_mm / 4, px_per_mm / 4, 0))
    ground = transform.resize(ground, window.shape, order=1, preserve_range=True)
    flat = np.clip(window / np.maximum(ground, 1) * 0.9, 0, 1)
    clock.lap("flatten")
    lab = color.rgb2lab(flat)
    paper = np.median(lab.reshape(-1, 3), axis=0)
    distance = np.sqrt((((lab - paper) * [1, 1.5, 1.5]) ** 2).sum(2))
    distance = filters.gaussian(distance, 0.7)
    clock.lap("colour")
    mask = distance > max(filters.threshold_otsu(np.clip(distance, 0, 60)), 9.0)
    mask = morphology.remove_small_objects(ndimage.binary_fill_holes(mask), max_size=20)
    clock.lap("threshold")
    depth = ndimage.distance_transform_edt(mask)
    smooth = filters.gaussian(depth, 1.0)
    peaks = measure.label(morphology.h_maxima(smooth, 0.8))
    labels = segmentation.watershed(-smooth, peaks, mask=mask)
    clock.lap("split")
    return labels


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


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo")
    parser.add_argument("--corners-from", help="a scene's truth or a reading, for window_corners_px and px_per_mm")
    parser.add_argument("--px-per-mm", type=float)
    arguments = parser.parse_args()
    clock = Clock()
    photo = io.imread(arguments.photo)[:, :, :3].astype(np.float32)
    clock.lap("decode")
    if arguments.corners_from:
        with open(arguments.corners_from, encoding="utf-8") as file:
            given = json.load(file)
        given = given.get("scale", given)
        window_mm, scale = given["window_mm"], given["px_per_mm"]
        window = rectify(photo, given["window_corners_px"], window_mm, scale)
    elif arguments.px_per_mm:
        scale, window = arguments.px_per_mm, photo
        window_mm = [photo.shape[1] / scale, photo.shape[0] / scale]
    else:
        parser.error("--corners-from or --px-per-mm is needed")
    clock.lap("rectify")
    labels = segment(window, scale, clock)
    grains = []
    for region in measure.regionprops(labels):
        top, left, bottom, right = region.bbox
        ecd = region.equivalent_diameter_area / scale
        grains.append({
            "x_mm": (region.centroid[1] + 0.5) / scale, "y_mm": (region.centroid[0] + 0.5) / scale, "ecd_mm": ecd, "area_mm2": region.area / scale**2,
            "feret_max_mm": region.feret_diameter_max / scale, "solidity": float(region.solidity), "box_mm": [(right - left) / scale, (bottom - top) / scale],
            "cut": bool(top == 0 or left == 0 or bottom == labels.shape[0] or right == labels.shape[1]),
        })
    clock.lap("measure")
    document = {"px_per_mm": scale, "window_mm": window_mm, "cover_percent": float(100 * (labels > 0).mean()), "gradation": gradation(grains, window_mm)}
    clock.lap("gradation")
    print(json.dumps({**document, "count": len(grains), "seconds": clock.seconds, "grains": grains}))


if __name__ == "__main__":
    main()
