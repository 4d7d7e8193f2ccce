// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/random.hpp"
#include "ringwall/compare.hpp"

#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::test {

/// What is done to a board to make its revision; shares are of its holes.
struct Revision {
    double dropped = 0.2, moved = 0.1, resized = 0.2; ///< at random, one after the other
    double added = 0.3;                               ///< as many new holes as this share
    bool grids = true;                                ///< fields of vias on a raster
    bool mirrors = true;
    double least_scale = 0.9, most_scale = 1.1;
    double u_px = 0.05; ///< of each coordinate, in both pictures
};

/// Two hole lists with the truth: which old hole is which revised one, and where the old places lie.
struct DrawnPair {
    AlignRequest request;
    Similarity truth;
    std::vector<std::optional<std::size_t>> partner; ///< of each old hole; none: dropped
    std::vector<bool> stayed;                        ///< has a partner and was not moved
    [[nodiscard]] std::size_t kept() const {
        return static_cast<std::size_t>(std::count(stayed.begin(), stayed.end(), true));
    }
};

class PairMaker {
  public:
    PairMaker(std::uint64_t seed, const Revision& revision) : random_(seed, 77), revision_(revision) {}

    /// About `holes` of them.
    DrawnPair make(std::size_t holes) {
        width_ = random_.between(1200, 4000), height_ = random_.between(900, 3000);
        if (holes > 1000) width_ += 3000, height_ += 3000; // else there may be no room for them
        place_holes(holes);
        return revise();
    }

  private:
    struct Drilled {
        Point at;
        double bore_px;
    };

    void add(Point at, double bore_px) {
        for (const Drilled& hole : holes_) { // drills do not overlap
            const double apart = std::hypot(hole.at.x - at.x, hole.at.y - at.y);
            if (apart < 0.6 * (hole.bore_px + bore_px)) return;
        }
        holes_.push_back({at, bore_px});
    }
    Point anywhere() { return {random_.between(20, width_ - 20), random_.between(20, height_ - 20)}; }

    void place_holes(std::size_t holes) {
        const double inset = random_.between(40, 120);
        for (const double x : {inset, width_ - inset}) // mounting holes make a rectangle
            for (const double y : {inset, height_ - inset})
                add({x, y}, 130);
        while (revision_.grids && holes_.size() < holes / 2)
            grid();
        while (holes_.size() < holes) {
            if (random_.chance(0.15))
                row();
            else
                add(anywhere(), random_.chance(0.2) ? random_.between(30, 80) : 12);
        }
    }
    /// A field of vias under a part.
    void grid() {
        const Point corner = anywhere();
        const double pitch = random_.between(20, 50);
        const int columns = random_.whole(3, 12), rows = random_.whole(3, 8);
        for (int y = 0; y < rows; ++y)
            for (int x = 0; x < columns; ++x)
                add({corner.x + pitch * x, corner.y + pitch * y}, 12);
    }
    /// A connector's pins.
    void row() {
        const Point start = anywhere();
        const int pins = random_.whole(2, 12);
        for (int i = 0; i < pins; ++i)
            add({start.x + 101.6 * i, start.y}, 40);
    }

    Similarity any_similarity() {
        const double angle = random_.between(0, 2 * std::numbers::pi);
        const double scale = random_.between(revision_.least_scale, revision_.most_scale);
        return {scale * std::cos(angle), scale * std::sin(angle), random_.between(-2000, 4000),
                random_.between(-2000, 4000), revision_.mirrors && random_.chance(0.5)};
    }
    AlignHole seen(Point at, double bore_px) {
        return {{at.x + revision_.u_px * random_.normal(), at.y + revision_.u_px * random_.normal()},
                revision_.u_px,
                bore_px};
    }

    DrawnPair revise() {
        DrawnPair pair;
        pair.truth = any_similarity();
        const double scale = std::hypot(pair.truth.a_x, pair.truth.a_y);
        std::vector<Drilled> revised;
        for (const Drilled& hole : holes_) {
            pair.request.old_holes.push_back(seen(hole.at, hole.bore_px));
            pair.partner.emplace_back();
            pair.stayed.push_back(false);
            if (random_.chance(revision_.dropped)) continue;
            Drilled next = hole;
            const bool moved = random_.chance(revision_.moved);
            if (moved) {
                const double by = random_.between(0.5, 1.5) * hole.bore_px + 10;
                const double angle = random_.between(0, 2 * std::numbers::pi);
                next.at = {hole.at.x + by * std::cos(angle), hole.at.y + by * std::sin(angle)};
            }
            if (random_.chance(revision_.resized)) next.bore_px *= random_.between(0.6, 1.6);
            pair.partner.back() = revised.size();
            pair.stayed.back() = !moved;
            revised.push_back(next);
        }
        const auto extra = static_cast<std::size_t>(revision_.added * static_cast<double>(holes_.size()));
        for (std::size_t i = 0; i < extra; ++i)
            revised.push_back({anywhere(), random_.chance(0.2) ? random_.between(30, 80) : 12});
        shuffle_into(pair, revised, scale);
        return pair;
    }
    /// The revised list stands in no order that gives the partners away.
    void shuffle_into(DrawnPair& pair, const std::vector<Drilled>& revised, double scale) {
        std::vector<std::size_t> order(revised.size());
        for (std::size_t i = 0; i < order.size(); ++i)
            order[i] = i;
        for (std::size_t i = order.size(); i > 1; --i)
            std::swap(order[i - 1],
                      order[static_cast<std::size_t>(random_.whole(0, static_cast<int>(i) - 1))]);
        std::vector<std::size_t> place(order.size());
        for (std::size_t i = 0; i < order.size(); ++i) {
            place[order[i]] = i;
            const Drilled& hole = revised[order[i]];
            pair.request.revised_holes.push_back(seen(pair.truth(hole.at), hole.bore_px * scale));
        }
        for (auto& partner : pair.partner)
            if (partner) partner = place[*partner];
        for (std::size_t i = 0; i < holes_.size(); ++i)
            exact_.push_back(holes_[i].at);
    }

    phantom::Random random_;
    Revision revision_;
    double width_ = 0, height_ = 0;
    std::vector<Drilled> holes_;
    std::vector<Point> exact_;

  public:
    /// Old places without the noise they were seen with.
    [[nodiscard]] const std::vector<Point>& exact() const { return exact_; }
};

/// What an alignment got right and wrong.
struct Scored {
    bool aligned = false;
    bool right_placement = false; ///< every place that stayed lies within a pixel
    std::size_t found = 0, kept = 0, false_pairs = 0;
    double worst_px = 0, rms_px = 0; ///< of exact places that stayed, against the truth
};
inline Scored score(const DrawnPair& pair, const std::vector<Point>& exact, const HoleAlignment& alignment) {
    Scored scored;
    scored.kept = pair.kept();
    scored.aligned = alignment.fit.has_value();
    if (!scored.aligned) return scored;
    for (const AlignPair& found : alignment.common) {
        const bool right = pair.partner[found.old_hole] == found.revised_hole;
        scored.false_pairs += right ? 0 : 1;
        scored.found += right && pair.stayed[found.old_hole] ? 1 : 0;
    }
    double sum = 0;
    for (std::size_t i = 0; i < exact.size(); ++i) {
        if (!pair.stayed[i]) continue;
        const Point is = pair.truth(exact[i]), said = alignment.fit->similarity(exact[i]);
        const double off = std::hypot(is.x - said.x, is.y - said.y);
        scored.worst_px = std::max(scored.worst_px, off);
        sum += off * off;
    }
    scored.rms_px = scored.kept > 0 ? std::sqrt(sum / static_cast<double>(scored.kept)) : 0;
    scored.right_placement = scored.worst_px < 1;
    return scored;
}

} // namespace ringwall::test
