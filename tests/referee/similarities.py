#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The library's similarity fit against scikit-image (Umeyama's closed form) and SciPy (iterated, weighted) on the same points.

    similarities.py PROGRAM

PROGRAM reads lines "mirrored x y u v weight ..." and answers each with "a_x a_y b_x b_y" (our_similarity.cpp).
"""
import subprocess
import sys
import unittest

import numpy as np
from scipy.optimize import least_squares
from skimage.transform import SimilarityTransform

PROGRAM = sys.argv.pop()


def ask(cases):
    lines = []
    for mirrored, old, revised, weight in cases:
        table = np.column_stack([old, revised, weight])
        lines.append(f"{int(mirrored)} " + " ".join(f"{v:.17g}" for v in table.ravel()))
    run = subprocess.run([PROGRAM], input="\n".join(lines) + "\n", capture_output=True, text=True, check=True)
    return [np.array([float(word) for word in line.split()]) for line in run.stdout.splitlines()]


def drawn(random, weighted):
    """Points of a board and where a noisy revision has them: (mirrored, old, revised, weight)."""
    n = random.integers(3, 60)
    mirrored = bool(random.integers(0, 2))
    old = random.uniform(-500, 4000, (n, 2))
    angle, scale = random.uniform(0, 2 * np.pi), random.uniform(0.5, 2)
    flipped = old * [1, -1] if mirrored else old
    turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    u = random.uniform(0.02, 0.5, n) if weighted else np.ones(n)
    revised = flipped @ turn.T + random.uniform(-3000, 3000, 2) + random.normal(0, 1, (n, 2)) * u[:, None]
    return mirrored, old, revised, 1 / u**2


class Similarities(unittest.TestCase):
    def setUp(self):
        self.random = np.random.Generator(np.random.PCG64(612))

    def test_equal_weights_against_scikit_image(self):
        cases = [drawn(self.random, False) for _ in range(200)]
        for (mirrored, old, revised, _), got in zip(cases, ask(cases)):
            transform = SimilarityTransform()
            self.assertTrue(transform.estimate(old * [1, -1] if mirrored else old, revised))
            want = transform.params
            # Noise of 1 px on coordinates of 1e3: both are exact to rounding, 1e3 * 2^-52 * a condition of 1e3.
            np.testing.assert_allclose(got[:2], [want[0, 0], want[1, 0]], atol=1e-11)
            np.testing.assert_allclose(got[2:], want[:2, 2], atol=1e-7)

    def test_weights_against_scipy(self):
        cases = [drawn(self.random, True) for _ in range(60)]
        for (mirrored, old, revised, weight), got in zip(cases, ask(cases)):
            flipped = old * [1, -1] if mirrored else old
            middle = flipped.mean(0)

            def residuals(p):
                x, y = (flipped - middle).T
                mapped = np.column_stack([p[0] * x - p[1] * y + p[2], p[1] * x + p[0] * y + p[3]])
                return ((mapped - revised) * np.sqrt(weight)[:, None]).ravel()

            fit = least_squares(residuals, [1, 0, *revised.mean(0)], x_scale=[1e-3, 1e-3, 1, 1], xtol=1e-15, ftol=1e-15, gtol=1e-15)
            shift = fit.x[2:] - np.array([fit.x[0] * middle[0] - fit.x[1] * middle[1], fit.x[1] * middle[0] + fit.x[0] * middle[1]])
            # The iteration stops where the cost no longer falls in double precision: the root of 2^-52 of the noise's share.
            np.testing.assert_allclose(got[:2], fit.x[:2], atol=1e-8)
            np.testing.assert_allclose(got[2:], shift, atol=1e-4)


if __name__ == "__main__":
    unittest.main()
