#!/usr/bin/env python3
"""Writes scikit-image's coins picture and prints what the gallery's recipe measures in it.

    python3 tests/peers/coins.py --out coins.png        JSON on standard output

Recipe: scikit-image gallery, "Comparing edge-based and region-based segmentation" (plot_coins_segmentation): Sobel elevation, markers below 30
and above 150, watershed, holes filled, labelled. The picture (303 x 384) ships inside the scikit-image package; "no known copyright restrictions".
"""

import argparse
import json

import numpy as np
from scipy import ndimage
from skimage import data, filters, io, measure, segmentation


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", help="write the picture there (PNG)")
    arguments = parser.parse_args()
    coins = data.coins()
    if arguments.out:
        io.imsave(arguments.out, coins, check_contrast=False)
    markers = np.zeros_like(coins)
    markers[coins < 30] = 1
    markers[coins > 150] = 2
    filled = ndimage.binary_fill_holes(segmentation.watershed(filters.sobel(coins), markers) - 1)
    labelled, _ = ndimage.label(filled)
    regions = measure.regionprops(labelled)
    coins_px = sorted((r.equivalent_diameter_area for r in regions if r.area >= 20))
    d = np.array(coins_px)
    print(json.dumps({
        "components": len(regions), "coins": len(d), "area_px": int(sum(r.area for r in regions if r.area >= 20)),
        "diameter_px": {"min": d.min(), "median": float(np.median(d)), "mean": d.mean(), "max": d.max(), "d32": (d**3).sum() / (d**2).sum()},
        "diameters_px": [round(float(v), 4) for v in d],
    }, indent=1))


if __name__ == "__main__":
    main()
