// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

#include <sys/stat.h>

using namespace ringwall;
using namespace ringwall::test;

TEST_CASE("what is no picture file is refused with one line that names it") {
    const Scratch scratch;
    CHECK(has(refusal(scratch / "missing.tif"), "missing.tif: cannot be opened"));
    put_bytes(scratch / "empty.png", {});
    CHECK(has(refusal(scratch / "empty.png"), "empty.png: is empty"));
    CHECK(has(refusal(scratch / ""), "is a folder"));
    put_text(scratch / "words.tif", "these are words and no picture");
    CHECK(has(refusal(scratch / "words.tif"), "expected TIFF, PNG, JPEG"));
    put_text(scratch / "one.tif", "I");
    CHECK(has(refusal(scratch / "one.tif"), "no picture of a known kind"));
}

TEST_CASE("a pipe without a writer does not hold the program up") {
    const Scratch scratch;
    REQUIRE(::mkfifo((scratch / "pipe.tif").c_str(), 0600) == 0);
    CHECK(has(refusal(scratch / "pipe.tif"), "no plain file"));
}

TEST_CASE("files are told by content, not by name") {
    const Scratch scratch;
    const auto picture = all_different(12, 10);
    write_png16(scratch / "a.tif", picture.view());
    write_tiff16(scratch / "b.dcm", picture.view());
    CHECK(load_radiograph(scratch / "a.tif").facts.format == "PNG");
    CHECK(load_radiograph(scratch / "b.dcm").facts.format == "TIFF");
}

TEST_CASE("a refusal stays one line whatever the file is called") {
    const Scratch scratch;
    put_text(scratch / "two\nlines.tif", "no picture");
    CHECK_FALSE(has(refusal(scratch / "two\nlines.tif"), "\n"));
}

TEST_CASE("a picture over the memory limit is refused from its header, one within is read") {
    const Scratch scratch;
    write_tiff16(scratch / "a.tif", all_different(600, 500).view());
    write_png16(scratch / "a.png", all_different(600, 500).view());
    LoadLimits limits;
    for (const char* name : {"a.tif", "a.png"}) {
        limits.memory_bytes = 600 * 500 * 4 - 1;
        CHECK(has(refusal(scratch / name, limits), "memory limit"));
        limits.memory_bytes = 600 * 500 * 4 + (std::size_t{1} << 16);
        CHECK(refusal(scratch / name, limits).empty());
    }
}

TEST_CASE("describing gives the header's facts and the hash, without pixels") {
    const Scratch scratch;
    write_tiff16(scratch / "a.tif", all_different(30, 20).view(), 0.02);
    const SourceFacts described = describe_file(scratch / "a.tif"),
                      loaded = load_radiograph(scratch / "a.tif").facts;
    CHECK(described.file == (scratch / "a.tif").string());
    CHECK(described.width_px == 30);
    CHECK(described.height_px == 20);
    CHECK(described.pages == 1);
    CHECK(described.bits == loaded.bits);
    CHECK(described.sha256 == loaded.sha256);
    CHECK(described.scale.has_value());
}
