// SPDX-License-Identifier: Apache-2.0
#include "core/base64.hpp"

#include <cstdint>

namespace ringwall {

std::string base64(std::string_view bytes) {
    constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;
    text.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        std::uint32_t group = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            const std::uint32_t byte = i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0;
            group = group << 8 | byte;
        }
        for (std::size_t k = 0; k < 4; ++k) {
            const bool padding = i + k > bytes.size();
            text += padding ? '=' : digits[group >> (18 - 6 * k) & 63];
        }
    }
    return text;
}

} // namespace ringwall
