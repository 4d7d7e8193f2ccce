// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "record/names.hpp"
#include "ringwall/error.hpp"
#include "ringwall/estimate.hpp"

#include <array>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// A value of the file and the way to it, so that an error can name the key.
class Node {
  public:
    using Json = nlohmann::ordered_json;
    Node(const Json& json, std::string path) : json_(json), path_(std::move(path)) {}

    [[noreturn]] void fail(const std::string& expected) const {
        std::string got = json_.dump(-1, ' ', false, Json::error_handler_t::replace);
        if (got.size() > 40) got = got.substr(0, 37) + "...";
        throw Error(Fault::input, "results file, key " + path_ + ": expected " + expected + ", got " + got);
    }
    [[nodiscard]] Node operator[](const std::string& key) const {
        if (!json_.is_object()) fail("an object");
        const auto found = json_.find(key);
        const std::string path = path_.empty() ? key : path_ + "." + key;
        if (found == json_.end()) throw Error(Fault::input, "results file, key " + path + ": missing");
        return {*found, path};
    }
    [[nodiscard]] bool has(const std::string& key) const { return json_.is_object() && json_.contains(key); }
    [[nodiscard]] bool is_null() const { return json_.is_null(); }
    [[nodiscard]] const Json& json() const { return json_; }

    [[nodiscard]] double number() const {
        if (!json_.is_number()) fail("a number");
        return json_.get<double>();
    }
    [[nodiscard]] int whole() const {
        if (!json_.is_number_integer()) fail("a whole number");
        return json_.get<int>();
    }
    [[nodiscard]] bool truth() const {
        if (!json_.is_boolean()) fail("true or false");
        return json_.get<bool>();
    }
    [[nodiscard]] std::string text() const {
        if (!json_.is_string()) fail("text");
        return json_.get<std::string>();
    }
    [[nodiscard]] std::optional<int> maybe_whole() const {
        return is_null() ? std::nullopt : std::optional(whole());
    }
    [[nodiscard]] std::optional<bool> maybe_truth() const {
        return is_null() ? std::nullopt : std::optional(truth());
    }
    [[nodiscard]] std::string text_or_empty() const { return is_null() ? std::string() : text(); }
    [[nodiscard]] std::optional<double> maybe_number() const {
        return is_null() ? std::nullopt : std::optional(number());
    }
    template<typename T>
    [[nodiscard]] T state() const {
        const auto value = from_word<T>(text());
        if (!value) fail("one of " + all_words<T>());
        return *value;
    }
    template<typename T>
    [[nodiscard]] std::optional<T> maybe_state() const {
        return is_null() ? std::nullopt : std::optional(state<T>());
    }
    template<typename F>
    [[nodiscard]] auto list(F read) const {
        if (!json_.is_array()) fail("a list");
        std::vector<decltype(read(*this))> values;
        values.reserve(json_.size());
        for (std::size_t i = 0; i < json_.size(); ++i) {
            values.push_back(read(Node(json_[i], path_ + "[" + std::to_string(i) + "]")));
        }
        return values;
    }
    [[nodiscard]] std::array<double, 2> pair() const {
        if (!json_.is_array() || json_.size() != 2) fail("two numbers");
        return {Node(json_[0], path_).number(), Node(json_[1], path_).number()};
    }

  private:
    const Json& json_;
    std::string path_;
};

inline Estimate read_estimate(const Node& node) {
    if (node["value"].is_null()) return Estimate::missing(node["why"].text());
    Estimate estimate = Estimate::of(node["value"].number(), node["u"].number());
    if (!estimate) node.fail("a value with an uncertainty of 0 or more");
    return estimate;
}

inline Point read_point(const Node& node) {
    const auto [x, y] = node.pair();
    return {x, y};
}

inline BudgetLine read_budget_line(const Node& node) {
    return {node["quantity"].text(), node["component"].text(), node["u"].number(), node["share"].number()};
}

inline std::string read_text(const Node& node) {
    return node.text();
}

} // namespace ringwall
