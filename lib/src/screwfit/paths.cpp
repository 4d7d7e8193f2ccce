// SPDX-License-Identifier: Apache-2.0
#include "screwfit/paths.hpp"

#include "core/statistics.hpp"
#include "core/text.hpp"
#include "screwfit/forbids.hpp"
#include "screwfit/reach.hpp"
#include "screwfit/tables.hpp"

#include <algorithm>

namespace ringwall::screwfit {
namespace {

MetalPath thread_path(const RingInMm& ring, Finding finding, const OneRing& judged) {
    MetalPath path;
    path.part = "thread";
    if (ring.state == KeepOutState::ring_seen && !ring.layer) path.plane = 1;
    path.reach_mm = judged.screw.resting_reach_mm.value();
    path.contact_margin_mm = judged.screw.contact_margin_mm;
    path.margin_mm = judged.screw.margin_mm;
    path.cutting_margin_mm = judged.screw.engagement == Engagement::cuts
                                 ? judged.screw.cutting_margin_mm
                                 : Estimate::missing("the screw runs free");
    path.finding = finding;
    if (ring.layer)
        path.layer = ring.layer->number;
    else
        path.why = "against all copper seen, on whatever layer it lies";
    return path;
}

/// Radius at which the nearest copper is known to begin at the earliest; nothing where that is not known.
std::optional<double> copper_from_mm(const RingInMm& ring) {
    if (ring.gap_mm) return 0.5 * ring.drill_mm + *ring.gap_mm;
    if (ring.state == KeepOutState::none_in_view) return ring.searched_to_mm;
    return std::nullopt;
}

/// A part that covers a face of the board, out to `reach_mm` from the hole's centre.
struct FacePart {
    std::string part, side;
    double reach_mm = 0;
};

/// On a known layer the part's own copper carries it on.
double metal_to_mm(const FacePart& part, const RingInMm& ring) {
    if (!ring.layer) return part.reach_mm;
    return std::max(part.reach_mm, 0.5 * ring.drill_mm + own_copper_beyond_mm(ring));
}

/// Of copper on a layer not known the most that can be said is that even there a gap is left.
void find_if_outside(const std::optional<Margin>& margin, bool gap_forbidden, MetalPath& path) {
    const bool gap = margin && margin->low_mm > 0 && !gap_forbidden;
    if (gap) path.finding = Finding::gap_shown;
    path.why = gap ? "even if this copper is on the outer face"
                   : "only if this copper is on the outer face: the layer is not known";
}

void find_on_layer(const Margin& contact, const std::optional<Margin>& margin, bool at_least,
                   bool gap_forbidden, MetalPath& path) {
    path.finding = decide(contact, margin, margin, gap_forbidden);
    if (at_least && path.finding != Finding::gap_shown) path.finding = Finding::undecided;
}

MetalPath face_path(const FacePart& part, const RingInMm& ring, const Judging& with, const OneRing& judged) {
    MetalPath path;
    path.part = part.part;
    path.side = part.side;
    path.reach_mm = metal_to_mm(part, ring);
    path.cutting_margin_mm = Estimate::missing("only a thread cuts in");
    if (ring.layer) path.layer = ring.layer->number;
    const auto copper = copper_from_mm(ring);
    if (!copper) {
        path.contact_margin_mm = path.margin_mm =
            Estimate::missing("where the nearest copper begins is not known");
        if (!ring.layer) find_if_outside(std::nullopt, true, path);
        return path;
    }
    const double z = normal_quantile(with.confidence), left_mm = *copper - path.reach_mm;
    const Margin contact = margin_of(ring, left_mm, *copper, z);
    std::optional<Margin> margin;
    if (judged.screw.required_mm) margin = margin_of(ring, left_mm - *judged.screw.required_mm, *copper, z);
    path.contact_margin_mm = contact.value;
    path.margin_mm = margin ? margin->value : Estimate::missing("no spacing rule was given");
    const bool forbidden = !judged.screw.forbids_gap.empty();
    if (ring.layer)
        find_on_layer(contact, margin, ring.state == KeepOutState::none_in_view, forbidden, path);
    else
        find_if_outside(margin, forbidden, path);
    return path;
}

std::vector<FacePart> face_parts(const RingInMm& ring, const Judging& with) {
    const Screw& screw = with.screw;
    const double tilt = screw.tilt_deg > 0 ? tilt_reach_mm(screw, with.board_mm.value_or(0)) : 0;
    std::vector<FacePart> parts;
    if (screw.head_mm) parts.push_back({"head", "near", head_reach_mm(ring.drill_mm, screw, *screw.head_mm)});
    if (screw.washer_mm && screw.washer_bore_mm)
        parts.push_back({"washer", "near",
                         washer_reach_mm(ring.drill_mm, screw, *screw.washer_bore_mm, *screw.washer_mm)});
    if (screw.far_side_mm)
        parts.push_back({"far_side", "far", head_reach_mm(ring.drill_mm, screw, *screw.far_side_mm) + tilt});
    return parts;
}

/// The other outer layer under the same part.
const MetalPath* on_other_face(const std::vector<MetalPath>& paths, const MetalPath& path) {
    const auto other = std::find_if(paths.begin(), paths.end(), [&](const MetalPath& each) {
        return each.part == path.part && each.layer != path.layer;
    });
    return other == paths.end() ? nullptr : &*other;
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
    std::vector<MetalPath> paths{thread_path(ring, thread, judged)};
    if (ring.layer && !ring.layer->low_face && !ring.layer->high_face) return paths;
    for (const FacePart& part : face_parts(ring, with))
        paths.push_back(face_path(part, ring, with, judged));
    return paths;
}

void find_on_either_face(std::vector<MetalPath>& paths) {
    const std::vector<MetalPath> found = paths;
    for (MetalPath& path : paths) {
        if (path.part == "thread" || path.finding == Finding::undecided || path.finding == Finding::gap_shown)
            continue;
        const MetalPath* other = on_other_face(found, path);
        const Finding there = other != nullptr ? other->finding : Finding::undecided;
        if (worse(path.finding, there) == there) continue;
        path.finding = there == Finding::gap_shown ? Finding::undecided : there;
        path.why = "only if it lies on this face: which of the two it lies on is not known";
    }
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
