#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Checks the tree against the project's own rules. Usage: rules.py [PROJECT_FOLDER]; exit 1 with one line a breach.

The rules:
  sources under 500 lines, each with its SPDX line in the first two
  nothing at the top level but the agreed entries
  no path of somebody's machine in any text
  the library neither prints, aborts nor exits, and uses no std distribution (they differ by platform)
"""
import pathlib
import re
import sys

MOST_LINES = 500
TOP = set("""CMakeLists.txt CMakePresets.json README.md DEVELOPERS.md CHANGELOG.md LICENSE
    lib viewer tests data scripts""".split())
BUILT = re.compile(r"^build|\.ringwall$|^compile_commands\.json$|^__pycache__$") # as in .gitignore
CODE = (".cpp", ".hpp", ".c", ".h", ".py", ".cmake")
TEXT = CODE + (".txt", ".md", ".json", ".toml", ".csv", ".supp", ".in", "")
HOMES = re.compile(r"(?<![\w.])/" + r"(home|root|work|Users|tmp|mnt|scratch)" + r"/[\w.]")
LIBRARY_MUST_NOT = [
    (re.compile(r"\bstd::(cout|cerr|clog)\b|(?<![\w.>])(std::)?(v|f)?printf\s*\(|(?<![\w.>])(std::)?f?puts\s*\("), "prints"),
    (re.compile(r"(?<![\w.>])(std::)?(abort|exit|_Exit|quick_exit|terminate)\s*\("), "ends the program"),
    (re.compile(r"\bstd::\w+_distribution\b|\brandom_device\b"), "draws random numbers that differ by platform"),
]


def files_of(top):
    """Every file that belongs to the project, what is built or hidden left out."""
    for path in sorted(top.rglob("*")):
        parts = path.relative_to(top).parts
        if any(BUILT.search(part) or part == ".git" for part in parts):
            continue
        if path.is_file() and (not parts[0].startswith(".") or parts[0] in (".ci", ".clang-tidy")):
            yield path, "/".join(parts)


def is_code(name):
    return name.endswith(CODE) or name.endswith("CMakeLists.txt") or name.startswith(("scripts/", ".ci/"))


def without_comments(text):
    text = re.sub(r"/\*.*?\*/", lambda m: "\n" * m.group().count("\n"), text, flags=re.S)
    return re.sub(r"//.*", "", text)


def check_file(path, name):
    if path.suffix not in TEXT:
        return
    text = path.read_text(encoding="utf-8", errors="replace")
    lines = text.splitlines()
    if is_code(name):
        if len(lines) > MOST_LINES:
            yield f"{name}: {len(lines)} lines, the most is {MOST_LINES}"
        if not any("SPDX-License-Identifier: Apache-2.0" in line for line in lines[:2]):
            yield f"{name}: no SPDX line at its start"
    for number, line in enumerate(lines, 1):
        if HOMES.search(line):
            yield f"{name}:{number}: a path of somebody's machine: {line.strip()[:80]}"
    if name.startswith(("lib/src/", "lib/include/")) and path.suffix in (".cpp", ".hpp"):
        for number, line in enumerate(without_comments(text).splitlines(), 1):
            for pattern, what in LIBRARY_MUST_NOT:
                if pattern.search(line):
                    yield f"{name}:{number}: the library {what}: {line.strip()[:80]}"


def check(top):
    top = pathlib.Path(top)
    breaches = []
    for entry in sorted(top.iterdir()):
        if entry.name not in TOP and not entry.name.startswith(".") and not BUILT.search(entry.name):
            breaches.append(f"{entry.name}: not among the agreed top-level entries")
    checked = 0
    for path, name in files_of(top):
        checked += 1
        breaches += check_file(path, name)
    if checked == 0:
        breaches.append("no file found")
    return breaches, checked


def main():
    breaches, checked = check(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parents[2])
    print("\n".join(breaches) if breaches else f"rules: {checked} files, no breach")
    return 1 if breaches else 0


if __name__ == "__main__":
    sys.exit(main())
