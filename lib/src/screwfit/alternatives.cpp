// SPDX-License-Identifier: Apache-2.0
#include "screwfit/alternatives.hpp"

#include "core/text.hpp"
#include "screwfit/tables.hpp"

#include <algorithm>

namespace ringwall::screwfit {
namespace {

class List {
  public:
    List(const std::vector<RingInMm>& rings, const Judging& with, const ScrewFit& made)
        : rings_(rings), with_(with), made_(made) {}

    std::vector<Alternative> make() {
        rows();
        screw_limits();
        other_engagement();
        scale_off();
        foil_limits();
        return std::move(list_);
    }

  private:
    void add(const std::string& what, const std::vector<RingInMm>& rings, const Judging& with) {
        const ScrewFit screw = judge_rings(rings, with).screw;
        list_.push_back({what,
                         screw.engagement == Engagement::cuts ? screw.cutting_margin_mm : screw.margin_mm,
                         screw.finding});
    }

    void rows() {
        if (with_.rule.required_mm || with_.rule.row.empty() || !with_.rule.voltage_peak_v) return;
        const auto& rows = spacing_rows();
        const auto own = std::find(rows.begin(), rows.end(), with_.rule.row);
        const auto row = [&](const std::string& name) {
            Judging other = with_;
            other.rule.row = name;
            add("spacing row " + name + " instead of " + with_.rule.row + " (" +
                    fixed(*required_spacing_mm(other.rule), 2) + " mm)",
                rings_, other);
        };
        if (own != rows.begin()) row(*std::prev(own));
        if (own != rows.end() && std::next(own) != rows.end()) row(*std::next(own));
    }

    void screw_limits() {
        const auto major = [&](std::optional<double> mm, const std::string& which) {
            if (!mm || *mm == with_.screw.major_mm) return;
            Judging other = with_;
            other.screw.major_mm = *mm;
            add("screw at the " + which + " limit of its class, " + fixed(*mm, 3) + " mm before plating",
                rings_, other);
        };
        major(with_.screw.major_min_mm, "lower");
        major(with_.screw.major_max_mm, "upper");
    }

    void other_engagement() {
        const bool cuts = made_.engagement == Engagement::cuts;
        Judging other = with_;
        other.screw.engagement = cuts ? Engagement::free : Engagement::cuts;
        add(cuts ? "the thread does not cut" : "the thread cuts into the wall", rings_, other);
    }

    /// By U (k = 2): lengths from the picture change, the screw does not.
    void scale_off() {
        const double relative_u = rings_.front().scale_relative_u;
        if (relative_u <= 0) return;
        for (const double sign : {-2.0, 2.0}) {
            const double factor = 1 + sign * relative_u;
            std::vector<RingInMm> rings;
            for (const RingInMm& ring : rings_)
                rings.push_back(scaled(ring, factor));
            add("scale " + fixed(200 * relative_u, 1) + " % " + (sign < 0 ? "smaller" : "larger") +
                    " (its U)",
                rings, with_);
        }
    }

    [[nodiscard]] static RingInMm scaled(RingInMm ring, double factor) {
        ring.bore_mm *= factor;
        ring.drill_mm *= factor;
        ring.gap_low_by_mm *= factor;
        for (auto* length :
             {&ring.gap_mm, &ring.searched_to_mm, &ring.own_outer_mm, &ring.largest_gap_not_excluded_mm})
            if (*length) **length *= factor;
        for (Component& part : ring.fit)
            part.u_mm *= factor;
        for (auto& direction : ring.directions)
            direction.wall_mm *= factor, direction.gap_mm *= factor;
        return ring;
    }

    /// On the other side of what the picture is sure to show.
    void foil_limits() {
        if (!with_.smallest_foil_seen_um) return;
        const double shown = *with_.smallest_foil_seen_um;
        const bool thinner_assumed = shown > with_.thinnest_foil_um;
        Judging other = with_;
        other.thinnest_foil_um = thinner_assumed ? shown : 0.99 * shown;
        add((thinner_assumed ? "no copper thinner than the " : "copper thinner than the ") + fixed(shown, 1) +
                " µm that the picture is sure to show" + (thinner_assumed ? "" : " must be assumed"),
            rings_, other);
    }

    const std::vector<RingInMm>& rings_;
    const Judging& with_;
    const ScrewFit& made_;
    std::vector<Alternative> list_;
};

} // namespace

std::vector<Alternative> alternatives(const std::vector<RingInMm>& rings, const Judging& with,
                                      const ScrewFit& made) {
    return List(rings, with, made).make();
}

} // namespace ringwall::screwfit
