// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <map>
#include <string>
#include <utility>
#include <vector>

namespace ringwall {

/// Figures of one hole as `data:` addresses, ready for an image's src; empty: there is none.
struct HolePictures {
    std::string portrait, unrolled, gap_curve, screw_view, wall_map;
};

/// Ready-made pictures of a report: it draws nothing itself and never sees a pixel.
struct ReportPictures {
    std::string overlay;
    std::vector<std::string> layers;                           ///< of a stack, as the record's layers
    std::string edge_overlay;                                  ///< the board seen edge-on
    std::map<std::pair<int, std::string>, HolePictures> holes; ///< by source and id
};

/// Holes that get a page of their own, at most; the worst first. The others stand in the table.
inline constexpr std::size_t most_hole_pages = 40;

/// The holes that a report is about (is_reported), worst first: `reaches`, `too_close`, `undecided`,
/// `gap_shown`, then those that no screw was set against; the least space left first, then in the record's
/// order.
std::vector<const HoleRecord*> worst_first(const BoardRecord& record);

/// What a layer's picture shows: "Layer 2 of 4: middle of its copper 0.345 mm below the low face.".
std::string layer_caption(const BoardRecord& record, const LayerRecord& layer);
/// What the overlay of a slice stack shows; empty for a picture, which is what it is.
std::string overlay_caption(const BoardRecord& record);

/// report.html: one file, UTF-8, without script, network or outside parts; made for A4 and Letter.
///
/// The finding comes first, in words; then two pages for a reader in a hurry (one number a hole, the marked
/// picture), a page a hole, the evidence, and the statistics. Every word that comes from a file or a person
/// is escaped. Same record and pictures: same bytes. Nothing here measures or decides: numbers and findings
/// are the record's.
std::string report_html(const BoardRecord& record, const ReportPictures& pictures);

} // namespace ringwall
