// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/screw.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// What may be said about a screw in a hole (design of a finding: header of the screwfit stage). Never
/// "safe".
enum class Finding {
    gap_shown, ///< more than the spacing asked for lies between metal and the copper seen, at the confidence
    too_close, ///< no contact shown, but nearer than the spacing asked for
    reaches,   ///< metal can touch copper in the position drawn
    undecided  ///< neither contact nor gap shown
};

/// One way for metal to come near copper.
struct MetalPath {
    std::string part;         ///< "thread", "head", "washer", "far_side", "tip"
    std::string side;         ///< face of the board: "near" (head), "far", "" for the thread
    std::optional<int> layer; ///< of the copper; missing: not known
    std::optional<int> plane; ///< face-on: at least so many foils from there outward
    double reach_mm = 0;      ///< of the metal from the hole's centre, resting
    Estimate contact_margin_mm, margin_mm;
    Estimate cutting_margin_mm; ///< of the thread, cut into the wall; missing for all others
    Finding finding = Finding::undecided;
    std::string why;
    bool operator==(const MetalPath&) const = default;
};

/// The finding with one assumption changed.
struct Alternative {
    std::string what; ///< "row B4 instead of B1", "screw at its largest, 3.485 mm"
    Estimate margin_mm;
    Finding finding = Finding::undecided;
    bool operator==(const Alternative&) const = default;
};

/// The screw in one hole: results.json's `screw` (contract.md). Of a slice stack the margins are those of the
/// layer that decides, whose thread leads the paths.
struct ScrewFit {
    std::string name;
    std::optional<Engagement> engagement; ///< missing: not known without a scale, and no person said it
    std::optional<double> resting_reach_mm, cutting_reach_mm; ///< worst case, from the hole's centre; missing
                                                              ///< without a scale
    std::optional<double> required_mm;                        ///< missing: no rule was given
    Estimate contact_margin_mm, margin_mm, cutting_margin_mm;
    std::optional<double> margin_low_mm; ///< (1 - P) quantile of the margin that decides, P the confidence
    std::optional<double> contact_margin_high_mm; ///< P quantile of the contact margin by resting reach
    std::optional<double> margin_high_mm;         ///< P quantile of the margin by resting reach
    Finding finding = Finding::undecided;
    std::string why;                      ///< one sentence
    std::string would_decide;             ///< of `undecided`
    std::vector<std::string> forbids_gap; ///< what forbids `gap_shown`, each a sentence; empty: nothing
    std::vector<MetalPath> paths; ///< those judged: the thread always, others where their size is given
    std::vector<std::string> not_judged;   ///< the others, each with what is missing
    std::vector<Alternative> alternatives; ///< "what would change this finding"
    bool operator==(const ScrewFit&) const = default;
};

/// A hole with a bore under this share of the screw's major diameter is no place for it (holes of parts'
/// legs): a screw's core is over 0.7 of its major diameter.
inline constexpr double least_bore_share_of_screw = 0.5;

/// Names of the screws of the built-in table, in its order.
std::vector<std::string> screw_names();
/// The screw of that name from the built-in table, or from `own_table` first (CSV of the same columns; see
/// data/screws.csv). Throws Error(usage) for a name that neither has, naming the nearest ones; Error(input)
/// for a table that cannot be read.
Screw screw_named(const std::string& name, const std::optional<std::filesystem::path>& own_table = {});

/// IPC-2221 table 6-1 (electrical conductor spacing): mm required between conductors at `peak_v` volts (DC or
/// AC peak), > 0. Between two rows of whole volts the higher one holds (15.1 V: the row 16-30); over 500 V
/// the row's addition per volt. Throws Error(usage) for a row that is none of B1..B4, A5..A7.
double ipc_2221_spacing_mm(const std::string& row, double peak_v);

/// The spacing that a rule asks for; nothing when it names neither a length nor voltage and row. Throws
/// Error(usage) for voltage without row, or row without voltage.
std::optional<double> required_spacing_mm(const SpacingRule& rule);
/// Above the low-voltage limit (60 V DC, 42.4 V peak AC; kind unknown: 42.4): the product's safety standard
/// decides, no gap is shown by this yardstick.
bool above_low_voltage(const SpacingRule& rule);

} // namespace ringwall
