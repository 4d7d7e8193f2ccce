// SPDX-License-Identifier: Apache-2.0
#include "inspection/case_facts.hpp"

#include "core/text.hpp"
#include "inspection/hand_measured.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

bool is_meant(const HoleRecord& hole, const CaseHole& said) {
    if (said.at_px) return lies_in(hole, *said.at_px);
    if (!said.at_mm || !hole.x_mm || !hole.y_mm || !hole.bore_mm) return false;
    return std::hypot(*hole.x_mm - said.at_mm->x, *hole.y_mm - said.at_mm->y) <= hole.bore_mm.value() / 2;
}

std::string called(const CaseHole& hole) {
    if (!hole.name.empty()) return "\"" + hole.name + "\"";
    const Point at = hole.at_px.value_or(hole.at_mm.value_or(Point{}));
    return "at (" + shortest(at.x) + ", " + shortest(at.y) + (hole.at_px ? ") px" : ") mm");
}

/// Also names the holes that were not found.
std::vector<std::string> name_warnings(BoardRecord& record, const InspectRequest& request) {
    std::vector<std::string> warnings;
    if (record.partial || record.holes.empty()) return warnings; // what is missing may be there
    for (const CaseHole& said : request.case_holes) {
        const auto named = std::find_if(record.holes.begin(), record.holes.end(),
                                        [&](const HoleRecord& hole) { return is_meant(hole, said); });
        if (named == record.holes.end()) {
            warnings.push_back("hole " + called(said) +
                               " of the case was not found in the picture: nothing was judged there");
            record.holes_not_found.push_back(called(said));
            continue;
        }
        const bool taken = std::any_of(record.holes.begin(), record.holes.end(), [&](const HoleRecord& hole) {
            return hole.id == said.name && &hole != &*named;
        });
        if (taken)
            warnings.push_back("hole \"" + said.name + "\" of the case is " + named->id +
                               " of the results; what the case and the log say of " + said.name +
                               " is said of " + named->id);
    }
    return warnings;
}

/// A row beside a length given outright: one of the two is not what the person thinks it is.
std::vector<std::string> rule_warnings(const SpacingRule& rule) {
    if (!rule.required_mm || rule.row.empty()) return {};
    const std::string start =
        "the spacing asked for is required_mm, " + shortest(*rule.required_mm) + " mm: row " + rule.row;
    if (!rule.voltage_peak_v) return {start + " was not used for it"};
    return {start + " and " + shortest(*rule.voltage_peak_v) +
            " V were not used for it; the voltage still counts for the limit above which no gap is shown (60 "
            "V DC, 42.4 V peak AC)"};
}

/// Those that a person gave, where nothing goes before them.
std::vector<ScaleHole> scale_holes_in_use(const InspectRequest& request) {
    const bool by_person =
        std::any_of(request.decisions.begin(), request.decisions.end(),
                    [](const Decision& made) { return made.act == Decision::Act::set_scale; });
    return request.pixel_mm || by_person ? std::vector<ScaleHole>() : request.scale_holes;
}

} // namespace

bool lies_in(const HoleRecord& hole, Point at_px) {
    constexpr double unmeasured_px = 5; // a hole without a bore still has a centre
    const double radius_px = hole.bore_px ? hole.bore_px.value() / 2 : unmeasured_px;
    return std::hypot(hole.x_px - at_px.x, hole.y_px - at_px.y) <= radius_px;
}

const CaseHole* case_hole_at(const HoleRecord& hole, const std::vector<CaseHole>& case_holes) {
    const auto at = std::find_if(case_holes.begin(), case_holes.end(),
                                 [&](const CaseHole& said) { return is_meant(hole, said); });
    return at == case_holes.end() ? nullptr : &*at;
}

void add_case_words(HoleRecord& hole, const InspectRequest& request) {
    const CaseHole* said = case_hole_at(hole, request.case_holes);
    if (said != nullptr) {
        hole.name = said->name;
        hole.purpose = said->purpose;
    }
    if (hole.kind != HoleKind::hole) {
        hole.screw_why = "a screw is judged in holes only";
    } else if (said != nullptr && said->no_screw) {
        hole.screw_why = "the case says that no screw sits here";
    } else {
        hole.screw_why =
            screw_in(hole, request) == nullptr ? "no screw was given" : "the screw's reach was not judged";
    }
}

const Screw* screw_in(const HoleRecord& hole, const InspectRequest& request) {
    const CaseHole* said = case_hole_at(hole, request.case_holes);
    if (said != nullptr && said->no_screw) return nullptr;
    if (said != nullptr && said->screw) return &*said->screw;
    return request.screw ? &*request.screw : nullptr;
}

void add_case_facts(BoardRecord& record, const InspectRequest& request) {
    record.intake = request.intake;
    record.custody = request.custody;
    record.picture_notes = request.picture_notes;
    record.continuity = request.continuity;
    record.screw = request.screw;
    record.rule = request.rule;
    record.measured = beside_the_picture(record, request.measured, scale_holes_in_use(request),
                                         [&](const HoleRecord& hole) { return screw_in(hole, request); });
}

void add_case_warnings(BoardRecord& record, const InspectRequest& request) {
    if (record.sources.empty()) return;
    auto& warnings = record.sources.front().warnings;
    for (const auto& list :
         {rule_warnings(request.rule), name_warnings(record, request), contradictions(record.measured)})
        warnings.insert(warnings.end(), list.begin(), list.end());
}

} // namespace ringwall
