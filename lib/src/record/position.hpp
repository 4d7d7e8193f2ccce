// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <optional>
#include <string>

namespace ringwall {

/// A hole that a report is about: one for hardware that a screw was set against, or that a person named; on
/// a board where there is neither, every hole for hardware. The others are counted.
bool is_reported(const BoardRecord& record, const HoleRecord& hole);

/// The position that a hole's page draws and its sentence speaks of: what the finding was made by. `reaches`
/// and `too_close` are found with the screw resting on the wall; no gap is shown unless it is there with the
/// thread cut in, where the screw cuts.
bool drawn_cut_in(const ScrewFit& fit);
/// Of the screw's metal from the hole's centre, in that position, mm. Asked only where there is a scale.
double drawn_reach_mm(const ScrewFit& fit);
/// Space left there by the path that the finding is about; without a spacing rule, what is left to contact.
const Estimate& space_left_mm(const ScrewFit& fit);
/// What that number is the space left of: "thread", "thread cut in", "head", "washer", "far_side".
std::string space_left_of(const ScrewFit& fit);
/// Direction in which the screw is pushed: to the smallest gap, or the middle of the first arc where copper
/// touches. None where no copper was met.
std::optional<double> drawn_angle_deg(const HoleRecord& hole);
/// A meter reading proved that the screw in this hole touched a supply's copper.
bool contact_proven(const BoardRecord& record, const HoleRecord& hole);
/// Contact margin of the thread cut into the wall.
Estimate contact_margin_cut_in_mm(const ScrewFit& fit);
/// The same of one of its threads: a slice stack has one on every layer.
Estimate contact_margin_cut_in_mm(const ScrewFit& fit, const MetalPath& thread);
/// The metal path that the finding is about: of those with the finding the one with least space left, the
/// thread where none has less. Null without one.
const MetalPath* deciding_path(const ScrewFit& fit);

} // namespace ringwall
