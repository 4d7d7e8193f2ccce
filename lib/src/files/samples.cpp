// SPDX-License-Identifier: Apache-2.0
#include "files/samples.hpp"

#include <cmath>
#include <cstring>
#include <limits>

namespace ringwall::files {
namespace {

float half_to_float(std::uint16_t half) {
    const std::uint32_t sign = static_cast<std::uint32_t>(half & 0x8000U) << 16;
    const unsigned exponent = (half >> 10) & 0x1fU, fraction = half & 0x3ffU;
    if (exponent == 0) {
        const float small = std::ldexp(static_cast<float>(fraction), -24);
        return sign != 0 ? -small : small;
    }
    const std::uint32_t wide = exponent == 31 ? 0xffU : exponent + 112U;
    const std::uint32_t bits = sign | wide << 23 | fraction << 13;
    float value;
    std::memcpy(&value, &bits, sizeof value);
    return value;
}

/// The 24-bit float of a common TIFF extension: 1 sign, 7 exponent (bias 63), 16 fraction bits.
float float24_to_float(std::uint32_t bits) {
    const bool negative = (bits & 0x800000U) != 0;
    const int exponent = static_cast<int>((bits >> 16) & 0x7fU);
    const auto fraction = static_cast<float>(bits & 0xffffU);
    float size;
    if (exponent == 127)
        size =
            fraction == 0 ? std::numeric_limits<float>::infinity() : std::numeric_limits<float>::quiet_NaN();
    else if (exponent == 0)
        size = std::ldexp(fraction, -16 - 62);
    else
        size = std::ldexp(1.0F + fraction / 65536.0F, exponent - 63);
    return negative ? -size : size;
}

/// Samples beside each other: a loop that compilers turn into vector code.
template<typename T>
void contiguous(const std::byte* row, int count, float* out) {
    for (std::ptrdiff_t i = 0; i < count; ++i) {
        T value;
        std::memcpy(&value, row + i * static_cast<std::ptrdiff_t>(sizeof(T)), sizeof value);
        out[i] = static_cast<float>(value);
    }
}

template<typename T>
void plain(const std::byte* row, int first, int step, int count, float* out) {
    if (first == 0 && step == 1) return contiguous<T>(row, count, out);
    const std::byte* from = row + static_cast<std::ptrdiff_t>(first) * static_cast<std::ptrdiff_t>(sizeof(T));
    const std::ptrdiff_t jump = static_cast<std::ptrdiff_t>(step) * static_cast<std::ptrdiff_t>(sizeof(T));
    for (int i = 0; i < count; ++i) {
        T value;
        std::memcpy(&value, from + i * jump, sizeof value);
        out[i] = static_cast<float>(value);
    }
}

/// Types that hold more digits than a float; says whether any were lost.
template<typename T>
bool wide(const std::byte* row, int first, int step, int count, float* out) {
    bool lost = false;
    for (int i = 0; i < count; ++i) {
        T value;
        const std::ptrdiff_t at = first + static_cast<std::ptrdiff_t>(i) * step;
        std::memcpy(&value, row + at * static_cast<std::ptrdiff_t>(sizeof(T)), sizeof value);
        out[i] = static_cast<float>(value);
        // long double holds every 64-bit integer and double exactly. Not a number stays one.
        const auto stored = static_cast<long double>(value);
        lost |= static_cast<long double>(out[i]) != stored && !std::isnan(stored);
    }
    return lost;
}

std::uint32_t packed_at(const std::byte* row, std::size_t bit, int bits) {
    std::uint64_t value = 0;
    const std::size_t last = (bit + static_cast<std::size_t>(bits) - 1) / 8;
    for (std::size_t byte = bit / 8; byte <= last; ++byte)
        value = value << 8 | std::to_integer<std::uint64_t>(row[byte]);
    value >>= 7 - (bit + static_cast<std::size_t>(bits) - 1) % 8;
    return static_cast<std::uint32_t>(value & ((std::uint64_t{1} << bits) - 1));
}

float signed_value(std::uint32_t value, int bits) {
    const std::int64_t wrap = (value >> (bits - 1)) != 0 ? std::int64_t{1} << bits : 0;
    return static_cast<float>(static_cast<std::int64_t>(value) - wrap);
}

std::uint32_t three_bytes(const std::byte* at) {
    return std::to_integer<std::uint32_t>(at[0]) | std::to_integer<std::uint32_t>(at[1]) << 8 |
           std::to_integer<std::uint32_t>(at[2]) << 16;
}

bool odd_bits(const SampleFormat& format, const std::byte* row, int first, int step, int count, float* out) {
    bool lost = false;
    for (int i = 0; i < count; ++i) {
        const std::size_t at =
            static_cast<std::size_t>(first) + static_cast<std::size_t>(i) * static_cast<std::size_t>(step);
        const std::uint32_t value =
            format.bits == 24 ? three_bytes(row + 3 * at)
                              : packed_at(row, at * static_cast<std::size_t>(format.bits), format.bits);
        if (format.kind == SampleKind::floating)
            out[i] = float24_to_float(value);
        else if (format.kind == SampleKind::signed_integer)
            out[i] = signed_value(value, format.bits);
        else
            out[i] = static_cast<float>(value);
        lost |= format.bits > 24 && format.kind == SampleKind::unsigned_integer &&
                static_cast<double>(out[i]) != static_cast<double>(value);
    }
    return lost;
}

void halves(const std::byte* row, int first, int step, int count, float* out) {
    for (int i = 0; i < count; ++i) {
        std::uint16_t half;
        std::memcpy(&half, row + 2 * (first + static_cast<std::ptrdiff_t>(i) * step), sizeof half);
        out[i] = half_to_float(half);
    }
}

} // namespace

bool supported(const SampleFormat& format) {
    if (format.kind == SampleKind::floating)
        return format.bits == 16 || format.bits == 24 || format.bits == 32 || format.bits == 64;
    return (format.bits >= 1 && format.bits <= 32) || format.bits == 64;
}

double lowest_of(const SampleFormat& format) {
    return format.kind == SampleKind::signed_integer ? -std::ldexp(1.0, format.bits - 1) : 0;
}

double highest_of(const SampleFormat& format) {
    if (format.kind == SampleKind::floating) return 0;
    return std::ldexp(1.0, format.kind == SampleKind::signed_integer ? format.bits - 1 : format.bits) - 1;
}

int channels_of(ColourModel model) {
    if (model == ColourModel::rgb) return 3;
    return model == ColourModel::cmyk ? 4 : 1;
}

RowConverter::RowConverter(SampleFormat format, ColourModel model, int samples)
    : format_(format), model_(model), samples_(samples) {}

void RowConverter::set_palette(const std::vector<std::array<float, 3>>& colours) {
    palette_grey_.clear();
    palette_coloured_.clear();
    for (const auto& [r, g, b] : colours) {
        palette_grey_.push_back(luma(r, g, b));
        palette_coloured_.push_back(r != g || g != b ? 1 : 0);
    }
}

void RowConverter::channel(const std::byte* row, int first, int step, int count, float* out) {
    const bool is_signed = format_.kind == SampleKind::signed_integer,
               is_float = format_.kind == SampleKind::floating;
    if (format_.bits == 8)
        return is_signed ? plain<std::int8_t>(row, first, step, count, out)
                         : plain<std::uint8_t>(row, first, step, count, out);
    if (format_.bits == 16 && is_float) return halves(row, first, step, count, out);
    if (format_.bits == 16)
        return is_signed ? plain<std::int16_t>(row, first, step, count, out)
                         : plain<std::uint16_t>(row, first, step, count, out);
    if (format_.bits == 32 && is_float) return plain<float>(row, first, step, count, out);
    bool lost = false;
    if (format_.bits == 32)
        lost = is_signed ? wide<std::int32_t>(row, first, step, count, out)
                         : wide<std::uint32_t>(row, first, step, count, out);
    else if (format_.bits == 64 && is_float)
        lost = wide<double>(row, first, step, count, out);
    else if (format_.bits == 64)
        lost = is_signed ? wide<std::int64_t>(row, first, step, count, out)
                         : wide<std::uint64_t>(row, first, step, count, out);
    else
        lost = odd_bits(format_, row, first, step, count, out);
    lost_digits_ |= lost;
}

void RowConverter::combine(int count, float* out) {
    const auto size = static_cast<std::size_t>(count);
    if (model_ == ColourModel::cmyk) {
        const auto full = static_cast<float>(highest_of(format_));
        for (std::size_t c = 0; c < 3; ++c)
            for (std::size_t i = 0; i < size; ++i)
                channels_[c][i] = (full - channels_[c][i]) * (full - channels_[3][i]) / full;
    }
    const float *r = channels_[0].data(), *g = channels_[1].data(), *b = channels_[2].data();
    bool differs = false;
    for (std::size_t i = 0; i < size; ++i) {
        differs |= r[i] != g[i] || g[i] != b[i];
        out[i] = luma(r[i], g[i], b[i]);
    }
    colour_ |= differs;
}

void RowConverter::interleaved(const std::byte* row, int count, float* out) {
    if (channels_of(model_) == 1) channel(row, 0, samples_, count, out);
    if (model_ == ColourModel::palette) {
        for (int i = 0; i < count; ++i) {
            const auto index = static_cast<std::size_t>(out[i]);
            bad_index_ |= index >= palette_grey_.size();
            out[i] = index < palette_grey_.size() ? palette_grey_[index] : 0;
            colour_ |= index < palette_grey_.size() && palette_coloured_[index] != 0;
        }
    }
    if (channels_of(model_) == 1) return;
    for (int c = 0; c < channels_of(model_); ++c) {
        auto& values = channels_[static_cast<std::size_t>(c)];
        values.resize(static_cast<std::size_t>(count));
        channel(row, c, samples_, count, values.data());
    }
    combine(count, out);
}

void RowConverter::separate(const std::vector<const std::byte*>& rows, int count, float* out) {
    if (channels_of(model_) == 1) {
        const int beside = samples_;
        samples_ = 1;
        interleaved(rows[0], count, out);
        samples_ = beside;
        return;
    }
    for (int c = 0; c < channels_of(model_); ++c) {
        auto& values = channels_[static_cast<std::size_t>(c)];
        values.resize(static_cast<std::size_t>(count));
        channel(rows[static_cast<std::size_t>(c)], 0, 1, count, values.data());
    }
    combine(count, out);
}

} // namespace ringwall::files
