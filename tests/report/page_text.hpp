// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cctype>
#include <regex>
#include <string>
#include <vector>

namespace ringwall::test {

/// What is wrong with the nesting of tags, or "" (a small reader of its own: names, quoted attributes, void
/// elements; what stands in <style> is not looked at).
inline std::string nesting_fault(const std::string& html) {
    const std::vector<std::string> alone{"meta", "img", "rect", "path", "br"};
    std::vector<std::string> open;
    for (std::size_t at = html.find('<'); at != std::string::npos; at = html.find('<', at)) {
        const std::size_t end = html.find('>', at);
        if (end == std::string::npos) return "a tag without an end";
        std::string tag = html.substr(at + 1, end - at - 1);
        at = end;
        if (tag.empty() || tag.front() == '!') continue;
        if (std::count(tag.begin(), tag.end(), '"') % 2 != 0) return "quotes of <" + tag + ">";
        const bool closes = tag.front() == '/';
        std::string name;
        for (std::size_t i = closes ? 1 : 0;
             i < tag.size() && std::isalnum(static_cast<unsigned char>(tag[i])); ++i)
            name += tag[i];
        if (name.empty()) return "a tag without a name: <" + tag.substr(0, 20) + ">";
        if (closes) {
            if (open.empty() || open.back() != name) return "</" + name + "> closes nothing";
            open.pop_back();
        } else if (tag.back() != '/' && std::find(alone.begin(), alone.end(), name) == alone.end()) {
            open.push_back(name);
            if (name == "style") at = html.find("</style>", at) - 1;
        }
    }
    return open.empty() ? "" : "<" + open.back() + "> stays open";
}

/// The words that a reader sees: without styles and tags, entities read.
inline std::string visible(const std::string& html) {
    std::string text;
    bool tag = false;
    const std::size_t style = html.find("<style>"), after = html.find("</style>");
    for (std::size_t i = 0; i < html.size(); ++i) {
        if (i == style) i = after;
        if (html[i] == '<') tag = true;
        if (!tag) text += html[i];
        if (html[i] == '>') {
            tag = false;
            text += ' ';
        }
    }
    const std::vector<std::pair<std::string, std::string>> entities{
        {"&lt;", "<"}, {"&gt;", ">"}, {"&quot;", "\""}, {"&apos;", "'"}, {"&amp;", "&"}};
    for (const auto& [entity, character] : entities)
        for (std::size_t at = text.find(entity); at != std::string::npos; at = text.find(entity, at + 1))
            text.replace(at, entity.size(), character);
    return text;
}

/// The cells of the page's tables that are marked as numbers.
inline std::vector<std::string> number_cells(const std::string& html) {
    std::vector<std::string> cells;
    const std::string mark = "<td class=\"n\">";
    for (std::size_t at = html.find(mark); at != std::string::npos; at = html.find(mark, at + 1))
        cells.push_back(visible(html.substr(at, html.find("</td>", at) - at)));
    return cells;
}

inline std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
        ++count;
    return count;
}

} // namespace ringwall::test
