# SPDX-License-Identifier: Apache-2.0
"""Real board layouts as referee pictures: copper from Gerber layers (drawn by gerbv), holes from Excellon drill files.

    real_layouts.py FOLDER --board NAME [--crop X,Y,W,H] [--seed N] [--pixel-mm 0.025]

The layouts live outside the project: folder `boards` under the environment variable RINGWALL_REAL_DATA. Crop in mm from
the outline's upper left corner. Plated holes are drilled larger than the file says by twice the plating (files give the
finished size, common practice, no source). Lengths in mm, x right, y down.
"""
import argparse
import os
import pathlib
import re
import subprocess
import tempfile

import numpy as np
from PIL import Image

import boards as b
import layouts
import make

Image.MAX_IMAGE_PIXELS = None
INCH = 25.4
LAYERS = [("F_Cu", "F.Cu", "L1"), ("In1", "L2"), ("In2", "L3"), ("B_Cu", "B.Cu", "L4")]
FINE = 8  # raster points a pixel and axis


def data_folder():
    """Folder of the layouts, or None."""
    root = os.environ.get("RINGWALL_REAL_DATA")
    folder = pathlib.Path(root) / "boards" if root else None
    return folder if folder and folder.is_dir() else None


def layer_files(folder):
    found = []
    for keys in LAYERS:
        hits = [f for f in sorted(folder.iterdir()) if any(k in f.name for k in keys) and f.suffix not in (".drl", ".md")]
        found.append(hits[0])
    return found


def outline_box(folder):
    """Bounding box of the board's outline, mm, y up as in the file."""
    name = [f for f in folder.iterdir() if "Edge" in f.name][0]
    text = name.read_text()
    scale = 1e-6 if "%MOMM*%" in text else INCH * 1e-6
    points = np.array([(float(m[1]), float(m[2])) for m in re.finditer(r"X(-?\d+)Y(-?\d+)D0[12]", text)]) * scale
    return *points.min(0), *points.max(0)


def number(text, decimals):
    """A coordinate of a drill file: with its point, or (leading zeros kept) 2 digits before and 4 behind."""
    if "." in text or not decimals:
        return float(text)
    sign = -1 if text.startswith("-") else 1
    return sign * float(text.lstrip("+-").ljust(6, "0")) / 1e4


def read_drills(folder):
    """[(x_mm, y_mm, diameter_mm, plated, end or None)], y up."""
    holes = []
    for name in sorted(folder.glob("*.drl")):
        lines_ = name.read_text().splitlines()
        no_point = any(s.startswith("INCH,LZ") for s in lines_)
        unit = 1.0 if any(s.startswith("METRIC") for s in lines_) else INCH
        tools, diameter, start = {}, 0.0, None
        for s in lines_:
            tool = re.match(r"T(\d+)C([\d.]+)", s)
            pick = re.match(r"T(\d+)$", s)
            at = re.match(r"(G0[01])?X([-+.\d]+)Y([-+.\d]+)", s)
            if tool:
                tools[tool[1]] = float(tool[2]) * unit
            elif pick:
                diameter = tools.get(pick[1], 0.0)
            elif at:
                xy = tuple(number(v, no_point) * unit for v in (at[2], at[3]))
                if at[1] == "G00":
                    start = xy
                elif at[1] == "G01":
                    holes.append((*start, diameter, True, xy))
                else:
                    bare = "NPTH" in name.name or (no_point and abs(diameter - 0.0669 * INCH) < 1e-3)
                    holes.append((*xy, diameter, not bare, None))
    return holes


def draw_window(name, x0, y0, cols, rows, pitch):
    """Copper of a Gerber file as a picture of cols x rows points; lower left corner (x0, y0) in mm, y up."""
    with tempfile.TemporaryDirectory() as tmp:
        out = pathlib.Path(tmp) / "layer.png"
        subprocess.run(["gerbv", "-x", "png", "-D", f"{INCH / pitch:.6f}", "-O", f"{x0 / INCH:.6f}x{y0 / INCH:.6f}",
                        "-w", f"{cols}x{rows}", "-b", "#000000", "-f", "#ffffff", "-B", "0",
                        "-o", str(out), str(name)], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        return np.asarray(Image.open(out).convert("L")) > 127


def draw_layer(name, left, top, cols, rows, pitch, tile=2000):
    """The same from the upper left corner, put together from tiles: the drawing program has a largest window."""
    copper = np.zeros((rows, cols), bool)
    for r in range(0, rows, tile):
        for c in range(0, cols, tile):
            h, w = min(tile, rows - r), min(tile, cols - c)
            copper[r:r + h, c:c + w] = draw_window(name, left + c * pitch, top - (r + h) * pitch, w, h, pitch)
    return copper


def load(folder, pixel_mm, crop, thickness=1.6, foils=(45, 35, 35, 45), plating_um=25, rng=None):
    """A Board cut out of a real layout."""
    x_lo, y_lo, x_hi, y_hi = outline_box(folder)
    cx, cy, w, h = crop or (0, 0, x_hi - x_lo, y_hi - y_lo)
    w_px, h_px = int(round(w / pixel_mm)), int(round(h / pixel_mm))
    w, h = w_px * pixel_mm, h_px * pixel_mm
    left, top = x_lo + cx, y_hi - cy
    board = b.Board(folder.name, w_px, h_px, pixel_mm, thickness)
    half = 0.5 * pixel_mm  # field's upper left corner is at (-half, -half)
    board.outline = b.rectangle((x_lo + x_hi) / 2 - left - half, top - (y_lo + y_hi) / 2 - half, x_hi - x_lo, y_hi - y_lo)
    pitch = pixel_mm / FINE
    for foil, name in zip(foils, layer_files(folder)):
        copper = draw_layer(name, left, top, w_px * FINE, h_px * FINE, pitch)
        board.layers.append(b.RasterLayer(foil, copper, pitch, -half + pitch / 2, -half + pitch / 2))
    for x, y, diameter, plated, end in read_drills(folder):
        px, py = x - left - half, top - y - half
        if not (-1 < px < w + 1 and -1 < py < h + 1):
            continue
        drill = diameter + (2 * plating_um / 1000 if plated else 0)
        slot = None if end is None else (end[0] - left - half, top - end[1] - half)
        board.drills.append(b.Drill(px, py, drill, plating_um if plated else 0, slot_to=slot, tags=["real"]))
    return board


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--board", required=True)
    parser.add_argument("--crop")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pixel-mm", type=float, default=0.025)
    parser.add_argument("--raw", action="store_true")
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    crop = tuple(float(v) for v in args.crop.split(",")) if args.crop else None
    rng = np.random.default_rng([args.seed, 55])
    shot, beam = layouts.random_shot(rng, pixel_mm=args.pixel_mm)
    shot["bits"], shot["gain"] = 16, 40000.0
    board = load(data_folder() / args.board, args.pixel_mm, crop)
    board.name = f"real-{args.board}-{args.seed}"
    truth = make.make_one(args.folder, board.name, board, beam, shot, args.seed, args.raw)
    print(f"{board.name}: {board.width_px} x {board.height_px} px, {len(truth['holes'])} holes, {shot['beam']}")


if __name__ == "__main__":
    main()
