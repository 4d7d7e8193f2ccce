#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Proves that rules.py catches what it is there to catch: each breach is planted alone into a small clean tree."""
import pathlib
import tempfile
import unittest

from rules import MOST_LINES, check

SPDX = "// SPDX-License-Identifier: Apache-2.0\n"
CLEAN = {
    "README.md": "one/work/two, https://example.org/home/x and `build/check` are no paths of a machine\n",
    "lib/src/core/a.cpp": SPDX + "int n = std::snprintf(b, 2, \"\"); // no std::cout here\n" + "\n" * (MOST_LINES - 2),
    "scripts/x": "#!/usr/bin/env bash\n# SPDX-License-Identifier: Apache-2.0\n",
    "build/anything.cpp": "no SPDX\n",
}
# name of the breach: (file, its text, words that the report must hold)
PLANTED = {
    "top-level entry": ("notes/a.md", "", "agreed top-level"),
    "no SPDX line": ("tests/a.cpp", "int main() {}\n", "no SPDX"),
    "no SPDX line in a script": ("scripts/y", "#!/bin/sh\n", "no SPDX"),
    "too long": ("lib/src/core/a.cpp", CLEAN["lib/src/core/a.cpp"] + "\n", f"{MOST_LINES + 1} lines"),
    "home folder": ("README.md", "see /" + "home/somebody/board.tif\n", "README.md:1: a path"),
    "prints": ("lib/src/core/b.cpp", SPDX + "std::cerr << 1;\n", "b.cpp:2: the library prints"),
    "prints with C": ("lib/src/core/b.cpp", SPDX + 'std::fprintf(stderr, "x");\n', "b.cpp:2: the library prints"),
    "exits": ("lib/include/ringwall/b.hpp", SPDX + "std::exit(3);\n", "ends the program"),
    "distribution": ("lib/src/core/b.cpp", SPDX + "std::normal_distribution<double> d;\n", "random numbers"),
}


def breaches_of(files):
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            path = pathlib.Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        return check(folder)[0]


class Rules(unittest.TestCase):
    def test_clean_tree_has_no_breach(self):
        self.assertEqual(breaches_of(CLEAN), [])

    def test_each_planted_breach_is_caught(self):
        for name, (file, text, words) in PLANTED.items():
            with self.subTest(name):
                found = breaches_of(CLEAN | {file: text})
                self.assertEqual(len(found), 1, found)
                self.assertIn(words, found[0])

    def test_an_empty_tree_is_a_breach(self):
        self.assertTrue(breaches_of({}))


if __name__ == "__main__":
    unittest.main()
