// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// A human decision: made by a person, kept beside the case, shown in every result.
struct Decision {
    enum class Act { add_hole, strike_out, set_wall, set_scale };
    Act act = Act::add_hole;
    Point at_px; ///< add_hole, strike_out, set_wall: where (nearest hole within its radius); set_scale: first
                 ///< point
    Point to_px; ///< set_scale: second point
    double value = 0;                      ///< add_hole: radius_px to start from; set_scale: distance in mm
    WallState wall = WallState::undecided; ///< set_wall
    std::string who, when, why;
    bool after_result = false; ///< made when a result without it was already known
    std::string
        picture_sha256; ///< of the picture it was made on; empty: not said. On another it is left out.
    bool operator==(const Decision&) const = default;
};

/// The decisions file of a case: NAME.decisions.toml beside NAME.toml. It is ringwall's own, so that the
/// person's case file and its comments are never rewritten.
std::filesystem::path decisions_file_of(const std::filesystem::path& case_file);
/// Reads a decisions file, in the order in which they were made. Throws Error(input) for anything that
/// ringwall does not write there, one line with file, line, key, what was expected and what stands there.
std::vector<Decision> read_decisions(const std::filesystem::path& file);
/// Writes the file aside and renames it over the old one: after a kill the old or the new one stands, whole.
/// Throws Error(input) when the file that stands there holds anything that ringwall did not write (also a
/// comment: it would be lost), or when it cannot be written; Error(usage) for a decision that does not read
/// back the same (text that is no UTF-8, a number that is not finite).
void write_decisions(const std::filesystem::path& file, std::span<const Decision> decisions);

} // namespace ringwall
