// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

using namespace ringwall;
using namespace ringwall::test;

namespace {

void check_same(const Image<float>& read, ImageView<const std::uint16_t> written) {
    REQUIRE(read.width() == written.width());
    REQUIRE(read.height() == written.height());
    int wrong = 0;
    for (int y = 0; y < written.height(); ++y)
        for (int x = 0; x < written.width(); ++x)
            wrong += read(x, y) != static_cast<float>(written(x, y)) ? 1 : 0;
    CHECK(wrong == 0);
}

} // namespace

TEST_CASE("a 16-bit TIFF reads back with its scale") {
    const Scratch scratch;
    const auto picture = all_different(251, 241);
    write_tiff16(scratch / "a.tif", picture.view(), 0.0196850393700787);
    const Radiograph read = load_radiograph(scratch / "a.tif");
    check_same(read.values, picture.view());
    CHECK(read.facts.format == "TIFF");
    CHECK(read.facts.bits == 16);
    CHECK(read.facts.full_scale == 65535);
    CHECK(read.facts.lowest_value == 0);
    CHECK_FALSE(read.facts.is_float);
    CHECK_FALSE(read.facts.lossy);
    CHECK_FALSE(read.facts.colour);
    CHECK(read.facts.radiometry == Radiometry::unknown);
    REQUIRE(read.facts.scale.has_value());
    // The tag holds a fraction in 32-bit integers that came from a float: six digits stay.
    CHECK(read.facts.scale->pixel_xy_mm[0] == doctest::Approx(0.0196850394).epsilon(1e-6));
    CHECK(read.facts.scale->pixel_xy_mm[1] == read.facts.scale->pixel_xy_mm[0]);
    CHECK(read.facts.scale->from == "TIFF resolution, 508 per cm");
}

TEST_CASE("a TIFF without a scale states none") {
    const Scratch scratch;
    write_tiff16(scratch / "a.tif", all_different(20, 10).view());
    CHECK_FALSE(load_radiograph(scratch / "a.tif").facts.scale.has_value());
}

TEST_CASE("PNG in 16 and 8 bits and colour reads back") {
    const Scratch scratch;
    const auto picture = all_different(251, 241);
    write_png16(scratch / "a.png", picture.view());
    const Radiograph deep = load_radiograph(scratch / "a.png");
    check_same(deep.values, picture.view());
    CHECK(deep.facts.bits == 16);

    Image<std::uint8_t> shallow(16, 16), rgb(3 * 5, 4);
    for (int i = 0; i < 256; ++i)
        shallow(i % 16, i / 16) = static_cast<std::uint8_t>(255 - i);
    write_png8(scratch / "b.png", shallow.view());
    const Radiograph eight = load_radiograph(scratch / "b.png");
    CHECK(eight.facts.full_scale == 255);
    for (int i = 0; i < 256; ++i)
        CHECK(eight.values(i % 16, i / 16) == static_cast<float>(255 - i));

    for (int y = 0; y < 4; ++y)
        for (int x = 0; x < 15; ++x)
            rgb(x, y) = static_cast<std::uint8_t>(17 * y + 11 * x);
    write_png_rgb(scratch / "c.png", rgb.view());
    const Radiograph colour = load_radiograph(scratch / "c.png");
    CHECK(colour.facts.colour);
    CHECK(colour.values.width() == 5);
    // Rec. 601 luma of the second pixel of the third row, by hand: 67, 78, 89.
    CHECK(colour.values(1, 2) == doctest::Approx(0.299 * 67 + 0.587 * 78 + 0.114 * 89).epsilon(1e-6));
}

TEST_CASE("a part of a picture is written, not what lies around it") {
    const Scratch scratch;
    const auto picture = all_different(60, 50);
    const auto part = picture.view().window(7, 11, 31, 23);
    write_tiff16(scratch / "a.tif", part);
    check_same(load_radiograph(scratch / "a.tif").values, part);
    write_png16(scratch / "a.png", part);
    check_same(load_radiograph(scratch / "a.png").values, part);
}

TEST_CASE("the same picture gives the same bytes") {
    const Scratch scratch;
    const auto picture = all_different(40, 30);
    for (const char* name : {"a", "b"}) {
        write_tiff16(scratch / (std::string(name) + ".tif"), picture.view(), 0.025);
        write_png16(scratch / (std::string(name) + ".png"), picture.view());
    }
    CHECK(bytes_of(scratch / "a.tif") == bytes_of(scratch / "b.tif"));
    CHECK(bytes_of(scratch / "a.png") == bytes_of(scratch / "b.png"));
}

TEST_CASE("a place that cannot be written is an input error") {
    const Scratch scratch;
    const auto picture = all_different(4, 3);
    CHECK_THROWS_AS(write_tiff16(scratch / "none/a.tif", picture.view()), Error);
    CHECK_THROWS_AS(write_png16(scratch / "none/a.png", picture.view()), Error);
}
