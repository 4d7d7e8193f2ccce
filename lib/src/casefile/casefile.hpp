// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/evidence.hpp"
#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"
#include "ringwall/screw.hpp"
#include "ringwall/stated.hpp"

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

struct CaseBoard {
    std::string name, revision, unit;
    Intake intake;
    std::optional<double> thickness_mm, foil_um, thinnest_foil_um;
};

struct CasePicture {
    std::filesystem::path file; ///< as written, or beside the case file when relative
    std::string sha256;         ///< that the file had when the case was written; empty: not said
    Shot shot = Shot::face;
    std::string side_to_source = "unknown";
    std::optional<std::array<double, 2>> pixel_mm;
    std::optional<std::array<double, 3>> voxel_mm;
    std::optional<double> scale_u_percent;
    std::optional<PictureGeometry> geometry;
    std::optional<double> geometry_pixel_mm; ///< from the distances and the detector's pixel
    DenseSide dense = DenseSide::automatic;
    Radiometry radiometry = Radiometry::unknown;
    std::optional<std::filesystem::path> flat, dark;
    PictureNotes notes;
};

struct CaseScale {
    int picture = 0; ///< index into pictures
    Point from_px, to_px;
    std::string hole;       ///< name of a [[hole]] with at_px, whose bore is `mm`; then no points
    std::string hole_place; ///< for an error about it
    double mm = 0;
    std::optional<double> u_mm; ///< k = 1
    std::string with;
};

/// A hole with the picture that its place is in.
struct CasePlacedHole {
    int picture = 0;         ///< index into pictures
    CaseHole hole;           ///< `screw` is not looked up yet
    std::string screw_place; ///< "FILE, line 3: key [hole] screw", for an error
};

/// The screw as the case words it: a name, sizes, or both (then a size goes before the table's).
struct CaseScrew {
    std::string name;
    std::string name_place; ///< "FILE, line 3: key [screw] name", for an error
    std::string major_place, minor_place, head_place, washer_place, washer_bore_place; ///< the same of sizes
    std::optional<std::filesystem::path> table; ///< the person's own screw table
    std::optional<double> major_mm, minor_mm, head_mm, washer_mm, washer_bore_mm;
    double tilt_deg = 0;
    std::optional<Engagement> engagement;
};

/// Where the parts of a rule stand, "FILE, line 3: key [rule] spacing_row", for an error; empty: not given.
struct RulePlaces {
    std::string voltage_peak, voltage_kind, row;
};

/// A case file (contract.md, Case file), every key of it.
struct CaseFile {
    CaseBoard board;
    std::vector<CasePicture> pictures; ///< at least one
    std::vector<CaseScale> scales;
    std::vector<CasePlacedHole> holes;
    std::optional<CaseScrew> screw;
    std::optional<double> far_side_mm;
    SpacingRule rule; ///< may be half a rule: the command line can give the other half
    RulePlaces rule_places;
    std::optional<double> confidence;
    std::vector<CaseLayer> layers;
    std::vector<HandMeasured> measured;
    std::vector<Custody> custody;
    std::optional<std::filesystem::path> continuity; ///< the log's file
    std::vector<std::filesystem::path> units;        ///< cases of further units of the same revision
    std::vector<std::string>
        warnings; ///< unknown keys: "case.toml, line 7: key [board] colour is unknown and ignored"
    std::string unknown_keys; ///< for the end of an error: "; unknown key [rule] x in line 7". Empty: none
};

/// Reads a case file; never writes it. Throws Error(input), one line with file, line, key, what was expected
/// and what stands there, and the unknown keys, since a slip in a key is often why: not readable, no TOML, a
/// value of the wrong kind or out of range, no picture. Other files that it names are not looked at.
CaseFile read_case(const std::filesystem::path& file);

} // namespace ringwall
