// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

struct CaseBoard {
    std::string name, revision, unit;
    std::optional<double> thickness_mm, foil_um, thinnest_foil_um;
};

struct CasePicture {
    std::filesystem::path file; ///< as written, or beside the case file when relative
    Shot shot = Shot::face;
    std::string side_to_source = "unknown";
    std::optional<std::array<double, 2>> pixel_mm;
    std::optional<double> scale_u_percent;
    DenseSide dense = DenseSide::automatic;
    Radiometry radiometry = Radiometry::unknown;
    std::optional<std::filesystem::path> flat, dark;
};

struct CaseScale {
    int picture = 0; ///< index into pictures
    Point from_px, to_px;
    double mm = 0;
};

/// What this version uses of a case file (contract.md, Case file). Keys of the contract that no stage uses
/// yet are read over without a word.
struct CaseFile {
    CaseBoard board;
    std::vector<CasePicture> pictures; ///< at least one
    std::vector<CaseScale> scales;
    std::optional<double> confidence;
    std::vector<std::string>
        warnings; ///< unknown keys: "case.toml, line 7: key [board] colour is unknown and ignored"
};

/// Reads a case file. Throws Error(input), one line with file, line, key, what was expected and what stands
/// there: not readable, no TOML, a value of the wrong kind or out of range, no picture.
CaseFile read_case(const std::filesystem::path& file);

} // namespace ringwall
