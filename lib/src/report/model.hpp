// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <string>
#include <vector>

namespace ringwall::report {

/// A page as plain text, before any markup: what the template sets.
struct Table {
    std::string title;
    std::vector<std::string> head;
    std::vector<std::vector<std::string>> rows;
};

struct SectionFigure {
    const std::string* address = nullptr; ///< `data:`, not copied: megabytes
    std::string alt, caption;
};

struct Section {
    std::string title;
    std::vector<std::string> paragraphs;
    std::vector<std::string> points;
    std::vector<Table> tables;
    std::string shout;                       ///< a contradiction: set apart from the rest
    std::vector<SectionFigure> figures = {}; ///< small, after the tables
};

/// The numbers of one hole and what stands behind them.
struct HoleTables {
    Table numbers;
    std::vector<Table> budget;
    Table paths, alternatives, meter;
    std::vector<std::string> notes; ///< what limits, forbids or would decide the finding
};
HoleTables hole_tables(const BoardRecord& record, const HoleRecord& hole);

/// First page.
struct Summary {
    std::string title, subtitle;
    std::string lead; ///< the worst hole, one sentence
    std::vector<std::string> lead_notes;
    std::vector<std::string> whole_board; ///< sentences about all holes together
    Table holes; ///< those with pages first, then those of the case that were not found
    std::size_t holes_with_pages = 0;
    std::vector<std::string> how_to_read;
    std::vector<std::string> shouts; ///< contact proven, contradictions: one sentence each
};
Summary summary_of(const BoardRecord& record);

/// Layers of a slice stack, with a figure each where there is one; none without a stack.
std::vector<Section> layer_sections(const BoardRecord& record, const std::vector<std::string>& figures);
/// A hole's rings layer by layer; none without a stack.
std::vector<Table> stack_tables(const BoardRecord& record, const HoleRecord& hole);
/// What is about screws and rings is left out of a report about an edge-on picture alone.
/// Meter, hand measurements, pictures and their checks, sample size, custody, decisions, sources.
std::vector<Section> evidence_sections(const BoardRecord& record);
/// Statistics; limits and cautions.
Section statistics_section(const BoardRecord& record);
Section limits_section(const BoardRecord& record);

} // namespace ringwall::report
