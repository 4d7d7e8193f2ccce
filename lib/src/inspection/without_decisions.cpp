// SPDX-License-Identifier: Apache-2.0
#include "inspection/without_decisions.hpp"

#include "inspection/case_facts.hpp"
#include "inspection/decisions.hpp"
#include "record/names.hpp"

#include <algorithm>

namespace ringwall {
namespace {

const HoleRecord* same_hole(const HoleRecord& hole, const std::vector<HoleRecord>& others) {
    const auto same = std::find_if(others.begin(), others.end(), [&](const HoleRecord& other) {
        return lies_in(other, {hole.x_px, hole.y_px});
    });
    return same == others.end() ? nullptr : &*same;
}

bool is_about(const Decision& decision, const HoleRecord& hole) {
    return decision.act == Decision::Act::set_scale || lies_in(hole, decision.at_px);
}

const Estimate& space_left(const ScrewFit& screw) {
    return screw.engagement == Engagement::cuts ? screw.cutting_margin_mm : screw.margin_mm;
}

bool same_answer(const ScrewFit& a, const ScrewFit& b) {
    return a.finding == b.finding && space_left(a) == space_left(b);
}

std::string without_words(const Decision& decision) {
    return "without the " + in_words(decision) +
           (decision.after_result ? ", made after the first result" : "");
}

Alternative alternative(const Decision& decision, const HoleRecord* other, const std::string& why_nothing) {
    const std::string gone = why_nothing.empty() ? "the hole would not be there" : why_nothing;
    Alternative made{without_words(decision), Estimate::missing(gone), Finding::undecided};
    if (other == nullptr) return made;
    made.margin_mm = other->screw ? space_left(*other->screw) : Estimate::missing(other->screw_why);
    if (other->screw) made.finding = other->screw->finding;
    return made;
}

void add_note(BoardRecord& whole, const Decision& decision, const HoleRecord& other) {
    if (whole.sources.empty() || !other.screw) return;
    if (!other.screw->resting_reach_mm) return; // no scale: then a screw is set against every hole
    whole.sources.front().warnings.push_back(without_words(decision) + ", a screw would be judged in " +
                                             other.id + ": " + word(other.screw->finding));
}

} // namespace

void add_without_decision(BoardRecord& whole, const Decision& decision, const BoardRecord& without) {
    for (HoleRecord& hole : whole.holes) {
        if (!hole.screw) continue;
        const HoleRecord* other = same_hole(hole, without.holes);
        const bool changes = other == nullptr || !other->screw || !same_answer(*hole.screw, *other->screw);
        if (changes || is_about(decision, hole))
            hole.screw->alternatives.push_back(alternative(decision, other, without.why_nothing));
    }
    for (const HoleRecord& other : without.holes) {
        const HoleRecord* hole = same_hole(other, whole.holes);
        if (hole == nullptr || !hole->screw) add_note(whole, decision, other);
    }
}

} // namespace ringwall
