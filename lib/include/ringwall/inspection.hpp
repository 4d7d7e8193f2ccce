// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/compare.hpp"
#include "ringwall/error.hpp"
#include "ringwall/files.hpp"
#include "ringwall/record.hpp"
#include "ringwall/stated.hpp"
#include "ringwall/transmission.hpp"
#include "ringwall/watch.hpp"

#include <array>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace ringwall {

/// What an error about a case needs to say; all empty without one.
struct CaseWords {
    std::string voltage_peak_place, voltage_kind_place, row_place; ///< "FILE, line 3: key [rule] spacing_row"
    std::string unknown_keys; ///< ends every error: "; unknown key [rule] voltage_peek_v in line 7"
};

/// What `inspect` is asked: sources and options (contract.md, options of inspect), plain values with their
/// defaults.
struct InspectRequest {
    std::vector<std::filesystem::path> pictures; ///< today exactly one
    Shot shot = Shot::face;                      ///< of the picture; stack: a folder or file of slices
    std::vector<InspectRequest> edge_on;         ///< further pictures of the same unit, all edge-on
    std::string picture_sha256; ///< that a person expects of it; another one is refused. Empty: not said
    std::optional<std::array<double, 3>> voxel_mm; ///< x, y, z of a slice stack; overrides what it states
    std::optional<std::array<double, 2>> pixel_mm; ///< overrides every other scale
    std::vector<KnownDistance> known;
    std::vector<ScaleHole> scale_holes; ///< count like known distances
    /// Where pixel_mm, known and scale_holes come from. Decides also the fault of a point outside the
    /// picture: usage for options, input for a case file.
    enum class ScaleGiven { by_caller, by_option, in_case } scale_given = ScaleGiven::by_caller;
    std::optional<double> scale_u_percent; ///< k = 1; not given: 1, and said to be assumed
    DenseSide dense = DenseSide::automatic;
    Radiometry radiometry = Radiometry::unknown;
    std::optional<std::filesystem::path> flat, dark;
    std::optional<double> board_mm, foil_um, thinnest_foil_um;
    double confidence = 0.95;
    std::optional<Screw> screw;                       ///< of every hole that names none of its own
    std::optional<std::filesystem::path> screw_table; ///< the case's own, for screw_named
    SpacingRule rule;
    std::optional<PictureGeometry> geometry;   ///< of the picture
    std::optional<StatedScale> geometry_scale; ///< worked out from the stated distances
    std::vector<CaseHole> case_holes;          ///< of the picture
    std::vector<CaseLayer> layers;             ///< what a person says of them
    std::vector<HandMeasured> measured;        ///< as the person wrote them; picture_mm etc. are empty
    std::vector<ContinuityReading> continuity; ///< the log, in its order
    Intake intake;
    std::vector<Custody> custody;
    std::vector<PictureNotes> picture_notes; ///< of every picture of the case, in its order
    bool leave_out_private = false;          ///< BoardRecord::left_out then says what was left out
    std::size_t memory_bytes = std::size_t{4096} << 20;
    int jobs = 0; ///< 0: one a core; changes no bit of the result
    std::vector<Decision> decisions;
    std::string name, revision, unit;       ///< of the board, as a case file states them
    std::string side_to_source = "unknown"; ///< "top", "bottom", "unknown"
    CaseWords case_words;
    std::vector<std::string> notes; ///< for the reader, put among the first source's warnings
};

/// The request a case file makes: its first face-on picture (without one, its first slice stack, else its
/// first edge-on picture; with `shot`, its first picture of that kind where it has one) with scale and
/// options, the board's names, screw, rule, evidence and continuity log, the decisions file beside it when
/// there is one, its warnings as notes. Relative file names are taken beside the case file. Throws
/// Error(input) for a case, log or decisions file that cannot be read, Error(usage) for one that asks for
/// what this version does not have.
InspectRequest request_of_case(const std::filesystem::path& case_file,
                               std::optional<Shot> shot = std::nullopt);

/// Whether the path holds slices: a folder that is no results folder, or a file of several pages. A file that
/// cannot be read holds none.
bool is_slice_stack(const std::filesystem::path& source);

/// Puts the screw of that name in every hole of the request that has one: from the request's own table, else
/// the built-in one. Tilt and far side stay, they are of the assembly; head, washer and what was said of the
/// thread go with the other screw. Throws as screw_named.
void use_screw(InspectRequest& request, const std::string& name);

/// Throws Error, one line, for half a rule: a voltage without a row or a row without a voltage (and no
/// required_mm), a kind without a voltage. Fault: input where the half that is there stands in the case, with
/// its place; else usage.
void check_rule(const InspectRequest& request);

/// A watch that is also handed each finished hole, as an immutable value, in any order.
class InspectWatch : public Watch {
  public:
    virtual void hole_finished(const HoleRecord& /*hole*/) {}
};

struct CancelledOutcome {
    BoardRecord partial; ///< the holes that were finished, marked partial
};
using InspectOutcome = std::variant<BoardRecord, Error, CancelledOutcome>;

/// Stage products of one board, shared and immutable, kept within the request's memory limit; what was
/// dropped is computed again. Decisions are no part of it.
class Session {
  public:
    /// Loads and prepares; throws nothing but std::bad_alloc (errors come out of `inspect` and `remeasure`).
    explicit Session(InspectRequest request);
    Session(Session&&) noexcept;
    Session& operator=(Session&&) noexcept;
    ~Session();
    [[nodiscard]] const InspectRequest& request() const;

    struct Products;
    [[nodiscard]] Products& products();

  private:
    std::unique_ptr<Products> products_;
};

/// Measures one board. Never prints, writes nothing. One error, a record, or cancelled. A picture that can be
/// read but not measured (all one value, no hole, no scale) gives a record whose `why_nothing` says so.
InspectOutcome inspect(const InspectRequest& request, InspectWatch& watch);
InspectOutcome inspect(Session& session, InspectWatch& watch);

/// The record with other decisions, rerunning only what lies downstream of them, for the holes they touch.
/// Equals a full run with the same decisions to the bit. Undo = call with the older decisions.
InspectOutcome remeasure(Session& session, std::vector<Decision> decisions, InspectWatch& watch);

/// Writes results.json, holes.csv, overlay.png and report.html aside and swaps the folder in by one exchange
/// (on one file system; a kill leaves the old or the new results whole). Throws Error(usage) when `folder`
/// exists, is not empty and was not made by ringwall, or holds a file that ringwall did not write;
/// Error(input) when it cannot be written.
void write_results(const BoardRecord& record, Session& session, const std::filesystem::path& folder);
/// The same errors, before any work is done.
void check_results_folder(const std::filesystem::path& folder);

/// Sentences for sources whose file has other bytes than it had when the results in `folder` were made (same
/// name, another SHA-256): those results are of another picture. Empty when there is nothing to compare.
std::vector<std::string> changed_since(const std::filesystem::path& folder, const BoardRecord& record);

/// `describe`: what a file holds and whether it is fit to measure on, as text for a person.
struct Description {
    SourceFacts facts;
    std::vector<std::string> lines; ///< "name: value", what was found included (blur, noise, halo, polarity)
    std::vector<std::string> concerns; ///< what each shortcoming costs, and what to ask the operator for
    bool fit_to_measure = false;
    std::string verdict; ///< what it is fit for, one line
};
/// Several pages: header facts and one concern. Throws Error(input) for a file that cannot be read,
/// Cancelled.
Description describe(const std::filesystem::path& file, const InspectRequest& options, Watch& watch);

/// `plan` without a case: the page to send to the cabinet's operator, plain text, 100 columns.
std::string picture_plan();

/// `demo`: writes the demo case (pictures of both revisions and their case files; all invented) and swaps the
/// folder in. Same errors as write_results.
void write_demo(const std::filesystem::path& folder, Watch& watch);

/// One side of a comparison: a results folder, or what `inspect` is asked.
struct CompareSide {
    std::filesystem::path results; ///< a folder with results.json of ours; empty: `request` is inspected
    InspectRequest request;
    std::string named; ///< how the results name this side; no folders in it
};
struct CompareRequest {
    CompareSide old_board, revised_board;
    CompareOptions options;
};

/// A comparison with what it was made from. A session is there where the side's picture can be had: inspected
/// now, or named by the results folder and still of the same bytes.
struct ComparedBoards {
    Comparison comparison;
    BoardRecord old_record, revised_record;
    std::optional<Session> old_session, revised_session;
};
using CompareOutcome = std::variant<ComparedBoards, Error, CancelledOutcome>;

/// Compares two boards; inspects the sides that are no results folders first. Never prints, writes nothing.
/// Boards that do not align give a comparison whose `why_nothing` says so.
CompareOutcome compare(const CompareRequest& request, InspectWatch& watch);

/// Writes comparison.json, changes.csv and side-by-side.png aside and swaps the folder in. Errors as
/// write_results.
void write_comparison(ComparedBoards& boards, const std::filesystem::path& folder);

/// Whether the folder holds a results.json of ours.
bool holds_results(const std::filesystem::path& folder);

} // namespace ringwall
