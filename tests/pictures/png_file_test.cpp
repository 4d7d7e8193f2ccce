// SPDX-License-Identifier: Apache-2.0
#include "pictures/png_file.hpp"

#include "bridge/parallel.hpp"

#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <png.h>
#include <vector>

using namespace ringwall;

namespace {

Image<std::uint32_t> speckled(int width, int height) {
    Image<std::uint32_t> pixels(width, height);
    std::uint32_t state = 7;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            state = state * 1664525U + 1013904223U;
            pixels(x, y) = 0xFF000000U | (x % 5 == 0 ? 0x204060U : state >> 8);
        }
    return pixels;
}

/// RGB bytes as libpng itself reads them.
std::vector<png_byte> read_back(const std::filesystem::path& file, int& width, int& height) {
    png_image image{};
    image.version = PNG_IMAGE_VERSION;
    REQUIRE(png_image_begin_read_from_file(&image, file.c_str()) != 0);
    image.format = PNG_FORMAT_RGB;
    std::vector<png_byte> rgb(PNG_IMAGE_SIZE(image));
    REQUIRE(png_image_finish_read(&image, nullptr, rgb.data(), 0, nullptr) != 0);
    width = static_cast<int>(image.width);
    height = static_cast<int>(image.height);
    return rgb;
}

std::vector<char> bytes_of(const std::filesystem::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

} // namespace

TEST_CASE("a picture written in bands reads back pixel for pixel, and any number of threads writes the same "
          "bytes") {
    const auto folder = std::filesystem::temp_directory_path() / "ringwall-png-test";
    std::filesystem::create_directories(folder);
    for (const auto& [w, h] : {std::pair{1, 1}, {3, 128}, {257, 129}, {64, 300}, {300, 900}, {140000, 3}}) {
        CAPTURE(w);
        CAPTURE(h);
        const Image<std::uint32_t> pixels = speckled(w, h);
        {
            const bridge::PoolSize one(1);
            write_rgb_png(folder / "one.png", pixels.view());
        }
        {
            const bridge::PoolSize two(2);
            write_rgb_png(folder / "two.png", pixels.view());
        }
        CHECK(bytes_of(folder / "one.png") == bytes_of(folder / "two.png"));
        int width = 0, height = 0;
        const auto rgb = read_back(folder / "one.png", width, height);
        REQUIRE(width == w);
        REQUIRE(height == h);
        int wrong = 0;
        for (int y = 0; y < h; ++y)
            for (int x = 0; x < w; ++x) {
                const png_byte* p =
                    rgb.data() + 3 * (static_cast<std::size_t>(y) * static_cast<std::size_t>(w) +
                                      static_cast<std::size_t>(x));
                const std::uint32_t read = 0xFF000000U | static_cast<std::uint32_t>(p[0]) << 16 |
                                           static_cast<std::uint32_t>(p[1]) << 8 | p[2];
                wrong += read != pixels(x, y);
            }
        CHECK(wrong == 0);
    }
    std::filesystem::remove_all(folder);
}
