// SPDX-License-Identifier: Apache-2.0
#include "inspection/hand_measured.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

std::string mm(double value) {
    return fixed(value, 3) + " mm";
}

std::string thing(const HandMeasured& measured) {
    return spaced(measured.what) + (measured.where.empty() ? "" : " of " + measured.where);
}

/// What the picture says of the same quantity, or why it says nothing.
Estimate of_the_picture(const BoardRecord& record, const HandMeasured& measured,
                        std::span<const ScaleHole> scale_holes) {
    const bool sets_the_scale = measured.what == "bore" && std::any_of(scale_holes.begin(), scale_holes.end(),
                                                                       [&](const ScaleHole& hole) {
                                                                           return hole.name == measured.where;
                                                                       });
    if (sets_the_scale)
        return Estimate::missing("this bore sets the scale of the picture, so it cannot check it");
    if (measured.what == "thickness") return record.thickness_mm;
    if (measured.what != "bore" && measured.what != "drill")
        return Estimate::missing("a picture of the board does not show it");
    const HoleRecord* hole = hole_called(record, measured.where);
    if (hole == nullptr) return Estimate::missing("no hole of that name or id was found in the picture");
    return measured.what == "bore" ? hole->bore_mm : hole->drill_mm;
}

HandMeasured compared(HandMeasured measured, const Estimate& picture) {
    if (!picture) {
        measured.why = "cannot be told: " + picture.why();
        return measured;
    }
    measured.picture_mm = picture.value();
    measured.picture_u_mm = picture.u();
    if (!measured.u_mm) {
        measured.why = "cannot be told: no uncertainty of the length measured by hand is given";
        return measured;
    }
    const double apart = std::abs(measured.value_mm - picture.value());
    const double expanded = 2 * std::hypot(*measured.u_mm, picture.u());
    measured.agrees = apart <= expanded;
    measured.why = mm(apart) + (*measured.agrees ? " apart, within the " : " apart, more than the ") +
                   mm(expanded) + " that both uncertainties allow (k = 2)";
    return measured;
}

/// A screw larger than the one judged reaches further than its findings say; a smaller one does not.
HandMeasured beside_the_screw(HandMeasured measured, const Screw* screw) {
    const std::optional<double> judged = screw == nullptr                 ? std::nullopt
                                         : measured.what == "screw_major" ? std::optional(screw->major_mm)
                                         : measured.what == "head"        ? screw->head_mm
                                                                          : screw->washer_mm;
    if (!judged || *judged <= 0) {
        measured.why = "cannot be told: no " + spaced(measured.what) + " was given to judge by";
        return measured;
    }
    const std::string size = spaced(measured.what) + " judged is " + mm(*judged);
    if (!measured.u_mm) {
        measured.why =
            "cannot be told: the " + size + ", and no uncertainty of the length measured by hand is given";
        return measured;
    }
    const double larger = measured.value_mm - *judged, expanded = 2 * *measured.u_mm;
    measured.agrees = larger <= expanded;
    if (!*measured.agrees)
        measured.why = "the " + size + ", " + mm(larger) + " less: the findings are for a smaller one";
    else
        measured.why =
            "the " + size + (larger < -expanded ? ": the findings assume more metal than there is" : "");
    return measured;
}

} // namespace

const HoleRecord* hole_called(const BoardRecord& record, const std::string& called) {
    const auto found = [&](auto&& same) -> const HoleRecord* {
        const auto at = std::find_if(record.holes.begin(), record.holes.end(), same);
        return at == record.holes.end() ? nullptr : &*at;
    };
    if (called.empty()) return nullptr;
    if (const auto* named = found([&](const HoleRecord& hole) { return hole.name == called; })) return named;
    return found([&](const HoleRecord& hole) { return hole.id == called; });
}

std::vector<HandMeasured> beside_the_picture(const BoardRecord& record,
                                             std::span<const HandMeasured> measured,
                                             std::span<const ScaleHole> scale_holes,
                                             const ScrewOfHole& screw_of_hole) {
    const auto screw_judged = [&](const HandMeasured& each) -> const Screw* {
        const HoleRecord* hole = hole_called(record, each.where);
        if (hole != nullptr && screw_of_hole) return screw_of_hole(*hole);
        return record.screw ? &*record.screw : nullptr;
    };
    std::vector<HandMeasured> beside;
    beside.reserve(measured.size());
    for (const HandMeasured& each : measured)
        beside.push_back(of_the_screw(each) ? beside_the_screw(each, screw_judged(each))
                                            : compared(each, of_the_picture(record, each, scale_holes)));
    return beside;
}

std::vector<std::string> contradictions(std::span<const HandMeasured> measured) {
    std::vector<std::string> sentences;
    for (const HandMeasured& each : measured) {
        if (each.agrees.value_or(true)) continue;
        if (!each.picture_mm) {
            sentences.push_back("CONTRADICTION: " + thing(each) + " is " + mm(each.value_mm) + " by hand" +
                                (each.with.empty() ? "" : " (" + each.with + ")") + ", but " + each.why);
            continue;
        }
        sentences.push_back("CONTRADICTION: " + thing(each) + " is " + mm(each.value_mm) + " by hand" +
                            (each.with.empty() ? "" : " (" + each.with + ")") + " and " +
                            mm(*each.picture_mm) + " in the picture, " + each.why +
                            ": one of the two is wrong; check the scale first");
    }
    return sentences;
}

} // namespace ringwall
