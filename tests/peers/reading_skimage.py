#!/usr/bin/env python3
"""A debris reading with scikit-image: the same steps as `gritbook read`, by common recipes, for comparison.

    python3 tests/peers/reading_skimage.py PHOTO --corners-from TRUTH_OR_READING.json     the window's corners from that document
    python3 tests/peers/reading_skimage.py PHOTO --px-per-mm 12                           no card: the whole frame is the window

The card is not searched for (scikit-image has no mark reader): the corners are given. Prints one JSON document: grains, gradation, seconds a step.
Textbook settings, not tuned to any picture: Otsu on the CIELAB distance from the flattened ground, h-maxima watershed on the distance map.
"""

import numpy as np
from scipy import ndimage
from skimage import color, filters, io, measure, morphology, segmentation, transform

from reading_steps import answer, arguments, box_of_corners, print_answer


def rectify(photo, corners_px, window_mm, px_per_mm):
    """The window straight on; photo pixel centres lie at half-integers."""
    width, height = box_of_corners(window_mm, px_per_mm)
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


def measured(labels, px_per_mm):
    """The grains of a label image."""
    grains = []
    for region in measure.regionprops(labels):
        top, left, bottom, right = region.bbox
        grains.append({
            "x_mm": (region.centroid[1] + 0.5) / px_per_mm, "y_mm": (region.centroid[0] + 0.5) / px_per_mm,
            "ecd_mm": region.equivalent_diameter_area / px_per_mm, "area_mm2": region.area / px_per_mm**2,
            "feret_max_mm": region.feret_diameter_max / px_per_mm, "solidity": float(region.solidity),
            "box_mm": [(right - left) / px_per_mm, (bottom - top) / px_per_mm],
            "cut": bool(top == 0 or left == 0 or bottom == labels.shape[0] or right == labels.shape[1]),
        })
    return grains


def main():
    given = arguments(__doc__)
    decode = lambda path: io.imread(path)[:, :, :3].astype(np.float32)  # noqa: E731
    print_answer(answer(given, decode=decode, rectify=rectify, segment=segment, measure=measured))


if __name__ == "__main__":
    main()
