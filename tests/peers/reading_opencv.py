#!/usr/bin/env python3
"""A debris reading with OpenCV: the same steps as `gritbook read`, by common recipes, for comparison of answers and speed.

    python3 tests/peers/reading_opencv.py PHOTO --corners-from TRUTH_OR_READING.json     the window's corners from that document
    python3 tests/peers/reading_opencv.py PHOTO --px-per-mm 12                           no card: the whole frame is the window

One thread. The card is not searched for: the corners are given. Prints the same document as `reading_skimage.py`, by the same textbook settings.
"""

import cv2
import numpy as np

from reading_steps import answer, arguments, box_of_corners, print_answer


def rectify(photo, corners_px, window_mm, px_per_mm):
    """The window straight on; photo pixel centres lie at half-integers."""
    width, height = box_of_corners(window_mm, px_per_mm)
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32) - 0.5
    warp = cv2.getPerspectiveTransform(flat, np.array(corners_px, np.float32) - 0.5)
    return cv2.warpPerspective(photo, warp, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def segment(window, px_per_mm, clock):
    """Labels of grains, 0 is ground."""
    height, width = window.shape[:2]
    # The ground: the bright side of each neighbourhood, smoothed at a scale well above the grains. OpenCV has no percentile filter:
    # the median of the brighter half is its nearest kin.
    small = cv2.resize(window, (width // 8, height // 8), interpolation=cv2.INTER_AREA)
    side = max(3, int(px_per_mm) | 1)
    ground = cv2.medianBlur(cv2.dilate(small, np.ones((3, 3), np.uint8)), min(side, 255)).astype(np.float32)
    ground = cv2.GaussianBlur(ground, (0, 0), px_per_mm / 4)
    ground = cv2.resize(ground, (width, height), interpolation=cv2.INTER_LINEAR)
    flat = np.minimum(cv2.divide(window.astype(np.float32), np.maximum(ground, 1), scale=0.9), 1)
    clock.lap("flatten")
    lab = cv2.cvtColor(flat, cv2.COLOR_BGR2Lab)
    paper = np.median(lab[::4, ::4].reshape(-1, 3), axis=0)
    lab -= paper.astype(np.float32)
    distance = cv2.sqrt(cv2.transform(lab * lab, np.array([[1, 2.25, 2.25]], np.float32)))
    distance = cv2.GaussianBlur(distance, (0, 0), 0.7)
    clock.lap("colour")
    limit, _ = cv2.threshold(np.clip(distance * 4, 0, 240).astype(np.uint8), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    mask = (distance > max(limit / 4, 9.0)).astype(np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    mask[:] = 0
    cv2.drawContours(mask, [c for c in contours if cv2.contourArea(c) > 20], -1, 1, cv2.FILLED)
    clock.lap("threshold")
    depth = cv2.GaussianBlur(cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE), (0, 0), 1.0)
    # Maxima of the distance that stand 0.8 px above their saddle, to the precision of a 7 x 7 look around.
    peaks = ((depth >= cv2.dilate(depth, np.ones((7, 7), np.uint8)) - 1e-6) & (mask > 0)).astype(np.uint8)
    peaks = cv2.dilate(peaks, np.ones((3, 3), np.uint8))
    _, seeds = cv2.connectedComponents(peaks, connectivity=8)
    marks = np.where(mask > 0, np.where(peaks > 0, seeds + 1, 0), 1).astype(np.int32)
    # OpenCV floods by steps of grey, not by height: a cliff around the mask keeps the ground out until the seeds have met.
    hills = np.where(mask > 0, 55 + np.clip(depth * (200 / max(float(depth.max()), 1)), 0, 200), 0).astype(np.uint8)
    labels = np.maximum(cv2.watershed(cv2.merge([hills] * 3), marks) - 1, 0)
    # Its lines between basins go back to the grain beside them.
    rim = cv2.dilate(labels.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
    labels = np.where((labels == 0) & (mask > 0), rim, labels)
    clock.lap("split")
    return labels


def measure(labels, px_per_mm):
    """The grains of a label image."""
    height, width = labels.shape
    grains, ys, xs = [], *np.nonzero(labels)
    if len(ys) == 0:
        return grains
    order = np.argsort(labels[ys, xs], kind="stable")
    ys, xs = ys[order], xs[order]
    starts = np.flatnonzero(np.r_[True, np.diff(labels[ys, xs]) > 0])
    for y, x in zip(np.split(ys, starts[1:]), np.split(xs, starts[1:])):
        points = np.stack([x, y], axis=1).astype(np.int32)
        hull = cv2.convexHull(points)
        across = hull[:, 0].astype(float)
        far = np.sqrt(((across[:, None] - across[None]) ** 2).sum(2)).max() + 1
        # A pixel is a square: the hull of the middles is half a pixel short all around.
        full = cv2.contourArea(hull) + cv2.arcLength(hull, True) / 2 + 1
        left, top, wide, high = cv2.boundingRect(points)
        grains.append({
            "x_mm": (x.mean() + 0.5) / px_per_mm, "y_mm": (y.mean() + 0.5) / px_per_mm, "ecd_mm": np.sqrt(4 * len(x) / np.pi) / px_per_mm,
            "area_mm2": len(x) / px_per_mm**2, "feret_max_mm": far / px_per_mm, "solidity": min(1.0, len(x) / full),
            "box_mm": [wide / px_per_mm, high / px_per_mm],
            "cut": bool(left == 0 or top == 0 or left + wide == width or top + high == height),
        })
    return grains


def main():
    given = arguments(__doc__)
    cv2.setNumThreads(1)
    print_answer(answer(given, decode=lambda path: cv2.imread(path, cv2.IMREAD_COLOR), rectify=rectify, segment=segment, measure=measure))


if __name__ == "__main__":
    main()
