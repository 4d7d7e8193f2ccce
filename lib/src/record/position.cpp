// SPDX-License-Identifier: Apache-2.0
#include "record/position.hpp"

#include "core/arcs.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

bool stands_out(const HoleRecord& hole) {
    const bool named = !hole.name.empty() || !hole.purpose.empty() || hole.added_by_person;
    // Without a scale every hole wide enough in pixels might be one for a screw: those named are meant.
    const bool fits = hole.screw && hole.screw->resting_reach_mm;
    return hole.kind == HoleKind::hole && (fits || named);
}

} // namespace

bool is_reported(const BoardRecord& record, const HoleRecord& hole) {
    if (stands_out(hole)) return true;
    return hole.kind == HoleKind::hole && std::none_of(record.holes.begin(), record.holes.end(), stands_out);
}

bool drawn_cut_in(const ScrewFit& fit) {
    const bool by_resting = fit.finding == Finding::reaches || fit.finding == Finding::too_close;
    return fit.engagement == Engagement::cuts && !by_resting;
}

double drawn_reach_mm(const ScrewFit& fit) {
    return (drawn_cut_in(fit) ? fit.cutting_reach_mm : fit.resting_reach_mm).value();
}

namespace {

const Estimate& left_of_thread(const ScrewFit& fit) {
    if (!fit.required_mm) return fit.contact_margin_mm;
    return drawn_cut_in(fit) ? fit.cutting_margin_mm : fit.margin_mm;
}

const Estimate& left_of(const ScrewFit& fit, const MetalPath& path) {
    if (path.part == "thread") return left_of_thread(fit);
    return fit.required_mm ? path.margin_mm : path.contact_margin_mm;
}

} // namespace

const Estimate& space_left_mm(const ScrewFit& fit) {
    const MetalPath* path = deciding_path(fit);
    return path != nullptr ? left_of(fit, *path) : left_of_thread(fit);
}

std::string space_left_of(const ScrewFit& fit) {
    const MetalPath* path = deciding_path(fit);
    const std::string part = path == nullptr ? "thread" : path->part;
    return part == "thread" && drawn_cut_in(fit) ? "thread cut in" : part;
}

std::optional<double> drawn_angle_deg(const HoleRecord& hole) {
    const auto& arcs = hole.keepout.touching_arcs_deg;
    if (hole.keepout.state == KeepOutState::touching && !arcs.empty())
        return std::fmod(arcs.front().from_deg + span_deg(arcs.front()) / 2, 360.0);
    return hole.keepout.min_angle_deg;
}

bool contact_proven(const BoardRecord& record, const HoleRecord& hole) {
    return std::any_of(record.meter.begin(), record.meter.end(), [&](const MeterAgreement& each) {
        return each.hole == hole.id && each.contact_proven;
    });
}

Estimate contact_margin_cut_in_mm(const ScrewFit& fit) {
    MetalPath thread;
    thread.cutting_margin_mm = fit.cutting_margin_mm;
    return contact_margin_cut_in_mm(fit, thread);
}

Estimate contact_margin_cut_in_mm(const ScrewFit& fit, const MetalPath& thread) {
    const Estimate& left = thread.cutting_margin_mm;
    return left && fit.required_mm ? Estimate::of(left.value() + *fit.required_mm, left.u()) : left;
}

const MetalPath* deciding_path(const ScrewFit& fit) {
    const auto left = [&](const MetalPath& path) -> const Estimate& { return left_of(fit, path); };
    const MetalPath* found = nullptr;
    for (const auto& path : fit.paths) {
        if (path.finding != fit.finding) continue;
        const bool nearer =
            found != nullptr && left(path) && (!left(*found) || left(path).value() < left(*found).value());
        if (found == nullptr || nearer) found = &path;
    }
    return found;
}

} // namespace ringwall
