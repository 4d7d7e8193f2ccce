// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "record/names.hpp"
#include "ringwall/estimate.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/image.hpp"
#include "ringwall/record.hpp"

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

using Json = nlohmann::ordered_json;

inline Json json_of(const Estimate& estimate) {
    if (estimate) return {{"value", estimate.value()}, {"u", estimate.u()}};
    return {{"value", nullptr}, {"u", nullptr}, {"why", estimate.why()}};
}

template<typename T>
Json json_of(const std::optional<T>& value) {
    return value ? Json(*value) : Json(nullptr);
}

inline Json json_of(const std::vector<std::string>& texts) {
    Json list = Json::array();
    for (const auto& text : texts)
        list.push_back(text);
    return list;
}

inline Json json_of(Point point) {
    return Json::array({point.x, point.y});
}

template<typename T, typename F>
Json list_json(const std::vector<T>& values, F one) {
    Json list = Json::array();
    for (const T& value : values)
        list.push_back(one(value));
    return list;
}

inline Json json_of(const std::vector<BudgetLine>& budget) {
    return list_json(budget, [](const BudgetLine& line) {
        return Json{
            {"quantity", line.quantity}, {"component", line.component}, {"u", line.u}, {"share", line.share}};
    });
}

/// A state by its word in the results file; null where there is none.
template<typename T>
Json word_json(const std::optional<T>& value) {
    return value ? Json(word(*value)) : Json(nullptr);
}

/// Nothing said is null.
inline Json text_json(const std::string& text) {
    return text.empty() ? Json(nullptr) : Json(text);
}

/// `program` of every results file.
inline Json program_json(const ProgramFacts& program) {
    Json libraries = Json::object();
    for (const auto& [name, version] : program.libraries)
        libraries[name] = version;
    return {{"name", program.name},
            {"version", program.version},
            {"revision", program.revision},
            {"libraries", std::move(libraries)}};
}

} // namespace ringwall
