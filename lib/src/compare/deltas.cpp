// SPDX-License-Identifier: Apache-2.0
#include "compare/deltas.hpp"

#include "compare/false_discovery.hpp"
#include "compare/similarity.hpp"
#include "core/text.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

const Delta* HoleChange::find(const std::string& key) const {
    const auto found =
        std::find_if(delta.begin(), delta.end(), [&](const Delta& one) { return one.key == key; });
    return found == delta.end() ? nullptr : &*found;
}

bool HoleChange::has(const std::string& what) const {
    return std::find(change.begin(), change.end(), what) != change.end();
}

namespace compare {
namespace {

constexpr double false_discovery_rate = 0.05;

double u_beside_scale(const Estimate& estimate, double length, double scale_relative_u) {
    return std::sqrt(std::max(0.0, square(estimate.u()) - square(length * scale_relative_u)));
}

/// A number on both boards; `old_length`, `revised_length`: the part of it that the scale multiplies.
struct Sides {
    const Estimate& old_value;
    const Estimate& revised_value;
    double old_length = 0, revised_length = 0;
};

Estimate difference(const Sides& sides, const ScaleTie& tie) {
    if (!sides.old_value) return Estimate::missing("old board: " + sides.old_value.why());
    if (!sides.revised_value) return Estimate::missing("revised board: " + sides.revised_value.why());
    const double u =
        std::hypot(u_beside_scale(sides.old_value, sides.old_length, tie.old_relative_u),
                   u_beside_scale(sides.revised_value, sides.revised_length, tie.revised_relative_u));
    return Estimate::of(sides.revised_value.value() - sides.old_value.value(),
                        std::hypot(u, tie.u_of(sides.old_length, sides.revised_length)));
}

Sides lengths(const Estimate& old_value, const Estimate& revised_value) {
    return {old_value, revised_value, old_value.value_or(0), revised_value.value_or(0)};
}

/// Not beyond anything yet: what the test of all decides.
Delta tested(std::string key, Estimate value) {
    Delta delta{std::move(key), std::move(value), std::nullopt, 1, false};
    if (!delta.value) return delta;
    delta.beyond = false;
    if (delta.value.u() > 0)
        delta.p = two_sided_p(std::abs(delta.value.value()) / delta.value.u());
    else if (delta.value.value() != 0)
        delta.p = 0;
    return delta;
}
Delta untested(std::string key, Estimate value) {
    return {std::move(key), std::move(value), std::nullopt, 1, false};
}

/// Distance from the place that the alignment gives. Two coordinates: its square over u^2 is chi-squared with
/// 2 degrees of freedom.
Delta place_delta(const std::string& key, const Estimate& off) {
    Delta delta{key, off, std::nullopt, 1, false};
    if (!off) return delta;
    delta.beyond = false;
    if (off.u() > 0) delta.p = std::exp(-0.5 * square(off.value() / off.u()));
    return delta;
}

class PairDeltas {
  public:
    PairDeltas(HoleChange& pair, const BoardRecord& old_board, const BoardRecord& revised_board,
               const Frame& frame, const ScaleTie& tie)
        : pair_(pair), old_(old_board.holes[*pair.old_hole]),
          revised_(revised_board.holes[*pair.revised_hole]), frame_(frame), tie_(tie),
          revised_mm_(pixel_mm(revised_board)) {}

    void fill() {
        if (tie_.both_mm)
            in_mm();
        else
            in_px();
        states();
    }

  private:
    void in_mm() {
        const Estimate off = frame_.off_px(old_, revised_);
        pair_.delta.push_back(
            place_delta("position_mm", off.scaled(revised_mm_.value(), tie_.revised_relative_u)));
        pair_.delta.push_back(tested("bore_mm", difference(lengths(old_.bore_mm, revised_.bore_mm), tie_)));
        ring("keepout_min_mm", old_.keepout.min_mm, revised_.keepout.min_mm, old_.keepout.searched_to_mm,
             revised_.keepout.searched_to_mm);
        margins();
        pair_.delta.push_back(
            untested("drill_mm", difference(lengths(old_.drill_mm, revised_.drill_mm), tie_)));
        pair_.delta.push_back(
            untested("roundness_mm", difference(lengths(old_.roundness_mm, revised_.roundness_mm), tie_)));
        planes();
    }

    /// Without mm on both sides: in px of the revised picture, the old lengths carried over.
    void in_px() {
        pair_.delta.push_back(place_delta("position_px", frame_.off_px(old_, revised_)));
        const double s = frame_.scale();
        const Estimate old_bore = old_.bore_px.scaled(s), old_ring = old_.keepout.min_px.scaled(s);
        pair_.delta.push_back(tested("bore_px", difference({old_bore, revised_.bore_px}, tie_)));
        ring("keepout_min_px", old_ring, revised_.keepout.min_px, std::nullopt, std::nullopt);
        const std::string why = "no scale in mm on both boards";
        for (const char* key : {"bore_mm", "keepout_min_mm", "margin_mm"})
            pair_.delta.push_back(untested(key, Estimate::missing(why)));
    }

    /// A ring on one board against none within the searched distance on the other is a one-sided bound.
    void ring(const std::string& key, const Estimate& old_min, const Estimate& revised_min,
              std::optional<double> old_searched, std::optional<double> revised_searched) {
        const bool mm = key.ends_with("_mm");
        const Sides sides = mm ? lengths(old_min, revised_min) : Sides{old_min, revised_min};
        Delta delta = tested(key, difference(sides, tie_));
        const auto none = [](const HoleRecord& hole) {
            return hole.keepout.state == KeepOutState::none_in_view;
        };
        if (none(revised_) && old_min && revised_searched)
            bound(delta, old_min, *revised_searched, "revised", "wider");
        else if (none(old_) && revised_min && old_searched)
            bound(delta, revised_min, *old_searched, "old", "narrower");
        pair_.delta.push_back(std::move(delta));
    }

    void bound(Delta& delta, const Estimate& seen, double searched, const std::string& which,
               const std::string& word) {
        if (seen.u() <= 0 || searched <= seen.value()) return;
        delta.p = 0.5 * two_sided_p((searched - seen.value()) / seen.u());
        delta.beyond = false;
        delta.bound_wider = word == "wider";
        const std::string length = fixed(searched, 2) + " mm";
        delta.value =
            Estimate::missing("no other copper within " + length + " of the " + which + " hole: " + word +
                              " by at least " + fixed(searched - seen.value(), 2) + " mm");
        pair_.notes.push_back(delta.value.why());
    }

    void margins() {
        if (!old_.screw && !revised_.screw) return;
        const auto fit = [&](const HoleRecord& hole, Estimate ScrewFit::*margin) {
            return hole.screw ? (*hole.screw).*margin : Estimate::missing(hole.screw_why);
        };
        const auto add = [&](const char* key, Estimate ScrewFit::*which, bool test) {
            const Estimate before = fit(old_, which), after = fit(revised_, which);
            const Sides sides{before, after, ring_radius(old_), ring_radius(revised_)};
            Estimate value = difference(sides, tie_);
            pair_.delta.push_back(test ? tested(key, std::move(value)) : untested(key, std::move(value)));
        };
        add("margin_mm", &ScrewFit::margin_mm, true);
        add("contact_margin_mm", &ScrewFit::contact_margin_mm, false);
        add("cutting_margin_mm", &ScrewFit::cutting_margin_mm, false);
        if (old_.screw && revised_.screw && old_.screw->name != revised_.screw->name)
            pair_.notes.push_back("judged with another screw: " + old_.screw->name + ", " +
                                  revised_.screw->name);
    }
    /// What of a margin the scale multiplies: the reach is a stated length.
    static double ring_radius(const HoleRecord& hole) {
        return hole.keepout.min_mm.value_or(0) + hole.drill_mm.value_or(0) / 2;
    }

    void planes() {
        for (const PlaneRecord& before : old_.keepout.planes)
            for (const PlaneRecord& after : revised_.keepout.planes) {
                const bool same =
                    before.layer ? before.layer == after.layer : !after.layer && before.plane == after.plane;
                if (!same) continue;
                const std::string key = before.layer
                                            ? "keepout_layer_" + std::to_string(*before.layer) + "_min_mm"
                                            : "keepout_plane_" + std::to_string(before.plane) + "_min_mm";
                pair_.delta.push_back(untested(key, difference(lengths(before.min_mm, after.min_mm), tie_)));
            }
    }

    void states() {
        const auto has_plating = [](WallState wall) {
            return wall == WallState::plated || wall == WallState::incomplete;
        };
        if (old_.wall.state == WallState::bare && has_plating(revised_.wall.state))
            pair_.change.emplace_back("plated");
        if (has_plating(old_.wall.state) && revised_.wall.state == WallState::bare)
            pair_.change.emplace_back("unplated");
        const auto decided = [](HoleShape shape) { return shape != HoleShape::undecided; };
        if (old_.shape.state != revised_.shape.state && decided(old_.shape.state) &&
            decided(revised_.shape.state))
            pair_.change.emplace_back("reshaped");
        if (old_.screw && revised_.screw && old_.screw->finding != revised_.screw->finding)
            pair_.change.emplace_back("finding");
        if (old_.kind != revised_.kind &&
            (old_.kind == HoleKind::filled || revised_.kind == HoleKind::filled))
            pair_.notes.emplace_back("filled with metal in one picture and open in the other");
    }

    HoleChange& pair_;
    const HoleRecord& old_;
    const HoleRecord& revised_;
    const Frame& frame_;
    const ScaleTie& tie_;
    Estimate revised_mm_;
};

bool beyond_u(const Delta& delta) {
    if (delta.value) return std::abs(delta.value.value()) > 2 * delta.value.u();
    constexpr double p_of_2_sigma = 0.02275; // a bound, one-sided
    return delta.p < p_of_2_sigma;
}

/// Words for the numbers beyond their uncertainty; the order is that of the contract.
void name_changes(HoleChange& pair) {
    std::vector<std::string> names;
    const auto shown = [&](const std::string& key) -> const Delta* {
        for (const char* unit : {"_mm", "_px"})
            if (const Delta* delta = pair.find(key + unit); delta != nullptr && delta->beyond.value_or(false))
                return delta;
        return nullptr;
    };
    if (shown("position") != nullptr) names.emplace_back("moved");
    if (shown("bore") != nullptr) names.emplace_back("resized");
    const auto state = [&](const char* word) {
        if (pair.has(word)) names.emplace_back(word);
    };
    for (const char* word : {"added", "dropped", "plated", "unplated"})
        state(word);
    if (const Delta* ring = shown("keepout_min")) {
        const bool wider = ring->value ? ring->value.value() > 0 : ring->bound_wider;
        names.emplace_back(wider ? "wider" : "narrower");
    }
    for (const char* word : {"reshaped", "finding"})
        state(word);
    pair.change = std::move(names);
}

} // namespace

double ScaleTie::u_of(double old_length, double revised_length) const {
    if (!left) return std::hypot(old_length * old_relative_u, revised_length * revised_relative_u);
    const double common = std::max(old_relative_u, revised_relative_u);
    const double longer = std::max(std::abs(old_length), std::abs(revised_length));
    return std::hypot((revised_length - old_length) * common, longer * *left);
}

ScaleTie scale_tie(const BoardRecord& old_board, const BoardRecord& revised_board,
                   const HoleAlignment& alignment, const Estimate& scale) {
    ScaleTie tie;
    const Estimate old_mm = pixel_mm(old_board), revised_mm = pixel_mm(revised_board);
    tie.both_mm = old_mm && revised_mm;
    if (!tie.both_mm) return tie;
    tie.old_relative_u = relative_u(old_mm), tie.revised_relative_u = relative_u(revised_mm);
    constexpr std::size_t least_holes = 8;
    constexpr double stretch = 5e-4;
    if (alignment.fit && alignment.unmoved >= least_holes && scale && alignment.fit->weight_span > 0) {
        const double of_fit = alignment.fit->stretch / std::sqrt(alignment.fit->weight_span) /
                              scale_of(alignment.fit->similarity);
        tie.left = std::hypot(std::hypot(scale.value() - 1, of_fit), stretch);
    }
    return tie;
}

std::size_t find_changes(std::vector<HoleChange>& pairs, const BoardRecord& old_board,
                         const BoardRecord& revised_board, const Frame& frame, const ScaleTie& tie) {
    std::vector<double> p;
    for (HoleChange& pair : pairs) {
        if (!pair.old_hole || !pair.revised_hole) continue;
        PairDeltas(pair, old_board, revised_board, frame, tie).fill();
        for (const Delta& delta : pair.delta)
            if (delta.beyond) p.push_back(delta.p);
    }
    const double limit = discovery_limit(p, false_discovery_rate);
    for (HoleChange& pair : pairs) {
        for (Delta& delta : pair.delta)
            if (delta.beyond) delta.beyond = delta.p <= limit && beyond_u(delta);
        name_changes(pair);
    }
    return p.size();
}

namespace {

std::string layers_words(const CopperLayersRecord& layers) {
    return layers.value      ? std::to_string(*layers.value)
           : layers.at_least ? "at least " + std::to_string(*layers.at_least)
                             : "not known";
}

} // namespace

BoardChange board_change(const BoardRecord& old_board, const BoardRecord& revised_board) {
    BoardChange change;
    // Edge-on pictures have scales of their own, which no hole ties.
    change.thickness_mm = difference({old_board.thickness_mm, revised_board.thickness_mm}, {});
    if (change.thickness_mm)
        change.thickness_beyond = std::abs(change.thickness_mm.value()) > 2 * change.thickness_mm.u();
    const CopperLayersRecord &before = old_board.copper_layers, &after = revised_board.copper_layers;
    if (before.value && after.value) {
        change.layers = *after.value - *before.value;
        return change;
    }
    if (before.value && after.at_least && *after.at_least > *before.value)
        change.layers_at_least = *after.at_least - *before.value;
    change.layers_why = "old board: " + layers_words(before) + ", revised board: " + layers_words(after);
    return change;
}

} // namespace compare
} // namespace ringwall
