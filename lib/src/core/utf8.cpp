// SPDX-License-Identifier: Apache-2.0
#include "core/utf8.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cstdint>

namespace ringwall {
namespace {

/// Bytes that the character starting at `at` takes; 0: no UTF-8 (RFC 3629; overlong forms and surrogates are
/// none either).
std::size_t utf8_length(const std::string& bytes, std::size_t at) {
    const auto byte = [&](std::size_t i) {
        return i < bytes.size() ? static_cast<std::uint8_t>(bytes[i]) : std::uint8_t{0};
    };
    const unsigned first = byte(at);
    if (first < 0x80) return first == 0 ? 0 : 1;
    const std::size_t length = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
    if (first < 0xC2 || first > 0xF4) return 0;
    for (std::size_t i = 1; i < length; ++i)
        if ((byte(at + i) & 0xC0U) != 0x80U) return 0;
    const unsigned second = byte(at + 1);
    const bool overlong = (first == 0xE0 && second < 0xA0) || (first == 0xF0 && second < 0x90);
    const bool outside = (first == 0xED && second > 0x9F) || (first == 0xF4 && second > 0x8F);
    return overlong || outside ? 0 : length;
}

/// Of a file without its mark, a text in a Western alphabet has a zero in every second byte.
bool looks_like_utf16(const std::string& bytes) {
    return bytes.starts_with("\xFF\xFE") || bytes.starts_with("\xFE\xFF") ||
           bytes.substr(0, 2).find('\0') != std::string::npos;
}

} // namespace

void check_utf8(const std::string& bytes, const std::string& file) {
    for (std::size_t at = 0; at < bytes.size();) {
        const std::size_t length = utf8_length(bytes, at);
        if (length == 0) {
            const auto line =
                1 + std::count(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(at), '\n');
            throw Error(Fault::input, file + ", line " + std::to_string(line) +
                                          ": expected text in UTF-8 (save it as UTF-8), got " +
                                          (looks_like_utf16(bytes) ? "UTF-16" : "other bytes"));
        }
        at += length;
    }
}

} // namespace ringwall
