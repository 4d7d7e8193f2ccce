// SPDX-License-Identifier: Apache-2.0
#include "screwfit/one_ring.hpp"

#include "core/statistics.hpp"
#include "screwfit/forbids.hpp"
#include "screwfit/paths.hpp"
#include "screwfit/reach.hpp"
#include "screwfit/words.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace ringwall::screwfit {
namespace {

constexpr double contact_gap_mm =
    0.05; ///< a gap that must have been seen, for copper at the wall to be contact

/// Metal beyond the wall and its share that was measured in the picture.
struct Beyond {
    double metal_mm = 0;  ///< outside of the wall
    double scaled_mm = 0; ///< of the margin's length, what the scale stretches
};

/// Of a screw that fills or leaves the hole: d/2 outside of a wall that is nearer, else nothing; and own
/// copper, one conductor with the screw, out to its edge.
Beyond resting_beyond(const RingInMm& ring, const Screw& screw, double gap_mm) {
    const double wall = 0.5 * ring.drill_mm, own = own_copper_beyond_mm(ring);
    Beyond beyond{std::max(0.0, 0.5 * screw.major_mm - wall), gap_mm};
    if (beyond.metal_mm > 0) beyond.scaled_mm = gap_mm + wall;
    if (own > beyond.metal_mm) return {own, gap_mm - own};
    // Out of round: the screw fills the narrow directions and leaves the wide ones.
    double least = 1e9, least_gap = 1e9;
    for (const auto& direction : ring.directions) {
        least = std::min(least, direction.gap_mm - std::max(0.0, 0.5 * screw.major_mm - direction.wall_mm));
        least_gap = std::min(least_gap, direction.gap_mm);
    }
    if (!ring.directions.empty()) beyond.metal_mm = std::max(0.0, least_gap - least);
    return beyond;
}

Beyond cutting_beyond(const RingInMm& ring, const Screw& screw, double gap_mm) {
    if (ring.drill_mm <= screw.minor_mm) return resting_beyond(ring, screw, gap_mm);
    const double bite = 0.5 * (screw.major_mm - screw.minor_mm), own = own_copper_beyond_mm(ring);
    return own > bite ? Beyond{own, gap_mm - own} : Beyond{bite, gap_mm};
}

Margin margin(const RingInMm& ring, const Beyond& beyond, double tilt_mm, double required_mm, double z) {
    return margin_of(ring, *ring.gap_mm - beyond.metal_mm - tilt_mm - required_mm, beyond.scaled_mm, z);
}

double tilt_mm(const RingInMm& ring, const Judging& with) {
    const double way_mm = ring.layer ? ring.layer->way_mm : with.board_mm.value_or(0);
    return with.screw.tilt_deg > 0 ? tilt_reach_mm(with.screw, way_mm) : 0;
}

void set_margins(const RingInMm& ring, const Judging& with, double z, OneRing& out) {
    const double tilt = tilt_mm(ring, with);
    const Beyond rest = resting_beyond(ring, with.screw, *ring.gap_mm);
    out.contact = margin(ring, rest, tilt, 0, z);
    if (!out.screw.required_mm) return;
    out.resting = margin(ring, rest, tilt, *out.screw.required_mm, z);
    out.cutting =
        margin(ring, cutting_beyond(ring, with.screw, *ring.gap_mm), tilt, *out.screw.required_mm, z);
}

/// No copper out to the searched radius: the gap is more than that, by how much is not known.
void set_margins_none_in_view(const RingInMm& ring, const Judging& with, double z, OneRing& out) {
    if (!ring.searched_to_mm) return;
    RingInMm least = ring;
    least.gap_mm = std::max(0.0, *ring.searched_to_mm - 0.5 * ring.drill_mm);
    set_margins(least, with, z, out);
}

Estimate estimate_of(const std::optional<Margin>& margin, const std::string& why_not) {
    return margin ? margin->value : Estimate::missing(why_not);
}

void write_margins(const RingInMm& ring, bool at_least, OneRing& out) {
    ScrewFit& screw = out.screw;
    const std::string no_rule = "no spacing rule was given";
    const std::string why_not =
        at_least ? "no copper in view: only a least gap is known" : why_no_margin(ring);
    const bool measured = out.contact && !at_least;
    screw.contact_margin_mm = estimate_of(measured ? out.contact : std::nullopt, why_not);
    const std::string why_no_spacing = screw.required_mm ? why_not : no_rule;
    screw.margin_mm = estimate_of(measured ? out.resting : std::nullopt, why_no_spacing);
    screw.cutting_margin_mm = estimate_of(measured ? out.cutting : std::nullopt, why_no_spacing);
    const auto& deciding = screw.engagement == Engagement::cuts ? out.cutting : out.resting;
    if (deciding) screw.margin_low_mm = deciding->low_mm;
    if (at_least) return;
    if (out.contact) screw.contact_margin_high_mm = out.contact->high_mm;
    if (out.resting) screw.margin_high_mm = out.resting->high_mm;
}

/// Copper at a bare wall: a screw can always rest on it.
Finding of_touching(const RingInMm& ring) {
    const bool would_have_shown = ring.largest_gap_not_excluded_mm.value_or(1) <= contact_gap_mm;
    return ring.bare && would_have_shown ? Finding::reaches : Finding::undecided;
}

Finding thread_finding(const RingInMm& ring, bool at_least, const OneRing& out) {
    if (ring.state == KeepOutState::touching) return of_touching(ring);
    if (!out.contact) return Finding::undecided;
    const auto& deciding = out.screw.engagement == Engagement::cuts ? out.cutting : out.resting;
    const bool forbidden = !out.screw.forbids_gap.empty();
    if (at_least)
        return !forbidden && deciding && deciding->low_mm > 0 ? Finding::gap_shown : Finding::undecided;
    return decide(*out.contact, out.resting, deciding, forbidden);
}

/// Of layers with the same finding: the one that could not be read, then by the space left, then those where
/// own copper runs on, last those without copper in view.
double rank_of(const RingInMm& ring, const OneRing& judged) {
    if (ring.state == KeepOutState::undecided) return -1e9;
    if (judged.screw.contact_margin_mm) return judged.screw.contact_margin_mm.value();
    if (ring.state == KeepOutState::touching) return -1e8;
    return ring.state == KeepOutState::runs_on ? 1e8 : 1e9;
}

bool is_live(const RingInMm& ring) {
    return !ring.layer || !ring.layer->ground;
}

std::size_t worst_of(const std::vector<RingInMm>& rings, const std::vector<OneRing>& judged) {
    const auto thread = [&](std::size_t i) { return judged[i].screw.paths.front().finding; };
    std::size_t found = 0;
    for (std::size_t i = 1; i < rings.size(); ++i) {
        const bool same = thread(i) == thread(found);
        if (same ? rank_of(rings[i], judged[i]) < rank_of(rings[found], judged[found])
                 : worse(thread(i), thread(found)) == thread(i))
            found = i;
    }
    return found;
}

void name_grounds(const std::vector<RingInMm>& rings, std::vector<std::string>& not_judged) {
    for (const RingInMm& ring : rings)
        if (!is_live(ring))
            not_judged.push_back("layer " + std::to_string(ring.layer->number) +
                                 ": ground as the case states it, with evidence; not counted as live");
}

/// What forbids a gap on one layer forbids it for the hole; each sentence once.
void add_new(const std::vector<std::string>& from, std::vector<std::string>& to) {
    for (const std::string& each : from)
        if (std::find(to.begin(), to.end(), each) == to.end()) to.push_back(each);
}

void finish(const RingInMm& ring, const Judging& with, OneRing& out) {
    for (const MetalPath& path : out.screw.paths)
        out.screw.finding = worse(out.screw.finding, path.finding);
    out.screw.why = why_of(ring, with, out);
    out.screw.would_decide = out.screw.finding == Finding::undecided ? would_decide(ring, with, out) : "";
}

} // namespace

OneRing judge_ring(const RingInMm& ring, const Judging& with) {
    const double z = normal_quantile(with.confidence);
    const bool at_least = ring.state == KeepOutState::none_in_view;
    OneRing out;
    ScrewFit& screw = out.screw;
    screw.name = name_of(with.screw);
    screw.engagement = engagement_of(ring.bore_mm, with.screw);
    screw.resting_reach_mm = resting_reach_mm(ring.drill_mm, with.screw) + tilt_mm(ring, with);
    screw.cutting_reach_mm = cutting_reach_mm(ring.drill_mm, with.screw) + tilt_mm(ring, with);
    screw.required_mm = required_spacing_mm(with.rule);
    screw.forbids_gap = forbids_gap(ring, with);
    if (at_least)
        set_margins_none_in_view(ring, with, z, out);
    else if (ring.gap_mm && ring.state != KeepOutState::touching)
        set_margins(ring, with, z, out);
    write_margins(ring, at_least, out);
    const Finding thread = thread_finding(ring, at_least, out);
    screw.paths = paths_of(ring, with, thread, out);
    screw.not_judged = paths_not_judged(with.screw);
    screw.finding = thread;
    finish(ring, with, out);
    return out;
}

OneRing judge_rings(const std::vector<RingInMm>& all, const Judging& with) {
    std::vector<RingInMm> rings;
    std::copy_if(all.begin(), all.end(), std::back_inserter(rings),
                 [](const RingInMm& ring) { return is_live(ring); });
    if (rings.empty()) rings = all;
    std::vector<OneRing> judged;
    judged.reserve(rings.size());
    for (const RingInMm& ring : rings)
        judged.push_back(judge_ring(ring, with));
    if (all.size() == 1 && !all.front().layer) return judged.front();
    const std::size_t worst = worst_of(rings, judged);
    OneRing out = judged[worst];
    out.screw.finding = out.screw.paths.front().finding;
    out.screw.paths.resize(1);
    std::vector<MetalPath> faces;
    for (std::size_t i = 0; i < rings.size(); ++i) {
        const auto& paths = judged[i].screw.paths;
        if (i != worst) out.screw.paths.push_back(paths.front());
        faces.insert(faces.end(), paths.begin() + 1, paths.end());
        add_new(judged[i].screw.forbids_gap, out.screw.forbids_gap);
    }
    find_on_either_face(faces);
    out.screw.paths.insert(out.screw.paths.end(), faces.begin(), faces.end());
    if (rings.size() < all.size()) name_grounds(all, out.screw.not_judged);
    finish(rings[worst], with, out);
    return out;
}

} // namespace ringwall::screwfit
