#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Proves that layering.py catches what it is there to catch: each breach is planted alone into a small clean tree."""
import pathlib
import tempfile
import unittest

from layering import Project

CLEAN = {
    "lib/CMakeLists.txt": "ringwall_stage(core)\nringwall_stage(bridge LIBRARIES ringwall::opencv)\n"
                          "ringwall_stage(files LIBRARIES TIFF::TIFF ringwall::itk)\nringwall_stage(phantom)\n"
                          "ringwall_stage(holes LIBRARIES ringwall::opencv)\n# ringwall_stage(ghost)\n",
    "lib/include/ringwall/image.hpp": "#include <vector>\n",
    "lib/include/ringwall/files.hpp": '#include "ringwall/image.hpp"\n',
    "lib/include/ringwall/holes.hpp": '#include "ringwall/files.hpp"\n',
    "lib/src/core/a.hpp": "#include <cmath>\n",
    "lib/src/core/a.cpp": '#include "core/a.hpp"\n#include <unistd.h>\n',
    "lib/src/bridge/opencv.hpp": "#include <opencv2/core.hpp>\n",
    "lib/src/files/itk_volume.cpp": "#include <itkImageFileReader.h>\n",
    "lib/src/files/tiff.cpp": '#include "core/a.hpp"\n#include <tiffio.h>\n',
    "lib/src/phantom/draw.cpp": '#include "ringwall/files.hpp"\n',
    "lib/src/holes/fit.hpp": '#include "bridge/opencv.hpp"\n',
    "lib/src/holes/fit.cpp": '#include "holes/fit.hpp"\n#include <opencv2/imgproc.hpp>\n',
    "lib/cli/main.cpp": '#include "args.hpp"\n#include "ringwall/files.hpp"\n#include <CLI/CLI.hpp>\n',
    "lib/cli/args.hpp": "#include <string>\n",
    "viewer/panels/table.cpp": '#include "panels/table.hpp"\n#include <imgui.h>\n',
    "viewer/panels/table.hpp": '#include "ringwall/image.hpp"\n',
}

# name of the breach: (file, line added to it, words that the report must hold)
PLANTED = {
    "opencv in a public header": ("lib/include/ringwall/image.hpp", "#include <opencv2/core.hpp>", "only standard"),
    "private header in a public one": ("lib/include/ringwall/image.hpp", '#include "core/a.hpp"', "only standard"),
    "missing public header": ("lib/include/ringwall/image.hpp", '#include "ringwall/gone.hpp"', "only standard"),
    "system header in a public one": ("lib/include/ringwall/image.hpp", "#include <unistd.h>", "only standard"),
    "public header of a later stage": ("lib/include/ringwall/files.hpp", '#include "ringwall/holes.hpp"', "later stage's"),
    "later stage's private header": ("lib/src/core/a.cpp", '#include "holes/fit.hpp"', "includes a later one"),
    "later stage's public header": ("lib/src/phantom/draw.cpp", '#include "ringwall/holes.hpp"', "later one's public"),
    "library not listed": ("lib/src/phantom/draw.cpp", "#include <opencv2/core.hpp>", "does not list ringwall::opencv"),
    "library through a private header": ("lib/src/phantom/draw.cpp", '#include "bridge/opencv.hpp"',
                                         "(through bridge/opencv.hpp)"),
    "ITK in an ordinary file": ("lib/src/files/tiff.cpp", "#  include <itkImage.h>", "ITK outside an itk_* file"),
    "unknown library": ("lib/src/core/a.cpp", "#include <boost/any.hpp>", "unknown header"),
    "folder that is no stage": ("lib/src/ghost/a.cpp", "#include <vector>", "no stage"),
    "private header in the command line": ("lib/cli/main.cpp", '#include "core/a.hpp"', "only public headers"),
    "opencv in the command line": ("lib/cli/main.cpp", "#include <opencv2/core.hpp>", "only public headers"),
    "private header in the window": ("viewer/panels/table.cpp", '#include "core/a.hpp"', "only public headers"),
}


def check(files):
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            path = pathlib.Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        return Project(folder).check()


class Layering(unittest.TestCase):
    def test_clean_tree_has_no_breach(self):
        self.assertEqual(check(CLEAN), [])

    def test_each_planted_breach_is_caught(self):
        for name, (file, line, words) in PLANTED.items():
            with self.subTest(name):
                breaches = check(CLEAN | {file: CLEAN.get(file, "") + line + "\n"})
                self.assertTrue(breaches, "not caught")
                for breach in breaches:
                    self.assertTrue(breach.startswith(file), breach)
                self.assertTrue(any(words in breach for breach in breaches), breaches)

    def test_an_empty_list_of_stages_is_a_breach(self):
        self.assertTrue(check(CLEAN | {"lib/CMakeLists.txt": ""}))


if __name__ == "__main__":
    unittest.main()
