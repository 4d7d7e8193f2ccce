// SPDX-License-Identifier: Apache-2.0
#include "report/edge_section.hpp"
#include "report/model.hpp"
#include "report/page_template.hpp"
#include "report/report.hpp"
#include "report/words.hpp"

#include <kainjow/mustache.hpp>

#include <cctype>

namespace ringwall {
namespace {

namespace m = kainjow::mustache;
using report::HoleTables;
using report::Section;
using report::Summary;
using report::Table;

/// Numbers stand to the right and are not broken over lines; a long reason why there is none is.
bool is_number(const std::string& cell) {
    const bool starts = cell.starts_with("−") || cell.starts_with("–") || cell.starts_with("<0") ||
                        (!cell.empty() && std::isdigit(static_cast<unsigned char>(cell.front())) != 0);
    return starts && cell.size() < 32;
}

/// A word too long for a column (a fingerprint, a file's name) may be broken anywhere; no other is.
bool has_long_word(const std::string& cell) {
    std::size_t length = 0;
    for (const char c : cell) {
        length = c == ' ' ? 0 : length + 1;
        if (length > 22) return true;
    }
    return false;
}

/// A list of single texts, as objects with `text`, so that the template names what it sets.
m::data texts(const std::vector<std::string>& list) {
    m::data items{m::data::type::list};
    for (const auto& text : list)
        items.push_back(m::data{"text", text});
    return items;
}

m::data cells(const std::vector<std::string>& row) {
    m::data items{m::data::type::list};
    for (const auto& text : row) {
        m::data cell;
        cell.set("text", text);
        cell.set("number", is_number(text));
        cell.set("long_word", has_long_word(text));
        items.push_back(cell);
    }
    return items;
}

constexpr std::size_t most_rows_kept_together = 14; ///< of a table; a longer one may go on on the next page

/// Every name that a part of the template uses is set: an unset one would be looked up further out.
m::data table_data(const Table& table) {
    m::data data;
    m::data rows{m::data::type::list};
    for (const auto& row : table.rows)
        rows.push_back(m::data{"cells", cells(row)});
    data.set("has_title", !table.title.empty());
    data.set("title", table.title);
    data.set("long", table.rows.size() > most_rows_kept_together);
    data.set("head", texts(table.head));
    data.set("rows", rows);
    return data;
}

m::data tables_data(const std::vector<Table>& tables) {
    m::data list{m::data::type::list};
    for (const auto& table : tables)
        if (!table.rows.empty()) list.push_back(table_data(table));
    return list;
}

/// Figures are megabytes of text that need no escaping: the engine sets a short name in place of each, and
/// the page gets the figure itself when all else stands.
class Figures {
  public:
    void set(m::data& data, const std::string& name, const std::string& address) {
        data.set("has_" + name, !address.empty());
        data.set(name, place_ + std::to_string(addresses_.size()));
        addresses_.push_back(&address);
    }
    /// Only the template writes a bare quotation mark, so no text from outside can look like a place.
    [[nodiscard]] std::string put_into(const std::string& page) const {
        const std::string mark = "src=\"" + place_;
        std::size_t size = page.size();
        for (const std::string* address : addresses_)
            size += address->size();
        std::string whole;
        whole.reserve(size);
        std::size_t done = 0;
        for (std::size_t at = page.find(mark); at != std::string::npos; at = page.find(mark, done)) {
            const std::size_t number = at + mark.size(), end = page.find('"', number);
            whole.append(page, done, at + 5 - done); // up to the quotation mark
            whole += *addresses_[std::stoul(page.substr(number, end - number))];
            done = end;
        }
        return whole.append(page, done);
    }

  private:
    std::string place_ = "figure:";
    std::vector<const std::string*> addresses_;
};

m::data section_data(const Section& section, Figures& places) {
    m::data data;
    m::data figures{m::data::type::list};
    for (const auto& figure : section.figures) {
        m::data item;
        places.set(item, "small_figure", *figure.address);
        item.set("alt", figure.alt);
        item.set("caption", figure.caption);
        figures.push_back(item);
    }
    data.set("has_small_figures", !section.figures.empty());
    data.set("small_figures", figures);
    data.set("title", section.title);
    data.set("has_shout", !section.shout.empty());
    data.set("shout", section.shout);
    data.set("paragraphs", texts(section.paragraphs));
    data.set("has_points", !section.points.empty());
    data.set("points", texts(section.points));
    data.set("tables", tables_data(section.tables));
    return data;
}

m::data hole_data(const BoardRecord& record, const HolePictures& figures, const HoleRecord& hole,
                  std::size_t number, Figures& places) {
    const HoleTables tables = report::hole_tables(record, hole);
    m::data data;
    data.set("anchor", "hole-" + std::to_string(number));
    data.set("name", report::hole_name(hole));
    data.set("where", report::unit_of(record) + ", " + report::view_word(record) + " " +
                          report::picture_of(record, hole));
    data.set("sentence", report::finding_sentence(record, hole));
    data.set("left", report::space_left(hole));
    data.set("has_screw", hole.screw.has_value());
    data.set("notes", texts(tables.notes));
    data.set("has_notes", !tables.notes.empty());
    data.set("has_figures", !figures.portrait.empty() || !figures.gap_curve.empty());
    places.set(data, "portrait", figures.portrait);
    places.set(data, "unrolled", figures.unrolled);
    places.set(data, "gap_curve", figures.gap_curve);
    places.set(data, "screw_view", figures.screw_view);
    places.set(data, "wall_map", figures.wall_map);
    std::vector<Table> all{tables.numbers, tables.paths, tables.alternatives, tables.meter};
    const std::vector<Table> by_layer = report::stack_tables(record, hole);
    all.insert(all.begin() + 1, by_layer.begin(), by_layer.end());
    all.insert(all.end(), tables.budget.begin(), tables.budget.end());
    data.set("tables", tables_data(all));
    return data;
}

/// The table of the first page: its first cell leads to the hole's page.
m::data summary_rows(const Table& table, std::size_t holes) {
    m::data rows{m::data::type::list};
    for (std::size_t i = 0; i < table.rows.size(); ++i) {
        m::data row;
        row.set("has_page", i < std::min(holes, most_hole_pages)); // then those that were not found
        row.set("anchor", "hole-" + std::to_string(i + 1));
        row.set("name", table.rows[i][0]);
        row.set("finding", table.rows[i][1]);
        row.set("left", table.rows[i][2]);
        row.set("number", is_number(table.rows[i][2]));
        rows.push_back(row);
    }
    return rows;
}

void set_summary(m::data& page, const Summary& summary) {
    page.set("title", summary.title);
    page.set("subtitle", summary.subtitle);
    page.set("lead", summary.lead);
    page.set("lead_notes", texts(summary.lead_notes));
    page.set("shouts", texts(summary.shouts));
    page.set("whole_board", texts(summary.whole_board));
    page.set("has_holes", !summary.holes.rows.empty());
    page.set("summary_rows", summary_rows(summary.holes, summary.holes_with_pages));
    page.set("how_to_read", texts(summary.how_to_read));
}

std::string pages_left_out(std::size_t holes) {
    if (holes <= most_hole_pages) return {};
    return "Only the " + std::to_string(most_hole_pages) +
           " holes that stand first in the table have a page here; " +
           report::counted(holes - most_hole_pages, "more hole") +
           " stand in the table, in results.json and in holes.csv.";
}

/// What stands under the picture of the whole board, by how it was taken.
void set_view_words(m::data& page, const BoardRecord& record) {
    const bool stack = report::is_stack(record);
    page.set("question", report::is_edge_on_alone(record) ? "board thickness and copper layers"
                                                          : "can the screw reach copper?");
    page.set("overlay_title", stack ? "The stack's mean over the board's depth, with what was measured"
                                    : "The picture, with what was measured");
    page.set("overlay_alt", std::string(stack ? "The mean of the slices" : "The X-ray picture of the board") +
                                " with every measured hole marked");
    page.set(
        "overlay_shows",
        stack
            ? "Light: air and laminate. Dark: copper, solder, parts, all depths together; the layers one by "
              "one stand further down. Which plane is live is not visible."
            : "Light: little in the beam. Dark: copper, solder, parts. All copper layers lie on top of "
              "each other here: which plane is live is not visible.");
    page.set("sections_apart", !report::is_edge_on_alone(record)); // there they follow one short page
    page.set("portrait_shows",
             stack ? "The mean over the depth round the hole" : "The picture round the hole");
}

} // namespace

std::string report_html(const BoardRecord& record, const ReportPictures& pictures) {
    m::data page;
    Summary summary = report::summary_of(record);
    if (report::is_edge_on_alone(record)) {
        summary.lead = report::edge_lead(record);
        summary.lead_notes.clear(), summary.whole_board.clear();
    }
    set_summary(page, summary);
    set_view_words(page, record);
    Figures places;
    places.set(page, "edge_overlay", pictures.edge_overlay);
    places.set(page, "overlay", pictures.overlay);
    const auto holes = worst_first(record);
    m::data hole_pages{m::data::type::list}, sections{m::data::type::list};
    const HolePictures none;
    for (std::size_t i = 0; i < std::min(holes.size(), most_hole_pages); ++i) {
        const auto found = pictures.holes.find({holes[i]->source, holes[i]->id});
        const HolePictures& figures = found == pictures.holes.end() ? none : found->second;
        hole_pages.push_back(hole_data(record, figures, *holes[i], i + 1, places));
    }
    page.set("hole_pages", hole_pages);
    const std::string left_out = pages_left_out(holes.size());
    page.set("has_pages_left_out", !left_out.empty());
    page.set("pages_left_out", left_out);
    if (const auto edge = report::edge_section(record)) sections.push_back(section_data(*edge, places));
    for (const auto& section : report::layer_sections(record, pictures.layers))
        sections.push_back(section_data(section, places));
    for (const auto& section : report::evidence_sections(record))
        sections.push_back(section_data(section, places));
    sections.push_back(section_data(report::statistics_section(record), places));
    sections.push_back(section_data(report::limits_section(record), places));
    page.set("sections", sections);
    page.set("table", m::partial([] { return std::string(report::table_template()); }));
    m::mustache view{std::string(report::page_template())};
    return places.put_into(view.render(page));
}

} // namespace ringwall
