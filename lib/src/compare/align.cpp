// SPDX-License-Identifier: Apache-2.0
#include "compare/hypotheses.hpp"
#include "compare/refine.hpp"
#include "core/text.hpp"
#include "ringwall/compare.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace ringwall {
namespace {

using namespace compare;

constexpr const char* ask_for_pairs =
    "; give pairs of holes that are the same on both boards by hand (--pair OLD=REVISED, two or more)";

/// Whether two placements say different things of the old holes.
bool are_distinct(const Placement& a, const Placement& b, const Places& places) {
    if (a.fit.similarity.mirrored != b.fit.similarity.mirrored) return true;
    double furthest = 0;
    for (const Point& old : places.old_px)
        furthest = std::max(furthest, distance2(a.fit.similarity(old), b.fit.similarity(old)));
    return furthest > square(4 * places.tolerance_px);
}

std::vector<Placement> refined_placements(const Refiner& refiner, const std::vector<Hypothesis>& hypotheses) {
    std::vector<Placement> placements;
    for (const Hypothesis& hypothesis : hypotheses)
        if (auto placement = refiner.refined(hypothesis.similarity)) placements.push_back(*placement);
    std::stable_sort(placements.begin(), placements.end(),
                     [](const Placement& a, const Placement& b) { return a.score > b.score; });
    return placements;
}

/// Best placement that is not the first one over again.
const Placement* second_of(const std::vector<Placement>& placements, const Places& places) {
    for (std::size_t i = 1; i < placements.size(); ++i)
        if (are_distinct(placements.front(), placements[i], places)) return &placements[i];
    return nullptr;
}

/// What speaks for one placement alone: pairs whose old hole has no partner in the other.
struct Alone {
    double pairs = 0, weight = 0;
};
Alone only_in(const Placement& first, const Placement& second, const Refiner& refiner) {
    std::set<std::size_t> there;
    for (const AlignPair& pair : second.pairs)
        there.insert(pair.old_hole);
    Alone alone;
    for (const AlignPair& pair : first.pairs) {
        if (there.contains(pair.old_hole)) continue;
        ++alone.pairs;
        alone.weight += refiner.weight_of(pair, scale_of(first.fit.similarity));
    }
    return alone;
}

/// The second placement is no rival. Any of: it explains much less; holes that stand alone and fit the best
/// one only are three or more; of the holes that fit one of both, clearly most fit the best.
bool stands_out(const Placement& best, const Placement& second, const Refiner& refiner) {
    constexpr double clear_share = 0.85, two_holes = 1.95, clear_weight = 2.5, clear_sigma = 2.2;
    // Two holes: one fits by chance where boards are drawn on a raster.
    if (best.score - second.score >= two_holes && second.score <= clear_share * best.score) return true;
    const Alone here = only_in(best, second, refiner), there = only_in(second, best, refiner);
    const double by_chance = std::sqrt(here.pairs + there.pairs);
    return here.weight - there.weight > clear_weight + says_in_row * by_chance ||
           here.pairs - there.pairs > clear_sigma * by_chance;
}

/// Natural logarithm of a bound on how many placements of nothing in common would have so many partners
/// (Chernoff's bound on a binomial; two pairs are spent on the placement itself).
double log_by_chance(std::size_t pairs, std::size_t holes, const Search& search, double chance) {
    if (pairs <= 2 || holes <= 2) return search.log_tried;
    const double n = static_cast<double>(holes) - 2;
    const double share = std::min(1.0, (static_cast<double>(pairs) - 2) / n);
    const double p = std::clamp(chance, 1e-12, 1 - 1e-12);
    if (share <= p) return search.log_tried;
    const double missed = share < 1 ? (1 - share) * std::log((1 - share) / (1 - p)) : 0;
    return search.log_tried - n * (share * std::log(share / p) + missed);
}

/// A partner further off than noise explains and than a pixel may be another hole that came to lie near:
/// what it is, is not the alignment's to say.
void drop_far(Placement& placement, const Refiner& refiner, const std::vector<AlignPair>& by_hand) {
    constexpr double far_squared = 25, far_px = 1;
    std::erase_if(placement.pairs, [&](const AlignPair& pair) {
        return std::find(by_hand.begin(), by_hand.end(), pair) == by_hand.end() &&
               refiner.squared_residual(placement.fit, pair) > far_squared &&
               refiner.distance_px(placement.fit.similarity, pair) > far_px;
    });
}

void finish(HoleAlignment& out, Placement& placement, const Refiner& refiner,
            const std::vector<AlignPair>& by_hand) {
    refiner.settle(placement);
    drop_far(placement, refiner, by_hand);
    out.fit = placement.fit;
    out.common = placement.pairs;
    double sum = 0;
    for (const AlignPair& pair : placement.pairs) {
        if (refiner.squared_residual(placement.fit, pair) > moved_squared_residual) continue;
        ++out.unmoved;
        sum += square(refiner.distance_px(placement.fit.similarity, pair));
    }
    out.residual_px = out.unmoved > 0 ? std::sqrt(sum / static_cast<double>(out.unmoved)) : 0;
}

std::string counted(std::size_t n, const std::string& noun) {
    return std::to_string(n) + " " + noun + (n == 1 ? "" : "s");
}

std::string too_few(std::size_t n) {
    return (n == 0 ? std::string("no hole in common was found")
                   : counted(n, "hole") + " in common at most: too few to place one board on the other") +
           ask_for_pairs;
}

/// What was found, best first, and what it was found among.
struct Found {
    std::vector<Placement> placements;
    Search search;
};

Found look(const AlignRequest& request, const Places& places, const NearMap& map, const Refiner& refiner) {
    Found found;
    if (request.scale) {
        // A scale is a claim: room for four times its doubt, and for a wrong one that the holes show.
        const double room = std::max(0.03, 4 * request.scale_relative_u);
        found.search = search_placements(request, places, map,
                                         {*request.scale / (1 + room), *request.scale * (1 + room)});
        found.placements = refined_placements(refiner, found.search.best);
        return found;
    }
    constexpr double convincing = 0.33; // of the holes that could have a partner, weighed
    found.search = search_placements(request, places, map, {0.8, 1.25});
    found.placements = refined_placements(refiner, found.search.best);
    if (!found.placements.empty() && refiner.share(found.placements.front()) > convincing) return found;
    Search wide = search_placements(request, places, map, {0.4, 2.5});
    wide.best.insert(wide.best.end(), found.search.best.begin(), found.search.best.end());
    found.search = std::move(wide);
    found.placements = refined_placements(refiner, found.search.best);
    return found;
}

/// Why the best placement is not to be trusted, whatever the others say; empty: nothing speaks against it.
std::string why_chance(const Found& found, const Places& places, const NearMap& map, const Refiner& refiner) {
    const Placement& best = found.placements.front();
    const std::size_t common = best.pairs.size();
    constexpr double log_one_in_thousand = -6.9, least_share = 0.25;
    const std::string counts = counted(common, "hole") + " of " + std::to_string(places.old_px.size()) +
                               " and " + std::to_string(places.revised_px.size()) + " at most";
    if (log_by_chance(common, places.old_px.size(), found.search, map.chance()) > log_one_in_thousand)
        return "no placement was found that more holes share than boards with nothing in common would: " +
               counts + ask_for_pairs;
    if (refiner.share(best) < least_share)
        return "no placement was found in which a quarter of the holes that lie on both boards are common, "
               "rows and fields counted little: " +
               counts + "; are they the same product?" + ask_for_pairs;
    return {};
}

HoleAlignment align_by_holes(const AlignRequest& request, const Places& places) {
    HoleAlignment out;
    const NearMap map(places.revised_px, places.tolerance_px);
    const Refiner refiner(request, places);
    Found found = look(request, places, map, refiner);
    if (found.placements.empty() || found.placements.front().pairs.size() < 3) {
        out.why = too_few(found.placements.empty() ? 0 : found.placements.front().pairs.size());
        return out;
    }
    out.why = why_chance(found, places, map, refiner);
    if (!out.why.empty()) return out;
    Placement& best = found.placements.front();
    const std::size_t common = best.pairs.size();
    const Placement* second = second_of(found.placements, places);
    if (second != nullptr && !stands_out(best, *second, refiner)) {
        out.why = "the holes do not decide how the boards lie: " + counted(common, "hole") +
                  " fit in one placement and " + std::to_string(second->pairs.size()) +
                  " in another (a regular or symmetric pattern, or few common holes)" + ask_for_pairs;
        return out;
    }
    if (second == nullptr && common < 4) { // any two pairs make a placement
        out.why = too_few(common);
        return out;
    }
    out.ambiguity = (second != nullptr ? second->score : std::min(2.0, best.score)) / best.score;
    finish(out, best, refiner, request.by_hand);
    return out;
}

void check_hand_pairs(const AlignRequest& request) {
    std::set<std::size_t> old_holes, revised_holes;
    for (const AlignPair& pair : request.by_hand)
        if (!old_holes.insert(pair.old_hole).second || !revised_holes.insert(pair.revised_hole).second)
            throw Error(Fault::usage, "pairs given by hand: a hole stands in two of them");
}

std::optional<Placement> placed_by_hand(const AlignRequest& request, const Places& places,
                                        const Refiner& refiner, bool mirrored) {
    std::vector<WeightedPair> pairs;
    for (const AlignPair& pair : request.by_hand)
        pairs.push_back({places.old_px[pair.old_hole], places.revised_px[pair.revised_hole], 1});
    const auto fit = fit_similarity(pairs, mirrored);
    if (!fit) return std::nullopt;
    for (const AlignPair& pair : request.by_hand)
        if (refiner.distance_px(fit->similarity, pair) > 3 * places.tolerance_px) return std::nullopt;
    return refiner.refined(fit->similarity, request.by_hand);
}

HoleAlignment align_by_hand(const AlignRequest& request, const Places& places) {
    check_hand_pairs(request);
    HoleAlignment out;
    out.by_hand = true;
    if (request.by_hand.size() < 2) {
        out.why =
            "one pair given by hand does not say how the boards are turned" + std::string(ask_for_pairs);
        return out;
    }
    const Refiner refiner(request, places);
    auto plain = placed_by_hand(request, places, refiner, false);
    auto mirrored = placed_by_hand(request, places, refiner, true);
    if (!plain && !mirrored)
        throw Error(Fault::usage,
                    "pairs given by hand contradict each other: no turn, scale and shift brings "
                    "them together within " +
                        brief(rounded(3 * places.tolerance_px, 2)) + " px");
    if (plain && mirrored) {
        const bool first = plain->score >= mirrored->score;
        Placement &best = first ? *plain : *mirrored, &other = first ? *mirrored : *plain;
        out.ambiguity = other.score / best.score;
        if (!stands_out(best, other, refiner)) {
            out.why = "the pairs given by hand lie on a line and the other holes do not decide whether the "
                      "boards are mirrored: give a pair off that line (--pair OLD=REVISED)";
            out.ambiguity = 1;
            return out;
        }
        finish(out, best, refiner, request.by_hand);
        return out;
    }
    out.ambiguity = 0; // a person said it
    finish(out, plain ? *plain : *mirrored, refiner, request.by_hand);
    return out;
}

} // namespace

HoleAlignment align_holes(const AlignRequest& request) {
    const Places places(request);
    if (!request.by_hand.empty()) return align_by_hand(request, places);
    HoleAlignment out;
    if (places.old_px.size() < 3 || places.revised_px.size() < 3) {
        out.why = "the old board shows " + counted(places.old_px.size(), "hole") + ", the revised one " +
                  std::to_string(places.revised_px.size()) + ": too few to place one on the other" +
                  ask_for_pairs;
        return out;
    }
    return align_by_holes(request, places);
}

} // namespace ringwall
