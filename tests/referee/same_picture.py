#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The program and scikit-image measure the same pictures: those of the demo.

    same_picture.py PROGRAM FOLDER     the demo is drawn and measured in FOLDER

Bare, round, unhidden holes with room round them are compared: centre and bore by a sub-pixel contour at the local 50 %
level and a geometric circle fit, the keep-out by an exact distance map. The referee takes one thing over from the program,
the blur, because a contour alone cannot know it: a blurred disk's 50 % contour lies inward by s^2 / 2R.
"""
import json
import pathlib
import subprocess
import sys
import unittest

import numpy as np
from referee_measure import contour_circle
from scipy import ndimage
from skimage import filters, io

FOLDER, PROGRAM = pathlib.Path(sys.argv.pop()), sys.argv.pop()
ROOM_PX = 8  # of bare laminate round a hole, so that its level can be read beside the blur
# A circle through some 200 contour points of sigma below 0.3 px is good to 0.03 px; level and blur add as much.
CENTRE_PX, BORE_PX = 0.06, 0.12
KEEPOUT_PX = 0.75  # the distance map knows pixel centres: 0 to 1 px behind the copper's edge, half a pixel taken off


def comparable(hole):
    gap = hole["keepout"]["min_px"]["value"]
    return (hole["kind"] == "hole" and hole["wall"]["state"] == "bare" and hole["shape"]["state"] == "round"
            and hole["seen_fraction"] > 0.99 and hole["bore_px"]["value"] is not None and gap is not None and gap > ROOM_PX)


def ring_values(picture, x, y, inner, outer):
    rows, columns = np.indices(picture.shape)
    distance = np.hypot(columns - x, rows - y)
    return picture[(distance >= inner) & (distance < outer)]


def measure_hole(picture, hole, blur_px):
    """(x, y, bore, keep-out) by scikit-image and SciPy alone, in px of `picture`."""
    x, y, radius = hole["x_px"], hole["y_px"], hole["bore_px"]["value"] / 2
    reach = int(radius + hole["keepout"]["min_px"]["value"] + 25)
    left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
    window = picture[top:int(y) + reach, left:int(x) + reach].astype(float)
    x, y = x - left, y - top
    air = np.median(ring_values(window, x, y, 0, 0.6 * radius))
    laminate = np.median(ring_values(window, x, y, radius + 3, radius + ROOM_PX - 2))
    side = radius + 2
    fit_x, fit_y, fit_radius, _ = contour_circle(window, (int(y - side), int(x - side), int(y + side), int(x + side)),
                                                 0.5 * (air + laminate))
    smooth = ndimage.gaussian_filter(window, 1.0)
    beyond = ring_values(smooth, x, y, radius + 3, reach)
    copper = (smooth < filters.threshold_otsu(beyond)) & (np.hypot(*(np.indices(window.shape).T - (y, x)).T) > radius + 3)
    turn = np.radians(np.arange(720) / 2)
    true_radius = np.hypot(fit_radius, blur_px)
    rim = [fit_y + true_radius * np.sin(turn), fit_x + true_radius * np.cos(turn)]
    keepout = ndimage.map_coordinates(ndimage.distance_transform_edt(~copper), rim, order=1).min() - 0.5
    return fit_x + left, fit_y + top, 2 * true_radius, keepout


class SamePicture(unittest.TestCase):
    def compare(self, picture_file):
        results = picture_file.with_suffix(".ringwall")
        subprocess.run([PROGRAM, "inspect", picture_file, "--out", results, "--quiet"], check=True, stdout=subprocess.DEVNULL)
        record = json.loads((results / "results.json").read_text())
        picture = io.imread(picture_file, as_gray=True)
        if record["sources"][0]["dense"] == "bright":
            picture = picture.max() - picture.astype(float)
        compared = 0
        for hole in filter(comparable, record["holes"]):
            compared += 1
            with self.subTest(picture=picture_file.name, hole=hole["id"]):
                x, y, bore, keepout = measure_hole(picture, hole, record["sources"][0]["blur_sigma_px"]["value"])
                print(f"{picture_file.name} {hole['id']}: centre {np.hypot(x - hole['x_px'], y - hole['y_px']):.3f}, bore "
                      f"{hole['bore_px']['value'] - bore:+.3f}, keep-out {hole['keepout']['min_px']['value'] - keepout:+.2f} px")
                self.assertLess(np.hypot(x - hole["x_px"], y - hole["y_px"]), CENTRE_PX)
                self.assertLess(abs(bore - hole["bore_px"]["value"]), BORE_PX)
                self.assertLess(abs(keepout - hole["keepout"]["min_px"]["value"]), KEEPOUT_PX)
        return compared

    def test_demo(self):
        FOLDER.mkdir(parents=True, exist_ok=True)
        subprocess.run([PROGRAM, "demo", FOLDER / "demo"], check=True, stdout=subprocess.DEVNULL)
        pictures = sorted((FOLDER / "demo").glob("*/face.tiff"))
        self.assertTrue(pictures)
        self.assertGreaterEqual(sum(self.compare(picture) for picture in pictures), 2, "too few holes to compare")


if __name__ == "__main__":
    unittest.main()
