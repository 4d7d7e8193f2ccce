// SPDX-License-Identifier: Apache-2.0
#include "casefile/case_text.hpp"

#include "core/swapped_folder.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <map>
#include <set>

namespace ringwall {
namespace {

using Names = std::set<std::string, std::less<>>;

constexpr std::size_t most_bytes = std::size_t{4} << 20; // a case file is typed by hand

/// Every key of the contract, and ours beside them.
const std::map<std::string, Names, std::less<>>& known_keys() {
    static const std::map<std::string, Names, std::less<>> keys{
        {"board",
         {"name", "revision", "unit", "serial", "lot", "lot_size", "chosen", "thickness_mm", "foil_um",
          "thinnest_foil_um"}},
        {"picture",
         {"file",
          "sha256",
          "shot",
          "side_to_source",
          "pixel_mm",
          "voxel_mm",
          "scale_u_percent",
          "geometry",
          "dense",
          "radiometry",
          "flat",
          "dark",
          "fitted",
          "cycles",
          "taken_by",
          "taken_on",
          "cabinet_calibrated",
          "kv",
          "ua",
          "filter",
          "frames",
          "processing",
          "repeat_of"}},
        {"picture.geometry",
         {"source_to_board_mm", "source_to_detector_mm", "detector_pixel_mm", "centre_px", "board_depth_mm"}},
        {"scale", {"picture", "from_px", "to_px", "hole", "mm", "u_mm", "with"}},
        {"hole", {"picture", "at_px", "at_mm", "name", "purpose", "screw"}},
        {"screw",
         {"name", "table", "major_mm", "minor_mm", "head_mm", "washer_mm", "washer_bore_mm", "tilt_deg",
          "engagement"}},
        {"far_side", {"outline_mm"}},
        {"rule", {"voltage_peak_v", "voltage_kind", "spacing_row", "required_mm", "confidence"}},
        {"layer", {"number", "role", "evidence"}},
        {"measured", {"what", "where", "value_mm", "u_mm", "with"}},
        {"custody", {"when", "from", "to", "seal_before", "seal_after", "photographs"}},
        {"continuity", {"file"}},
        {"unit", {"case"}}};
    return keys;
}

} // namespace

CaseText::CaseText(const std::filesystem::path& file) : path_(file), name_(file.string()) {
    root_ = parse_toml(read_whole_file(path_, most_bytes), name_);
}

std::vector<TomlTable> CaseText::tables(const std::string& name) const {
    std::vector<TomlTable> list;
    if (const toml::table* one = root_[name].as_table()) list.emplace_back(*one, name, name_);
    if (const toml::array* many = root_[name].as_array()) {
        for (const auto& item : *many)
            list.emplace_back(*item.as_table(), name, name_);
    }
    return list;
}

std::optional<TomlTable> CaseText::one(const std::string& name) const {
    const std::vector<TomlTable> found = tables(name);
    if (found.empty()) return std::nullopt;
    if (found.size() > 1) {
        throw Error(Fault::input, name_ + ", line " + std::to_string(found[1].line()) + ": key [[" + name +
                                      "]]: expected one [" + name + "], got several");
    }
    return found.front();
}

std::filesystem::path CaseText::beside(const std::string& file) const {
    const std::filesystem::path path(file);
    return path.is_absolute() ? path : path_.parent_path() / path;
}

std::string CaseText::place_in_words(const toml::node& node) const {
    return path_.filename().string() + ", line " + std::to_string(node.source().begin.line) + ": ";
}

std::vector<UnknownKey> CaseText::unknown_keys() const {
    std::vector<UnknownKey> unknown;
    check_keys(root_, "", unknown);
    return unknown;
}

/// `name`: "" for the file itself, else the dotted name of the table.
void CaseText::check_keys(const toml::table& table, const std::string& name,
                          std::vector<UnknownKey>& unknown) const {
    for (const auto& [key, node] : table) {
        const std::string own(key.str());
        const std::string full = name.empty() ? own : name + "." + own;
        const bool known = name.empty() ? known_keys().contains(own) : known_keys().at(name).contains(own);
        if (!known) {
            unknown.push_back({name.empty() ? "[" + own + "]" : "[" + name + "] " + own, place_in_words(node),
                               static_cast<int>(node.source().begin.line)});
        } else if (known_keys().contains(full)) {
            check_table_kind(node, full, unknown);
        }
    }
}

void CaseText::check_table_kind(const toml::node& node, const std::string& name,
                                std::vector<UnknownKey>& unknown) const {
    if (const toml::table* table = node.as_table()) return check_keys(*table, name, unknown);
    const toml::array* array = node.as_array();
    const bool tables = array != nullptr && std::all_of(array->begin(), array->end(),
                                                        [](const toml::node& n) { return n.is_table(); });
    if (!tables) {
        throw Error(Fault::input, name_ + ", line " + std::to_string(node.source().begin.line) + ": key " +
                                      name + ": expected a table, got " + as_written(node));
    }
    for (const auto& item : *array)
        check_keys(*item.as_table(), name, unknown);
}

int picture_index(const CaseText& text, const TomlTable& table, const CaseFile& read) {
    const toml::node* node = table.find("picture");
    if (node == nullptr) return 0;
    const int count = static_cast<int>(read.pictures.size());
    if (const auto number = node->value_exact<std::int64_t>(); number && *number >= 1 && *number <= count) {
        return static_cast<int>(*number) - 1;
    }
    if (const auto file = node->value_exact<std::string>()) {
        for (int i = 0; i < count; ++i) {
            if (read.pictures[static_cast<std::size_t>(i)].file == text.beside(*file)) return i;
        }
    }
    table.fail("picture", *node,
               "the file of a [[picture]] or its number from 1 to " + std::to_string(count));
}

} // namespace ringwall
