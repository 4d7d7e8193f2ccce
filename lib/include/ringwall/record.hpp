// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/continuity.hpp"
#include "ringwall/decision.hpp"
#include "ringwall/estimate.hpp"
#include "ringwall/evidence.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/meter.hpp"
#include "ringwall/radiograph.hpp"
#include "ringwall/screwfit.hpp"
#include "ringwall/stated.hpp"

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// Everything found about one board: what results.json holds, in its order (contract.md, OUT/results.json).
/// Without a scale every mm value is missing with the reason and the px values stand.

struct ProgramFacts {
    std::string name = "ringwall";
    std::string version;
    std::string revision;
    std::vector<std::pair<std::string, std::string>> libraries; ///< name, version
    bool operator==(const ProgramFacts&) const = default;
};

struct SourceRecord {
    std::string file; ///< absolute: made relative to the results folder when written; relative: is so already
    std::string sha256;
    Shot shot = Shot::face;
    int width_px = 0, height_px = 0, slices = 1, bits = 0;
    Radiometry radiometry = Radiometry::unknown;
    DenseSide dense = DenseSide::dark;
    Estimate pixel_mm; ///< mean of x and y; u from the scale's uncertainty
    std::optional<std::array<double, 2>> pixel_xy_mm;
    std::string pixel_mm_from; ///< where the scale comes from, or why there is none
    std::string side_to_source = "unknown";
    std::optional<PictureGeometry> geometry; ///< missing: not stated
    Estimate blur_sigma_px;
    std::optional<double> noise_photons; ///< null: could not be told
    double noise_readout = 0;
    double saturated_fraction = 0;
    std::optional<double> smallest_foil_seen_um;
    std::vector<std::string> warnings;
    bool operator==(const SourceRecord&) const = default;
};

struct GapRecord {
    double angle_deg = 0;
    std::optional<double> gap_mm, gap_px, u_mm;
    std::string why; ///< "hidden", "merged", "none", "own"; empty with a value
    bool operator==(const GapRecord&) const = default;
};

struct PlaneRecord {
    int plane = 1;
    std::optional<int> layer;
    std::optional<double> z_mm;
    KeepOutState state = KeepOutState::undecided;
    Estimate min_mm, min_px;
    std::optional<double> min_angle_deg, p_low_mm;
    std::vector<GapRecord> profile;
    bool operator==(const PlaneRecord&) const = default;
};

struct KeepOutRecord {
    KeepOutState state = KeepOutState::undecided;
    std::string why;
    Estimate min_mm, min_px;
    std::optional<double> min_angle_deg, p_low_mm, searched_to_mm, mean_mm, own_outer_mm;
    std::vector<Arc> touching_arcs_deg, runs_on_arcs_deg;
    std::optional<double> largest_gap_not_excluded_mm;
    std::vector<GapRecord> profile;
    std::vector<PlaneRecord> planes;
    bool operator==(const KeepOutRecord&) const = default;
};

struct WallRecord {
    WallState state = WallState::undecided;
    std::string why;
    std::optional<double> covered_fraction;
    std::vector<Arc> missing_arcs_deg;
    Estimate thickness_um, copper_um_integrated;
    bool operator==(const WallRecord&) const = default;
};

/// Depths between which a barrel's plating is interrupted round the whole turn, below the low face.
struct BarrelBreak {
    double from_slices = 0, to_slices = 0;
    std::optional<double> from_mm, to_mm;
    bool operator==(const BarrelBreak&) const = default;
};

/// A hole's wall through the depth, as a slice stack shows it.
struct StackHoleRecord {
    std::string wall_map;            ///< file in the results folder: angle across, depth down
    Estimate wander_mm;              ///< how far the layers' centres stray from a straight line
    std::vector<int> joined_layers;  ///< layers whose copper meets the barrel, be it a land alone
    std::vector<BarrelBreak> breaks; ///< from the low face
    bool operator==(const StackHoleRecord&) const = default;
};

/// One copper layer of a slice stack.
struct LayerRecord {
    int number = 0;             ///< from the low-z face, 1 first
    std::optional<double> z_mm; ///< of its middle below the low face
    Estimate thickness_um;
    std::string picture; ///< overlay of this layer in the results folder
    Estimate z_slices = Estimate::missing("not measured"),
             thickness_slices = z_slices; ///< the same in slices
    std::string stated_role, evidence;    ///< of the case file; empty: it says nothing of this layer
    bool treated_as_live = true;          ///< false: stated as ground, with evidence
    bool operator==(const LayerRecord&) const = default;
};

struct ShapeRecord {
    HoleShape state = HoleShape::undecided;
    Estimate excess_mm, excess_mm2;
    std::vector<Arc> arcs_deg;
    bool operator==(const ShapeRecord&) const = default;
};

struct HoleRecord {
    std::string id; ///< "H1"...: top to bottom, left to right
    int source = 0;
    HoleKind kind = HoleKind::hole;
    double seen_fraction = 1;
    std::vector<Arc> hidden_arcs_deg;
    double x_px = 0, y_px = 0, u_x_px = 0, u_y_px = 0;
    std::optional<double> x_mm, y_mm;
    Estimate bore_mm, bore_px, inscribed_mm, drill_mm, drill_px, roundness_mm, furthest_void_mm;
    ShapeRecord shape;
    std::vector<ContourPoint> contour;
    WallRecord wall;
    KeepOutRecord keepout;
    std::optional<StackHoleRecord> stack; ///< missing: not measured in a slice stack
    std::vector<BudgetLine> budget;       ///< empty and written as null for all kinds but `hole`
    std::string name, purpose;            ///< as a case file calls it; empty: nothing said
    std::optional<ScrewFit> screw;        ///< missing: `screw_why` says why
    std::string screw_why;
    bool added_by_person = false;
    bool operator==(const HoleRecord&) const = default;
};

struct EdgeLayerRecord { ///< as EdgeLayer
    int number = 0;
    Estimate z_mm, z_px, width_px;
    double darkness = 0;
    bool saturated = false, outer = false;
    bool operator==(const EdgeLayerRecord&) const = default;
};

/// A board seen edge-on: what stands behind its thickness and its copper layers.
struct EdgeRecord {
    int source = 0;
    double angle_deg = 0;
    std::array<std::array<Point, 2>, 2> faces_px{}; ///< ends of the low-z and the high-z face
    Estimate thickness_px, smear_px;
    std::vector<EdgeLayerRecord> layers;
    std::vector<BudgetLine> budget; ///< of thickness_mm
    bool operator==(const EdgeRecord&) const = default;
};

struct BarrelRecord {
    int source = 0;
    double x_px = 0, y_px = 0;
    Estimate width_mm, width_px;
    bool operator==(const BarrelRecord&) const = default;
};

struct CopperLayersRecord {
    std::optional<int> value, at_least;
    std::string why = "no edge-on picture was measured"; ///< why no value, or what is odd about it
    std::vector<double> layers_z_mm;
    bool operator==(const CopperLayersRecord&) const = default;
};

struct OptionRecord { ///< one option that can change a result, as it was in force
    std::string name;
    std::string value_json; ///< a JSON literal
    bool operator==(const OptionRecord&) const = default;
};

struct BoardRecord {
    ProgramFacts program;
    std::vector<OptionRecord> options;
    double confidence = 0.95;
    std::string name, revision, unit;
    Estimate thickness_mm;
    CopperLayersRecord copper_layers;
    std::optional<EdgeRecord> edge; ///< missing: no edge-on picture shows a board
    std::vector<BarrelRecord> barrels;
    std::string barrels_why = "no edge-on picture was measured";
    std::optional<std::vector<LayerRecord>> layers; ///< missing: no slice stack was measured
    std::vector<SourceRecord> sources;
    std::vector<HoleRecord> holes;
    std::vector<Decision> decisions;
    Intake intake;
    std::vector<PictureNotes> picture_notes;
    std::vector<Custody> custody;
    std::vector<HandMeasured> measured;
    std::vector<ContinuityReading> continuity;
    std::vector<MeterAgreement> meter;
    std::vector<std::string> meter_notes; ///< what the log says of the whole board, and leaves unsaid
    std::optional<Screw> screw;           ///< that the holes were judged with
    SpacingRule rule;
    std::vector<std::string> left_out; ///< what --leave-out-private removed, by key
    std::vector<std::string> not_proven;
    /// Holes of the case that the picture does not show, as the case calls them: nothing was judged there.
    std::vector<std::string> holes_not_found;
    bool partial = false;    ///< cancelled on the way: only finished holes
    std::string why_nothing; ///< not empty: nothing could be measured (exit 4), and why
    bool operator==(const BoardRecord&) const = default;
};

/// results.json as bytes: keys in the contract's order, shortest numbers that read back the same, UTF-8, ends
/// in a newline. `folder`: where it will stand; source files are named relative to it.
std::string to_json(const BoardRecord& record, const std::filesystem::path& folder);
/// Reads what to_json wrote. Throws Error(input) on anything else, naming the key.
BoardRecord from_json(const std::string& bytes);
/// One hole a row, units in the header, plain numbers, empty where there is no value.
std::string to_csv(const BoardRecord& record);

} // namespace ringwall
