# SPDX-License-Identifier: Apache-2.0
"""Runs the program on one picture and compares what it says with the truth, hole by hole. Errors in px unless named."""
import json
import math
import shutil
import subprocess
import time

import numpy as np

import bounds


def run(program, picture, truth, out, extra=()):
    """Inspects one picture; returns (exit status, seconds, results or None, stderr)."""
    shutil.rmtree(out, ignore_errors=True)
    foils = truth.get("foils_um") or [35]
    usual = max(set(foils), key=foils.count)
    command = [str(program), "inspect", str(picture), "--pixel-mm", repr(truth["pixel_mm"]), "--radiometry", "linear",
               "--board-mm", repr(truth["board_mm"]), "--foil-um", repr(usual), "--thinnest-foil-um", repr(min(foils)),
               "--out", str(out), "--quiet", *extra]
    begin = time.monotonic()
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=600)
        status, message = done.returncode, done.stderr
    except subprocess.TimeoutExpired:
        status, message = "hang", ""
    seconds = time.monotonic() - begin
    name = out / "results.json"
    results = json.loads(name.read_text()) if name.is_file() else None
    return status, seconds, results, message


def value(estimate):
    return None if estimate is None or estimate.get("value") is None else float(estimate["value"])


def sigma(estimate):
    return float("nan") if estimate is None or estimate.get("u") is None else float(estimate["u"])


def optional(truth, hole, size):
    """Holes the picture does not show whole: cut by the field, by the board's edge, by a label or mostly hidden."""
    r = hole["drill_mm"] / 2 / truth["pixel_mm"]
    x, y = hole["x_px"], hole["y_px"]
    if not (r + 4 < x < size[0] - r - 5 and r + 4 < y < size[1] - r - 5):
        return True
    if hole["kind"] in ("hole", "via") and (not hole["on_board"] or hole["seen_fraction"] < 0.5):
        return True
    for x0, y0, x1, y1 in truth.get("label_boxes_px", []):
        if x0 - r - 3 < x < x1 + r + 3 and y0 - r - 3 < y < y1 + r + 3:
            return True
    return False


def match(truth, found):
    """Pairs (truth index, found index), nearest first, within 0.6 of the drill radius (at least 5 px)."""
    candidates = []
    for i, hole in enumerate(truth["holes"]):
        reach = max(5.0, 0.6 * hole["drill_mm"] / 2 / truth["pixel_mm"])
        if hole["kind"] == "slot":
            reach = 0.5 * hole["length_mm"] / truth["pixel_mm"]
        for j, f in enumerate(found):
            d = math.hypot(f["x_px"] - hole["x_px"], f["y_px"] - hole["y_px"])
            if d < reach:
                candidates.append((d, i, j))
    used_i, used_j, pairs = set(), set(), []
    for _, i, j in sorted(candidates):
        if i not in used_i and j not in used_j:
            used_i.add(i)
            used_j.add(j)
            pairs.append((i, j))
    return pairs


def hole_bounds(truth, hole):
    """(bore, centre, keep-out) bounds in px of a perfect hole; None where not defined."""
    p, lv = truth["pixel_mm"], truth["levels"]
    s = math.sqrt(truth["blur"] ** 2 + 1 / 12)
    radius = hole["bore_mm"] / 2 / p
    wall = hole["plating_um"] / 1000 / p
    heel = 1 - truth["heel"] / 2
    n0 = truth["photons"] * heel
    args = (n0, truth["readout"])
    bore, centre, wall_std = bounds.disk_bound(radius, s, 1.0, lv["laminate"], *args, wall, lv["barrel"] if wall else None)
    keep = None
    um = hole.get("min_copper_um", min(truth["foils_um"]))
    if hole.get("keepout_mm") is not None and um > 0:
        copper = lv["laminate"] * (lv["foil_35"] / lv["laminate"]) ** (um / 35)
        keep = bounds.keepout_bound(radius, hole["keepout_mm"] / p, s, 1.0, lv["laminate"], copper, *args, wall,
                                    lv["barrel"] if wall else None)
    return bore, centre, keep, wall_std * p * 1000


def arc_error(found, wanted):
    """Largest error of arc ends in degrees when the arcs pair up; None when their number differs."""
    if len(found) != len(wanted):
        return None
    worst = 0.0
    for begin, end in wanted:
        if (begin, end) == (0.0, 360.0):
            continue
        best = min((max(abs((a - begin + 180) % 360 - 180), abs((z - end + 180) % 360 - 180)) for a, z in found), default=360.0)
        worst = max(worst, best)
    return worst


def merge_arcs(arcs, bridge_deg=12.0):
    """Arcs with gaps under `bridge_deg` joined, arcs under 4 degrees left out (noise of either side)."""
    flags = np.zeros(360, bool)
    for begin, end in arcs:
        n = 360 if (begin, end) == (0.0, 360.0) else int(round((end - begin) % 360)) + 1
        flags[(int(round(begin)) + np.arange(n)) % 360] = True
    return flags_to_arcs(flags, bridge_deg)


def flags_to_arcs(flags, bridge_deg):
    if flags.all() or not flags.any():
        return [[0.0, 360.0]] if flags.all() else []
    start = int(np.flatnonzero(~flags)[0])
    runs, begin = [], None
    for k in range(361):
        i = (start + k) % 360
        if flags[i] and begin is None:
            begin = start + k
        if not flags[i] and begin is not None:
            runs.append([begin, start + k - 1])
            begin = None
    joined = []
    for run_ in runs:
        if joined and run_[0] - joined[-1][1] <= bridge_deg:
            joined[-1][1] = run_[1]
        else:
            joined.append(run_)
    if len(joined) > 1 and joined[0][0] + 360 - joined[-1][1] <= bridge_deg:
        joined[0][0] = joined.pop()[0] - 360
    return [[a % 360, z % 360] for a, z in joined if z - a >= 4]


def profile_errors(truth, hole, found):
    """RMS and median error of the gap profile in px, values stated behind parts, misses, over the comparable angles."""
    p = truth["pixel_mm"]
    profile = found["keepout"].get("profile") or []
    out = {"gap_hidden_stated": 0, "gap_angles": 0, "gap_missing": 0}
    if len(profile) != 360:
        return out
    errors = []
    hidden = np.array(hole["gap_hidden"])
    inner = hidden & np.roll(hidden, 4) & np.roll(hidden, -4)
    near_hidden = hidden | np.roll(hidden, 4) | np.roll(hidden, -4)
    gaps = [math.nan if g is None else g / p for g in hole["gap_mm"]]
    for k in range(360):
        got = profile[k].get("gap_px")
        if inner[k]:
            out["gap_hidden_stated"] += got is not None
            continue
        jump = any(not abs(gaps[(k + d) % 360] - gaps[k]) < 3 for d in (-3, 3))  # a step: angle error, not gap error
        if near_hidden[k] or jump or math.isnan(gaps[k]) or hole["gap_merged"][k]:
            continue
        out["gap_angles"] += 1
        if got is None:
            out["gap_missing"] += 1
            continue
        errors.append(got - gaps[k])
    if errors:
        out["gap_rms"] = float(np.sqrt(np.mean(np.square(errors))))
        out["gap_bias"] = float(np.median(errors))
    return out


def contour_errors(truth, hole, found):
    """RMS error of the contour about the true centre, in px, on the directions stated."""
    contour = found.get("contour") or []
    if len(contour) < 30:
        return {}
    angle = np.radians([c["angle_deg"] for c in contour])
    radius = np.array([c["radius_px"] for c in contour])
    x = found["x_px"] + radius * np.cos(angle) - hole["x_px"]
    y = found["y_px"] - radius * np.sin(angle) - hole["y_px"]
    at = np.degrees(np.arctan2(-y, x)) % 360
    true = np.interp(at, np.arange(361), np.append(hole["contour_px"], hole["contour_px"][0]))
    error = np.hypot(x, y) - true
    return {"contour_rms": float(np.sqrt(np.mean(error ** 2))), "contour_worst": float(np.abs(error).max())}


def one_hole(truth, hole, found):
    """A flat record of one matched hole."""
    p = truth["pixel_mm"]
    rec = {"kind": hole["kind"], "found_kind": found["kind"], "x_px": hole["x_px"], "y_px": hole["y_px"], "id": found["id"],
           "tags": hole["tags"]}
    if hole["kind"] in ("slot", "filled"):
        return rec
    rec.update(perfect=hole["perfect"], plated=hole["plating_um"] > 0, seen_true=hole["seen_fraction"],
               whole=hole["seen_fraction"] == 1 and hole["on_board"], wall_true=hole["wall"],
               wall=(found.get("wall") or {}).get("state"), wall_why=(found.get("wall") or {}).get("why"))
    rec["bore_bound"], rec["centre_bound"], rec["keep_bound"], rec["plating_bound_um"] = hole_bounds(truth, hole)
    bore = value(found.get("bore_px"))
    if bore is not None:
        rec["bore_error"], rec["bore_u"] = bore - hole["bore_mm"] / p, sigma(found["bore_px"])
    cx, cy = hole["fit_centre_px"]
    rec["dx"], rec["dy"] = found["x_px"] - cx, found["y_px"] - cy
    rec["u_x"], rec["u_y"] = found.get("u_x_px"), found.get("u_y_px")
    wall = found.get("wall") or {}
    thick = value(wall.get("thickness_um"))
    if hole["plating_um"] > 0 and thick is not None:
        rec["plating_error"], rec["plating_u"] = thick - hole["plating_um"], sigma(wall["thickness_um"])
        rec["plating_um"] = hole["plating_um"]
        integrated = value(wall.get("copper_um_integrated"))
        rec["integrated_error"] = None if integrated is None else integrated - hole["plating_um"]
    rec["covered_true"], rec["covered"] = hole["covered_fraction"], wall.get("covered_fraction")
    rec["seen"] = found.get("seen_fraction")
    rec["shape"] = (found.get("shape") or {}).get("state")
    void = value(found.get("furthest_void_mm"))
    rec["void_error"] = None if void is None else (void - hole["furthest_void_mm"]) / p
    rec.update(contour_errors(truth, hole, found))
    if hole["wall"] == "incomplete":
        rec["missing_arc_error"] = arc_error(merge_arcs(wall.get("missing_arcs_deg") or []), merge_arcs(hole["missing_arcs_deg"]))
    if hole["kind"] == "hole":
        ring(truth, hole, found, rec)
    return rec


def ring(truth, hole, found, rec):
    p = truth["pixel_mm"]
    keep = found.get("keepout") or {}
    rec.update(state_true=hole["state"], state=keep.get("state"), state_open=hole["state_open"],
               keep_true=None if hole["keepout_mm"] is None else hole["keepout_mm"] / p, min_copper_um=hole.get("min_copper_um"),
               min_merged=hole.get("min_merged"), min_hidden=hole.get("min_hidden"))
    got = value(keep.get("min_px"))
    if got is not None and rec["keep_true"] is not None:
        rec["keep_error"], rec["keep_u"] = got - rec["keep_true"], sigma(keep["min_px"])
    largest = keep.get("largest_gap_not_excluded_mm")
    rec["not_excluded"] = None if largest is None else largest / p
    if hole["touching"] and keep.get("state") == "touching":
        rec["touching_arc_error"] = arc_error(merge_arcs(keep.get("touching_arcs_deg") or []), merge_arcs(hole["touching_arcs_deg"]))
    if keep:
        rec.update(profile_errors(truth, hole, found))


def touching_verdict(rec):
    """"ok", "false touching", "missed touching" or None (not scored: narrower than the picture can tell)."""
    if rec.get("state") is None or rec["plated"] or rec["wall_true"] != "bare":
        return None
    if rec["state_true"] == "touching":
        return "ok" if rec["state"] == "touching" else "missed touching"
    if rec["state"] != "touching":
        return "ok"
    if rec["keep_true"] is not None and rec["not_excluded"] is not None and rec["keep_true"] <= rec["not_excluded"]:
        return None
    return "false touching"


def compare(truth, results, size):
    """Records of the matched holes, the missed and the invented."""
    found = results["holes"] if results else []
    pairs = match(truth, found)
    must = [not optional(truth, h, size) for h in truth["holes"]]
    records = []
    for i, j in pairs:
        rec = one_hole(truth, truth["holes"][i], found[j])
        rec["must"] = must[i]
        shown = results["sources"][0].get("smallest_foil_seen_um")
        # Foil too thin to see is to be reported, not measured: such a smallest gap is not in question.
        rec["min_thin"] = shown is not None and rec.get("min_copper_um") is not None and rec["min_copper_um"] < shown
        records.append(rec)
    hit_i, hit_j = {i for i, _ in pairs}, {j for _, j in pairs}
    missed = [h for i, h in enumerate(truth["holes"]) if i not in hit_i and must[i]]
    invented = [f for j, f in enumerate(found) if j not in hit_j and not near_optional(truth, f, must)]
    return records, missed, invented, sum(must)


def near_optional(truth, found, must):
    """An extra find that lies on a hole which need not be found is not invented."""
    for hole, needed in zip(truth["holes"], must):
        r = hole["drill_mm"] / 2 / truth["pixel_mm"] + 3
        if not needed and math.hypot(found["x_px"] - hole["x_px"], found["y_px"] - hole["y_px"]) < r:
            return True
    return False
