// SPDX-License-Identifier: Apache-2.0
#include "inspection/findings.hpp"

#include "core/text.hpp"
#include "inspection/case_facts.hpp"
#include "inspection/hand_measured.hpp"
#include "meter/agreement.hpp"
#include "record/position.hpp"
#include "screwfit/fit_screw.hpp"

#include <algorithm>

namespace ringwall {
double thinnest_foil_assumed_um(const InspectRequest& request) {
    return request.thinnest_foil_um.value_or(request.foil_um ? 0.7 * *request.foil_um : 11.0);
}

void judge_screw(HoleRecord& record, const Hole& hole, const Scale& scale, const InspectRequest& request,
                 const ShownBeside& shown) {
    const Screw* screw = hole.kind == HoleKind::hole ? screw_in(record, request) : nullptr;
    if (screw == nullptr) return; // add_case_words has said why
    if (record.bore_mm && record.bore_mm.value() < least_bore_share_of_screw * screw->major_mm) {
        record.screw_why = "the hole is less than half as wide as the screw: not a hole for it";
        return;
    }
    screwfit::Judging with;
    with.screw = *screw;
    with.rule = request.rule;
    with.confidence = request.confidence;
    with.board_mm = request.board_mm;
    if (shown.measured_board_mm)
        with.board_mm = std::max(with.board_mm.value_or(0), *shown.measured_board_mm);
    if (request.geometry) {
        with.source_to_board_mm = request.geometry->source_to_board_mm;
        with.centre_px = request.geometry->centre_px;
    }
    with.smallest_foil_seen_um = shown.thinnest_um;
    with.stack_forbids = shown.stack_forbids;
    with.thinnest_foil_um = thinnest_foil_assumed_um(request);
    screwfit::Judged judged = shown.layers.empty() ? screwfit::judge(hole, scale, with)
                                                   : screwfit::judge_layers(shown.layers, scale, with);
    record.screw = std::move(judged.screw);
    record.screw_why = record.screw ? std::string() : judged.why;
    record.budget.insert(record.budget.end(), judged.budget.begin(), judged.budget.end());
}

namespace {

/// Short of the copper by more than U (k = 2).
bool ends_short(const Estimate& contact_margin_mm) {
    return contact_margin_mm && contact_margin_mm.value() > 2 * contact_margin_mm.u();
}

ContactSeen contact_seen(const HoleRecord& hole) {
    if (!hole.screw) return ContactSeen::cannot_say;
    const ScrewFit& fit = *hole.screw;
    if (fit.finding == Finding::reaches) return ContactSeen::touching;
    if (hole.keepout.state != KeepOutState::ring_seen || fit.paths.empty()) return ContactSeen::cannot_say;
    const bool all = std::all_of(fit.paths.begin(), fit.paths.end(),
                                 [](const MetalPath& path) { return ends_short(path.contact_margin_mm); });
    const bool cut_in = fit.engagement != Engagement::cuts ||
                        std::all_of(fit.paths.begin(), fit.paths.end(), [&](const MetalPath& path) {
                            return path.part != "thread" || ends_short(contact_margin_cut_in_mm(fit, path));
                        });
    return all && cut_in ? ContactSeen::apart : ContactSeen::cannot_say;
}

} // namespace

void add_meter(BoardRecord& record) {
    if (record.continuity.empty()) return;
    std::vector<MeterHole> holes;
    for (const HoleRecord& hole : record.holes) {
        if (hole.kind == HoleKind::via) continue;
        holes.push_back(
            {hole.id, hole.name, hole.kind, hole.wall.state, hole.keepout.state, contact_seen(hole)});
    }
    MeterResult result = meter_against_pictures(record.continuity, holes);
    record.meter = std::move(result.holes);
    record.meter_notes = std::move(result.board);
}

namespace {

const MeterAgreement* meter_at(const BoardRecord& record, const HoleRecord& hole) {
    const auto at = std::find_if(record.meter.begin(), record.meter.end(),
                                 [&](const MeterAgreement& each) { return each.hole == hole.id; });
    return at == record.meter.end() ? nullptr : &*at;
}

/// The picture's own quantity that a hand measurement of this hole contradicts; empty: none.
std::string contradicted_by_hand(const BoardRecord& record, const HoleRecord& hole) {
    for (const HandMeasured& each : record.measured)
        if (!each.agrees.value_or(true) && !of_the_screw(each) && hole_called(record, each.where) == &hole)
            return each.what;
    return {};
}

/// A part of the screw, in this hole or in all, that a hand measurement found larger than the one judged.
std::string larger_by_hand(const BoardRecord& record, const HoleRecord& hole) {
    for (const HandMeasured& each : record.measured) {
        if (each.agrees.value_or(true) || !of_the_screw(each)) continue;
        const HoleRecord* where = hole_called(record, each.where);
        if (where == nullptr || where == &hole) return spaced(each.what);
    }
    return {};
}

void take_back(ScrewFit& fit, bool gap_only, const std::string& why, const std::string& would_decide) {
    const auto taken = [&](Finding finding) {
        return finding == Finding::gap_shown || (!gap_only && finding != Finding::undecided);
    };
    fit.forbids_gap.push_back(why);
    for (MetalPath& path : fit.paths)
        if (taken(path.finding)) path.finding = Finding::undecided;
    for (Alternative& other : fit.alternatives)
        if (taken(other.finding)) other.finding = Finding::undecided;
    if (!taken(fit.finding)) return;
    fit.finding = Finding::undecided;
    fit.why = why;
    fit.would_decide = would_decide;
}

/// Own copper that runs on into a plane which the meter found to be no supply.
void say_no_supply_read(ScrewFit& fit) {
    if (!fit.resting_reach_mm || fit.finding != Finding::undecided) return; // a scale is wanted first
    fit.why += " The meter readings made so far show no supply here.";
    fit.would_decide = "a slice stack, layer by layer: no meter reading shows how near other copper lies";
}

} // namespace

void weigh_other_evidence(BoardRecord& record) {
    for (HoleRecord& hole : record.holes) {
        if (!hole.screw) continue;
        const MeterAgreement* meter = meter_at(record, hole);
        if (meter != nullptr && meter->says == MeterAgreement::Says::contradicts)
            take_back(*hole.screw, true, "A meter reading contradicts what the picture shows of this hole.",
                      "the reading again, with the probe's place noted; a slice stack");
        const std::string what = contradicted_by_hand(record, hole);
        const bool rests_on_lengths = hole.keepout.state != KeepOutState::touching;
        if (!what.empty())
            take_back(*hole.screw, !rests_on_lengths,
                      "The " + what + " measured by hand contradicts the picture's: one of the two is wrong.",
                      "the scale checked by an object in the plane of the board; the hand measurement again");
        if (const std::string part = larger_by_hand(record, hole); !part.empty())
            take_back(*hole.screw, true,
                      "The " + part + " measured by hand is larger than the one that was judged.",
                      "the case again with the size measured by hand");
        if (hole.keepout.state == KeepOutState::runs_on && meter != nullptr &&
            meter->says == MeterAgreement::Says::agrees)
            say_no_supply_read(*hole.screw);
    }
}

} // namespace ringwall
