# SPDX-License-Identifier: Apache-2.0
"""Runs PROGRAM with mistyped command lines: one line on stderr that names the word, exit 2, nothing written. And what it
says of a picture without scale.

    words_test.py PROGRAM
"""
import base64
import json
import math
import os
import random
import re
import struct
import subprocess
import sys
import tempfile
import unittest

PROGRAM = ""


def run(*words):
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run([PROGRAM, *words], cwd=folder, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr, os.listdir(folder)


def write_board(path, holes=((120, 120), (280, 120), (120, 280), (280, 280)), radius=30, seed=1):
    """A grey BMP of 400 x 400 px: a board with bare holes (of 60 px), edges one pixel soft, a little noise."""
    noise, rows = random.Random(seed), bytearray()
    for y in range(400):
        for x in range(400):
            off = min(math.hypot(x - a, y - b) for a, b in holes) - radius
            open_share = min(1, max(0, 0.5 - off))
            rows.append(round(120 + 90 * open_share + noise.gauss(0, 1.5)))
    palette = b"".join(bytes((i, i, i, 0)) for i in range(256))
    head = struct.pack("<2sIHHI", b"BM", 54 + len(palette) + len(rows), 0, 0, 54 + len(palette))
    size = struct.pack("<IiiHHIIiiII", 40, 400, 400, 1, 8, 0, len(rows), 0, 0, 256, 0)
    with open(path, "wb") as file:
        file.write(head + size + palette + rows)


class Words(unittest.TestCase):
    def refused(self, words, *expected):
        status, out, err, left = run(*words)
        self.assertEqual((status, out, left), (2, "", []), words)
        self.assertEqual(err.count("\n"), 1, err)
        for text in expected:
            self.assertIn(text, err)

    def test_unknown_words_are_named(self):
        self.refused([], "expected a command", "ringwall --help")
        self.refused(["inspekt", "p.tif"], "unknown command inspekt; did you mean inspect?")
        self.refused(["wibble"], "unknown command wibble; see ringwall --help")
        self.refused(["inspect", "p.tif", "--pixelmm", "0.025"], "unknown option --pixelmm",
                     "did you mean --pixel-mm?", "see ringwall inspect --help")
        self.refused(["describe", "--colour=blue", "p.tif"], "unknown option --colour; see ringwall describe --help")
        self.refused(["inspect", "-q", "p.tif"], "unknown option -q")
        self.refused(["inspect", "a.tif", "b.tif"], "expected one SOURCE, got 2: a.tif b.tif")
        self.refused(["inspect"], "SOURCE is required; see ringwall inspect --help")

    def test_slips_of_a_unit_are_refused(self):
        pixels = "expected pixels of 0.0005 to 1 mm (in millimetres, not micrometres)"
        for value in ("25", "0.025,25", "0.0004", "-1", "nan"):
            self.refused(["inspect", "p.tif", "--pixel-mm", value], pixels, 'got "' + value + '"')
        self.refused(["inspect", "p.tif", "--known", "0,0,500,0=12500"], pixels[9:])
        self.refused(["inspect", "p.tif", "--foil-um", "0.035"], "--foil-um: expected a foil of 2 to 500 µm")
        self.refused(["inspect", "p.tif", "--thinnest-foil-um", "501"], "--thinnest-foil-um: expected a foil")
        self.refused(["inspect", "p.tif", "--board-mm", "1600"], "--board-mm: expected a board of 0.1 to 10 mm")

    def test_values_at_the_ends_reach_the_file(self):
        for option, value in (("--pixel-mm", "0.0005"), ("--pixel-mm", "1,1"), ("--foil-um", "500"),
                              ("--board-mm", "0.1"), ("--out", "new/folder")):
            status, _, err, left = run("inspect", "p.tif", option, value)
            self.assertEqual((status, err, left), (3, "ringwall: p.tif: no such file\n", []))

    def test_help_shows_the_whole_command(self):
        for command in ("inspect", "describe", "demo", "plan"):
            status, out, _, _ = run(command, "--help")
            self.assertEqual(status, 0)
            self.assertIn("Usage: ringwall " + command, out)

    def test_only_what_may_be_repeated_looks_so(self):
        for command in ("inspect", "describe"):
            dots = [line.split()[0] for line in run(command, "--help")[1].splitlines()
                    if "..." in line and line.strip().startswith("--")]
            self.assertEqual(dots, ["--known"], command)
        self.refused(["inspect", "p.tif", "--foil-um", "35", "--foil-um", "30"], "--foil-um: expected once")

    def test_what_waits_is_said(self):
        self.refused(["view", "a", "b"], "ringwall view is not in this version")
        self.refused(["compare", "a", "b", "--x"], "unknown option --x; see ringwall compare --help")
        self.refused(["compare", "a"], "see ringwall compare --help")
        self.refused(["compare", "a", "b", "--pair", "H1"], "--pair: expected OLD=REVISED, two holes' ids, got")
        self.refused(["inspect", "p.tif", "--voxel-mm", "0.02,0.02"], "--voxel-mm: expected")
        self.refused(["inspect", "p.tif", "--shot", "side"], "--shot: expected face, edge or stack")

    def test_a_picture_without_an_edge_on_board_says_so(self):
        """Face-on holes are no board seen from the side; half a file is no picture."""
        with tempfile.TemporaryDirectory() as folder:
            picture = os.path.join(folder, "p.bmp")
            write_board(picture)
            status, _, err, left = run("inspect", picture, "--shot", "edge", "--pixel-mm", "0.02", "--out", "o")
            self.assertEqual((status, left), (4, ["o"]), err)
            self.assertEqual(err.count("\n"), 1, err)
            with open(picture, "r+b") as file:
                file.truncate(5000)
            status, _, err, left = run("inspect", picture, "--shot", "edge", "--pixel-mm", "0.02", "--out", "o")
            self.assertEqual((status, left), (3, []), err)
            self.assertEqual(err.count("\n"), 1, err)

    def test_the_rule_is_whole_or_refused(self):
        """Before any measuring: the picture is there but holds nothing."""
        with tempfile.TemporaryDirectory() as folder:
            picture, case = os.path.join(folder, "p.tif"), os.path.join(folder, "c.toml")
            with open(picture, "wb"):
                pass
            for options, expected in (
                    (["--voltage-peak", "24"], "without a row of the spacing table: expected --spacing-row"),
                    (["--voltage-peak", "24"], "does not name a screw in a bare hole facing an inner plane"),
                    (["--spacing-row", "B4"], "row B4 of the spacing table is given without a voltage"),
                    (["--voltage-kind", "ac"], "kind is given without a voltage"),
                    (["--screw", "M3.14"], "M3.14")):
                self.refused(["inspect", picture, *options], expected)
            for options in (["--voltage-peak", "24", "--spacing-row", "B4"], ["--required-mm", "0.6"]):
                status, _, err, _ = run("inspect", picture, *options)
                self.assertEqual((status, err.count("\n")), (3, 1), err)  # on to the empty picture
            with open(case, "w", encoding="utf-8") as text:
                text.write('[[picture]]\nfile = "p.tif"\n[rule]\nvoltage_peak_v = 24\n')
            status, _, err, _ = run("inspect", case)
            self.assertEqual((status, err.count("\n")), (3, 1), err)
            self.assertIn("c.toml, line 4: key [rule] voltage_peak_v: expected spacing_row", err)
            self.assertEqual(run("inspect", case, "--spacing-row", "B4")[0], 3)
            self.assertEqual(run("inspect", case, "--required-mm", "0.6")[0], 3)

    def test_values_of_a_rule(self):
        for option, value, expected in (
                ("--voltage-peak", "0", "a peak voltage of 0.1 to 10000 V"), ("--voltage-peak", "-24", 'got "-24"'),
                ("--voltage-peak", "10001", 'got "10001"'), ("--voltage-peak", "4,2", 'got "4,2"'),
                ("--voltage-kind", "rms", "expected dc or ac"), ("--spacing-row", "B5", "expected B1, B2, B3, B4, A5"),
                ("--required-mm", "-0.1", "a spacing of 0.01 to 50 mm"), ("--required-mm", "130", 'got "130"'),
                ("--screw", "", "expected a screw's name")):
            self.refused(["inspect", "p.tif", option, value], option, expected)

    def test_a_case_named_in_other_letters_and_a_log_beside_it(self):
        with tempfile.TemporaryDirectory() as folder:
            case = os.path.join(folder, "Gehäuse 板.toml")
            with open(case, "w", encoding="utf-8") as text:
                text.write('[[picture]]\nfile = "Röntgen.tif"\n[continuity]\nfile = "Messung.csv"\n')
            status, _, err, _ = run("inspect", case)
            self.assertEqual((status, "Messung.csv: no such file" in err), (3, True), err)
            with open(os.path.join(folder, "Messung.csv"), "w", encoding="utf-8") as text:
                text.write("a,b,reading,ohms\nH1,P1,joined,\"0,4\"\n")
            status, _, err, _ = run("inspect", case)
            self.assertEqual((status, "line 2, column ohms" in err), (3, True), err)
            self.assertEqual(sorted(os.listdir(folder)), ["Gehäuse 板.toml", "Messung.csv"])

    def test_two_boards_are_compared(self):
        holes = [(60, 70), (330, 52), (200, 130), (90, 215), (310, 240), (180, 330), (345, 345)]
        with tempfile.TemporaryDirectory() as folder:
            old, revised, other, out = (os.path.join(folder, name) for name in ("old.bmp", "new.bmp", "x.bmp", "out"))
            write_board(old, holes, 20)
            write_board(revised, [(y + 7, 399 - x - 3) for x, y in holes[:-1]] + [(150, 60)], 20, 2)  # turned, one gone
            write_board(other, [(52, 333), (222, 61), (301, 180), (71, 100), (200, 250), (340, 340), (130, 170)], 20, 3)
            run_out = ["--quiet", "--dense", "dark", "--pixel-mm", "0.05", "--out", out]
            status, _, err, _ = run("compare", old, revised, *run_out)
            self.assertEqual((status, err), (0, ""))
            self.assertEqual(sorted(os.listdir(out)), ["changes.csv", "comparison.json", "side-by-side.png"])
            with open(os.path.join(out, "comparison.json"), encoding="utf-8") as text:
                found = json.load(text)
            self.assertEqual((found["alignment"]["common_holes"], found["alignment"]["mirrored"]), (6, False))
            # Rows of a BMP run upward: right goes to down as seen, clockwise.
            self.assertAlmostEqual(found["alignment"]["rotation_deg"], -90, delta=0.2)
            self.assertEqual(sorted(c for pair in found["pairs"] for c in pair["change"]), ["added", "dropped"])
            self.assertNotIn(folder, json.dumps(found))

            status, out_text, err, _ = run("compare", old, old, *run_out[1:])
            self.assertEqual((status, err), (0, ""))
            self.assertIn("same picture", out_text)
            status, _, err, _ = run("compare", old, other, *run_out)  # unrelated: said, and written
            self.assertEqual((status, err.count("\n")), (4, 1), err)
            self.assertIn("--pair OLD=REVISED", err)
            self.assertEqual(sorted(os.listdir(out)), ["changes.csv", "comparison.json"])

            results = [os.path.join(folder, name) for name in ("a", "b")]
            for picture, result in zip((old, revised), results):
                self.assertEqual(run("inspect", picture, *run_out[:-1], result)[0], 0)
            self.assertEqual(run("compare", *results, "--quiet", "--out", out)[0], 0)
            with open(os.path.join(out, "comparison.json"), encoding="utf-8") as text:
                again = json.load(text)
            self.assertEqual(again["pairs"], found["pairs"])  # from the folders or from the pictures
            self.assertTrue(os.path.exists(os.path.join(out, "side-by-side.png")))
            self.refused(["compare", *results, "--out", results[1]], "is one of the boards to compare")
            self.refused(["compare", *results, "--pixel-mm", "1", "--out", out], "measured already")
            self.refused(["compare", *results, "--pair", "H1=H99", "--pair", "H2=H2", "--out", out], "no hole H99")

    def test_help_says_whose_choice_the_row_is(self):
        text = " ".join(run("inspect", "--help")[1].split())
        for words in ("rms x 1.414", "the lower limit of both", "Your choice",
                      "does not name a screw in a bare hole facing an inner plane"):
            self.assertIn(words, text)

    def test_without_a_scale_the_table_says_pixels_not_nothing(self):
        with tempfile.TemporaryDirectory() as folder:
            write_board(os.path.join(folder, "board.bmp"))
            done = subprocess.run([PROGRAM, "inspect", "board.bmp", "--dense", "dark"], cwd=folder,
                                  capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("bore px", done.stdout)
        self.assertIn("no millimetres: no scale", done.stdout)
        self.assertNotIn("nothing measured", done.stdout)

    def test_a_known_point_outside_the_picture_is_refused(self):
        with tempfile.TemporaryDirectory() as folder:
            write_board(os.path.join(folder, "board.bmp"))
            for command in ("describe", "inspect"):
                done = subprocess.run([PROGRAM, command, "board.bmp", "--known", "10,10,3900,10=19"], cwd=folder,
                                      capture_output=True, text=True, check=False)
                self.assertEqual((done.returncode, done.stderr.count("\n")), (2, 1), done.stderr)
                self.assertIn("expected points inside the picture of 400 x 400 px, got (3900, 10)", done.stderr)
            self.assertEqual(os.listdir(folder), ["board.bmp"])

    def test_a_slice_stack_is_described_and_a_broken_one_refused_in_one_line(self):
        def describe(folder, source):
            done = subprocess.run([PROGRAM, "describe", source], cwd=folder, capture_output=True, text=True, check=False)
            return done.returncode, done.stdout, done.stderr
        with tempfile.TemporaryDirectory() as folder:
            with open(os.path.join(folder, "v.mha"), "wb") as file:
                file.write(b"ObjectType = Image\nNDims = 3\nDimSize = 8 6 5\nElementSpacing = 0.02 0.02 0.03\n"
                           b"DistanceUnits = mm\nElementType = MET_USHORT\nElementDataFile = LOCAL\n" + bytes(8 * 6 * 5 * 2))
            status, out, _ = describe(folder, "v.mha")
            self.assertEqual(status, 0)
            self.assertIn("size: 8 x 6 px, 5 slices", out)
            self.assertIn("voxel: 0.02 x 0.02 x 0.03 mm (MetaImage spacing", out)
            self.assertIn("measured layer by layer by inspect", out)
            os.mkdir(os.path.join(folder, "slices"))
            for number in (8, 9, 10):
                write_board(os.path.join(folder, "slices", f"s{number}.bmp"))
            status, out, _ = describe(folder, "slices")
            self.assertEqual(status, 0)
            self.assertIn("3 slices", out)
            self.assertIn("voxel: unknown", out)
            os.remove(os.path.join(folder, "slices", "s9.bmp"))
            write_board(os.path.join(folder, "slices", "s11.bmp"))
            self.assertEqual(describe(folder, "slices"),
                             (3, "", "ringwall: slices: slice 9 is missing between s8.bmp and s10.bmp\n"))

    def test_a_picture_that_changed_since_it_was_measured_is_told(self):
        with tempfile.TemporaryDirectory() as folder:
            picture = os.path.join(folder, "board.bmp")
            write_board(picture)
            def inspect():
                return subprocess.run([PROGRAM, "inspect", "board.bmp", "--dense", "dark", "--pixel-mm", "0.05"],
                                      cwd=folder, capture_output=True, text=True, check=False)
            self.assertEqual(inspect().returncode, 0)
            self.assertNotIn("has changed", inspect().stderr)
            with open(picture, "r+b") as file:
                file.seek(-1, os.SEEK_END)
                file.write(b"\x7e")
            again = inspect()
            self.assertEqual(again.returncode, 0)
            self.assertIn("warning: board.bmp has changed since the results in board.bmp.ringwall were made", again.stderr)

    def test_what_is_private_is_in_no_output(self):
        """Every text key of case, log and decisions holds a mark of its own."""
        marks = {}
        def mark(key):
            marks[key] = f"Zz{len(marks) + 100}zZ"
            return marks[key]
        labels = ["board.name", "board.revision", "board.unit", "hole.name", "hole.purpose", "log.b"]
        lists = {"board": ["name", "revision", "unit", "serial", "lot", "chosen"],
                 "picture": ["taken_by", "taken_on", "cabinet_calibrated", "filter", "processing", "fitted"],
                 "hole": ["name", "purpose"], "measured": ["with", "where"],
                 "custody": ["when", "from", "to", "seal_before", "seal_after", "photographs"]}
        def keys(table):
            return "".join(f'{key} = "of {mark(table + "." + key)}"\n' for key in lists[table])
        folder_name = "of " + mark("folder")
        case = (f'[board]\n{keys("board")}[[picture]]\nfile = "{folder_name}/board.bmp"\npixel_mm = 0.05\n'
                f'dense = "dark"\nrepeat_of = "of {mark("repeat")}/first.bmp"\n{keys("picture")}'
                f'[[hole]]\nat_px = [120, 120]\n{keys("hole")}'
                f'[[layer]]\nnumber = 2\nrole = "ground"\nevidence = "of {mark("layer.evidence")}"\n'
                f'[[measured]]\nwhat = "thickness"\nvalue_mm = 1.6\nu_mm = 0.01\n{keys("measured")}'
                f'[[measured]]\nwhat = "bore"\nwhere = "of {marks["hole.name"]}"\nvalue_mm = 9\nu_mm = 0.01\n'
                f'with = "of {mark("gauge")}"\n[[custody]]\n{keys("custody")}'
                f'[continuity]\nfile = "{folder_name}/log.csv"\n')
        words = ["setup", "polarity", "meter", "calibrated_on", "when", "by", "note"]
        log = ("a,b,reading,ohms," + ",".join(words) + f"\nH1,pin {mark('log.b')},joined,0.3," +
               ",".join("of " + mark("log." + word) for word in words) + "\n")
        decisions = ('schema = 1\n[[decision]]\nwhat = "wall state set"\nat_px = [120, 120]\nwall = "bare"\n'
                     f'who = "of {mark("who")}"\nwhen = "of {mark("decided")}"\nwhy = "of {mark("why")}"\n'
                     'after_result = true\n')
        unused = {"layer.evidence"}  # read, and not used in this version

        def outputs(*options):
            with tempfile.TemporaryDirectory() as folder:
                os.mkdir(os.path.join(folder, folder_name))
                write_board(os.path.join(folder, folder_name, "board.bmp"))
                for name, text in (("case.toml", case), (folder_name + "/log.csv", log),
                                   ("case.decisions.toml", decisions)):
                    with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
                        file.write(text)
                done = subprocess.run([PROGRAM, "inspect", "case.toml", "--out", "out", "--screw", "M3",
                                       "--required-mm", "0.4", *options], cwd=folder, capture_output=True,
                                      text=True, check=False)
                self.assertEqual(done.returncode, 0, done.stderr)
                text = done.stdout + done.stderr
                for name in ("results.json", "holes.csv", "report.html"):
                    with open(os.path.join(folder, "out", name), encoding="utf-8") as file:
                        text += file.read()
                for drawing in re.findall(r"data:image/svg\+xml;base64,([A-Za-z0-9+/=]+)", text):
                    text += base64.b64decode(drawing).decode("utf-8")
                return text

        whole, public = outputs(), outputs("--leave-out-private")
        for key, own in marks.items():
            self.assertEqual(own in whole, key not in unused, key)
            self.assertEqual(own in public, key in labels, key)
        self.assertIn('"measured.with"', public)


if __name__ == "__main__":
    PROGRAM = os.path.abspath(sys.argv.pop(1))
    unittest.main()
