// SPDX-License-Identifier: Apache-2.0
#include "compare/refine.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::compare {
namespace {

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// 0.6 to 1: how well two bores agree, a fifth apart being one standard deviation of what a revision keeps.
double bore_weight(double old_px, double revised_px, double scale) {
    constexpr double least = 0.6, apart = 0.2;
    if (old_px <= 0 || revised_px <= 0 || scale <= 0) return 0.5 * (1 + least);
    const double log_ratio = std::log(revised_px / (old_px * scale));
    return least + (1 - least) * std::exp(-0.5 * square(log_ratio / apart));
}

} // namespace

namespace {

/// The six nearest other points, nearest first.
std::vector<Point> neighbours(const std::vector<Point>& points, std::size_t of) {
    constexpr std::size_t most = 6;
    std::array<std::pair<double, std::size_t>, most> nearest;
    std::size_t n = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (i == of) continue;
        const double d2 = distance2(points[i], points[of]);
        if (n == most && d2 >= nearest[most - 1].first) continue;
        std::size_t at = n < most ? n++ : most - 1;
        for (; at > 0 && nearest[at - 1].first > d2; --at)
            nearest[at] = nearest[at - 1];
        nearest[at] = {d2, i};
    }
    std::vector<Point> found;
    for (std::size_t i = 0; i < n; ++i)
        found.push_back(points[nearest[i].second]);
    return found;
}

/// In a row or field: some neighbour has another one as far on the other side, or as far again beyond it.
bool in_a_row(const std::vector<Point>& points, std::size_t hole, double tolerance_px) {
    const Point at = points[hole];
    const auto near = neighbours(points, hole);
    for (const Point& a : near)
        for (const Point& b : near) {
            const Point opposite{2 * at.x - a.x, 2 * at.y - a.y}, beyond{2 * a.x - at.x, 2 * a.y - at.y};
            if (&a != &b && std::min(distance2(b, opposite), distance2(b, beyond)) < square(tolerance_px))
                return true;
        }
    return false;
}

std::vector<double> says_of(const std::vector<Point>& points, double tolerance_px) {
    std::vector<double> says(points.size(), 1);
    for (std::size_t i = 0; i < points.size(); ++i)
        if (in_a_row(points, i, tolerance_px)) says[i] = says_in_row;
    return says;
}

struct Box {
    Point low, high;
    [[nodiscard]] bool holds(Point at, double room) const {
        return at.x > low.x - room && at.x < high.x + room && at.y > low.y - room && at.y < high.y + room;
    }
};
Box box_of(const std::vector<Point>& points) {
    Box box{points.front(), points.front()};
    for (const Point& point : points) {
        box.low = {std::min(box.low.x, point.x), std::min(box.low.y, point.y)};
        box.high = {std::max(box.high.x, point.x), std::max(box.high.y, point.y)};
    }
    return box;
}

} // namespace

Refiner::Refiner(const AlignRequest& request, const Places& places)
    : request_(request), places_(places), grid_(places.revised_px, 3 * places.tolerance_px),
      old_says_(says_of(places.old_px, places.tolerance_px)),
      revised_says_(says_of(places.revised_px, places.tolerance_px)) {}

double Refiner::share(const Placement& placement) const {
    const Similarity& similarity = placement.fit.similarity;
    const Box old_box = box_of(places_.old_px), revised_box = box_of(places_.revised_px);
    double old_sum = 0, revised_sum = 0;
    for (std::size_t i = 0; i < places_.old_px.size(); ++i)
        if (revised_box.holds(similarity(places_.old_px[i]), places_.tolerance_px)) old_sum += old_says_[i];
    for (std::size_t j = 0; j < places_.revised_px.size(); ++j)
        if (old_box.holds(inverse(similarity, places_.revised_px[j]), places_.tolerance_px))
            revised_sum += revised_says_[j];
    const double most = std::min(old_sum, revised_sum);
    return most > 0 ? placement.score / most : 0;
}

double Refiner::weight_of(const AlignPair& pair, double scale) const {
    return std::min(old_says_[pair.old_hole], revised_says_[pair.revised_hole]) *
           bore_weight(request_.old_holes[pair.old_hole].bore_px,
                       request_.revised_holes[pair.revised_hole].bore_px, scale);
}

std::vector<AlignPair> Refiner::partners(const Similarity& similarity, double reach_px) const {
    struct Wish {
        double cost;
        AlignPair pair;
    };
    std::vector<Wish> wishes;
    const double scale = scale_of(similarity);
    for (std::size_t i = 0; i < places_.old_px.size(); ++i)
        grid_.near(similarity(places_.old_px[i]), reach_px, [&](std::size_t j, double d2) {
            const double bores =
                bore_weight(request_.old_holes[i].bore_px, request_.revised_holes[j].bore_px, scale);
            wishes.push_back({d2 / square(reach_px) - bores, {i, j}});
        });
    std::sort(wishes.begin(), wishes.end(), [](const Wish& a, const Wish& b) {
        if (a.cost != b.cost) return a.cost < b.cost;
        return a.pair.old_hole != b.pair.old_hole ? a.pair.old_hole < b.pair.old_hole
                                                  : a.pair.revised_hole < b.pair.revised_hole;
    });
    std::vector<bool> old_taken(places_.old_px.size()), revised_taken(places_.revised_px.size());
    std::vector<AlignPair> pairs;
    for (const Wish& wish : wishes) {
        if (old_taken[wish.pair.old_hole] || revised_taken[wish.pair.revised_hole]) continue;
        old_taken[wish.pair.old_hole] = revised_taken[wish.pair.revised_hole] = true;
        pairs.push_back(wish.pair);
    }
    std::sort(pairs.begin(), pairs.end(),
              [](const AlignPair& a, const AlignPair& b) { return a.old_hole < b.old_hole; });
    return pairs;
}

double Refiner::variance(const AlignPair& pair, double scale) const {
    constexpr double least_u_px = 1e-3; // nothing is placed better than that
    return square(request_.old_holes[pair.old_hole].u_px * scale) +
           square(request_.revised_holes[pair.revised_hole].u_px) + square(least_u_px);
}

WeightedPair Refiner::weighted(const AlignPair& pair, double scale) const {
    return {places_.old_px[pair.old_hole], places_.revised_px[pair.revised_hole], 1 / variance(pair, scale)};
}

std::optional<PlacedFit> Refiner::fit_of(const std::vector<AlignPair>& pairs, const Similarity& start) const {
    std::vector<WeightedPair> weighted_pairs;
    weighted_pairs.reserve(pairs.size());
    for (const AlignPair& pair : pairs)
        weighted_pairs.push_back(weighted(pair, scale_of(start)));
    return fit_similarity(weighted_pairs, start.mirrored);
}

namespace {

/// Pairs given by hand stay; partners found for their holes give way.
std::vector<AlignPair> with_fixed(std::vector<AlignPair> pairs, const std::vector<AlignPair>& fixed) {
    for (const AlignPair& hand : fixed) {
        std::erase_if(pairs, [&](const AlignPair& pair) {
            return pair.old_hole == hand.old_hole || pair.revised_hole == hand.revised_hole;
        });
        pairs.push_back(hand);
    }
    std::sort(pairs.begin(), pairs.end(),
              [](const AlignPair& a, const AlignPair& b) { return a.old_hole < b.old_hole; });
    return pairs;
}

} // namespace

std::optional<Placement> Refiner::refined(const Similarity& start,
                                          const std::vector<AlignPair>& fixed) const {
    Placement placement;
    Similarity similarity = start;
    // Wide first: a placement made by a short pair is off at the board's far end.
    for (const double reach : {3.0, 2.0, 1.5, 1.0, 1.0, 1.0}) {
        auto pairs = with_fixed(partners(similarity, reach * places_.tolerance_px), fixed);
        if (pairs.size() < 2) return std::nullopt;
        const auto fit = fit_of(pairs, similarity);
        if (!fit) return std::nullopt;
        placement.pairs = std::move(pairs);
        placement.fit = *fit;
        similarity = fit->similarity;
    }
    for (const AlignPair& pair : placement.pairs)
        placement.score += weight_of(pair, scale_of(similarity));
    return placement;
}

double Refiner::distance_px(const Similarity& similarity, const AlignPair& pair) const {
    return std::sqrt(
        distance2(similarity(places_.old_px[pair.old_hole]), places_.revised_px[pair.revised_hole]));
}

double Refiner::squared_residual(const PlacedFit& fit, const AlignPair& pair) const {
    return square(distance_px(fit.similarity, pair) / fit.stretch) / variance(pair, scale_of(fit.similarity));
}

void Refiner::settle(Placement& placement) const {
    const std::size_t n = placement.pairs.size();
    constexpr std::size_t least_for_weights = 5; // fewer do not show which of them moved
    PlacedFit fit = placement.fit;
    for (int round = 0; round < 12; ++round) {
        fit.stretch = 1;
        std::vector<double> squares;
        for (const AlignPair& pair : placement.pairs)
            squares.push_back(squared_residual(fit, pair));
        constexpr double median_of_two = 1.3863; // chi-squared, 2 degrees of freedom: 2 ln 2
        const double left = n > 2 ? static_cast<double>(n) / (static_cast<double>(n) - 2) : 1; // for the fit
        fit.stretch = std::max(1.0, std::sqrt(median(squares) / median_of_two * left));
        placement.fit = fit;
        if (n < least_for_weights) return;
        std::vector<WeightedPair> pairs;
        for (std::size_t i = 0; i < n; ++i) {
            constexpr double tukey2 = 4.685 * 4.685;
            const double share = squares[i] / square(fit.stretch) / tukey2;
            if (share >= 1) continue;
            pairs.push_back(weighted(placement.pairs[i], scale_of(fit.similarity)));
            pairs.back().weight *= square(1 - share);
        }
        const auto next = fit_similarity(pairs, fit.similarity.mirrored);
        if (!next) return;
        const double stretch = fit.stretch;
        fit = *next;
        fit.stretch = stretch;
    }
    placement.fit = fit;
}

} // namespace ringwall::compare
