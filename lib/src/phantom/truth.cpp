// SPDX-License-Identifier: Apache-2.0
#include "phantom/contour.hpp"
#include "phantom/nets.hpp"
#include "phantom/ray.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

namespace ringwall::phantom {
namespace {

constexpr double searched_mm = 10;
constexpr double near_mm = 2.5; ///< searched first: most gaps end here
constexpr double touch_mm = 1e-6;
constexpr int turn = 360;

using Stretch = RayReader::Stretch;
using Arcs = std::vector<std::pair<double, double>>;

/// Directions that are set, as arcs of whole degrees; one that passes 0 is given once, with `to` over 360.
Arcs arcs_of(const std::vector<char>& set) {
    const int n = static_cast<int>(set.size());
    const double step = 360.0 / n;
    Arcs arcs;
    const auto first_clear = std::find(set.begin(), set.end(), 0);
    if (first_clear == set.end()) return {{0, 360}};
    const int start = static_cast<int>(first_clear - set.begin());
    for (int i = start; i < start + n;) {
        if (!set[static_cast<std::size_t>(i % n)]) {
            ++i;
            continue;
        }
        const int first = i;
        while (i < start + n && set[static_cast<std::size_t>(i % n)])
            ++i;
        const double from = (first - 0.5) * step, length = (i - first) * step;
        const double wrapped = from >= 360 ? from - 360 : from;
        arcs.emplace_back(wrapped < 0 ? wrapped + 360 : wrapped,
                          (wrapped < 0 ? wrapped + 360 : wrapped) + length);
    }
    return arcs;
}

double middle_of_widest(const Arcs& arcs) {
    const auto narrower = [](const auto& a, const auto& b) {
        return a.second - a.first < b.second - b.first;
    };
    const auto widest = std::max_element(arcs.begin(), arcs.end(), narrower);
    return std::fmod((widest->first + widest->second) / 2, 360.0);
}

class TruthOfHole {
  public:
    TruthOfHole(const Board& board, Scene& scene, const CopperNets& nets, const Drill& drill)
        : board_(board), nets_(nets), drill_(drill),
          drilled_(drilled_figures(drill)), middle_{drill.is_slot
                                                        ? Point{(drill.centre_mm.x + drill.slot_to_mm.x) / 2,
                                                                (drill.centre_mm.y + drill.slot_to_mm.y) / 2}
                                                        : drill.centre_mm},
          reader_(board, scene, middle_, searched_mm + drill.drill_mm + box_size()) {}

    HoleTruth find() {
        HoleTruth truth;
        describe_drill(truth);
        read_turn(truth);
        find_own_nets();
        read_gaps(truth);
        read_keepouts(truth);
        if (truth.touching) truth.keepout_angle_deg = middle_of_widest(truth.touching_arcs_deg);
        return truth;
    }

  private:
    [[nodiscard]] double box_size() const {
        const Box box = box_of(drilled_[0]);
        return std::max(box.right - box.left, box.bottom - box.top);
    }
    [[nodiscard]] bool plated() const { return drill_.plating_um > 0; }

    void describe_drill(HoleTruth& truth) const {
        truth.centre_mm = middle_;
        truth.drill_mm = drill_.drill_mm;
        truth.plating_um = drill_.plating_um;
        truth.bore_mm = drill_.drill_mm - 2 * drill_.plating_um / 1000;
        truth.round = drill_.oval_mm == 0 && drill_.bites.empty() && !drill_.is_slot;
        truth.filled = drill_.filled_mm > 0;
        truth.slot = drill_.is_slot;
    }

    static bool is_open(const Stack& stack) {
        return stack.body == Stack::Body::air || stack.body == Stack::Body::steel;
    }

    /// Where the laminate begins on a ray from the middle, as an index into its stretches.
    static std::size_t first_laminate(const std::vector<Stretch>& ray) {
        std::size_t i = 0;
        while (i < ray.size() && ray[i].stack.body != Stack::Body::laminate)
            ++i;
        return i;
    }
    static double end_of(const std::vector<Stretch>& ray) { return ray.empty() ? 0 : ray.back().to_mm; }

    /// Radii of air and wall, plated share, share not covered by parts.
    void read_turn(HoleTruth& truth) {
        std::vector<char> bare_wall(turn), covered(turn);
        for (int angle = 0; angle < turn; ++angle) {
            const auto& ray = reader_.read(middle_, static_cast<double>(angle), near_mm + box_size());
            std::size_t i = 0;
            while (i < ray.size() && is_open(ray[i].stack))
                ++i;
            const double air = i < ray.size() ? ray[i].from_mm : end_of(ray);
            const std::size_t wall = first_laminate(ray);
            truth.air_radius_mm.push_back(air);
            truth.wall_radius_mm.push_back(wall < ray.size() ? ray[wall].from_mm : end_of(ray));
            bare_wall[static_cast<std::size_t>(angle)] =
                !(i < ray.size() && ray[i].stack.body == Stack::Body::barrel);
            for (const Stretch& s : ray)
                if (s.from_mm <= air && air <= s.to_mm && s.stack.parts != 0)
                    covered[static_cast<std::size_t>(angle)] = 1;
        }
        const auto share = [](const std::vector<char>& set) {
            return static_cast<double>(std::count(set.begin(), set.end(), 1)) / turn;
        };
        truth.seen_fraction = 1 - share(covered);
        truth.covered_fraction = 1 - share(bare_wall);
        if (plated()) truth.missing_arcs_deg = arcs_of(bare_wall);
        const auto& radii = plated() ? truth.air_radius_mm : truth.wall_radius_mm;
        truth.furthest_void_mm = *std::max_element(radii.begin(), radii.end());
    }

    /// A place well inside a stretch of copper near its start, for the look-up of its net.
    [[nodiscard]] double probe(const Stretch& s) const {
        return s.from_mm + std::min((s.to_mm - s.from_mm) / 2, 1.5 * nets_.cell_mm());
    }
    [[nodiscard]] int net_of(const Stretch& s, int layer, Point origin, Point unit) const {
        const double at = probe(s);
        return nets_.net_at(layer, {origin.x + at * unit.x, origin.y + at * unit.y});
    }
    [[nodiscard]] int layer_count() const { return static_cast<int>(board_.layers.size()); }
    static bool has(const Stack& stack, int layer) { return (stack.copper >> layer & 1U) != 0; }

    void find_own_nets() {
        own_.assign(board_.layers.size(), {});
        if (!plated()) return;
        for (int i = 0; i < 2 * turn; ++i) {
            const ContourPlace place = contour_place(drilled_[0], static_cast<double>(i) / (2 * turn));
            const double back_mm = drill_.plating_um / 2000;
            const Point origin{place.point_mm.x - back_mm * place.outward.x,
                               place.point_mm.y - back_mm * place.outward.y};
            const auto& ray = reader_.read(origin, place.outward, near_mm);
            if (ray.size() < 2 || ray[0].stack.body != Stack::Body::barrel) continue;
            for (int layer = 0; layer < layer_count(); ++layer) {
                const int net = has(ray[1].stack, layer) ? net_of(ray[1], layer, origin, place.outward) : 0;
                if (net != 0) own_[static_cast<std::size_t>(layer)].insert(net);
            }
        }
    }

    /// Gap of each layer along a ray beyond the wall, -1 where there is none; what own copper does on the
    /// way.
    struct Reading {
        std::vector<double> gaps;
        double own_end_mm =
            0; ///< from the ray's start, of own copper that is no pour and unbroken from the wall
        bool runs_on = false; ///< own copper goes on into a pour without a break
        double wall_mm = 0;
        bool part_before_end = false;
    };
    Reading read_ray(Point origin, Point unit, double reach) {
        const auto& ray = reader_.read(origin, unit, reach);
        Reading reading{std::vector<double>(board_.layers.size(), -1), 0, false, 0, false};
        const std::size_t wall = first_laminate(ray);
        reading.wall_mm = wall < ray.size() ? ray[wall].from_mm : end_of(ray);
        std::vector<double> unbroken_to(board_.layers.size(), reading.wall_mm);
        for (std::size_t i = wall; i < ray.size(); ++i)
            for (int layer = 0; layer < layer_count(); ++layer)
                if (has(ray[i].stack, layer)) take_copper(reading, ray, i, layer, origin, unit, unbroken_to);
        note_parts(reading, ray);
        return reading;
    }

    /// Most gaps end near: looks further only for the layers' sake that have none yet.
    Reading read_far_enough(Point origin, Point unit, double wall) {
        Reading reading = read_ray(origin, unit, wall + near_mm);
        const auto missing = [](double gap) { return gap < 0; };
        if (std::any_of(reading.gaps.begin(), reading.gaps.end(), missing))
            reading = read_ray(origin, unit, wall + searched_mm);
        return reading;
    }

    void take_copper(Reading& reading, const std::vector<Stretch>& ray, std::size_t i, int layer,
                     Point origin, Point unit, std::vector<double>& unbroken_to) const {
        const auto l = static_cast<std::size_t>(layer);
        if (reading.gaps[l] >= 0) return;
        const Stretch& here = ray[i];
        const bool begins = i == 0 || !has(ray[i - 1].stack, layer);
        if (begins && !is_own(reading, here, layer, net_of(here, layer, origin, unit))) {
            reading.gaps[l] = std::max(0.0, here.from_mm - reading.wall_mm);
            if (reading.gaps[l] < touch_mm) reading.gaps[l] = 0;
            return;
        }
        if (here.from_mm > unbroken_to[l] + touch_mm) return;
        unbroken_to[l] = here.to_mm;
        const bool pour = (here.stack.pour >> layer & 1U) != 0;
        if (!pour)
            reading.own_end_mm = std::max(reading.own_end_mm, here.to_mm);
        else if (nets_.is_plane(layer, net_of(here, layer, origin, unit)))
            reading.runs_on = true;
    }

    /// Slivers too thin for the cells have no net: they are own where they lie against a plated wall.
    [[nodiscard]] bool is_own(const Reading& reading, const Stretch& here, int layer, int net) const {
        if (net == 0) return plated() && here.from_mm < reading.wall_mm + touch_mm;
        return own_[static_cast<std::size_t>(layer)].count(net) != 0;
    }

    static void note_parts(Reading& reading, const std::vector<Stretch>& ray) {
        const double gap = first_gap(reading.gaps);
        const double end = reading.wall_mm + (gap >= 0 ? gap : 0);
        for (const Stretch& s : ray)
            if (s.stack.parts != 0 && s.from_mm <= end + 0.05 && s.to_mm >= reading.wall_mm - 0.05)
                reading.part_before_end = true;
    }

    static double first_gap(const std::vector<double>& gaps) {
        double first = -1;
        for (const double gap : gaps)
            if (gap >= 0 && (first < 0 || gap < first)) first = gap;
        return first;
    }

    void read_gaps(HoleTruth& truth) {
        truth.layers.resize(board_.layers.size());
        std::vector<char> touching(turn), runs_on(turn);
        std::vector<double> own_ends;
        for (int angle = 0; angle < turn; ++angle) {
            const double wall = truth.wall_radius_mm[static_cast<std::size_t>(angle)];
            const Point unit = direction(angle);
            const Reading reading = read_far_enough(middle_, unit, wall);
            const double gap = first_gap(reading.gaps);
            truth.gap_mm.push_back(gap);
            truth.gap_hidden.push_back(reading.part_before_end);
            touching[static_cast<std::size_t>(angle)] = !plated() && gap == 0;
            runs_on[static_cast<std::size_t>(angle)] = reading.runs_on;
            own_ends.push_back(reading.own_end_mm);
            for (std::size_t l = 0; l < reading.gaps.size(); ++l)
                truth.layers[l].gap_mm.push_back(reading.gaps[l]);
        }
        truth.own_outer_mm = *std::max_element(own_ends.begin(), own_ends.end());
        std::nth_element(own_ends.begin(), own_ends.begin() + turn / 2, own_ends.end());
        truth.land_mm = own_ends[turn / 2];
        truth.touching_arcs_deg = arcs_of(touching);
        truth.touching = !truth.touching_arcs_deg.empty();
        truth.runs_on_arcs_deg = arcs_of(runs_on);
        truth.runs_on = !truth.runs_on_arcs_deg.empty();
    }

    /// Distances from a place on the wall straight outward to each layer's copper; none when the place is not
    /// on the wall (inside another bite).
    std::vector<double> outward(const Figure& figure, double at) {
        const ContourPlace place = contour_place(figure, at);
        const auto& start = reader_.read(place.point_mm, place.outward, touch_mm * 10);
        if (start.empty() || start[0].stack.body != Stack::Body::laminate)
            return std::vector<double>(board_.layers.size(), -1);
        return read_far_enough(place.point_mm, place.outward, 0).gaps;
    }

    /// Narrows the place of a smallest distance down, by thirds; returns the place.
    double refine(const Figure& figure, double low, double high, std::size_t layer) {
        const auto at = [&](double t) {
            const double d = outward(figure, t)[layer];
            return d < 0 ? std::numeric_limits<double>::infinity() : d;
        };
        for (int i = 0; i < 20; ++i) { // to 0.0003 of the step: 1e-8 mm of distance at a smooth place
            const double a = low + (high - low) / 3, b = high - (high - low) / 3;
            if (at(a) <= at(b))
                high = b;
            else
                low = a;
        }
        return (low + high) / 2;
    }

    /// Distances of every layer at evenly spaced places of a contour. For a plain circle these are the gaps
    /// that have been read already.
    std::vector<std::vector<double>> distances_round(const HoleTruth& truth, const Figure& figure) {
        std::vector<std::vector<double>> distances(board_.layers.size());
        if (truth.round) {
            for (std::size_t l = 0; l < distances.size(); ++l)
                distances[l] = truth.layers[l].gap_mm;
            return distances;
        }
        constexpr int places = 2 * turn;
        for (int i = 0; i < places; ++i) {
            const std::vector<double> there = outward(figure, static_cast<double>(i) / places);
            for (std::size_t l = 0; l < distances.size(); ++l)
                distances[l].push_back(there[l]);
        }
        return distances;
    }

    void read_keepouts(HoleTruth& truth) {
        for (const Figure& figure : drilled_) {
            const std::vector<std::vector<double>> distances = distances_round(truth, figure);
            for (std::size_t l = 0; l < distances.size(); ++l) {
                const std::vector<double>& d = distances[l];
                int nearest = -1;
                for (int i = 0; i < static_cast<int>(d.size()); ++i)
                    if (d[static_cast<std::size_t>(i)] >= 0 &&
                        (nearest < 0 ||
                         d[static_cast<std::size_t>(i)] < d[static_cast<std::size_t>(nearest)]))
                        nearest = i;
                if (nearest >= 0)
                    take_keepout(truth, figure, l, nearest, d[static_cast<std::size_t>(nearest)],
                                 static_cast<int>(d.size()));
            }
        }
    }

    void take_keepout(HoleTruth& truth, const Figure& figure, std::size_t layer, int nearest, double coarse,
                      int places) {
        double place = static_cast<double>(nearest) / places, distance = coarse;
        if (distance > 0) {
            const double refined = refine(figure, place - 1.0 / places, place + 1.0 / places, layer);
            const double there = outward(figure, refined)[layer];
            if (there >= 0 && there < distance) {
                distance = there;
                place = refined;
            }
        }
        double& keepout = truth.layers[layer].keepout_mm;
        if (keepout < 0 || distance < keepout) keepout = distance;
        if (truth.keepout_mm < 0 || distance < truth.keepout_mm) {
            truth.keepout_mm = distance;
            const Point p = contour_place(figure, place).point_mm;
            truth.keepout_angle_deg = angle_deg_of(p.x - middle_.x, p.y - middle_.y);
        }
    }

    const Board& board_;
    const CopperNets& nets_;
    const Drill& drill_;
    std::vector<Figure> drilled_;
    Point middle_;
    RayReader reader_;
    std::vector<std::set<int>> own_; ///< nets, by layer
};

} // namespace

std::vector<HoleTruth> truth(const Board& board) {
    Scene scene(board);
    const CopperNets nets(board, scene);
    std::vector<HoleTruth> truths;
    for (const Drill& drill : board.drills)
        truths.push_back(TruthOfHole(board, scene, nets, drill).find());
    return truths;
}

} // namespace ringwall::phantom
