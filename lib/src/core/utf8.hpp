// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace ringwall {

/// Throws Error(input), "FILE, line 3: expected text in UTF-8 (save it as UTF-8), got ...", for bytes that
/// are none (RFC 3629), a zero among them.
void check_utf8(const std::string& bytes, const std::string& file);

} // namespace ringwall
