# SPDX-License-Identifier: Apache-2.0
"""Checks the referee's own drawing on fine noise-free pictures before anybody trusts its truth.

Areas of air, laminate and plating are integrated from transmission (free of blur) and compared with the geometry;
edges are placed by the second radial moment. Exits 1 on the first figure out of tolerance.
"""
import math
import sys

import numpy as np

import boards as b
from truth import truths


def deficit_radius(trans, inside, outside, cx, cy, within_px):
    """Radius of a disk at level `inside` in a plain at `outside`, from the integral of T: blur keeps integrals."""
    y, x = np.mgrid[:trans.shape[0], :trans.shape[1]]
    disk = np.hypot(x - cx, y - cy) < within_px
    # a soft integration border would be needed if T were not flat there; it is
    return math.sqrt((trans[disk] - outside).sum() / (inside - outside) / math.pi)


def check(name, got, want, tolerance):
    ok = abs(got - want) <= tolerance
    print(f"{'ok  ' if ok else 'FAIL'} {name}: {got:.5f}, expected {want:.5f} +/- {tolerance}")
    return ok


def main():
    ok = True
    p = 0.025
    for beam_name, beam in (("60 keV", b.lines((60, 1))), ("tube 100 kV", b.tube(100)), ("40 keV", b.lines((40, 1)))):
        for blur in (0.8, 1.6):
            board = b.Board("bare", 240, 240, p)
            board.drills = [b.Drill(120.37 * p, 119.81 * p, 3.2)]
            t = b.draw(board, beam, blur)
            lam = float((beam[1] * np.exp(-b.mu_per_cm("plain", beam[0]) * 0.16)).sum())
            ok &= check(f"bare bore px, {beam_name}, blur {blur}", 2 * deficit_radius(t, 1, lam, 120.37, 119.81, 90), 128, 0.01)
            y, x = np.mgrid[:240, :240]
            w = (t - lam) * (np.hypot(x - 120.37, y - 119.81) < 90)
            ok &= check("  centre x", float((w * x).sum() / w.sum()), 120.37, 0.005)
            ok &= check("  centre y", float((w * y).sum() / w.sum()), 119.81, 0.005)
            # plating: same hole, plated; the difference of integrals gives the ring's area
            plated = b.Board("plated", 240, 240, p)
            plated.drills = [b.Drill(120.37 * p, 119.81 * p, 3.2, 25)]
            tp = b.draw(plated, beam, blur)
            cu = float((beam[1] * np.exp(-b.mu_per_cm("copper", beam[0]) * 0.16)).sum())
            area = float((t - tp).sum(dtype=np.float64)) / (1 - cu) * p * p
            wall = 1.6 - math.sqrt(1.6 ** 2 - area / math.pi)
            ok &= check("  plating um", wall * 1000, 25, 0.1)
            # antipad: plane of 35 um with a clearance circle
            plane = b.Board("plane", 240, 240, p)
            plane.layers = [b.Layer(35, poured=True)]
            plane.layers[0].cut(b.Circle(120.1 * p, 120.2 * p, 2.0))
            tq = b.draw(plane, beam, blur)
            foil = float((beam[1] * np.exp(-b.mu_per_cm("plain", beam[0]) * 0.16 - b.mu_per_cm("copper", beam[0]) * 0.0035)).sum())
            ok &= check("  antipad radius px", deficit_radius(tq, lam, foil, 120.1, 120.2, 100), 80, 0.01)
            # a straight upright edge at a sub-pixel place
            edge = b.Board("edge", 100, 40, p)
            edge.layers = [b.Layer(35)]
            edge.layers[0].add(b.Polygon([(-9, -9), (40.33 * p, -9), (40.33 * p, 9), (-9, 9)]))
            te = b.draw(edge, beam, blur)
            where = float((lam - te[20]).sum() / (lam - foil)) - 0.5
            ok &= check("  straight edge px", where, 40.33, 0.005)
    # gap truth: eccentric ring
    board = b.Board("ring", 240, 240, p)
    board.layers = [b.Layer(35, poured=True)]
    board.layers[0].cut(b.Circle(120 * p + 0.2, 120 * p, 2.0))
    board.drills = [b.Drill(120 * p, 120 * p, 3.2)]
    truth = truths(board)[0]
    ok &= check("eccentric keep-out mm", truth["keepout_mm"], 0.2, 2e-4)
    ok &= check("  at angle", truth["min_angle_deg"], 180, 0.3)
    ok &= check("  widest", truth["gap_mm"][0], 0.6, 2e-4)
    sys.exit(0 if ok else 1)


if __name__ == "__main__":
    main()
