#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Stacks written by other hands (tifffile, numpy, PIL) are read as what was written.

    stacks.py READER FOLDER     READER prints a stack's voxels; the stacks are written in FOLDER

Each voxel of a small volume is another number, so no wrong slice, order or byte order can pass. Where the real CT series
of the outside pictures is there, its slices' order and sum are checked against a reading by numpy and struct alone.
"""
import os
import pathlib
import shutil
import struct
import subprocess
import sys
import unittest
import zipfile

import numpy as np
import tifffile
from PIL import Image

FOLDER, READER = pathlib.Path(sys.argv.pop()), sys.argv.pop()
SHAPE = (11, 9, 14)  # slices, rows, columns


def volume(kind):
    numbers = np.arange(np.prod(SHAPE)).reshape(SHAPE) * 47 + 5
    return (numbers % 251 if kind == "u1" else numbers).astype(kind)


def read(source):
    done = subprocess.run([READER, source], capture_output=True, check=False)
    if done.returncode != 0:
        raise AssertionError(done.stderr.decode())
    head, data = done.stdout.split(b"\n", 1)
    width, height, slices, *voxel = head.split()
    return np.frombuffer(data, "<f4").reshape(int(slices), int(height), int(width)), [float(v) for v in voxel]


class WrittenByOthers(unittest.TestCase):
    def place(self, name):
        place = FOLDER / name
        if place.is_dir():
            shutil.rmtree(place)
        FOLDER.mkdir(parents=True, exist_ok=True)
        return place

    def same(self, source, written):
        np.testing.assert_array_equal(read(source)[0], written.astype("f4"))

    def test_tifffile_pages(self):
        for kind in ("u1", "u2", "i2", "f4", "u4"):
            for options in ({}, {"byteorder": ">"}, {"bigtiff": True}, {"tile": (16, 16)}, {"compression": "zlib"},
                            {"byteorder": ">", "bigtiff": True, "compression": "zlib", "predictor": True},
                            {"photometric": "miniswhite"}, {"rowsperstrip": 2}):
                with self.subTest(kind=kind, **options):
                    if options.get("predictor") and kind == "f4":
                        continue
                    tifffile.imwrite(FOLDER / "pages.tif", volume(kind), **{"photometric": "minisblack", **options})
                    self.same(FOLDER / "pages.tif", volume(kind))

    def test_tifffile_with_voxel_size(self):
        for order in ("<", ">"):
            tifffile.imwrite(FOLDER / "spaced.tif", volume("u2"), imagej=True, byteorder=order, resolution=(40, 40),
                             metadata={"spacing": 0.03, "unit": "mm"})
            voxels, size = read(FOLDER / "spaced.tif")
            np.testing.assert_array_equal(voxels, volume("u2").astype("f4"))
            np.testing.assert_allclose(size, [0.025, 0.025, 0.03], rtol=1e-6)

    def test_one_directory_with_the_slices_behind_it(self):
        # What remains of a stack when only its first directory is kept is the form of stacks over 4 GB.
        for order in ("<", ">"):
            tifffile.imwrite(FOLDER / "pages.tif", volume("u2"), imagej=True, byteorder=order)
            with tifffile.TiffFile(FOLDER / "pages.tif") as tiff:
                page, following = tiff.pages[0], tiff.pages[1].offset
                first = page.dataoffsets[0]
                link = page.offset + 2 + 12 * len(page.tags)
            data = bytearray((FOLDER / "pages.tif").read_bytes())
            data[link:link + 4] = bytes(4)
            end = first + volume("u2").nbytes
            assert following >= end or following < first
            (FOLDER / "single.tif").write_bytes(data[:end])
            self.same(FOLDER / "single.tif", volume("u2"))

    def test_folders(self):
        place = self.place("folder")
        place.mkdir()
        for z, plane in enumerate(volume("u2")):
            tifffile.imwrite(place / f"slice{z + 1}.tif", plane)
        self.same(place, volume("u2"))
        place = self.place("png")
        place.mkdir()
        for z, plane in enumerate(volume("u2")):
            Image.fromarray(plane).save(place / f"p{z:03}.png")
        self.same(place, volume("u2"))

    def test_raw_volumes_of_numpy(self):
        for order in ("<", ">"):
            volume("u2").astype(order + "u2").tofile(FOLDER / "plain.raw")
            msb = str(order == ">")
            (FOLDER / "plain.mhd").write_text(
                "ObjectType = Image\nNDims = 3\nBinaryData = True\n"
                f"BinaryDataByteOrderMSB = {msb}\nElementSpacing = 0.02 0.02 0.03\nDistanceUnits = mm\n"
                f"DimSize = {SHAPE[2]} {SHAPE[1]} {SHAPE[0]}\nElementType = MET_USHORT\nElementDataFile = plain.raw\n")
            voxels, size = read(FOLDER / "plain.mhd")
            np.testing.assert_array_equal(voxels, volume("u2").astype("f4"))
            np.testing.assert_allclose(size, [0.02, 0.02, 0.03])

    def test_the_real_series_of_slices(self):
        stated = os.environ.get("RINGWALL_REAL_DATA")
        real = pathlib.Path(stated) if stated else pathlib.Path(__file__).resolve().parents[2].parent / "shared/real"
        packed = real / "phantoms/CBCT_4.zip"
        if not packed.is_file():
            print("skipped: the real series of slices is not on this machine")
            return
        place = self.place("series")
        with zipfile.ZipFile(packed) as files:
            files.extractall(place)
        folder = next(path.parent for path in sorted(place.rglob("CT*.dcm")))
        voxels, size = read(folder)
        slices = sorted((plain_slice(path) for path in folder.glob("CT*.dcm")), key=lambda entry: entry[0])
        self.assertEqual(len(voxels), len(slices))
        # Along the slices' normal, which the file tilts by 0.1 degree against z: 1 - cos is 1.5e-6.
        np.testing.assert_allclose(size[2], (slices[-1][0] - slices[0][0]) / (len(slices) - 1), rtol=1e-5)
        for ours, (_, theirs) in zip(voxels, slices):
            np.testing.assert_array_equal(ours, theirs.astype("f4"))


def plain_slice(path):
    """(z, pixels) of a plain little-endian CT slice, by searching for its elements' bytes."""
    data = path.read_bytes()

    def element(group, number, vr):
        tag = struct.pack("<HH", group, number)
        likely = {b"US": range(2, 3), b"DS": range(1, 200), b"OW": range(1000, len(data))}[vr]
        at = data.find(tag)
        while at >= 0:  # a short length behind the representation, a long one behind that, or no representation at all
            forms = [("<I", 12)] if vr == b"OW" else [("<H", 8)]
            for form, start in forms if data[at + 4:at + 6] == vr else [("<I", 8)]:
                size = struct.unpack_from(form, data, at + start - struct.calcsize(form))[0]
                if size in likely:
                    return data[at + start:at + start + size]
            at = data.find(tag, at + 1)
        raise AssertionError(f"{path}: no element {group:04X},{number:04X}")

    def text(group, number, vr):
        return [float(part) for part in element(group, number, vr).decode().strip("\0 ").split("\\")]

    rows, columns = (struct.unpack("<H", element(0x28, n, b"US"))[0] for n in (0x10, 0x11))
    signed = struct.unpack("<H", element(0x28, 0x103, b"US"))[0] == 1
    pixels = np.frombuffer(element(0x7FE0, 0x10, b"OW"), "<i2" if signed else "<u2")[:rows * columns]
    slope, intercept = text(0x28, 0x1053, b"DS")[0], text(0x28, 0x1052, b"DS")[0]
    return text(0x20, 0x32, b"DS")[2], pixels.reshape(rows, columns) * slope + intercept


if __name__ == "__main__":
    FOLDER.mkdir(parents=True, exist_ok=True)
    unittest.main()
