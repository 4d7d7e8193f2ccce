// SPDX-License-Identifier: Apache-2.0
#include "record/json_text.hpp"

#include "core/text.hpp"

#include <cassert>
#include <cmath>
#include <nlohmann/json.hpp>

namespace ringwall {
namespace {

using Json = nlohmann::ordered_json;

int height(const Json& value) {
    if (!value.is_structured()) return 0;
    int highest = 0;
    for (const auto& child : value)
        highest = std::max(highest, height(child));
    return 1 + highest;
}

void append_plain(std::string& text, const Json& value) {
    if (value.is_number_float()) {
        assert(std::isfinite(value.get<double>()));
        text += shortest(value.get<double>());
    } else {
        text += value.dump(-1, ' ', false, Json::error_handler_t::replace);
    }
}

/// Flat: the separator is ", "; else a new line.
void append_items(std::string& text, const Json& value, int indent, bool flat) {
    bool first = true;
    const std::string line = flat ? "" : "\n" + std::string(static_cast<std::size_t>(indent + 2), ' ');
    for (auto item = value.begin(); item != value.end(); ++item) {
        text += first ? line : flat ? ", " : "," + line;
        first = false;
        if (value.is_object()) {
            append_plain(text, Json(item.key()));
            text += ": ";
        }
        append_json(text, item.value(), indent + 2);
    }
    if (!flat) text += "\n" + std::string(static_cast<std::size_t>(indent), ' ');
}

} // namespace

void append_json(std::string& text, const Json& value, int indent) {
    if (!value.is_structured()) return append_plain(text, value);
    const bool flat = value.empty() || height(value) == 1 ||
                      (value.is_array() && height(value) == 2 && value[0].is_array());
    text += value.is_object() ? '{' : '[';
    append_items(text, value, indent, flat);
    text += value.is_object() ? '}' : ']';
}

} // namespace ringwall
