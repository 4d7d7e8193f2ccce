// SPDX-License-Identifier: Apache-2.0
#include "core/csv.hpp"
#include "core/text.hpp"
#include "record/names.hpp"
#include "record/position.hpp"
#include "ringwall/record.hpp"

#include <functional>

namespace ringwall {
namespace {

std::string text_of(const std::optional<double>& value) {
    return value ? plain(*value) : "";
}
std::string value_of(const Estimate& estimate) {
    return estimate ? plain(estimate.value()) : "";
}
std::string u_of(const Estimate& estimate) {
    return estimate ? plain(estimate.u()) : "";
}

struct Column {
    std::string name;
    std::function<std::string(const HoleRecord&)> text;
};

/// An estimate takes two columns: NAME_UNIT and u_NAME_UNIT (k = 1).
void add_estimate(std::vector<Column>& columns, const std::string& name,
                  const std::function<const Estimate&(const HoleRecord&)>& of) {
    columns.push_back({name, [of](const HoleRecord& hole) { return value_of(of(hole)); }});
    columns.push_back({"u_" + name, [of](const HoleRecord& hole) { return u_of(of(hole)); }});
}

void add_names_and_places(std::vector<Column>& columns) {
    columns.push_back({"id", [](const HoleRecord& h) { return h.id; }});
    columns.push_back({"source", [](const HoleRecord& h) { return std::to_string(h.source); }});
    columns.push_back({"kind", [](const HoleRecord& h) { return word(h.kind); }});
    columns.push_back({"seen_fraction", [](const HoleRecord& h) { return plain(h.seen_fraction); }});
    columns.push_back({"x_px", [](const HoleRecord& h) { return plain(h.x_px); }});
    columns.push_back({"y_px", [](const HoleRecord& h) { return plain(h.y_px); }});
    columns.push_back({"u_x_px", [](const HoleRecord& h) { return plain(h.u_x_px); }});
    columns.push_back({"u_y_px", [](const HoleRecord& h) { return plain(h.u_y_px); }});
    columns.push_back({"x_mm", [](const HoleRecord& h) { return text_of(h.x_mm); }});
    columns.push_back({"y_mm", [](const HoleRecord& h) { return text_of(h.y_mm); }});
}

void add_sizes(std::vector<Column>& columns) {
    add_estimate(columns, "bore_mm", [](const HoleRecord& h) -> const Estimate& { return h.bore_mm; });
    add_estimate(columns, "bore_px", [](const HoleRecord& h) -> const Estimate& { return h.bore_px; });
    add_estimate(columns, "inscribed_mm",
                 [](const HoleRecord& h) -> const Estimate& { return h.inscribed_mm; });
    add_estimate(columns, "drill_mm", [](const HoleRecord& h) -> const Estimate& { return h.drill_mm; });
    add_estimate(columns, "drill_px", [](const HoleRecord& h) -> const Estimate& { return h.drill_px; });
    add_estimate(columns, "roundness_mm",
                 [](const HoleRecord& h) -> const Estimate& { return h.roundness_mm; });
    add_estimate(columns, "furthest_void_mm",
                 [](const HoleRecord& h) -> const Estimate& { return h.furthest_void_mm; });
    columns.push_back({"shape", [](const HoleRecord& h) { return word(h.shape.state); }});
    add_estimate(columns, "excess_mm",
                 [](const HoleRecord& h) -> const Estimate& { return h.shape.excess_mm; });
    add_estimate(columns, "excess_mm2",
                 [](const HoleRecord& h) -> const Estimate& { return h.shape.excess_mm2; });
}

void add_wall_and_ring(std::vector<Column>& columns) {
    columns.push_back({"wall", [](const HoleRecord& h) { return word(h.wall.state); }});
    columns.push_back(
        {"covered_fraction", [](const HoleRecord& h) { return text_of(h.wall.covered_fraction); }});
    add_estimate(columns, "wall_um",
                 [](const HoleRecord& h) -> const Estimate& { return h.wall.thickness_um; });
    add_estimate(columns, "wall_integrated_um",
                 [](const HoleRecord& h) -> const Estimate& { return h.wall.copper_um_integrated; });
    columns.push_back({"keepout", [](const HoleRecord& h) { return word(h.keepout.state); }});
    add_estimate(columns, "keepout_min_mm",
                 [](const HoleRecord& h) -> const Estimate& { return h.keepout.min_mm; });
    add_estimate(columns, "keepout_min_px",
                 [](const HoleRecord& h) -> const Estimate& { return h.keepout.min_px; });
    columns.push_back(
        {"keepout_min_angle_deg", [](const HoleRecord& h) { return text_of(h.keepout.min_angle_deg); }});
    columns.push_back({"keepout_p_low_mm", [](const HoleRecord& h) { return text_of(h.keepout.p_low_mm); }});
    columns.push_back({"keepout_mean_mm", [](const HoleRecord& h) { return text_of(h.keepout.mean_mm); }});
    columns.push_back(
        {"searched_to_mm", [](const HoleRecord& h) { return text_of(h.keepout.searched_to_mm); }});
    columns.push_back({"own_outer_mm", [](const HoleRecord& h) { return text_of(h.keepout.own_outer_mm); }});
    columns.push_back({"largest_gap_not_excluded_mm",
                       [](const HoleRecord& h) { return text_of(h.keepout.largest_gap_not_excluded_mm); }});
}

void add_reasons(std::vector<Column>& columns) {
    columns.push_back({"bore_why", [](const HoleRecord& h) {
                           return h.bore_px ? std::string() : csv_field(h.bore_px.why());
                       }});
    columns.push_back({"wall_why", [](const HoleRecord& h) { return csv_field(h.wall.why); }});
    columns.push_back({"keepout_why", [](const HoleRecord& h) { return csv_field(h.keepout.why); }});
}

/// A value of the hole's screw; empty where no screw was judged.
void add_of_screw(std::vector<Column>& columns, const std::string& name,
                  const std::function<std::string(const ScrewFit&)>& of) {
    columns.push_back({name, [of](const HoleRecord& h) { return h.screw ? of(*h.screw) : std::string(); }});
}

void add_finding(std::vector<Column>& columns) {
    columns.push_back({"name", [](const HoleRecord& h) { return csv_field(h.name); }});
    add_of_screw(columns, "screw", [](const ScrewFit& s) { return csv_field(s.name); });
    add_of_screw(columns, "finding", [](const ScrewFit& s) { return word(s.finding); });
    columns.push_back(
        {"finding_why", [](const HoleRecord& h) { return csv_field(h.screw ? h.screw->why : h.screw_why); }});
    add_of_screw(columns, "contact_margin_mm",
                 [](const ScrewFit& s) { return value_of(s.contact_margin_mm); });
    add_of_screw(columns, "u_contact_margin_mm", [](const ScrewFit& s) { return u_of(s.contact_margin_mm); });
    add_of_screw(columns, "margin_mm", [](const ScrewFit& s) { return value_of(s.margin_mm); });
    add_of_screw(columns, "u_margin_mm", [](const ScrewFit& s) { return u_of(s.margin_mm); });
    add_of_screw(columns, "margin_low_mm", [](const ScrewFit& s) { return text_of(s.margin_low_mm); });
    add_of_screw(columns, "required_mm", [](const ScrewFit& s) { return text_of(s.required_mm); });
    add_of_screw(columns, "cutting_margin_mm",
                 [](const ScrewFit& s) { return value_of(s.cutting_margin_mm); });
    add_of_screw(columns, "u_cutting_margin_mm", [](const ScrewFit& s) { return u_of(s.cutting_margin_mm); });
    // The one number of the report: in the position drawn, by the path that decides.
    add_of_screw(columns, "space_left_mm", [](const ScrewFit& s) { return value_of(space_left_mm(s)); });
    add_of_screw(columns, "u_space_left_mm", [](const ScrewFit& s) { return u_of(space_left_mm(s)); });
    add_of_screw(columns, "space_left_of", [](const ScrewFit& s) { return space_left_of(s); });
}

std::vector<Column> all_columns() {
    std::vector<Column> columns;
    add_names_and_places(columns);
    add_sizes(columns);
    add_wall_and_ring(columns);
    add_reasons(columns);
    add_finding(columns); // new ones last: a column's place is part of what others read
    return columns;
}

} // namespace

std::string to_csv(const BoardRecord& record) {
    const std::vector<Column> columns = all_columns();
    std::string csv;
    for (const auto& column : columns)
        csv += (&column == &columns.front() ? "" : ",") + column.name;
    csv += "\n";
    for (const auto& hole : record.holes) {
        for (const auto& column : columns)
            csv += (&column == &columns.front() ? "" : ",") + column.text(hole);
        csv += "\n";
    }
    return csv;
}

} // namespace ringwall
