// SPDX-License-Identifier: Apache-2.0
#include "files/checks.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <new>

namespace ringwall::files {
namespace {

constexpr std::uint64_t most_pixels = std::uint64_t{1} << 31;

/// Within 0.2 %, the rounding of 300 per inch to 118 per cm.
bool screen_value(double per_inch) {
    constexpr std::array<double, 4> usual = {72, 96, 150, 300};
    return std::any_of(usual.begin(), usual.end(),
                       [&](double dpi) { return std::abs(per_inch / dpi - 1) < 0.002; });
}

} // namespace

std::string number(double value) {
    std::array<char, 40> text{};
    // Eight digits: more than any instrument states, and 1/3 mm does not fill the line.
    const auto end =
        std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::general, 8);
    return {text.data(), end.ptr};
}

void check_size(const SourceFile& file, std::uint64_t width, std::uint64_t height, const LoadLimits& limits,
                std::uint64_t working_bytes) {
    const std::string stated = std::to_string(width) + " x " + std::to_string(height) + " pixels";
    if (width == 0 || height == 0) file.refuse("states " + stated + ", expected at least 1 x 1");
    constexpr std::uint64_t most_side = std::numeric_limits<int>::max();
    if (width > most_side || height > most_side || width > most_pixels / height)
        file.refuse("states " + stated + ", over the limit of 2^31 pixels");
    const std::uint64_t floats = width * height * sizeof(float);
    if (working_bytes > limits.memory_bytes || floats > limits.memory_bytes - working_bytes)
        file.refuse("states " + stated + ", which need " +
                    std::to_string((floats + std::min(working_bytes, most_pixels << 20)) >> 20) +
                    " MB, over the memory limit of " + std::to_string(limits.memory_bytes >> 20) + " MB");
}

void check_single_page(const SourceFile& file, const SourceFacts& facts) {
    if (facts.pages > 1)
        file.refuse("holds " + std::to_string(facts.pages) +
                    " pages, which is a slice stack, expected one projection picture");
}

Image<float> make_picture(const SourceFile& file, const SourceFacts& facts) {
    try {
        return {facts.width_px, facts.height_px};
    } catch (const std::bad_alloc&) {
        file.refuse("needs more memory than this machine gives");
    }
}

void finish_picture(const SourceFile& file, Radiograph& radiograph) {
    if (!radiograph.facts.is_float) return;
    const float* values = radiograph.values.data();
    const std::size_t size = radiograph.values.size();
    float least = std::numeric_limits<float>::max(), greatest = std::numeric_limits<float>::lowest();
    std::size_t bad = 0;
    for (std::size_t i = 0; i < size; ++i) {
        if (!std::isfinite(values[i])) {
            ++bad;
            continue;
        }
        least = std::min(least, values[i]);
        greatest = std::max(greatest, values[i]);
    }
    if (bad > 0) file.refuse("holds " + std::to_string(bad) + " pixels that are not finite numbers");
    radiograph.facts.lowest_value = least;
    radiograph.facts.full_scale = greatest;
}

void finish_rows(const SourceFile& file, Radiograph& radiograph, const RowConverter& rows) {
    if (rows.bad_index()) file.refuse("is damaged: pixels name colours that its palette does not hold");
    radiograph.facts.colour = rows.colour();
    if (rows.lost_digits())
        radiograph.facts.notes.emplace_back("values of over 24 significant bits were rounded to 24");
    finish_picture(file, radiograph);
}

void take_resolution(SourceFacts& facts, std::array<double, 2> per_mm, const std::string& words) {
    for (const double value : per_mm) {
        const double pixel_um = 1000 / value;
        if (!std::isfinite(value) || value <= 0 || !(pixel_um >= 1 && pixel_um <= 500)) {
            facts.notes.push_back(words + " ignored: a pixel would not be 1 to 500 µm wide");
            return;
        }
        if (screen_value(value * 25.4)) {
            facts.notes.push_back(words +
                                  " ignored: a usual value of screens and printers, not a measured one");
            return;
        }
    }
    facts.scale = StatedScale{{1 / per_mm[0], 1 / per_mm[1]}, words};
}

void take_spacing(SourceFacts& facts, std::array<double, 2> pixel_xy_mm, const std::string& words) {
    const bool good = std::all_of(pixel_xy_mm.begin(), pixel_xy_mm.end(),
                                  [](double mm) { return std::isfinite(mm) && mm > 0; });
    if (good)
        facts.scale = StatedScale{pixel_xy_mm, words};
    else
        facts.notes.push_back(words + " ignored: not a length over 0");
}

} // namespace ringwall::files
