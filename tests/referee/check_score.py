# SPDX-License-Identifier: Apache-2.0
"""Checks the scorer with answers made from the truth and errors of known size: the table must give them back.

    check_score.py FOLDER     (pictures and truth of make.py)
"""
import json
import pathlib
import sys

import numpy as np
import tifffile

import compare as c
import score


def answer(truth, rng, bore_px, centre_px, keep_px):
    """results.json as a perfect program with these errors (k = 1) would write it."""
    p, holes = truth["pixel_mm"], []
    for k, h in enumerate(truth["holes"]):
        cx, cy = h.get("fit_centre_px", [h["x_px"], h["y_px"]])
        f = {"id": f"H{k + 1}", "kind": h["kind"], "x_px": cx + rng.normal(0, centre_px), "y_px": cy + rng.normal(0, centre_px),
             "u_x_px": centre_px, "u_y_px": centre_px}
        if "bore_mm" in h:
            f["bore_px"] = {"value": h["bore_mm"] / p + rng.normal(0, bore_px), "u": bore_px}
            f["wall"] = {"state": h["wall"], "covered_fraction": h["covered_fraction"], "missing_arcs_deg": h["missing_arcs_deg"],
                         "thickness_um": {"value": h["plating_um"] * 1.02, "u": 1.0}}
            f["seen_fraction"] = h["seen_fraction"]
            f["furthest_void_mm"] = {"value": h["furthest_void_mm"], "u": 0.01}
            f["contour"] = [{"angle_deg": a, "radius_px": r} for a, r in enumerate(h["contour_px"])]
        if "state" in h:
            keep = None if h["keepout_mm"] is None else h["keepout_mm"] / p + rng.normal(0, keep_px)
            f["keepout"] = {"state": h["state"], "min_px": {"value": keep, "u": keep_px}, "touching_arcs_deg": h["touching_arcs_deg"],
                            "profile": [{"gap_px": None if g is None or hid else g / p} for g, hid in zip(h["gap_mm"], h["gap_hidden"])]}
        holes.append(f)
    return {"holes": holes}


def main():
    rng = np.random.default_rng(5)
    rows, missed, invented, must = [], [], [], 0
    for name in sorted(pathlib.Path(sys.argv[1]).glob("*.tif")):
        truth = json.loads(name.with_suffix(".json").read_text())
        size = tifffile.TiffFile(name).pages[0].shape[::-1]
        r, m, i, n = c.compare(truth, answer(truth, rng, 0.03, 0.02, 0.05), size)
        rows, missed, invented, must = rows + r, missed + m, invented + i, must + n
    s = score.summary(rows, missed, invented, must)
    score.show("made-up answers", s)
    ok = s["missed"] == 0 and s["invented"] == 0
    for key, want in (("bore_bare", 0.03), ("bore_plated", 0.03), ("keepout", 0.05), ("centre_hole", 0.02 * 2 ** 0.5)):
        got = s[key]["rms"]
        good = abs(got / want - 1) < 4 / (2 * s[key]["n"]) ** 0.5
        ok &= good and s[key]["within_2u"] > 0.85
        print(f"{'ok  ' if good else 'FAIL'} {key}: RMS {got:.4f}, put in {want:.4f}")
    imperfect = s["imperfect"]
    ok &= imperfect["contour_rms"] < 0.15 and imperfect["missing_arcs_wrong"] == 0 and imperfect["gap_rms"] < 0.05
    wrong = [k for k in list(s["wall_hardware"]) + list(s["kind"]) + list(s["state"]) if len(set(k.split(" -> "))) > 1]
    print("confusions:", wrong)
    sys.exit(0 if ok and not wrong else 1)


if __name__ == "__main__":
    main()
