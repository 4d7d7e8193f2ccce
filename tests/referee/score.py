# SPDX-License-Identifier: Apache-2.0
"""Runs the program on referee pictures and prints the accuracy table; exit 1 when a goal is not met.

    score.py PROGRAM FOLDER [--only NAME,..] [--out DIR] [--json FILE] [--records FILE] [--jobs N]

FOLDER holds NAME.tif + NAME.json (make.py, real_layouts.py). Errors in px; bore and its bound are diameters. Goals:
bore RMS 0.05 px bare, 0.08 px plated, centre 0.04 px (2-D), keep-out 0.06 px; where the bound of a hole forbids that,
1.2 x bound (keep-out 1.5 x) counts for it. `load` = RMS of error over RMS of what is allowed: at most 1.
"""
import argparse
import json
import math
import pathlib
import sys
import tempfile

import numpy as np
import tifffile

import compare as c

GOAL = {"bore_bare": 0.05, "bore_plated": 0.08, "centre": 0.04, "keep": 0.06}


def rms(values):
    values = np.asarray([v for v in values if v is not None], float)
    return float(np.sqrt(np.mean(values ** 2))) if len(values) else math.nan


def figure(errors, sigmas, allowed, bound):
    """Bias, RMS, bound, load, coverage of one quantity."""
    errors = np.asarray(errors, float)
    if not len(errors):
        return None
    sigmas = np.asarray([math.nan if s is None else s for s in sigmas], float)
    known = sigmas[~np.isnan(sigmas)]
    return {"n": len(errors), "bias": float(errors.mean()), "rms": rms(errors), "median_abs": float(np.median(np.abs(errors))),
            "worst": float(np.abs(errors).max()), "bound": rms(bound), "load": rms(errors) / rms(allowed),
            "within_2u": float(np.mean(np.abs(errors) <= 2 * sigmas)), "mean_u": float(known.mean()) if len(known) else math.nan}


def regular(records):
    """Matched round holes without damage, wholly seen, that had to be found."""
    return [r for r in records if r.get("perfect") and r["whole"] and r["must"]]


def bore_figures(rows, plated, kind):
    rows = [r for r in rows if r["plated"] == plated and r["kind"] == kind]
    have = [r for r in rows if "bore_error" in r]
    goal = GOAL["bore_plated" if plated else "bore_bare"]
    out = figure([r["bore_error"] for r in have], [r["bore_u"] for r in have],
                 [max(goal, 1.2 * r["bore_bound"]) for r in have], [r["bore_bound"] for r in have])
    if out:
        out["no_value"] = len(rows) - len(have)
    return out


def centre_figures(rows, kind):
    rows = [r for r in rows if r["kind"] == kind]
    out = figure([math.hypot(r["dx"], r["dy"]) for r in rows], [math.nan] * len(rows),
                 [max(GOAL["centre"], 1.2 * r["centre_bound"]) for r in rows], [r["centre_bound"] for r in rows])
    if out:
        inside = [abs(r[k]) <= 2 * r[u] for r in rows for k, u in (("dx", "u_x"), ("dy", "u_y")) if r[u] is not None]
        out["within_2u"] = float(np.mean(inside)) if inside else math.nan
        out["bias"] = float(np.hypot(np.mean([r["dx"] for r in rows]), np.mean([r["dy"] for r in rows])))
    return out


def keep_rows(rows):
    return [r for r in rows if r["kind"] == "hole" and r["state_true"] == "ring_seen" and not r["min_merged"]
            and not r["min_hidden"] and r["keep_true"] is not None]


def keep_figures(rows, narrow, thin=False):
    """thin: of the smallest gaps whose copper is thinner than the program said this picture would show."""
    rows = [r for r in keep_rows(rows) if (r["keep_true"] < 3) == narrow and r["min_thin"] == thin]
    have = [r for r in rows if "keep_error" in r and r["keep_bound"] is not None]
    out = figure([r["keep_error"] for r in have], [r["keep_u"] for r in have],
                 [max(GOAL["keep"], 1.5 * r["keep_bound"]) for r in have], [r["keep_bound"] for r in have])
    if out:
        out["no_value"] = len(rows) - len(have)
    return out


def plating_figures(rows):
    have = [r for r in rows if r["kind"] == "hole" and r["plated"] and "plating_error" in r]
    want = [r for r in rows if r["kind"] == "hole" and r["plated"]]
    if not have:
        return {"n": 0, "no_value": len(want)}
    share = [100 * r["plating_error"] / r["plating_um"] for r in have]
    inside = [abs(e) <= 10 for e in share]
    return {"n": len(have), "no_value": len(want) - len(have), "bias_percent": float(np.mean(share)), "rms_percent": rms(share),
            "worst_percent": float(np.max(np.abs(share))), "within_10_percent": float(np.mean(inside)),
            "within_2u": float(np.mean([abs(r["plating_error"]) <= 2 * r["plating_u"] for r in have])),
            "bound_um": rms([r["plating_bound_um"] for r in have]),
            "rms_integrated_percent": rms([100 * r["integrated_error"] / r["plating_um"] for r in have
                                           if r.get("integrated_error") is not None])}


def confusion(records, true_key, key):
    table = {}
    for r in records:
        if true_key in r:
            pair = f"{r[true_key]} -> {r.get(key)}"
            table[pair] = table.get(pair, 0) + 1
    return dict(sorted(table.items()))


def imperfect_figures(records):
    rows = [r for r in records if "perfect" in r and r["must"] and r["kind"] == "hole" and (not r["perfect"] or not r["whole"])]
    arcs = [r["missing_arc_error"] for r in rows if "missing_arc_error" in r]
    touch = [r["touching_arc_error"] for r in records if "touching_arc_error" in r and r["must"]]
    covered = [abs(r["covered"] - r["covered_true"]) for r in rows if r.get("covered") is not None]
    seen = [abs(r["seen"] - r["seen_true"]) for r in records if r.get("seen") is not None and r["must"]]
    return {"n": len(rows), "contour_rms": rms([r.get("contour_rms") for r in rows]),
            "contour_missing": sum("contour_rms" not in r for r in rows),
            "void_rms": rms([r.get("void_error") for r in rows]), "gap_rms": rms([r.get("gap_rms") for r in rows]),
            "missing_arcs": len(arcs), "missing_arcs_wrong": sum(a is None or a > 15 for a in arcs),
            "touching_arcs": len(touch), "touching_arcs_wrong": sum(a is None or a > 15 for a in touch),
            "covered_worst": max(covered, default=math.nan), "covered_over_0.06": sum(v > 0.06 for v in covered),
            "seen_worst": max(seen, default=math.nan), "seen_over_0.12": sum(v > 0.12 for v in seen),
            "gaps_stated_behind_parts": sum(r.get("gap_hidden_stated", 0) for r in records)}


def shape_figures(records):
    """Circles called out of round, circles left undecided, worn holes not called out of round."""
    rows = [r for r in records if r.get("must") and r.get("shape") is not None and "perfect" in r]
    circles, worn = [r["shape"] for r in rows if r["perfect"]], [r["shape"] for r in rows if not r["perfect"]]
    return {"circles": len(circles), "accused": circles.count("out_of_round"), "undecided": circles.count("undecided"),
            "worn": len(worn), "worn_not_said": len(worn) - worn.count("out_of_round")}


def summary(records, missed, invented, must):
    rows = regular(records)
    holes = [r for r in records if r.get("must") and "wall_true" in r]
    verdicts = [c.touching_verdict(r) for r in holes if r.get("state_true") and r["must"]]
    return {"holes": must, "missed": len(missed), "missed_vias": sum(h["kind"] == "via" for h in missed),
            "invented": len(invented), "invented_vias": sum(f["kind"] == "via" for f in invented),
            "kind": confusion([r for r in records if r["must"]], "kind", "found_kind"),
            "wall_hardware": confusion([r for r in holes if r["kind"] == "hole"], "wall_true", "wall"),
            "wall_via": confusion([r for r in holes if r["kind"] == "via"], "wall_true", "wall"),
            "state": confusion([r for r in holes if "state_true" in r], "state_true", "state"),
            "shape": shape_figures(records),
            "touching": {k: verdicts.count(k) for k in ("ok", "false touching", "missed touching")},
            "bore_bare": bore_figures(rows, False, "hole"), "bore_plated": bore_figures(rows, True, "hole"),
            "bore_via": bore_figures(rows, True, "via"), "centre_hole": centre_figures(rows, "hole"),
            "centre_via": centre_figures(rows, "via"), "keepout": keep_figures(rows, False),
            "keepout_narrow": keep_figures(rows, True), "keepout_thin": keep_figures(rows, False, True), "plating": plating_figures(rows), "imperfect": imperfect_figures(records)}


def show(title, s):
    """One block of the table on the terminal."""
    print(f"\n== {title}: {s['holes']} holes, missed {s['missed']} (vias {s['missed_vias']}), "
          f"invented {s['invented']} (vias {s['invented_vias']})")
    for key in ("kind", "wall_hardware", "wall_via", "state", "touching"):
        print(f"   {key}: " + ", ".join(f"{k}: {v}" for k, v in s[key].items()))
    print("   shape: " + ", ".join(f"{k} {v}" for k, v in s["shape"].items()))
    print("   quantity         n  none    bias     rms   bound    load  med|e|   worst  in 2u    mean u")
    for key in ("bore_bare", "bore_plated", "bore_via", "centre_hole", "centre_via", "keepout", "keepout_narrow", "keepout_thin"):
        f = s[key]
        if f:
            print(f"   {key:14s} {f['n']:4d} {f.get('no_value', 0):5d} {f['bias']:+7.3f} {f['rms']:7.3f} {f['bound']:7.3f} "
                  f"{f['load']:7.2f} {f['median_abs']:7.3f} {f['worst']:7.2f} {f['within_2u']:6.3f} {f['mean_u']:9.4f}")
    print("   plating: " + ", ".join(f"{k} {v:.3g}" for k, v in s["plating"].items()))
    print("   imperfect: " + ", ".join(f"{k} {v:.3g}" for k, v in s["imperfect"].items()))


def failures(records, missed, invented):
    """What went wrong, worst first: (severity, picture, words)."""
    out = [(100, h["picture"], f"missed {h['kind']} {h.get('tags')} at {h['x_px']:.0f},{h['y_px']:.0f}") for h in missed]
    out += [(90, f["picture"], f"invented {f['kind']} {f['id']} at {f['x_px']:.0f},{f['y_px']:.0f}") for f in invented]
    for r in records:
        where = f"{r['id']} {r['kind']} {r['tags']} at {r['x_px']:.0f},{r['y_px']:.0f}"
        add = lambda severity, words: out.append((severity, r["picture"], f"{where}: {words}"))
        if not r["must"]:
            continue
        if r["kind"] != r["found_kind"]:
            add(60, f"kind {r['found_kind']} should be {r['kind']}")
        if "wall_true" in r and r["wall_true"] != r["wall"]:
            add(80 if r["wall"] != "undecided" else 50, f"wall {r['wall']} should be {r['wall_true']} ({r.get('wall_why')})")
        verdict = c.touching_verdict(r) if r.get("state_true") else "ok"
        if verdict not in (None, "ok"):
            add(85, f"{verdict}, keep-out true {r['keep_true']}")
        elif r.get("state_true") and r["state"] != r["state_true"] and not r["state_open"] and verdict == "ok":
            add(40, f"state {r['state']} should be {r['state_true']}")
        if r.get("gap_hidden_stated"):
            add(55, f"{r['gap_hidden_stated']} gaps stated behind a part")
        if r.get("perfect") and r["whole"]:
            bad(r, add)
        elif "perfect" in r and r["kind"] == "hole":
            bad_imperfect(r, add)
    return sorted(out, key=lambda f: -f[0])


def bad(r, add):
    goal = max(GOAL["bore_plated" if r["plated"] else "bore_bare"], 1.2 * r["bore_bound"])
    if "bore_error" not in r:
        add(45, "no bore")
    elif abs(r["bore_error"]) > 4 * goal:
        add(30 + min(20, abs(r["bore_error"]) / goal), f"bore off {r['bore_error']:+.3f} px (bound {r['bore_bound']:.3f}, u {r['bore_u']:.3f})")
    d = math.hypot(r["dx"], r["dy"])
    if d > 4 * max(GOAL["centre"], 1.2 * r["centre_bound"]):
        add(35, f"centre off {d:.3f} px (bound {r['centre_bound']:.3f})")
    if r["kind"] == "hole" and not r["min_thin"] and keep_rows([r]):
        if "keep_error" not in r:
            add(38, f"no keep-out, true {r['keep_true']:.2f} px, state {r['state']}")
        elif r["keep_bound"] and abs(r["keep_error"]) > 4 * max(GOAL["keep"], 1.5 * r["keep_bound"]):
            add(37, f"keep-out off {r['keep_error']:+.2f} px of {r['keep_true']:.2f} (bound {r['keep_bound']:.3f}, u {r['keep_u']:.3f})")
    if r["kind"] == "hole" and "plating_error" in r and abs(r["plating_error"]) > 0.1 * r["plating_um"]:
        add(33, f"plating off {r['plating_error']:+.1f} of {r['plating_um']:.1f} um")


def bad_imperfect(r, add):
    for key, goal in (("contour_rms", 0.6), ("void_error", 0.6), ("gap_rms", 1.0)):
        if r.get(key) is not None and abs(r[key]) > goal:
            add(32, f"{key} {r[key]:+.2f}")
    for key in ("missing_arc_error", "touching_arc_error"):
        if key in r and (r[key] is None or r[key] > 15):
            add(34, f"{key} {r[key]}")
    if r.get("covered") is not None and abs(r["covered"] - r["covered_true"]) > 0.06:
        add(31, f"covered {r['covered']:.2f} should be {r['covered_true']:.2f}")
    if r.get("seen") is not None and abs(r["seen"] - r["seen_true"]) > 0.12:
        add(31, f"seen {r['seen']:.2f} should be {r['seen_true']:.2f}")


def groups(truth):
    """The conditions a picture counts for."""
    bins = lambda v, edges: next(str(e) for e in edges if v <= e)
    return ["all", f"style {truth['name'].split('-')[0]}", f"beam {truth['beam']}", f"photons<={bins(truth['photons'], [2500, 5000, 12000])}",
            f"pixel<={bins(truth['pixel_mm'] * 1000, [23, 27, 99])}um", f"blur<={bins(truth['blur'], [1.1, 1.35, 9])}",
            f"bits {truth['bits']}", f"inverted {truth['inverted']}"]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--only")
    parser.add_argument("--out", type=pathlib.Path)
    parser.add_argument("--json", type=pathlib.Path)
    parser.add_argument("--records", type=pathlib.Path)
    parser.add_argument("--detail", action="store_true", help="a block for every condition")
    parser.add_argument("--reuse", action="store_true", help="score results that lie in --out already")
    parser.add_argument("--worst", type=int, default=60)
    args = parser.parse_args()
    out = args.out or pathlib.Path(tempfile.mkdtemp())
    out.mkdir(parents=True, exist_ok=True)
    tables, everything, lost, extra = {}, [], [], []
    for name in sorted(args.folder.glob("*.tif")):
        if args.only and not any(k in name.stem for k in args.only.split(",")):
            continue
        truth = json.loads(name.with_suffix(".json").read_text())
        target = out / name.stem
        if args.reuse and (target / "results.json").is_file():
            status, seconds, results, message = 0, 0.0, json.loads((target / "results.json").read_text()), ""
        else:
            status, seconds, results, message = c.run(args.program, name, truth, target)
        with tifffile.TiffFile(name) as tif:
            size = tif.pages[0].shape[::-1]
        records, missed, invented, must = c.compare(truth, results, size)
        for r in records + missed + invented:
            r["picture"] = str(name)
        print(f"{name.stem}: exit {status}, {seconds:.1f} s, {must} holes, missed {len(missed)}, invented {len(invented)} {message.strip()[:200]}",
              flush=True)
        everything, lost, extra = everything + records, lost + missed, extra + invented
        for g in groups(truth):
            t = tables.setdefault(g, [[], [], [], 0])
            t[0] += records
            t[1] += missed
            t[2] += invented
            t[3] += must
    summaries = {g: summary(*t) for g, t in sorted(tables.items())}
    for g, s in summaries.items():
        if g == "all" or args.detail:
            show(g, s)
    worst = failures(everything, lost, extra)
    print(f"\n{len(worst)} failures; worst first")
    for severity, picture, words in worst[:args.worst]:
        print(f"  {severity:5.1f} {pathlib.Path(picture).name}: {words}")
    if args.json:
        args.json.write_text(json.dumps(summaries, indent=1))
    if args.records:
        args.records.write_text("\n".join(json.dumps(r) for r in everything))
    sys.exit(1 if worst else 0)


if __name__ == "__main__":
    main()
