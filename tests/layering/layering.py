#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Checks who includes what, by reading the sources. Usage: layering.py [PROJECT_FOLDER]; exit 1 with one line a breach.

The rules:
  public headers       only the standard library and other public headers, none of a later stage
  a stage              no header of a later stage (order: the ringwall_stage calls of lib/CMakeLists.txt), private or public
  outside libraries    only in stages whose ringwall_stage call lists them, also through private headers
  ITK                  only in files named itk_*.cpp or itk_*.hpp
  command line         public headers, its own, the standard library and CLI11
  window               public headers, its own, the standard library and the window libraries
Unknown outside headers are breaches too: a new library is added to OUTSIDE here, on purpose.
"""
import pathlib
import re
import sys

STANDARD = set("""algorithm any array atomic barrier bit bitset charconv chrono compare complex concepts condition_variable
    coroutine deque exception execution filesystem format forward_list fstream functional future initializer_list iomanip
    ios iosfwd iostream istream iterator latch limits list locale map memory memory_resource mutex new numbers numeric
    optional ostream queue random ranges ratio regex scoped_allocator semaphore set shared_mutex source_location span
    sstream stack stdexcept stop_token streambuf string string_view syncstream system_error thread tuple type_traits
    typeindex typeinfo unordered_map unordered_set utility valarray variant vector version
    cassert cctype cerrno cfenv cfloat cinttypes climits clocale cmath csetjmp csignal cstdarg cstddef cstdint cstdio
    cstdlib cstring ctime cuchar cwchar cwctype""".split())
# The operating system's own, for files and memory; fine in sources, not in public headers.
SYSTEM = re.compile(r"^(unistd|fcntl|signal|poll|dirent|malloc)\.h$|^sys/|^linux/")
# What a header belongs to, and the name by which lib/CMakeLists.txt lists it.
OUTSIDE = [
    (r"^opencv2/", "ringwall::opencv"),
    (r"^(itk|vnl/|vcl)", "ringwall::itk"),
    (r"^Eigen/", "Eigen3::Eigen"),
    (r"^tiff(io|vers|conf)?\.h$", "TIFF::TIFF"),
    (r"^png\.h$", "PNG::PNG"),
    (r"^(jpeglib|jerror)\.h$", "JPEG::JPEG"),
    (r"^zlib\.h$", "ZLIB::ZLIB"),
    (r"^bzlib\.h$", "BZip2::BZip2"),
    (r"^openssl/", "OpenSSL::Crypto"),
    (r"^dcmtk/", "ringwall::dcmtk"),
    (r"^xraylib", "ringwall::xraylib"),
    (r"^cairo", "ringwall::cairo"),
    (r"^nlohmann/", "nlohmann_json::nlohmann_json"),
    (r"^toml\+\+/", "ringwall::tomlplusplus"),
    (r"^(stb/)?stb_", "ringwall::stb"),
    (r"^kainjow/", "ringwall::mustache"),
    (r"^CLI/", "CLI11::CLI11"),
    (r"^(imgui|backends/imgui|GLFW/|GL/)", "window"),
]
INCLUDE = re.compile(r'^\s*#\s*include\s*(?:<([^>]+)>|"([^"]+)")', re.M)


def includes(path):
    return [a or b for a, b in INCLUDE.findall(path.read_text(encoding="utf-8"))]


def outside_library(name):
    return next((library for pattern, library in OUTSIDE if re.search(pattern, name)), None)


def sources(folder):
    return sorted(p for p in folder.rglob("*") if p.suffix in (".cpp", ".hpp", ".h", ".c")) if folder.is_dir() else []


class Project:
    def __init__(self, top):
        self.top = pathlib.Path(top)
        self.src = self.top / "lib/src"
        text = re.sub(r"#.*", "", (self.top / "lib/CMakeLists.txt").read_text(encoding="utf-8"))
        self.stages = {}  # name -> (place in the order, libraries)
        for place, (name, rest) in enumerate(re.findall(r"ringwall_stage\(\s*(\w+)([^)]*)\)", text)):
            self.stages[name] = (place, set(rest.split()) - {"LIBRARIES"})
        self.breaches = []

    def breach(self, path, what):
        self.breaches.append(f"{path.relative_to(self.top)}: {what}")

    def public(self, name):
        """The public header behind an include, or None. One named like a stage belongs to that stage."""
        return name.startswith("ringwall/") and (self.top / "lib/include" / name).is_file()

    def place_of_public(self, name):
        return self.stages.get(pathlib.PurePath(name).stem, (-1, None))[0]

    def check_public_headers(self):
        for path in sources(self.top / "lib/include"):
            own = self.place_of_public(path.name)
            for name in includes(path):
                if self.public(name):
                    if 0 <= own < self.place_of_public(name):
                        self.breach(path, f"public header includes a later stage's: {name}")
                elif name not in STANDARD:
                    self.breach(path, f"public header includes {name}: only standard and ringwall headers may stand here")

    def outside_of(self, path, seen=None):
        """Outside headers that a source sees itself or through private headers: [(header, through)]."""
        seen = set() if seen is None else seen
        found = []
        for name in includes(path):
            private = self.src / name
            if private.is_file():
                if private not in seen:
                    seen.add(private)
                    found += [(outside, name) for outside, _ in self.outside_of(private, seen)]
            elif not self.public(name) and name not in STANDARD and not SYSTEM.search(name):
                found.append((name, None))
        return found

    def check_stage_source(self, path):
        stage = path.relative_to(self.src).parts[0]
        place, libraries = self.stages.get(stage, (None, set()))
        if place is None:
            self.breach(path, f"folder {stage} is no stage of lib/CMakeLists.txt")
            return
        for name in includes(path):
            other = name.split("/")[0]
            if (self.src / name).is_file() and "/" in name:
                if self.stages.get(other, (len(self.stages),))[0] > place:
                    self.breach(path, f"stage {stage} includes a later one: {name}")
            elif self.public(name) and self.place_of_public(name) > place:
                self.breach(path, f"stage {stage} includes a later one's public header: {name}")
        for name, through in self.outside_of(path):
            by = f" (through {through})" if through else ""
            library = outside_library(name)
            if library is None:
                self.breach(path, f"unknown header {name}{by}")
            elif library not in libraries:
                self.breach(path, f"stage {stage} includes {name}{by} but its ringwall_stage call does not list {library}")
            if library == "ringwall::itk" and not path.name.startswith("itk_"):
                self.breach(path, f"ITK outside an itk_* file: {name}{by}")

    def check_program(self, folder, allowed):
        for path in sources(folder):
            for name in includes(path):
                own = (path.parent / name).is_file() or (folder / name).is_file()
                if own or self.public(name) or name in STANDARD or SYSTEM.search(name):
                    continue
                if outside_library(name) not in allowed:
                    self.breach(path, f"{folder.name} includes {name}: only public headers, its own and {allowed[0]}")

    def check(self):
        if not self.stages:
            self.breaches.append("lib/CMakeLists.txt: no ringwall_stage call found")
        self.check_public_headers()
        for path in sources(self.src):
            self.check_stage_source(path)
        self.check_program(self.top / "lib/cli", ["CLI11::CLI11"])
        self.check_program(self.top / "viewer", ["window"])
        return self.breaches


def main():
    top = sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parents[2]
    project = Project(top)
    breaches = project.check()
    print("\n".join(breaches) if breaches else f"layering: {len(project.stages)} stages, no breach")
    return 1 if breaches else 0


if __name__ == "__main__":
    sys.exit(main())
