// SPDX-License-Identifier: Apache-2.0
#include "screwfit/tables.hpp"

#include "core/csv.hpp"
#include "core/swapped_folder.hpp"
#include "core/text.hpp"
#include "ringwall/error.hpp"
#include "ringwall/screwfit.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

// Made from data/tables at configure time.
extern const char* const screws_csv;
extern const char* const heads_csv;
extern const char* const washers_csv;
extern const char* const clearance_holes_csv;
extern const char* const spacing_csv;

namespace {

constexpr std::size_t most_bytes = std::size_t{1} << 20; // a table is typed by hand
constexpr double table_ends_v = 500;

double required(const CsvTable& table, const CsvRow& row, const std::string& column) {
    const auto value = table.number(row, column);
    if (!value || !(*value > 0 && *value < 100)) table.fail(row, column, "a size over 0 and under 100 mm");
    return *value;
}

Screw screw_of(const CsvTable& table, const CsvRow& row) {
    Screw screw;
    screw.name = table.text(row, "name");
    screw.major_mm = required(table, row, "nominal_mm");
    screw.minor_mm = required(table, row, "minor_min_mm");
    screw.major_min_mm = table.number(row, "major_min_mm");
    screw.major_max_mm = table.number(row, "major_max_mm");
    screw.source = table.text(row, "source");
    if (screw.minor_mm >= screw.major_mm)
        table.fail(row, "minor_min_mm", "less than the nominal diameter " + plain(screw.major_mm));
    return screw;
}

std::vector<Screw> screws_of(const CsvTable& table) {
    std::vector<Screw> screws;
    for (const CsvRow& row : table.rows())
        screws.push_back(screw_of(table, row));
    return screws;
}

const std::vector<Screw>& built_in_screws() {
    static const std::vector<Screw> screws = screws_of(CsvTable(screws_csv, "screws.csv"));
    return screws;
}

const Screw* find(const std::vector<Screw>& screws, const std::string& name) {
    const auto found =
        std::find_if(screws.begin(), screws.end(), [&](const Screw& s) { return s.name == name; });
    return found == screws.end() ? nullptr : &*found;
}

std::string joined(const std::vector<Screw>& screws) {
    std::string all;
    for (const Screw& screw : screws)
        all += (all.empty() ? "" : ", ") + screw.name;
    return all;
}

/// One line of the spacing table: a row's spacing up to a voltage.
struct Step {
    std::string row;
    double up_to_v = 0, spacing_mm = 0, per_v_mm = 0;
};

const std::vector<Step>& steps() {
    static const std::vector<Step> all = [] {
        const CsvTable table(spacing_csv, "spacing.csv");
        std::vector<Step> list;
        for (const CsvRow& row : table.rows())
            list.push_back({table.text(row, "row"), table.number(row, "up_to_v").value_or(0),
                            table.number(row, "spacing_mm").value_or(0),
                            table.number(row, "per_v_over_500_mm").value_or(0)});
        return list;
    }();
    return all;
}

} // namespace

std::vector<std::string> screw_names() {
    std::vector<std::string> names;
    for (const Screw& screw : built_in_screws())
        names.push_back(screw.name);
    return names;
}

Screw screw_named(const std::string& name, const std::optional<std::filesystem::path>& own_table) {
    std::vector<Screw> own;
    if (own_table) own = screws_of(CsvTable(read_whole_file(*own_table, most_bytes), own_table->string()));
    if (const Screw* screw = find(own, name)) return *screw;
    if (const Screw* screw = find(built_in_screws(), name)) return *screw;
    throw Error(Fault::usage, "screw: expected one of " + (own.empty() ? "" : joined(own) + ", ") +
                                  joined(built_in_screws()) + ", got \"" + name +
                                  "\"; a case file can give the sizes instead");
}

double ipc_2221_spacing_mm(const std::string& row, double peak_v) {
    const auto& rows = screwfit::spacing_rows();
    if (std::find(rows.begin(), rows.end(), row) == rows.end())
        throw Error(Fault::usage, "spacing row: expected B1, B2, B3, B4, A5, A6 or A7, got \"" + row + "\"");
    if (!(std::isfinite(peak_v) && peak_v >= 0))
        throw Error(Fault::usage, "peak voltage: expected 0 V or more, got " + brief(peak_v));
    const Step* last = nullptr;
    for (const Step& step : steps()) {
        if (step.row != row) continue;
        if (peak_v <= step.up_to_v) return step.spacing_mm;
        last = &step;
    }
    return last->spacing_mm + (peak_v - table_ends_v) * last->per_v_mm;
}

std::optional<double> required_spacing_mm(const SpacingRule& rule) {
    if (rule.required_mm) return rule.required_mm;
    if (!rule.voltage_peak_v && rule.row.empty()) return std::nullopt;
    if (!rule.voltage_peak_v)
        throw Error(Fault::usage, "spacing row " + rule.row + " needs a peak voltage, got none");
    if (rule.row.empty())
        throw Error(Fault::usage,
                    "a peak voltage needs a spacing row of your choice (B1 to B4, A5 to A7): the table "
                    "does not name a screw in a bare hole facing an inner plane");
    return ipc_2221_spacing_mm(rule.row, *rule.voltage_peak_v);
}

bool above_low_voltage(const SpacingRule& rule) {
    // Limits of extra-low voltage as the trade uses them: 60 V DC, 42.4 V peak (30 V rms); from memory.
    return rule.voltage_peak_v && *rule.voltage_peak_v > (rule.voltage_kind == VoltageKind::dc ? 60.0 : 42.4);
}

namespace screwfit {
namespace {

std::vector<StandardPart> parts_of(const char* text, const std::string& screw, const std::string& kind,
                                   const std::string& outer) {
    const CsvTable table(text, kind);
    std::vector<StandardPart> parts;
    for (const CsvRow& row : table.rows()) {
        if (table.text(row, "screw") != screw) continue;
        parts.push_back({table.text(row, kind) + " " + kind + ", " + table.text(row, "source"),
                         table.number(row, outer).value_or(0), table.number(row, "bore_mm")});
    }
    return parts;
}

} // namespace

std::vector<StandardPart> standard_heads(const std::string& screw) {
    return parts_of(heads_csv, screw, "head", "head_max_mm");
}

std::vector<StandardPart> standard_washers(const std::string& screw) {
    return parts_of(washers_csv, screw, "washer", "outer_mm");
}

std::vector<ClearanceHole> clearance_holes(const std::string& screw) {
    const CsvTable table(clearance_holes_csv, "clearance_holes.csv");
    std::vector<ClearanceHole> holes;
    for (const CsvRow& row : table.rows())
        if (table.text(row, "screw") == screw)
            holes.push_back({table.text(row, "fit") + ", " + table.text(row, "source"),
                             table.number(row, "hole_mm").value_or(0)});
    return holes;
}

const std::vector<std::string>& spacing_rows() {
    static const std::vector<std::string> rows = [] {
        std::vector<std::string> list;
        for (const Step& step : steps())
            if (list.empty() || list.back() != step.row) list.push_back(step.row);
        return list;
    }();
    return rows;
}

} // namespace screwfit
} // namespace ringwall
