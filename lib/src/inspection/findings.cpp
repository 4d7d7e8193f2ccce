// SPDX-License-Identifier: Apache-2.0
#include "inspection/findings.hpp"

#include "inspection/case_facts.hpp"
#include "meter/agreement.hpp"
#include "screwfit/fit_screw.hpp"

namespace ringwall {
double thinnest_foil_assumed_um(const InspectRequest& request) {
    return request.thinnest_foil_um.value_or(request.foil_um ? 0.7 * *request.foil_um : 11.0);
}

void judge_screw(HoleRecord& record, const Hole& hole, const Scale& scale, const InspectRequest& request,
                 std::optional<double> shown_um) {
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
    if (request.geometry) {
        with.source_to_board_mm = request.geometry->source_to_board_mm;
        with.centre_px = request.geometry->centre_px;
    }
    with.smallest_foil_seen_um = shown_um;
    with.thinnest_foil_um = thinnest_foil_assumed_um(request);
    screwfit::Judged judged = screwfit::judge(hole, scale, with);
    record.screw = std::move(judged.screw);
    record.screw_why = record.screw ? std::string() : judged.why;
    record.budget.insert(record.budget.end(), judged.budget.begin(), judged.budget.end());
}

void add_meter(BoardRecord& record) {
    if (record.continuity.empty()) return;
    std::vector<MeterHole> holes;
    for (const HoleRecord& hole : record.holes) {
        if (hole.kind == HoleKind::via) continue;
        holes.push_back({hole.id, hole.name, hole.kind, hole.wall.state, hole.keepout.state,
                         hole.screw ? std::optional(hole.screw->finding) : std::nullopt});
    }
    MeterResult result = meter_against_pictures(record.continuity, holes);
    record.meter = std::move(result.holes);
    record.meter_notes = std::move(result.board);
}

} // namespace ringwall
