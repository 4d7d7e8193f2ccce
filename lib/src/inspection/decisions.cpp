// SPDX-License-Identifier: Apache-2.0
#include "inspection/decisions.hpp"

#include "core/text.hpp"
#include "record/names.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr double row_height_px = 2;
constexpr double via_below_mm = 0.8;

double radius_px(const Hole& hole) {
    return hole.bore_px ? hole.bore_px.value() / 2 : std::max(hole.seed.radius_px, 1.0);
}

double distance_px(Point a, Point b) {
    return std::hypot(a.x - b.x, a.y - b.y);
}

void add_hole(const Decision& decision, const std::function<Hole(const HoleCandidate&)>& fit,
              std::vector<HoleInWork>& holes, int number, std::vector<std::string>& notes) {
    if (const auto there = hole_at(decision.at_px, holes)) {
        notes.push_back(in_words(decision) + " was left out: hole H" + std::to_string(holes[*there].number) +
                        " is there already");
        return;
    }
    HoleCandidate candidate;
    candidate.centre_px = decision.at_px;
    candidate.radius_px = decision.value;
    candidate.added_by_person = true;
    candidate.score = 1;
    holes.push_back({fit(candidate), number, std::nullopt, false});
}

void apply_to_hole(const Decision& decision, std::vector<HoleInWork>& holes,
                   std::vector<std::string>& notes) {
    const auto found = hole_at(decision.at_px, holes);
    if (!found) {
        notes.push_back(in_words(decision) + " was left out: it meets no hole");
        return;
    }
    HoleInWork& target = holes[*found];
    if (decision.act == Decision::Act::strike_out)
        target.struck_out = true;
    else
        target.wall_by_person = decision.wall;
}

} // namespace

std::optional<std::size_t> hole_at(Point at_px, const std::vector<HoleInWork>& holes) {
    std::optional<std::size_t> nearest;
    double least = 0;
    for (std::size_t i = 0; i < holes.size(); ++i) {
        if (holes[i].struck_out) continue;
        const double distance = distance_px(holes[i].hole.centre_px, at_px);
        if (distance > radius_px(holes[i].hole)) continue;
        if (!nearest || distance < least) nearest = i, least = distance;
    }
    return nearest;
}

std::string in_words(const Decision& decision) {
    const std::string to = decision.act == Decision::Act::set_wall ? " to " + word(decision.wall) : "";
    return "decision \"" + word(decision.act) + to + "\" at (" + fixed(decision.at_px.x, 1) + ", " +
           fixed(decision.at_px.y, 1) + ") px";
}

void put_in_reading_order(std::vector<HoleInWork>& holes) {
    const auto key = [](const HoleInWork& h) { return h.hole.centre_px; };
    std::stable_sort(holes.begin(), holes.end(), [&](const auto& a, const auto& b) {
        return std::pair(key(a).y, key(a).x) < std::pair(key(b).y, key(b).x);
    });
    for (auto row = holes.begin(); row != holes.end();) {
        const auto end = std::find_if(row, holes.end(),
                                      [&](const auto& h) { return key(h).y >= key(*row).y + row_height_px; });
        std::stable_sort(row, end, [&](const auto& a, const auto& b) { return key(a).x < key(b).x; });
        row = end;
    }
}

void apply_decisions(std::span<const Decision> decisions,
                     const std::function<Hole(const HoleCandidate&)>& fit, std::vector<HoleInWork>& holes,
                     std::vector<std::string>& notes) {
    int next_number = 1;
    for (const auto& hole : holes)
        next_number = std::max(next_number, hole.number + 1);
    for (const auto& decision : decisions) {
        if (decision.act == Decision::Act::set_scale) continue;
        if (decision.act == Decision::Act::add_hole) {
            add_hole(decision, fit, holes, next_number++, notes);
        } else {
            apply_to_hole(decision, holes, notes);
        }
    }
    std::erase_if(holes, [](const HoleInWork& hole) { return hole.struck_out; });
}

void set_kinds(std::vector<HoleInWork>& holes, const Scale& scale) {
    double widest_px = 0;
    for (const auto& each : holes)
        widest_px = std::max(widest_px, each.hole.bore_px.value_or(0));
    const double via_below_px = scale.known() ? via_below_mm / scale.mean_mm() : widest_px / 3;
    for (auto& each : holes) {
        Hole& hole = each.hole;
        if (hole.kind == HoleKind::slot || hole.kind == HoleKind::filled) continue;
        const WallState wall = each.wall_by_person.value_or(hole.wall.state);
        const bool plated = wall == WallState::plated || wall == WallState::incomplete;
        hole.kind =
            plated && hole.bore_px && hole.bore_px.value() < via_below_px ? HoleKind::via : HoleKind::hole;
    }
}

} // namespace ringwall
