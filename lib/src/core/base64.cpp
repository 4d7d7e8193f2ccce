// SPDX-License-Identifier: Apache-2.0
#include "core/base64.hpp"

#include <cstdint>

namespace ringwall {

std::string base64(std::string_view bytes) {
    constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text((bytes.size() + 2) / 3 * 4, '=');
    const auto byte = [&](std::size_t i) { return std::uint32_t{static_cast<unsigned char>(bytes[i])}; };
    char* to = text.data();
    const auto put = [&](std::uint32_t group, int count) {
        for (int k = 0; k < count; ++k)
            *to++ = digits[group >> (18 - 6 * k) & 63];
    };
    const std::size_t whole = bytes.size() / 3 * 3, rest = bytes.size() - whole;
    for (std::size_t i = 0; i < whole; i += 3)
        put(byte(i) << 16 | byte(i + 1) << 8 | byte(i + 2), 4);
    if (rest == 1) put(byte(whole) << 16, 2);
    if (rest == 2) put(byte(whole) << 16 | byte(whole + 1) << 8, 3);
    return text;
}

} // namespace ringwall
