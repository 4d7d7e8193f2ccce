// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"

#include "core/swapped_folder.hpp"
#include "core/text.hpp"
#include "ringwall/error.hpp"
#include "ringwall/limits.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <sstream>
#include <toml++/toml.h>

namespace ringwall {
namespace {

using Names = std::set<std::string, std::less<>>;

constexpr std::size_t most_bytes = std::size_t{4} << 20; // a case file is typed by hand
constexpr double infinity = std::numeric_limits<double>::infinity();

/// Every key of the contract, whether a stage uses it yet or not.
const std::map<std::string, Names, std::less<>>& known_keys() {
    static const std::map<std::string, Names, std::less<>> keys{
        {"board",
         {"name", "revision", "unit", "serial", "lot", "chosen", "thickness_mm", "foil_um",
          "thinnest_foil_um"}},
        {"picture",
         {"file",
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
         {"source_to_board_mm", "source_to_detector_mm", "detector_pixel_mm", "centre_px"}},
        {"scale", {"picture", "from_px", "to_px", "hole", "mm", "u_mm", "with"}},
        {"hole", {"picture", "at_px", "at_mm", "name", "purpose", "screw"}},
        {"screw", {"name", "major_mm", "minor_mm", "head_mm", "washer_mm", "tilt_deg", "engagement"}},
        {"far_side", {"outline_mm"}},
        {"rule", {"voltage_peak_v", "voltage_kind", "spacing_row", "required_mm", "confidence"}},
        {"layer", {"number", "role", "evidence"}},
        {"measured", {"what", "where", "value_mm", "u_mm", "with"}},
        {"custody", {"when", "from", "to", "seal_before", "seal_after", "photographs"}},
        {"continuity", {"file"}},
        {"unit", {"case"}}};
    return keys;
}

std::string as_written(const toml::node& node) {
    if (const auto* number = node.as_floating_point()) return plain(number->get());
    std::ostringstream text;
    text.imbue(std::locale::classic());
    node.visit([&](const auto& value) { text << value; });
    std::string shown = text.str();
    std::replace(shown.begin(), shown.end(), '\n', ' ');
    return shown.size() > 40 ? shown.substr(0, 37) + "..." : shown;
}

/// One table of the file, with the words an error needs.
class Table {
  public:
    Table(const toml::table& table, std::string name, std::string file)
        : table_(table), name_(std::move(name)), file_(std::move(file)) {}

    [[nodiscard]] std::string place(const toml::node& node) const {
        return file_ + ", line " + std::to_string(node.source().begin.line);
    }
    [[noreturn]] void fail(const std::string& key, const toml::node& node,
                           const std::string& expected) const {
        throw Error(Fault::input, place(node) + ": key [" + name_ + "] " + key + ": expected " + expected +
                                      ", got " + as_written(node));
    }
    [[noreturn]] void missing(const std::string& key, const std::string& expected) const {
        throw Error(Fault::input, place(table_) + ": key [" + name_ + "] " + key + ": expected " + expected +
                                      ", got nothing");
    }
    [[nodiscard]] const toml::node* find(const std::string& key) const { return table_.get(key); }

    [[nodiscard]] std::optional<std::string> text(const std::string& key) const {
        const toml::node* node = find(key);
        if (node == nullptr) return std::nullopt;
        auto value = node->value_exact<std::string>();
        if (!value) fail(key, *node, "text in quotes");
        return value;
    }
    /// `low` < value < `high`, or the error says `expected`.
    [[nodiscard]] std::optional<double> number(const std::string& key, double low, double high,
                                               const std::string& expected) const {
        const toml::node* node = find(key);
        return node == nullptr ? std::nullopt : std::optional(number_of(key, *node, low, high, expected));
    }
    [[nodiscard]] double number_of(const std::string& key, const toml::node& node, double low, double high,
                                   const std::string& expected) const {
        const auto value = node.is_number() ? node.value<double>() : std::nullopt;
        if (!value || !(*value > low && *value < high)) fail(key, node, expected);
        return *value;
    }
    [[nodiscard]] std::optional<double> number(const std::string& key, const Limits& limits) const {
        const toml::node* node = find(key);
        return node == nullptr ? std::nullopt : std::optional(number_of(key, *node, limits));
    }
    [[nodiscard]] double number_of(const std::string& key, const toml::node& node,
                                   const Limits& limits) const {
        const double value = number_of(key, node, -infinity, infinity, limits.expected);
        if (!limits.hold(value)) fail(key, node, limits.expected);
        return value;
    }
    [[nodiscard]] std::optional<std::array<double, 2>> pair(const std::string& key, double low,
                                                            const std::string& expected) const {
        const toml::node* node = find(key);
        if (node == nullptr) return std::nullopt;
        const toml::array* array = node->as_array();
        if (array == nullptr || array->size() != 2) fail(key, *node, expected);
        const double most = std::numeric_limits<double>::infinity();
        return std::array{number_of(key, *array->get(0), low, most, expected),
                          number_of(key, *array->get(1), low, most, expected)};
    }
    template<typename T>
    void choice(const std::string& key, const std::vector<std::pair<std::string, T>>& words,
                T& target) const {
        const toml::node* node = find(key);
        if (node == nullptr) return;
        std::string all;
        for (const auto& [name, value] : words) {
            if (node->value_exact<std::string>() == name) {
                target = value;
                return;
            }
            all += (all.empty() ? "\"" : ", \"") + name + "\"";
        }
        fail(key, *node, "one of " + all);
    }

  private:
    const toml::table& table_;
    std::string name_;
    std::string file_;
};

class Reader {
  public:
    explicit Reader(const std::filesystem::path& file) : path_(file), name_(file.string()) {}

    CaseFile read() {
        const std::string bytes = read_whole_file(path_, most_bytes);
        parse(bytes);
        check_keys(root_, "");
        read_board();
        read_pictures();
        read_scales();
        note_what_waits();
        if (const toml::table* rule = root_["rule"].as_table()) {
            case_.confidence =
                Table(*rule, "rule", name_).number("confidence", 0.5, 1, "a number between 0.5 and 1");
        }
        return std::move(case_);
    }

  private:
    void parse(const std::string& bytes) {
        try {
            root_ = toml::parse(bytes, name_);
        } catch (const toml::parse_error& error) {
            throw Error(Fault::input, name_ + ", line " + std::to_string(error.source().begin.line) +
                                          ": no TOML: " + std::string(error.description()));
        }
    }

    void warn_unknown(const toml::node& node, const std::string& key) {
        case_.warnings.push_back(name_for_words() + ", line " + std::to_string(node.source().begin.line) +
                                 ": key " + key + " is unknown and ignored");
    }
    /// Warnings go into the results, which hold no absolute path.
    [[nodiscard]] std::string name_for_words() const { return path_.filename().string(); }

    /// `name`: "" for the file itself, else the dotted name of the table.
    void check_keys(const toml::table& table, const std::string& name) {
        for (const auto& [key, node] : table) {
            const std::string own(key.str());
            const std::string full = name.empty() ? own : name + "." + own;
            const bool known =
                name.empty() ? known_keys().contains(own) : known_keys().at(name).contains(own);
            if (!known) {
                warn_unknown(node, name.empty() ? "[" + own + "]" : "[" + name + "] " + own);
            } else if (known_keys().contains(full)) {
                check_table_kind(node, full);
            }
        }
    }
    void check_table_kind(const toml::node& node, const std::string& name) {
        if (const toml::table* table = node.as_table()) return check_keys(*table, name);
        const toml::array* array = node.as_array();
        const bool tables = array != nullptr && std::all_of(array->begin(), array->end(),
                                                            [](const toml::node& n) { return n.is_table(); });
        if (!tables) {
            throw Error(Fault::input, name_ + ", line " + std::to_string(node.source().begin.line) +
                                          ": key " + name + ": expected a table, got " + as_written(node));
        }
        for (const auto& item : *array)
            check_keys(*item.as_table(), name);
    }

    void read_board() {
        const toml::table* found = root_["board"].as_table();
        if (found == nullptr) return;
        const Table table(*found, "board", name_);
        case_.board.name = table.text("name").value_or("");
        case_.board.revision = table.text("revision").value_or("");
        case_.board.unit = table.text("unit").value_or("");
        case_.board.thickness_mm = table.number("thickness_mm", board_limits_mm);
        case_.board.foil_um = table.number("foil_um", foil_limits_um);
        case_.board.thinnest_foil_um = table.number("thinnest_foil_um", foil_limits_um);
    }

    /// A screw or a spacing rule that somebody wrote down looks judged when nothing is said.
    void note_what_waits() {
        const toml::table* rule = root_["rule"].as_table();
        const bool asks = rule != nullptr && rule->size() > (rule->contains("confidence") ? 1U : 0U);
        const bool screw = root_["screw"].is_table();
        if (!screw && !asks) return;
        case_.warnings.push_back(std::string(screw && asks ? "screw and rule"
                                             : screw       ? "screw"
                                                           : "rule") +
                                 " in the case file " + (screw && asks ? "are" : "is") +
                                 " not judged in this version");
    }

    /// The tables of a [[name]] list; a single [name] counts as a list of one.
    [[nodiscard]] std::vector<const toml::table*> tables(const std::string& name) const {
        std::vector<const toml::table*> list;
        if (const toml::table* one = root_[name].as_table()) list.push_back(one);
        if (const toml::array* many = root_[name].as_array()) {
            for (const auto& item : *many)
                list.push_back(item.as_table());
        }
        return list;
    }

    [[nodiscard]] std::filesystem::path beside(const std::string& file) const {
        const std::filesystem::path path(file);
        return path.is_absolute() ? path : path_.parent_path() / path;
    }

    void read_pictures() {
        for (const toml::table* found : tables("picture"))
            read_picture(Table(*found, "picture", name_));
        if (case_.pictures.empty()) {
            throw Error(Fault::input, name_ + ": expected at least one [[picture]] with a file, got none");
        }
    }

    void read_picture(const Table& table) {
        CasePicture picture;
        const auto file = table.text("file");
        if (!file || file->empty()) table.missing("file", "the picture's file name");
        picture.file = beside(*file);
        picture.side_to_source = table.text("side_to_source").value_or("unknown");
        table.choice<std::string>("side_to_source",
                                  {{"top", "top"}, {"bottom", "bottom"}, {"unknown", "unknown"}},
                                  picture.side_to_source);
        table.choice<Shot>("shot", {{"face", Shot::face}, {"edge", Shot::edge}, {"stack", Shot::stack}},
                           picture.shot);
        table.choice<DenseSide>(
            "dense",
            {{"dark", DenseSide::dark}, {"bright", DenseSide::bright}, {"auto", DenseSide::automatic}},
            picture.dense);
        table.choice<Radiometry>(
            "radiometry",
            {{"linear", Radiometry::linear}, {"log", Radiometry::log}, {"display", Radiometry::display}},
            picture.radiometry);
        picture.pixel_mm = read_pixel(table);
        picture.scale_u_percent =
            table.number("scale_u_percent", 0, 100, "a share between 0 and 100 percent");
        if (const auto flat = table.text("flat")) picture.flat = beside(*flat);
        if (const auto dark = table.text("dark")) picture.dark = beside(*dark);
        case_.pictures.push_back(std::move(picture));
    }

    [[nodiscard]] static std::optional<std::array<double, 2>> read_pixel(const Table& table) {
        const std::string expected = std::string(pixel_limits_mm.expected) + ", one or two [x, y]";
        const Limits limits{pixel_limits_mm.least, pixel_limits_mm.most, expected.c_str()};
        const toml::node* node = table.find("pixel_mm");
        if (node == nullptr) return std::nullopt;
        if (node->is_array()) {
            const auto both = table.pair("pixel_mm", -infinity, expected);
            if (!limits.hold((*both)[0]) || !limits.hold((*both)[1])) table.fail("pixel_mm", *node, expected);
            return both;
        }
        const double mm = table.number_of("pixel_mm", *node, limits);
        return std::array{mm, mm};
    }

    void read_scales() {
        for (const toml::table* found : tables("scale")) {
            const Table table(*found, "scale", name_);
            if (table.find("hole") != nullptr) {
                case_.warnings.push_back(
                    name_for_words() + ", line " + std::to_string(found->source().begin.line) +
                    ": a scale from a hole's size is not in this version and is ignored");
                continue;
            }
            read_scale(table);
        }
    }

    void read_scale(const Table& table) {
        CaseScale scale;
        const std::string point = "a point [x, y] in px";
        const auto from = table.pair("from_px", -infinity, point), to = table.pair("to_px", -infinity, point);
        const auto mm = table.number("mm", 0, infinity, "a length over 0 mm");
        if (!from) table.missing("from_px", point);
        if (!to) table.missing("to_px", point);
        if (!mm) table.missing("mm", "a length over 0 mm");
        scale.from_px = {(*from)[0], (*from)[1]};
        scale.to_px = {(*to)[0], (*to)[1]};
        scale.mm = *mm;
        scale.picture = picture_index(table);
        const double length_px = std::hypot(scale.to_px.x - scale.from_px.x, scale.to_px.y - scale.from_px.y);
        if (length_px >= 1 && !pixel_limits_mm.hold(*mm / length_px)) {
            table.fail("mm", *table.find("mm"),
                       "a length that makes " + std::string(pixel_limits_mm.expected));
        }
        case_.scales.push_back(scale);
    }

    /// A picture is named by its file, or by its number in the case, counted from 1; not named: the first.
    [[nodiscard]] int picture_index(const Table& table) const {
        const toml::node* node = table.find("picture");
        if (node == nullptr) return 0;
        const int count = static_cast<int>(case_.pictures.size());
        if (const auto number = node->value_exact<std::int64_t>();
            number && *number >= 1 && *number <= count) {
            return static_cast<int>(*number) - 1;
        }
        if (const auto file = node->value_exact<std::string>()) {
            for (int i = 0; i < count; ++i) {
                if (case_.pictures[static_cast<std::size_t>(i)].file == beside(*file)) return i;
            }
        }
        table.fail("picture", *node,
                   "the file of a [[picture]] or its number from 1 to " + std::to_string(count));
    }

    std::filesystem::path path_;
    std::string name_;
    toml::table root_;
    CaseFile case_;
};

} // namespace

CaseFile read_case(const std::filesystem::path& file) {
    return Reader(file).read();
}

} // namespace ringwall
