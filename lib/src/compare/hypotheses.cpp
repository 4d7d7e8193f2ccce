// SPDX-License-Identifier: Apache-2.0
#include "compare/hypotheses.hpp"

#include "compare/similarity.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace ringwall::compare {
namespace {

/// splitmix64 (Steele, Lea & Flood, OOPSLA 2014; constants from memory): the same order on every platform.
class Shuffle {
  public:
    explicit Shuffle(std::uint64_t seed) : state_(seed) {}
    template<typename T>
    void operator()(std::vector<T>& values) {
        for (std::size_t i = values.size(); i > 1; --i)
            std::swap(values[i - 1], values[next() % i]);
    }

  private:
    std::uint64_t next() {
        std::uint64_t z = (state_ += 0x9E3779B97F4A7C15U);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
        return z ^ (z >> 31);
    }
    std::uint64_t state_;
};

constexpr std::size_t most_base_holes = 250; // pairs grow with the square
constexpr std::size_t most_pairs = 64;
constexpr std::size_t most_kept = 40;
constexpr double most_work = 6e6; // placements tried: a few tenths of a second

double nearest2(const std::vector<AlignHole>& holes, std::size_t of) {
    double least = 1e300;
    for (std::size_t i = 0; i < holes.size(); ++i)
        if (i != of) least = std::min(least, distance2(holes[i].at_px, holes[of].at_px));
    return least;
}

/// The holes whose pairs are tried: all, or of many the widest and the loneliest, which a revision is likely
/// to show as such again.
std::vector<std::size_t> base_holes(const std::vector<AlignHole>& holes) {
    std::vector<std::size_t> order(holes.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    if (holes.size() <= most_base_holes) return order;
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return holes[a].bore_px > holes[b].bore_px; });
    std::vector<double> lonely(holes.size());
    for (std::size_t i = 0; i < holes.size(); ++i)
        lonely[i] = nearest2(holes, i);
    const auto rest = order.begin() + most_base_holes / 2;
    std::stable_sort(rest, order.end(), [&](std::size_t a, std::size_t b) { return lonely[a] > lonely[b]; });
    order.resize(most_base_holes);
    std::sort(order.begin(), order.end());
    return order;
}

struct Base {
    Point a, b;
    double length = 0;
};

std::vector<Base> pairs_among(const std::vector<Point>& at, const std::vector<std::size_t>& holes,
                              double least_length) {
    std::vector<Base> pairs;
    for (std::size_t i = 0; i < holes.size(); ++i)
        for (std::size_t j = i + 1; j < holes.size(); ++j) {
            const double length = std::sqrt(distance2(at[holes[i]], at[holes[j]]));
            if (length > least_length) pairs.push_back({at[holes[i]], at[holes[j]], length});
        }
    return pairs;
}

/// Long pairs place best; but what two boards share may be one corner: every third is of any length.
std::vector<Base> chosen_old_pairs(std::vector<Base> pairs) {
    double longest = 0;
    for (const Base& pair : pairs)
        longest = std::max(longest, pair.length);
    Shuffle shuffle(pairs.size());
    shuffle(pairs);
    const auto middle = std::stable_partition(pairs.begin(), pairs.end(),
                                              [&](const Base& pair) { return pair.length > 0.35 * longest; });
    std::vector<Base> chosen;
    auto from_long = pairs.begin(), any = middle;
    while (chosen.size() < most_pairs && (from_long != middle || any != pairs.end())) {
        const bool take_any = from_long == middle || (chosen.size() % 3 == 2 && any != pairs.end());
        chosen.push_back(take_any ? *any++ : *from_long++);
    }
    return chosen;
}

/// The corners of what the old holes span: two placements are one when they agree there.
std::array<Point, 4> corners_of(const std::vector<Point>& points) {
    Point low = points.front(), high = low;
    for (const Point& point : points) {
        low = {std::min(low.x, point.x), std::min(low.y, point.y)};
        high = {std::max(high.x, point.x), std::max(high.y, point.y)};
    }
    return {low, Point{high.x, low.y}, high, Point{low.x, high.y}};
}

class Searcher {
  public:
    Searcher(const Places& places, const NearMap& map) : map_(map), corners_(corners_of(places.old_px)) {
        probes_ = places.old_px;
        Shuffle shuffle(probes_.size());
        shuffle(probes_);
        same_px_ = 8 * places.tolerance_px;
    }

    void try_placement(const Similarity& similarity) {
        const std::size_t count = counted(similarity);
        if (count < 3 || count < least_kept_) return;
        keep({similarity, count});
    }
    [[nodiscard]] std::size_t best_count() const {
        std::size_t best = 0;
        for (const Hypothesis& kept : kept_)
            best = std::max(best, kept.count);
        return best;
    }
    [[nodiscard]] std::vector<Hypothesis> sorted() && {
        std::stable_sort(kept_.begin(), kept_.end(),
                         [](const Hypothesis& a, const Hypothesis& b) { return a.count > b.count; });
        return std::move(kept_);
    }

  private:
    /// 0 where the first probes show that a placement leads nowhere.
    [[nodiscard]] std::size_t counted(const Similarity& similarity) const {
        constexpr std::size_t first = 14, second = 60;
        std::size_t count = 0, at = 0;
        const auto go_to = [&](std::size_t end) {
            for (; at < std::min(end, probes_.size()); ++at)
                count += map_.covers(similarity(probes_[at])) ? 1 : 0;
        };
        if (probes_.size() > 2 * first) {
            go_to(first);
            if (count < 2) return 0;
        }
        if (probes_.size() > 2 * second) {
            go_to(second);
            if (count < 6) return 0;
        }
        go_to(probes_.size());
        return count;
    }

    void keep(const Hypothesis& found) {
        for (Hypothesis& kept : kept_)
            if (are_one(kept.similarity, found.similarity)) {
                if (found.count > kept.count) kept = found;
                return;
            }
        if (kept_.size() < most_kept) {
            kept_.push_back(found);
        } else {
            const auto least =
                std::min_element(kept_.begin(), kept_.end(),
                                 [](const Hypothesis& a, const Hypothesis& b) { return a.count < b.count; });
            if (found.count > least->count) *least = found;
            least_kept_ = least->count;
        }
    }
    [[nodiscard]] bool are_one(const Similarity& a, const Similarity& b) const {
        return a.mirrored == b.mirrored &&
               std::all_of(corners_.begin(), corners_.end(), [&](const Point& corner) {
                   return distance2(a(corner), b(corner)) < square(same_px_);
               });
    }

    const NearMap& map_;
    std::array<Point, 4> corners_;
    std::vector<Point> probes_;
    std::vector<Hypothesis> kept_;
    std::size_t least_kept_ = 0;
    double same_px_ = 8;
};

/// How many pairs find a placement that shares this part of the old holes, but for 1e-5.
double pairs_needed(double share) {
    const double miss = 1 - share * share;
    if (miss <= 1e-5) return 1;
    return std::log(1e-5) / std::log(miss);
}

} // namespace

Places::Places(const AlignRequest& request) {
    for (const AlignHole& hole : request.old_holes)
        old_px.push_back(hole.at_px);
    for (const AlignHole& hole : request.revised_holes)
        revised_px.push_back(hole.at_px);
    if (revised_px.empty()) return;
    // Two pictures of one board differ by perspective and tilt too: a few hundredths of a percent (common
    // practice, no source).
    const auto corners = corners_of(revised_px);
    constexpr double share_of_extent = 6e-4;
    tolerance_px = std::max(2.0, share_of_extent * std::sqrt(distance2(corners[0], corners[2])));
}

Search search_placements(const AlignRequest& request, const Places& places, const NearMap& map,
                         ScaleWindow window) {
    Search search;
    const double apart = 4 * places.tolerance_px;
    const auto old_pairs =
        chosen_old_pairs(pairs_among(places.old_px, base_holes(request.old_holes), apart / window.high));
    auto revised_pairs = pairs_among(places.revised_px, base_holes(request.revised_holes), apart);
    std::sort(revised_pairs.begin(), revised_pairs.end(), [](const Base& a, const Base& b) {
        return a.length != b.length ? a.length < b.length : a.a.x != b.a.x ? a.a.x < b.a.x : a.b.x < b.b.x;
    });
    const auto from_length = [&](double length) {
        return std::lower_bound(revised_pairs.begin(), revised_pairs.end(), length,
                                [](const Base& pair, double least) { return pair.length < least; });
    };
    Searcher searcher(places, map);
    double tried = 0, old_done = 0;
    for (const Base& old : old_pairs) {
        const double slack = 2 * places.tolerance_px;
        const auto first = from_length(old.length * window.low - slack);
        const auto last = from_length(old.length * window.high + slack);
        for (auto pair = first; pair < last; ++pair)
            for (const bool mirrored : {false, true}) {
                searcher.try_placement(similarity_through(old.a, old.b, pair->a, pair->b, mirrored));
                searcher.try_placement(similarity_through(old.a, old.b, pair->b, pair->a, mirrored));
            }
        tried += 4.0 * static_cast<double>(last - first);
        ++old_done;
        const double share =
            static_cast<double>(searcher.best_count()) / static_cast<double>(places.old_px.size());
        const bool all_based = places.old_px.size() <= most_base_holes; // else partners may be left out
        if (old_done >= std::max(12.0, pairs_needed((all_based ? 0.7 : 0.35) * share)) || tried > most_work)
            break;
    }
    const double old_count = static_cast<double>(places.old_px.size());
    search.log_tried = std::log(std::max(1.0, tried / std::max(1.0, old_done)) * old_count * old_count / 2);
    search.best = std::move(searcher).sorted();
    return search;
}

} // namespace ringwall::compare
