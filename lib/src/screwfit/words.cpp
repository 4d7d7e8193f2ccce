// SPDX-License-Identifier: Apache-2.0
#include "screwfit/words.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <cctype>

namespace ringwall::screwfit {
namespace {

std::string mm(double value) {
    return fixed(value, 3) + " mm";
}

std::string with_u(const Estimate& estimate) {
    return with_expanded_u(estimate, 3) + " mm";
}

std::string of_touching(const RingInMm& ring, Finding finding) {
    const std::string gap = mm(ring.largest_gap_not_excluded_mm.value_or(0));
    if (finding == Finding::reaches)
        return "Copper lies at the bare wall: a gap of " + gap +
               " or more would have shown, and a screw can always rest on the wall.";
    return "Copper lies near the wall: the gap is below " + gap + "; contact is not shown.";
}

std::string rule_words(const Judging& with, double required_mm) {
    if (with.rule.required_mm) return "the " + mm(required_mm) + " asked for";
    return "the spacing chosen (" + mm(required_mm) + ", row " + with.rule.row + " at " +
           plain(*with.rule.voltage_peak_v) + " V peak: a yardstick; the table does not name this case)";
}

/// The space left runs out only where the thread cuts in.
bool only_if_it_cuts(const OneRing& judged) {
    return judged.screw.engagement == Engagement::cuts && judged.resting && judged.cutting &&
           judged.resting->low_mm > 0 && judged.cutting->low_mm <= 0;
}

/// Copper, not only the spacing, is within the cut-in thread's reach.
bool cut_in_may_touch(const OneRing& judged) {
    return judged.cutting->low_mm + judged.screw.required_mm.value_or(0) <= 0;
}

/// Head, washer or far side, where it and not the thread makes the finding: the one with the least space
/// left.
const MetalPath* face_that_decides(const OneRing& judged) {
    const auto& paths = judged.screw.paths;
    const auto thread_leaves_gap = [](const MetalPath& path) {
        return path.part != "thread" || path.finding == Finding::gap_shown;
    };
    const Finding finding = judged.screw.finding;
    if (finding == Finding::undecided && !std::all_of(paths.begin(), paths.end(), thread_leaves_gap))
        return nullptr;
    const MetalPath* worst = nullptr;
    for (const MetalPath& path : paths) {
        if (path.finding != finding) continue;
        if (path.part == "thread") return nullptr;
        const bool worse =
            worst == nullptr ||
            (worst->margin_mm && (!path.margin_mm || path.margin_mm.value() < worst->margin_mm.value()));
        if (worse) worst = &path;
    }
    return worst;
}

std::string part_words(const MetalPath& path) {
    return path.part == "far_side" ? "what sits on the far side" : "the " + path.part;
}

/// "... would not", of copper on a known outer layer.
std::string on_known_face(const MetalPath& face) {
    return " to the copper of layer " + std::to_string(face.layer.value_or(0)) +
           (face.why.empty() ? "" : ", " + face.why);
}

std::string sentence_start(std::string words) {
    words.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(words.front())));
    return words;
}

/// Of a part on an outer face whose copper is known to lie there.
std::string of_face(const MetalPath& face, const Judging& with, const OneRing& judged) {
    const std::string copper = "the copper of layer " + std::to_string(face.layer.value_or(0));
    if (face.finding == Finding::reaches)
        return sentence_start(part_words(face)) + " ends " + with_u(face.contact_margin_mm.scaled(-1)) +
               " beyond where " + copper + " begins.";
    return sentence_start(part_words(face)) + ": no contact shown, but nearer to " + copper + " than " +
           rule_words(with, *judged.screw.required_mm) + ": " + with_u(face.margin_mm.scaled(-1)) +
           " short of it.";
}

std::string of_undecided(const RingInMm& ring, const Judging& with, const OneRing& judged) {
    if (!judged.contact) return why_no_margin(ring) + ".";
    if (!judged.screw.required_mm) return "No contact shown; without a spacing rule no more can be said.";
    if (only_if_it_cuts(judged))
        return cut_in_may_touch(judged)
                   ? "Reached only if the thread cuts into the wall."
                   : "No contact shown; nearer than " + rule_words(with, *judged.screw.required_mm) +
                         " only if the thread cuts into the wall.";
    if (const MetalPath* face = face_that_decides(judged))
        return "The thread leaves a gap; " + part_words(*face) +
               (face->margin_mm && face->margin_mm.value() < 0 ? " would not" : " is not shown to") +
               (ring.layer ? on_known_face(*face) : " if this copper is on the outer face") + ".";
    const auto& deciding = judged.screw.engagement == Engagement::cuts ? judged.cutting : judged.resting;
    if (deciding->low_mm > 0 && !judged.screw.forbids_gap.empty()) return judged.screw.forbids_gap.front();
    return "The space left, " + with_u(deciding->value) + ", is within what the measurement leaves open of " +
           rule_words(with, *judged.screw.required_mm) + ".";
}

const Component* largest(const std::vector<Component>& parts) {
    const auto most = std::max_element(
        parts.begin(), parts.end(), [](const Component& a, const Component& b) { return a.u_mm < b.u_mm; });
    return most == parts.end() ? nullptr : &*most;
}

/// By the component that weighs most.
std::string by_weight(const Margin& margin) {
    const Component* most = largest(margin.parts);
    if (most != nullptr && most->name == "scale")
        return "a scale object in the plane of the board, in the same picture";
    if (most != nullptr && most->name.starts_with("height"))
        return "a slice stack, or a source further away: the height of the plane in the board weighs most";
    return "smaller pixels or a longer exposure of this hole; a repeat after re-placing the board";
}

} // namespace

std::string name_of(const Screw& screw) {
    return screw.name.empty() ? "screw of " + mm(screw.major_mm) : screw.name;
}

std::string why_no_margin(const RingInMm& ring) {
    switch (ring.state) {
    case KeepOutState::touching:
        return "copper lies at the wall";
    case KeepOutState::runs_on:
        return "own copper runs on into a plane" + (ring.gap_why.empty() ? "" : "; " + ring.gap_why);
    case KeepOutState::undecided:
        return "the copper-free ring is undecided: " + ring.why;
    default:
        return "the gap was not measured";
    }
}

namespace {

std::string of_thread(const RingInMm& ring, const Judging& with, const OneRing& judged) {
    const ScrewFit& screw = judged.screw;
    if (ring.state == KeepOutState::touching) return of_touching(ring, screw.finding);
    switch (screw.finding) {
    case Finding::reaches:
        return "The metal ends " + with_u(screw.contact_margin_mm.scaled(-1)) +
               " beyond where copper begins.";
    case Finding::too_close:
        return "No contact shown, but nearer than " + rule_words(with, *screw.required_mm) + ": " +
               with_u(screw.margin_mm.scaled(-1)) + " short of it.";
    case Finding::gap_shown:
        return screw.margin_mm ? "Space left beyond " + rule_words(with, *screw.required_mm) + ": " +
                                     with_u(screw.engagement == Engagement::cuts ? screw.cutting_margin_mm
                                                                                 : screw.margin_mm) +
                                     "."
                               : "No copper is seen out to " + mm(ring.searched_to_mm.value_or(0)) +
                                     " from the hole's centre.";
    case Finding::undecided:
        break;
    }
    return of_undecided(ring, with, judged);
}

} // namespace

std::string on_layer(const RingInMm& ring, std::string sentence) {
    if (!ring.layer || sentence.empty()) return sentence;
    sentence.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(sentence.front())));
    return "Layer " + std::to_string(ring.layer->number) + ": " + sentence;
}

std::string why_of(const RingInMm& ring, const Judging& with, const OneRing& judged) {
    const Finding finding = judged.screw.finding;
    const MetalPath* face = face_that_decides(judged);
    if (face != nullptr && (finding == Finding::reaches || finding == Finding::too_close))
        return of_face(*face, with, judged);
    const std::string sentence = of_thread(ring, with, judged);
    const auto& forbids = judged.screw.forbids_gap; // these name their layer themselves, or are of none
    const bool of_the_ring = std::find(forbids.begin(), forbids.end(), sentence) == forbids.end();
    return face == nullptr && of_the_ring ? on_layer(ring, sentence) : sentence;
}

std::string would_decide(const RingInMm& ring, const Judging& with, const OneRing& judged) {
    const bool stack = ring.layer.has_value();
    if (ring.state == KeepOutState::touching)
        return stack ? "smaller voxels" : "smaller pixels, or a slice stack of this hole";
    if (ring.state == KeepOutState::runs_on)
        return std::string("meter readings from this hole to the supply pins") +
               (stack ? "" : "; a slice stack");
    if (!judged.contact)
        return stack ? "a face-on picture of this hole" : "another view of this hole, or a slice stack";
    if (!judged.screw.required_mm)
        return "a spacing rule: a peak voltage and a row of the table, or a length";
    const std::string standard =
        above_low_voltage(with.rule) ? "; above this voltage the product's safety standard decides" : "";
    if (only_if_it_cuts(judged))
        return "a picture with the screw fitted, or the hole after a first screw cycle" + standard;
    if (const MetalPath* face = face_that_decides(judged)) {
        if (!stack) return "a slice stack: it tells on which layer this copper lies";
        return face->why.empty() ? "smaller voxels; a face-on picture of the same board"
                                 : "a note of which face of the board it lies on";
    }
    const auto& deciding = judged.screw.engagement == Engagement::cuts ? judged.cutting : judged.resting;
    if (deciding->low_mm > 0) {
        if (ring.seen_fraction < 0.999) return "another view, in which nothing hides part of the turn";
        if (above_low_voltage(with.rule)) return "the product's safety standard";
        if (stack) return "a face-on picture of the same board: it shows the copper of all depths at once";
        return "a picture with more contrast for thin copper (softer beam, longer exposure), or a slice "
               "stack";
    }
    return by_weight(*deciding);
}

} // namespace ringwall::screwfit
