#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Times the program and the scripted scikit-image measurement on the same file in the same run.

    compare_speed.py PROGRAM PICTURE PIXEL_MM [RUNS]

Whole processes, by turns, RUNS times each (default 3), after one unmeasured reading of the file so that the disk plays
no part. Prints a markdown table: median and spread of the wall time, peak memory, and the ratio of the medians.
"""
import os
import pathlib
import shutil
import statistics
import struct
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
BYTES_A_PIXEL, BYTES_MORE = 16, 100e6  # the program's own limit


def run(command):
    """(seconds, peak bytes) of one process; its output is thrown away, a failure ends everything."""
    start = time.perf_counter()
    nothing = os.open(os.devnull, os.O_RDWR)
    child = os.posix_spawn(command[0], command, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, nothing, 1)])
    os.close(nothing)
    _, status, usage = os.wait4(child, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        sys.exit(f"compare_speed: exit {os.waitstatus_to_exitcode(status)} of {' '.join(command)}")
    return time.perf_counter() - start, usage.ru_maxrss * 1024


def tiff_pixels(path):
    """Width times height from a little-endian classic TIFF's first directory (what bench_board writes), else None."""
    data = path.read_bytes()
    if data[:4] != b"II*\0":
        return None
    offset = struct.unpack_from("<I", data, 4)[0]
    sizes = {}
    for entry in range(struct.unpack_from("<H", data, offset)[0]):
        tag, kind, _, value = struct.unpack_from("<HHII", data, offset + 2 + 12 * entry)
        if tag in (256, 257):
            sizes[tag] = value & 0xFFFF if kind == 3 else value
    return sizes[256] * sizes[257]


def main():
    if len(sys.argv) < 4:
        sys.exit(__doc__)
    program, picture, pixel_mm = sys.argv[1:4]
    runs = int(sys.argv[4]) if len(sys.argv) > 4 else 3
    pixels = tiff_pixels(pathlib.Path(picture))
    place = tempfile.mkdtemp(prefix="compare-speed-")
    commands = {
        "ringwall": [program, "inspect", picture, "--pixel-mm", pixel_mm, "--quiet", "--out", f"{place}/results"],
        "scikit-image script": [sys.executable, "-B", str(HERE / "referee_measure.py"), picture],
    }
    measured = {name: [] for name in commands}
    try:
        for _ in range(runs):
            for name, command in commands.items():
                measured[name].append(run(command))
    finally:
        shutil.rmtree(place)
    print("| whole process | median s | least - most s | peak MB |\n|---|---|---|---|")
    medians = {}
    for name, results in measured.items():
        seconds = [r[0] for r in results]
        medians[name] = statistics.median(seconds)
        peak = max(r[1] for r in results)
        print(f"| {name} | {medians[name]:.2f} | {min(seconds):.2f} - {max(seconds):.2f} | {peak / 1e6:.0f} |")
    print(f"\nratio {medians['scikit-image script'] / medians['ringwall']:.1f} over {runs} runs each, {os.cpu_count()} cores")
    if pixels:
        limit = BYTES_A_PIXEL * pixels + BYTES_MORE
        peak = max(r[1] for r in measured["ringwall"])
        print(f"{pixels / 1e6:.1f} Mpx; memory {(peak - BYTES_MORE) / pixels:.1f} bytes a pixel + 100 MB"
              f" (limit {BYTES_A_PIXEL}: {limit / 1e6:.0f} MB)")


if __name__ == "__main__":
    main()
