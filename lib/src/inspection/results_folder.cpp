// SPDX-License-Identifier: Apache-2.0
#include "inspection/results_folder.hpp"

#include "ringwall/inspection.hpp"

#include <algorithm>
#include <array>
#include <fstream>
#include <iterator>
#include <string_view>

namespace fs = std::filesystem;

namespace ringwall {
namespace {

/// Every file this version writes; a later one adds its own.
constexpr std::array results_files{"results.json", "holes.csv",       "overlay.png", "overlay-edge.png",
                                   "report.html",  "comparison.json", "changes.csv", "side-by-side.png"};
constexpr std::array demo_files{"README.txt", "revision-a", "revision-b"};
/// First words of the demo's README.txt.
constexpr std::string_view demo_mark = "DEMO CASE: FIELD PUMP CONTROLLER";

std::string head_of(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    std::string head(400, '\0');
    in.read(head.data(), static_cast<std::streamsize>(head.size()));
    head.resize(static_cast<std::size_t>(in.gcount()));
    return head;
}

bool is_our_json(const fs::path& file) {
    const std::string head = head_of(file);
    return head.find("\"schema\":") != std::string::npos &&
           head.find("\"name\": \"ringwall\"") != std::string::npos;
}

bool is_demo_folder(const fs::path& folder) {
    return head_of(folder / "README.txt").starts_with(demo_mark);
}

/// "layer-3.png", "wall-H12.png": as many as the stack has layers and holes.
bool is_numbered_picture(std::string_view name) {
    constexpr std::array<std::string_view, 2> starts{"layer-", "wall-H"};
    return std::any_of(starts.begin(), starts.end(), [&](std::string_view start) {
        if (!name.starts_with(start) || !name.ends_with(".png")) return false;
        const std::string_view number = name.substr(start.size(), name.size() - start.size() - 4);
        return !number.empty() && number.find_first_not_of("0123456789") == std::string_view::npos;
    });
}

template<std::size_t n>
std::string first_foreign(const fs::path& folder, const std::array<const char*, n>& own) {
    std::error_code error;
    for (const auto& entry : fs::directory_iterator(folder, error)) {
        std::string name = entry.path().filename().string();
        if (std::find(own.begin(), own.end(), name) == own.end() && !is_numbered_picture(name)) return name;
    }
    return {};
}

std::string holds(const std::string& foreign) {
    return "also holds " + foreign + ", which ringwall did not write: move it away or choose a new name";
}

} // namespace

std::vector<std::string> changed_since(const fs::path& folder, const BoardRecord& record) {
    std::vector<std::string> sentences;
    if (!is_our_json(folder / "results.json")) return sentences;
    std::ifstream in(folder / "results.json", std::ios::binary);
    const std::string bytes((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    BoardRecord before;
    try {
        before = from_json(bytes);
    } catch (const Error&) {
        return sentences; // results of another version: nothing can be said of them
    }
    for (const SourceRecord& was : before.sources)
        for (const SourceRecord& is : record.sources) {
            const std::string name = fs::path(was.file).filename().string();
            if (name != fs::path(is.file).filename().string() || was.sha256 == is.sha256) continue;
            sentences.push_back(name + " has changed since the results in " + folder.string() +
                                " were made: its SHA-256 was " + was.sha256 + " and is " + is.sha256);
        }
    return sentences;
}

bool holds_results(const fs::path& folder) {
    return is_our_json(folder / "results.json");
}

bool is_results_folder(const fs::path& folder) {
    return is_our_json(folder / "results.json") || is_our_json(folder / "comparison.json");
}

std::string why_not_replaceable(const fs::path& folder) {
    if (!is_results_folder(folder) && !is_demo_folder(folder)) {
        return "was not made by ringwall and is not replaced: choose a new name";
    }
    const std::string foreign =
        is_results_folder(folder) ? first_foreign(folder, results_files) : first_foreign(folder, demo_files);
    return foreign.empty() ? "" : holds(foreign);
}

} // namespace ringwall
