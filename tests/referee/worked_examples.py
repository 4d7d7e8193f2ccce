#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The outside measurement against examples that its own libraries document, and against drawn disks.

What is compared with the library must be right itself; a release that changes its meaning is found here first.
"""
import unittest

import numpy as np
from referee_measure import contour_circle, measure_picture
from scipy import ndimage
from skimage import filters, measure

SMALL = np.array([[0, 0, 1, 3, 5], [0, 1, 4, 3, 4], [1, 2, 5, 4, 1], [2, 4, 5, 2, 1], [4, 5, 1, 0, 0]])


def disk(shape, centre, radius, samples=16):
    """Area coverage of a disk, by sub-samples; centre (x, y), pixel centres at whole numbers."""
    offsets = (np.arange(samples) + 0.5) / samples - 0.5
    y, x = np.mgrid[: shape[0], : shape[1]].astype(float)
    cover = np.zeros(shape)
    for dy in offsets:
        for dx in offsets:
            cover += np.hypot(x + dx - centre[0], y + dy - centre[1]) < radius
    return cover / samples**2


class WorkedExamples(unittest.TestCase):
    def test_thresholds(self):
        """scikit-image's own test picture and values (tests/filters/test_thresholding.py), recomputed with 0.19.3."""
        self.assertEqual(filters.threshold_otsu(SMALL), 2)
        self.assertEqual(list(filters.threshold_multiotsu(SMALL, classes=3)), [1, 3])

    def test_multi_otsu(self):
        """scikit-image, test_multiotsu_output: three disks of 64, 128, 192 on 0 give 0, 64, 128."""
        picture = np.zeros((100, 100), int)
        y, x = np.mgrid[:100, :100]
        for centre, value in ((25, 64), (50, 128), (75, 192)):
            picture[(y - centre) ** 2 + (x - centre) ** 2 < 20**2] = value
        self.assertEqual(list(filters.threshold_multiotsu(picture, classes=4)), [0, 64, 128])

    def test_distance_map(self):
        """SciPy's documented example of distance_transform_edt."""
        a = np.array([[0, 1, 1, 1, 1], [0, 0, 1, 1, 1], [0, 1, 1, 1, 1], [0, 1, 1, 1, 0], [0, 1, 1, 0, 0]])
        first, third = ndimage.distance_transform_edt(a)[[0, 2]]
        np.testing.assert_allclose(first, [0, 1, 1.4142, 2.2361, 3], atol=5e-5)
        np.testing.assert_allclose(third, [0, 1, 1.4142, 1.4142, 1], atol=5e-5)

    def test_contour_of_a_disk(self):
        """Disk at (50.3, 49.8), R 20.37, area-sampled: computed 50.2998, 49.7986, 20.3668; 0.01 px is asked."""
        picture = disk((101, 101), (50.3, 49.8), 20.37)
        x, y, radius, _ = contour_circle(picture, (28, 28, 72, 72), 0.5)
        for got, want in ((x, 50.3), (y, 49.8), (radius, 20.37)):
            self.assertLess(abs(got - want), 0.01)

    def test_blur_moves_a_disk_inward(self):
        """The 50 % contour of a disk lies inward by about s^2 / 2R: R 20.37, s 2 gives -0.0999 (computed)."""
        sharp, blurred = (contour_circle(p, (28, 28, 72, 72), 0.5)[2]
                          for p in (disk((101, 101), (50.3, 49.8), 20.37),
                                    ndimage.gaussian_filter(disk((101, 101), (50.3, 49.8), 20.37), 2)))
        self.assertLess(abs(blurred - sharp + 0.0999), 0.002)

    def test_a_drawn_board(self):
        """Void 1, laminate 0.9, copper 0.7: two holes with rings of known radii; the distance map is good to 0.5 px (0.75 asked)."""
        picture = np.full((240, 400), 0.9)
        picture[20:-20, 20:-20] = 0.7
        truth = [(100.3, 120.2, 30.4, 52.0), (290.7, 118.6, 24.7, 41.0)]
        for x, y, bore, ring in truth:
            ringed, open_air = disk(picture.shape, (x, y), ring), disk(picture.shape, (x, y), bore)
            picture = picture * (1 - ringed) + 0.9 * ringed
            picture = picture * (1 - open_air) + open_air
        holes = sorted(measure_picture(picture)["holes"], key=lambda hole: hole["x_px"])
        self.assertEqual(len(holes), 2)
        for hole, (x, y, bore, ring) in zip(holes, truth):
            self.assertLess(np.hypot(hole["x_px"] - x, hole["y_px"] - y), 0.05)
            self.assertLess(abs(hole["radius_px"] - bore), 0.1)
            self.assertLess(abs(hole["keepout_px"] - (ring - bore)), 0.75)
        self.assertEqual(len(measure.find_contours(picture, 0.95)), 2)


if __name__ == "__main__":
    unittest.main()
