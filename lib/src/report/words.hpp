// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <optional>
#include <string>

namespace ringwall::report {

/// Numbers for a reader, always with their unit. An estimate: value and U (k = 2), or "not known: why".
std::string with_unit(const Estimate& estimate, const std::string& unit);
/// An exact or worst-case length: "3.505 mm".
std::string mm(double value);
std::string mm(const std::optional<double>& value, const std::string& otherwise);
/// mm where there is a value, else px, else why not.
std::string mm_or_px(const Estimate& mm, const Estimate& px);
std::string percent(double share);
/// "135°"
std::string degrees(double angle_deg);
/// "10° to 80°, 200° to 230°"
std::string arcs(const std::vector<Arc>& arcs);
/// `count` and the noun, with an s unless it is one.
std::string counted(std::size_t count, const std::string& noun);

/// As a sentence: a full stop at its end unless one stands there.
std::string stopped(const std::string& text);

/// The published words of a finding, never others.
std::string finding_words(Finding finding, const SpacingRule& rule);
/// "row B1, a yardstick; the table does not name this case"
std::string rule_in_words(const SpacingRule& rule);

/// The same of one hole, after what the meter proved there.
std::string finding_of(const BoardRecord& record, const HoleRecord& hole);
/// "Unit 7", or "The unit examined" when nobody named it.
std::string unit_of(const BoardRecord& record);
/// Board and revision: "Field pump controller, revision A"; empty when nobody named them.
std::string board_of(const BoardRecord& record);
/// What the record was measured in: a slice stack, or (first source) an edge-on picture alone.
bool is_stack(const BoardRecord& record);
bool is_edge_on_alone(const BoardRecord& record);
/// "picture" or "slice stack"
std::string view_word(const BoardRecord& record);
/// "0.420 mm to 0.580 mm below the low face" of every depth at which a barrel is interrupted all round.
std::string break_words(const StackHoleRecord& stack);
/// "H1 (lid, front left)"
std::string hole_name(const HoleRecord& hole);
/// File name of the picture, without its folders.
std::string picture_of(const BoardRecord& record, const HoleRecord& hole);
/// Where the screw stands in the drawing: "the screw resting on the wall at 135°".
std::string position_of(const HoleRecord& hole);
/// "thread", "head, near side"
std::string path_name(const MetalPath& path);

/// The published sentence of a hole: unit, hole, screw, position drawn and picture.
std::string finding_sentence(const BoardRecord& record, const HoleRecord& hole);
/// Its one number: "−0.082 ±0.030 mm"; without a rule, what is left to contact; or why there is none.
std::string space_left(const HoleRecord& hole);

} // namespace ringwall::report
