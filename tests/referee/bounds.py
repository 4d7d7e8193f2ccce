# SPDX-License-Identifier: Apache-2.0
"""Cramer-Rao bounds in px for what the referee scores, so that an accuracy has a limit to be compared with.

Edges are blurred steps in transmission with noise var T = T/N0 + readout^2; s_e^2 = blur^2 + 1/12 (optics and pixel
area). The profile is that of a straight edge (radius large against the blur); Fisher information is integrated over
the disk and 12 px beyond it.
"""
import math

import numpy as np
from scipy import special


def step(x, s):
    return 0.5 * (1 + special.erf(x / (s * math.sqrt(2))))


def noise(trans, photons, readout):
    return np.clip(trans, 1e-6, None) / photons + readout ** 2


def disk_bound(radius, s, inner, outer, photons, readout, wall=0.0, wall_level=None):
    """(std of the diameter, RMS 2-D centre error, std of the wall) in px of a disk, levels and wall free, blur known.

    radius of the air in px; inner, outer: T of air and of what lies beyond; wall in px with its level T for a barrel.
    """
    x = np.arange(-radius, wall + max(6 * s, 12), 0.05)
    walls = wall > 0 and wall_level is not None
    level = wall_level if walls else outer

    def profile(edge, thickness, a, o):
        f = a + (level if walls else o) * step(x - edge, s) - a * step(x - edge, s)
        return f + (o - level) * step(x - edge - thickness, s) if walls else f

    at = [0.0, wall, inner, outer]
    base = profile(*at)
    grads = []
    for k in ([0, 1, 2, 3] if walls else [0, 2, 3]):
        up = list(at)
        up[k] += 1e-4
        grads.append((profile(*up) - base) / 1e-4)
    weight = 0.05 * 2 * math.pi * (radius + x) / noise(base, photons, readout)
    info = np.array([[(g * h * weight).sum() for h in grads] for g in grads])
    cov = np.linalg.inv(info)
    slope = np.gradient(base, 0.05)
    centre = math.sqrt(2 / (0.5 * (slope ** 2 * weight).sum()))
    return 2 * math.sqrt(cov[0, 0]), centre, math.sqrt(cov[1, 1]) if walls else 0.0


def keepout_bound(radius, gap, s, air, laminate, copper, photons, readout, wall=0.0, wall_level=None, own=None):
    """Std in px of the smallest gap between a hole and a round copper-free ring (radii and offset free)."""
    hole = disk_bound(radius, s, air, own if own is not None else laminate, photons, readout, wall, wall_level)
    ring = disk_bound(radius + wall + gap, s, laminate, copper, photons, readout)
    return math.sqrt((hole[0] / 2) ** 2 + hole[1] ** 2 / 2 + (ring[0] / 2) ** 2 + ring[1] ** 2 / 2 + hole[2] ** 2)
