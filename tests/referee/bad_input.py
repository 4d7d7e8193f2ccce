# SPDX-License-Identifier: Apache-2.0
"""Feeds the program what it must refuse, and checks: exit status, one clear line on stderr, nothing half-written, no hang.

    bad_input.py PROGRAM [--picture GOOD.tif --pixel-mm V] [--every-file FOLDER] [--mutations N]

Also: the same bytes with --jobs 1 and 2, and (--every-file) that no file of a folder crashes or hangs the program.
"""
import argparse
import filecmp
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile
import time
import zlib

import numpy as np
import tifffile
from PIL import Image

failed = []


def call(program, *words, timeout=120):
    begin = time.monotonic()
    try:
        done = subprocess.run([str(program), *map(str, words)], capture_output=True, text=True, errors="replace", timeout=timeout)
        return done.returncode, done.stderr, done.stdout, time.monotonic() - begin
    except subprocess.TimeoutExpired:
        return "hang", "", "", timeout


def expect(name, got, allowed, out=None, one_line=True):
    status, error, _, seconds = got
    words = [s for s in error.splitlines() if s.strip()]
    bad = []
    if status not in allowed:
        bad.append(f"exit {status}, allowed {sorted(allowed)}")
    if one_line and status in (2, 3) and len(words) != 1:
        bad.append(f"{len(words)} lines on stderr")
    if out is not None and status in (2, 3) and out.exists():
        bad.append("output left behind")
    if out is not None:
        bad += [f"left over: {p.name}" for p in out.parent.glob(out.name + ".*")]
    print(f"{'FAIL' if bad else 'ok  '} {name}: exit {status} {seconds:.1f} s {'; '.join(bad)} | {words[0][:170] if words else ''}", flush=True)
    if bad:
        failed.append(name)


def files(folder, good):
    """(name, path, allowed statuses, options) of wrong inputs."""
    data = good.read_bytes()
    rng = np.random.default_rng(4)
    flat = np.full((600, 800), 30000, np.uint16)

    def put(name, content):
        path = folder / name
        if isinstance(content, bytes):
            path.write_bytes(content)
        elif name.endswith((".tif", ".tiff")):
            tifffile.imwrite(path, content)
        else:
            Image.fromarray(content).save(path)
        return path

    noise = rng.normal(30000, 200, (600, 800)).astype(np.uint16)
    picture = (tifffile.imread(good) / 257).clip(0, 255).astype(np.uint8)
    jpg = put("whole.jpg", picture)
    png = put("whole.png", picture)
    huge = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", 8)
    for tag, kind, value in ((256, 4, 60000), (257, 4, 60000), (258, 3, 16), (259, 3, 1), (262, 3, 1), (273, 4, 200), (278, 4, 60000), (279, 4, 2 ** 31)):
        huge += struct.pack("<HHII", tag, kind, 1, value)
    huge += struct.pack("<I", 0)
    header = struct.pack(">IIBBBBB", 70000, 70000, 16, 0, 0, 0, 0)
    huge_png = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + header + struct.pack(">I", zlib.crc32(b"IHDR" + header))
    yield "missing", folder / "nowhere.tif", {3}, []
    yield "empty", put("empty.tif", b""), {3}, []
    yield "a folder without pictures", folder / "sub", {3}, []
    yield "tiff cut in half", put("half.tif", data[:len(data) // 2]), {3}, []
    yield "tiff cut by one byte", put("short.tif", data[:-1]), {3}, []
    yield "tiff header only", put("head.tif", data[:8]), {3}, []
    yield "jpeg cut in half", put("half.jpg", jpg.read_bytes()[:jpg.stat().st_size // 2]), {3}, []
    yield "png cut in half", put("half.png", png.read_bytes()[:png.stat().st_size // 2]), {3}, []
    yield "over 2^31 px, tiff", put("huge.tif", huge), {3}, []
    yield "over 2^31 px, png", put("huge.png", huge_png), {3}, []
    yield "over memory", good, {3}, ["--memory-mb", "1"]
    yield "text named tif", put("text.tif", b"this is no picture\n" * 50), {3}, []
    yield "jpeg named tif", put("jpeg.tif", jpg.read_bytes()), {0, 3, 4}, []
    yield "png named jpg", put("png.jpg", png.read_bytes()), {0, 3, 4}, []
    yield "all one value", put("flat.tif", flat), {3, 4}, []
    yield "all zero", put("zero.tif", flat * 0), {3, 4}, []
    yield "all saturated", put("full.tif", flat * 0 + 65535), {3, 4}, []
    yield "only noise", put("noise.tif", noise), {4}, []
    yield "colour png", put("colour.png", rng.integers(0, 255, (300, 400, 3)).astype(np.uint8)), {3, 4}, []
    yield "one pixel", put("one.tif", flat[:1, :1]), {3, 4}, []
    yield "one row", put("row.tif", flat[:1]), {3, 4}, []
    yield "float with nan", put("nan.tif", np.where(noise > 30100, np.nan, noise / 65535.0).astype(np.float32)), {3, 4}, []
    yield "float all inf", put("inf.tif", np.full((300, 300), np.inf, np.float32)), {3, 4}, []
    yield "several pages", put("pages.tif", np.stack([noise] * 3)), {2, 3, 4}, []
    yield "plain text case", put("bad.toml", b"[board\nname = 3"), {2, 3}, []
    yield "pixel size 0", good, {2}, ["--pixel-mm", "0"]
    yield "pixel size negative", good, {2}, ["--pixel-mm", "-0.02"]
    yield "pixel size nan", good, {2}, ["--pixel-mm", "nan"]
    yield "pixel size word", good, {2}, ["--pixel-mm", "abc"]
    yield "pixel size huge", good, {0, 2, 3, 4}, ["--pixel-mm", "1e300"]
    yield "unknown option", good, {2}, ["--frobnicate"]
    yield "confidence 2", good, {2}, ["--confidence", "2"]
    yield "unknown screw", good, {2}, ["--screw", "Q77"]
    yield "board thickness 0", good, {2}, ["--board-mm", "0"]
    yield "two scales disagree", good, {3}, ["no-pixel", "--known", "10,10,500,10=10", "--known", "10,10,10,500=20"]
    yield "known points equal", good, {2, 3}, ["no-pixel", "--known", "10,10,10,10=10"]
    yield "no scale", good, {4}, ["no-pixel"]


def refuse(program, good, pixel, work):
    (work / "sub").mkdir()
    for name, path, allowed, options in files(work, good):
        out = work / "out"
        shutil.rmtree(out, ignore_errors=True)
        scale = [] if "no-pixel" in options else ["--pixel-mm", pixel]
        options = [o for o in options if o != "no-pixel"]
        if "--pixel-mm" in options:
            scale = []
        expect(name, call(program, "inspect", path, *scale, *options, "--out", out), allowed, out)
        if "over" not in name and not options:
            expect(f"describe: {name}", call(program, "describe", path), {0, 3} if 3 in allowed or 4 in allowed else allowed)


def outputs(program, good, pixel, work):
    """Unwritable and foreign output folders; the same bytes for any number of jobs; twice into the same folder."""
    expect("output in a missing folder", call(program, "inspect", good, "--pixel-mm", pixel, "--out", work / "no" / "such" / "dir"), {0, 2, 3})
    foreign = work / "foreign"
    foreign.mkdir()
    (foreign / "mine.txt").write_text("keep")
    expect("folder of another", call(program, "inspect", good, "--pixel-mm", pixel, "--out", foreign), {2})
    if not (foreign / "mine.txt").is_file():
        failed.append("foreign folder destroyed")
    target = work / "file"
    target.write_text("x")
    expect("output is a file", call(program, "inspect", good, "--pixel-mm", pixel, "--out", target), {2, 3})
    one, two = work / "one", work / "two"
    for out, jobs in ((one, 1), (two, 2), (one, 2)):
        expect(f"jobs {jobs}", call(program, "inspect", good, "--pixel-mm", pixel, "--jobs", jobs, "--out", out, timeout=600), {0})
        if one.is_dir() and two.is_dir():
            names = sorted(p.name for p in one.iterdir())
            same = filecmp.cmpfiles(one, two, names, shallow=False)
            print(f"{'ok  ' if not same[1] and not same[2] else 'FAIL'} same bytes: {same[0]} differ {same[1]} {same[2]}")
            if same[1] or same[2]:
                failed.append(f"jobs {jobs}: {same[1]}")
    left = [p.name for p in work.iterdir() if p.name.startswith((".", "one.", "two.", "one-", "two-", "one~", "two~"))]
    if left:
        failed.append(f"left over {left}")


def mutate(program, good, pixel, work, count):
    """Random bytes of a small picture changed, more of them in the head; status 0, 3 or 4 and no crash."""
    rng = np.random.default_rng(9)
    small = tifffile.imread(good)[:400, :400]
    for kind in ("tif", "png", "jpg"):
        path = work / f"seed.{kind}"
        if kind == "tif":
            tifffile.imwrite(path, small)
        else:
            Image.fromarray((small / 257).clip(0, 255).astype(np.uint8)).save(path)
        data = bytearray(path.read_bytes())
        for k in range(count):
            copy = bytearray(data)
            for _ in range(int(rng.integers(1, 6))):
                copy[int(rng.integers(min(len(copy), 300 if rng.random() < 0.7 else len(copy))))] = int(rng.integers(256))
            name = work / f"mutated.{kind}"
            name.write_bytes(copy)
            got = call(program, "inspect", name, "--pixel-mm", pixel, "--out", work / "out_m")
            if got[0] not in (0, 3, 4):
                expect(f"mutated {kind} {k}", got, {0, 3, 4})
                shutil.copy(name, tempfile.gettempdir() + f"/mutated-{k}.{kind}")
    print("mutations done")


def every_file(program, folder, work):
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        for words in (("describe", path), ("inspect", path, "--pixel-mm", "0.05", "--quiet", "--out", work / "out_e")):
            got = call(program, *words)
            if got[0] not in (0, 2, 3, 4) or (got[0] in (2, 3) and len(got[1].strip().splitlines()) != 1):
                expect(f"{words[0]} {path.relative_to(folder)}", got, {0, 2, 3, 4})
    print("every file done")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("--picture", type=pathlib.Path)
    parser.add_argument("--pixel-mm", default="0.025")
    parser.add_argument("--every-file", type=pathlib.Path)
    parser.add_argument("--mutations", type=int, default=0)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as tmp:
        work = pathlib.Path(tmp)
        if args.picture:
            refuse(args.program, args.picture, args.pixel_mm, work)
            outputs(args.program, args.picture, args.pixel_mm, work)
            mutate(args.program, args.picture, args.pixel_mm, work, args.mutations)
        if args.every_file:
            every_file(args.program, args.every_file, work)
    print("failed:", failed or "none")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
