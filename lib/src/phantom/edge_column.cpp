// SPDX-License-Identifier: Apache-2.0
#include "phantom/edge_column.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

enum Kind : int { laminate, metal, iron, first_part };

double tangent(double deg) {
    return std::tan(deg * std::numbers::pi / 180);
}

double middle_of_depth(const Board& board) {
    if (board.outline.corners_mm.empty()) return board.height_mm / 2;
    const auto [low, high] =
        std::minmax_element(board.outline.corners_mm.begin(), board.outline.corners_mm.end(),
                            [](Point a, Point b) { return a.y < b.y; });
    return (low->y + high->y) / 2;
}

} // namespace

void Depths::clear() {
    from_.clear(), to_.clear(), before_.clear();
}

void Depths::add(double from, double to) {
    if (!to_.empty() && to_.back() == from) {
        to_.back() = to;
        return;
    }
    before_.push_back(to_.empty() ? 0 : before_.back() + to_.back() - from_.back());
    from_.push_back(from), to_.push_back(to);
}

double Depths::up_to(double depth) const {
    const auto next = std::upper_bound(from_.begin(), from_.end(), depth);
    if (next == from_.begin()) return 0;
    const auto i = static_cast<std::size_t>(next - from_.begin()) - 1;
    return before_[i] + std::min(depth, to_[i]) - from_[i];
}

double Depths::within(double from, double to) const {
    return from_.empty() ? 0 : up_to(to) - up_to(from);
}

std::vector<double> layer_tops_mm(const Board& board, const EdgeShot& shot) {
    const std::size_t count = board.layers.size();
    if (!shot.layer_tops_mm.empty()) {
        if (shot.layer_tops_mm.size() != count)
            throw Error(Fault::usage, "phantom: expected the top of each of " + std::to_string(count) +
                                          " layers, got " + std::to_string(shot.layer_tops_mm.size()));
        return shot.layer_tops_mm;
    }
    std::vector<double> tops;
    for (std::size_t n = 0; n < count; ++n) {
        const double room = board.thickness_mm - board.layers[n].thickness_um / 1000;
        tops.push_back(count == 1 ? 0 : room * static_cast<double>(n) / static_cast<double>(count - 1));
    }
    return tops;
}

EdgeColumn::EdgeColumn(const Board& board, const EdgeShot& shot, const Beam& beam)
    : board_(board), shot_(shot), scene_(board),
      reader_(board, scene_, {board.width_mm / 2, board.height_mm / 2}, board.width_mm + board.height_mm),
      middle_y_(middle_of_depth(board)) {
    if (shot.source_to_board_mm < 0 ||
        (shot.source_to_board_mm > 0 &&
         shot.source_to_board_mm <= std::max(middle_y_, board.height_mm - middle_y_)))
        throw Error(Fault::usage, "phantom: expected a source outside the board");
    make_slabs(board, shot);
    for (const auto& [kev, weight] : beam.lines) {
        weights_.push_back(weight);
        std::vector<double> mu{linear_attenuation_per_cm(board.laminate, kev) / 10,
                               linear_attenuation_per_cm(copper(), kev) / 10,
                               linear_attenuation_per_cm(steel(), kev) / 10};
        for (const Part* part : part_kinds(board))
            mu.push_back(linear_attenuation_per_cm(part->substance, kev) / 10);
        mu_per_mm_.push_back(std::move(mu));
    }
}

void EdgeColumn::add_slab(double top, double bottom, int substance, double sign) {
    const double middle = board_.thickness_mm / 2; // heights from the board's middle
    slabs_.push_back({top - middle, bottom - middle, substance, sign, {}});
}

void EdgeColumn::make_slabs(const Board& board, const EdgeShot& shot) {
    const double height = board.thickness_mm, mask = shot.mask_um / 1000;
    const std::vector<double> tops = layer_tops_mm(board, shot);
    double top = 0, bottom = height; // of the laminate: outer foils stand on it
    for (std::size_t n = 0; n < tops.size(); ++n) {
        const double end = tops[n] + board.layers[n].thickness_um / 1000;
        if (tops[n] <= 0) top = std::max(top, end);
        if (end >= height - 1e-9) bottom = std::min(bottom, tops[n]);
    }
    const double skin_top = mask > 0 ? -mask : top, skin_bottom = mask > 0 ? height + mask : bottom;
    laminate_ = slabs_.size();
    add_slab(skin_top, skin_bottom, Kind::laminate);
    for (std::size_t n = 0; n < tops.size(); ++n) {
        const double end = tops[n] + board.layers[n].thickness_um / 1000;
        copper_.push_back(slabs_.size());
        add_slab(tops[n], end, Kind::metal);
        const double from = std::max(tops[n], skin_top), to = std::min(end, skin_bottom);
        add_slab(from, std::max(from, to), Kind::laminate, -1); // what the foil displaces
    }
    barrel_ = slabs_.size();
    add_slab(0, height, Kind::metal);
    steel_ = slabs_.size();
    add_slab((height - pin_length_mm) / 2, (height + pin_length_mm) / 2, Kind::iron);
    int kind = Kind::first_part;
    for (const Part* part : part_kinds(board)) {
        parts_.push_back(slabs_.size());
        add_slab(-mask - part->thickness_mm, -mask, kind++);
    }
}

void EdgeColumn::fill(const RayReader::Stretch& stretch, double from, double to) {
    const Stack& stack = stretch.stack;
    if (stack.body == Stack::Body::laminate) slabs_[laminate_].depths.add(from, to);
    if (stack.body == Stack::Body::barrel) slabs_[barrel_].depths.add(from, to);
    if (stack.body == Stack::Body::steel) slabs_[steel_].depths.add(from, to);
    for (std::size_t n = 0; n < copper_.size(); ++n) {
        if ((stack.copper >> n & 1U) == 0) continue;
        slabs_[copper_[n]].depths.add(from, to);
        slabs_[copper_[n] + 1].depths.add(from, to);
    }
    const std::vector<int>& parts = scene_.parts_of(stack.parts);
    for (std::size_t k = 0; k < parts_.size(); ++k)
        if (parts[k] > 0) slabs_[parts_[k]].depths.add(from, to);
}

bool EdgeColumn::take(double x_mm) {
    before_ = slabs_;
    const double slant_before = slant_;
    for (Slab& slab : slabs_)
        slab.depths.clear();
    slant_ = tangent(shot_.yaw_deg);
    if (shot_.source_to_board_mm > 0) slant_ += (x_mm - shot_.axis_mm.x) / shot_.source_to_board_mm;
    const double x_middle = board_.width_mm / 2 + x_mm;
    double start = -middle_y_; // depth at which the ray enters the field
    if (slant_ != 0) {
        const double a = -x_middle / slant_, b = (board_.width_mm - x_middle) / slant_;
        start = std::max(start, std::min(a, b));
    } else if (x_middle < 0 || x_middle > board_.width_mm) {
        start = board_.height_mm;
    }
    if (start < board_.height_mm - middle_y_) {
        const double length = std::hypot(1, slant_);
        const Point origin{std::clamp(x_middle + slant_ * start, 0.0, board_.width_mm), middle_y_ + start};
        for (const auto& stretch : reader_.read(origin, Point{slant_ / length, 1 / length},
                                                2 * (board_.width_mm + board_.height_mm)))
            fill(stretch, start + stretch.from_mm / length, start + stretch.to_mm / length);
    }
    const auto same = [](const Slab& a, const Slab& b) { return a.depths == b.depths; };
    return slant_ != slant_before || !std::equal(slabs_.begin(), slabs_.end(), before_.begin(), same);
}

double EdgeColumn::transmission(double z_mm) const {
    double rise = tangent(shot_.tilt_deg);
    if (shot_.source_to_board_mm > 0) rise += (z_mm - shot_.axis_mm.y) / shot_.source_to_board_mm;
    const double length = std::sqrt(1 + slant_ * slant_ + rise * rise);
    std::array<double, 16> path{};
    constexpr double far = 1e6;
    for (const Slab& slab : slabs_) {
        double from = -far, to = far;
        if (rise != 0) {
            from = (slab.top - z_mm) / rise, to = (slab.bottom - z_mm) / rise;
            if (from > to) std::swap(from, to);
        } else if (z_mm < slab.top || z_mm >= slab.bottom) {
            continue;
        }
        path[static_cast<std::size_t>(slab.substance)] += slab.sign * length * slab.depths.within(from, to);
    }
    double sum = 0;
    for (std::size_t e = 0; e < weights_.size(); ++e) {
        double p = 0;
        for (std::size_t k = 0; k < mu_per_mm_[e].size(); ++k)
            p += mu_per_mm_[e][k] * path[k];
        sum += weights_[e] * std::exp(-p);
    }
    return sum;
}

} // namespace ringwall::phantom
