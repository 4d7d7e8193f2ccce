# SPDX-License-Identifier: Apache-2.0
"""Writes random referee pictures with their truth: NAME.tif, NAME.json and, with --raw, NAME_T.npy (no noise, no heel).

    make.py FOLDER --seed 1 --count 12 [--raw] [--styles plain,worn]
"""
import argparse
import json
import pathlib

import numpy as np
import tifffile

import boards as b
import layouts
from truth import truths


def make_one(folder, name, board, beam, shot, seed, raw=False, label=False):
    """Draws, exposes and writes one board; returns the truth that was written."""
    trans = b.draw(board, beam, shot["blur"])
    rng = np.random.default_rng([seed, 99])
    picture = b.expose(board, trans, shot, rng)
    boxes = layouts.burn_label(picture, rng, 255 if shot["bits"] == 8 else 65535) if label else []
    holes = truths(board)
    truth = {"name": name, "board_mm": board.thickness, "laminate": board.laminate,
             "foils_um": [la.foil_um for la in board.layers], "mean_kev": b.mean_kev(beam), "seed": seed, "label_boxes_px": boxes, **shot,
             "mu_copper_per_cm": float((beam[1] * b.mu_per_cm("copper", beam[0])).sum()),
             "levels": levels(board, beam), "holes": holes}
    tifffile.imwrite(folder / f"{name}.tif", picture, metadata=None)
    (folder / f"{name}.json").write_text(json.dumps(truth))
    if raw:
        np.save(folder / f"{name}_T.npy", trans)
    return truth


def levels(board, beam):
    """Transmissions of the plain materials: laminate, laminate + thinnest foil, barrel."""
    energy, weight = beam

    def level(copper_mm, laminate_mm):
        path = b.mu_per_cm("copper", energy) * copper_mm / 10 + b.mu_per_cm(board.laminate, energy) * laminate_mm / 10
        return float((weight * np.exp(-path)).sum())

    thin = min((la.foil_um for la in board.layers), default=35) / 1000
    return {"laminate": level(0, board.thickness), "thinnest_foil": level(thin, board.thickness),
            "foil_35": level(0.035, board.thickness), "barrel": level(board.thickness, 0)}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--styles", default=",".join(layouts.STYLES))
    parser.add_argument("--raw", action="store_true")
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    styles = args.styles.split(",")
    for k in range(args.count):
        seed, style = args.seed + k, styles[k % len(styles)]
        shot, beam = layouts.random_shot(np.random.default_rng([seed, 55]))
        board = layouts.random_board(seed, style, shot)
        truth = make_one(args.folder, board.name, board, beam, shot, seed, args.raw, style == "label")
        kinds = [h["kind"] for h in truth["holes"]]
        print(f"{board.name}: {board.width_px} x {board.height_px} px, {len(kinds)} holes, {shot['beam']}", flush=True)


if __name__ == "__main__":
    main()
