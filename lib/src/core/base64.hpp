// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

namespace ringwall {

/// Bytes as base64 text with padding (RFC 4648, section 4), for pictures inside a page.
std::string base64(std::string_view bytes);

} // namespace ringwall
