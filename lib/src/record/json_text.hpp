// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <nlohmann/json_fwd.hpp>

#include <string>

namespace ringwall {

/// Appends a JSON value as text: keys in their order, numbers in the shortest form that reads back the same,
/// strings as UTF-8 (bytes that are none become U+FFFD). An object or array that holds only plain values, or
/// only arrays of plain values, stands on one line, so that a profile reads as a table. Numbers must be
/// finite (asserted).
void append_json(std::string& text, const nlohmann::ordered_json& value, int indent);

} // namespace ringwall
