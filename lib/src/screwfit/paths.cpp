// SPDX-License-Identifier: Apache-2.0
#include "screwfit/paths.hpp"

#include "core/statistics.hpp"
#include "core/text.hpp"
#include "screwfit/reach.hpp"
#include "screwfit/tables.hpp"

#include <algorithm>

namespace ringwall::screwfit {
namespace {

MetalPath thread_path(const RingInMm& ring, Finding finding, const OneRing& judged) {
    MetalPath path;
    path.part = "thread";
    if (ring.state == KeepOutState::ring_seen) path.plane = 1;
    path.reach_mm = judged.screw.resting_reach_mm.value();
    path.contact_margin_mm = judged.screw.contact_margin_mm;
    path.margin_mm = judged.screw.margin_mm;
    path.finding = finding;
    path.why = "against all copper seen, on whatever layer it lies";
    return path;
}

/// Radius at which the nearest copper is known to begin at the earliest; nothing where that is not known.
std::optional<double> copper_from_mm(const RingInMm& ring) {
    if (ring.gap_mm) return 0.5 * ring.drill_mm + *ring.gap_mm;
    if (ring.state == KeepOutState::none_in_view) return ring.searched_to_mm;
    return std::nullopt;
}

/// Head, washer or far side, out to `reach_mm`, over copper whose layer is not known.
MetalPath face_path(const std::string& part, const std::string& side, double reach_mm, const RingInMm& ring,
                    const Judging& with, const OneRing& judged) {
    MetalPath path;
    path.part = part;
    path.side = side;
    path.reach_mm = reach_mm;
    path.why = "only if this copper is on the outer face: the layer is not known";
    const auto copper = copper_from_mm(ring);
    if (!copper) {
        path.contact_margin_mm = path.margin_mm =
            Estimate::missing("where the nearest copper begins is not known");
        return path;
    }
    const double z = normal_quantile(with.confidence);
    const Margin contact = margin_of(ring, *copper - reach_mm, *copper, z);
    path.contact_margin_mm = contact.value;
    path.margin_mm = Estimate::missing("no spacing rule was given");
    if (!judged.screw.required_mm) return path;
    const Margin margin = margin_of(ring, *copper - reach_mm - *judged.screw.required_mm, *copper, z);
    path.margin_mm = margin.value;
    if (margin.low_mm <= 0 || !judged.screw.forbids_gap.empty()) return path;
    path.finding = Finding::gap_shown;
    path.why = "even if this copper is on the outer face";
    return path;
}

std::string with_standards(const std::string& sentence, const std::vector<StandardPart>& parts) {
    if (parts.empty()) return sentence;
    std::string all;
    for (const StandardPart& part : parts)
        all += (all.empty() ? "" : "; ") + part.what + ": " + fixed(part.outer_mm, 2) + " mm";
    return sentence + " (" + all + ")";
}

} // namespace

std::vector<MetalPath> paths_of(const RingInMm& ring, const Judging& with, Finding thread,
                                const OneRing& judged) {
    const Screw& screw = with.screw;
    const double tilt = screw.tilt_deg > 0 ? tilt_reach_mm(screw, with.board_mm.value_or(0)) : 0;
    std::vector<MetalPath> paths{thread_path(ring, thread, judged)};
    if (screw.head_mm)
        paths.push_back(face_path("head", "near", head_reach_mm(ring.drill_mm, screw, *screw.head_mm), ring,
                                  with, judged));
    if (screw.washer_mm && screw.washer_bore_mm)
        paths.push_back(face_path(
            "washer", "near", washer_reach_mm(ring.drill_mm, screw, *screw.washer_bore_mm, *screw.washer_mm),
            ring, with, judged));
    if (screw.far_side_mm)
        paths.push_back(face_path("far_side", "far",
                                  head_reach_mm(ring.drill_mm, screw, *screw.far_side_mm) + tilt, ring, with,
                                  judged));
    return paths;
}

std::vector<std::string> paths_not_judged(const Screw& screw) {
    std::vector<std::string> list;
    if (!screw.head_mm)
        list.push_back(with_standards("head: its diameter is not given", standard_heads(screw.name)));
    if (!screw.washer_mm || !screw.washer_bore_mm)
        list.push_back(with_standards("washer: its outside diameter or bore is not given",
                                      standard_washers(screw.name)));
    if (!screw.far_side_mm) list.push_back("far side (nut, standoff or bracket): its outline is not given");
    list.push_back("tip: what lies beyond the board is not in the picture");
    return list;
}

} // namespace ringwall::screwfit
