// SPDX-License-Identifier: Apache-2.0
#include "rings/patch.hpp"

#include "core/wide.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

void lay_out(Patch& patch, const TransmissionMap& map, const Hole& hole, double half_px, int bin) {
    patch.bin = bin;
    const int left = std::max(0, static_cast<int>(std::floor(hole.centre_px.x - half_px)));
    const int top = std::max(0, static_cast<int>(std::floor(hole.centre_px.y - half_px)));
    const int right = std::min(map.t.width() - 1, static_cast<int>(std::ceil(hole.centre_px.x + half_px)));
    const int bottom = std::min(map.t.height() - 1, static_cast<int>(std::ceil(hole.centre_px.y + half_px)));
    patch.x0 = left;
    patch.y0 = top;
    patch.width = std::max(0, (right - left + 1) / bin);
    patch.height = std::max(0, (bottom - top + 1) / bin);
    const double half_block = (bin - 1) / 2.0;
    patch.centre = {(hole.centre_px.x - left - half_block) / bin,
                    (hole.centre_px.y - top - half_block) / bin};
    const std::size_t count = static_cast<std::size_t>(patch.width) * static_cast<std::size_t>(patch.height);
    patch.smooth.assign(count, 0);
    patch.foils.assign(count, 0);
    patch.use.assign(count, Use::free);
    patch.label.assign(count, 0);
}

void take_blocks(Patch& patch, const TransmissionMap& map) {
    const float share = 1.0F / static_cast<float>(patch.bin * patch.bin);
    for (int y = 0; y < patch.height; ++y)
        for (int by = 0; by < patch.bin; ++by) {
            const float* row = map.t.view().row(patch.y0 + y * patch.bin + by) + patch.x0;
            float* out = patch.smooth.data() + patch.at(0, y);
            if (patch.bin == 1) std::copy_n(row, patch.width, out);
            for (int x = 0; x < patch.width && patch.bin > 1; ++x)
                for (int bx = 0; bx < patch.bin; ++bx)
                    out[x] += row[x * patch.bin + bx] * share;
        }
}

/// Calls `mark` for all patch pixels within `radius_px` (picture px) of a point given in picture px.
template<typename Mark>
void for_disk(const Patch& patch, Point centre_px, double radius_px, Mark&& mark) {
    const double half_block = (patch.bin - 1) / 2.0;
    const double cx = (centre_px.x - patch.x0 - half_block) / patch.bin;
    const double cy = (centre_px.y - patch.y0 - half_block) / patch.bin;
    const double r = radius_px / patch.bin;
    const int top = std::max(0, static_cast<int>(std::ceil(cy - r)));
    const int bottom = std::min(patch.height - 1, static_cast<int>(std::floor(cy + r)));
    for (int y = top; y <= bottom; ++y) {
        const double half = std::sqrt(std::max(0.0, r * r - (y - cy) * (y - cy)));
        const int left = std::max(0, static_cast<int>(std::ceil(cx - half)));
        const int right = std::min(patch.width - 1, static_cast<int>(std::floor(cx + half)));
        for (int x = left; x <= right; ++x)
            mark(x, y);
    }
}

void mark_bodies(Patch& patch, std::span<const Body> bodies, double margin_px) {
    const double half_block = (patch.bin - 1) / 2.0;
    for (const Body& body : bodies)
        for (int y = 0; y < patch.height; ++y)
            for (int x = 0; x < patch.width; ++x)
                if (body.covers(
                        {patch.x0 + half_block + x * patch.bin, patch.y0 + half_block + y * patch.bin},
                        margin_px))
                    patch.use[patch.at(x, y)] = Use::dense;
}

void mark_holes(Patch& patch, const Hole& hole, const WallLine& wall, std::span<const Hole> neighbours,
                double zone_px) {
    for (const Hole& other : neighbours) {
        const double dx = other.centre_px.x - hole.centre_px.x, dy = other.centre_px.y - hole.centre_px.y;
        if (dx * dx + dy * dy < 1) continue; // the hole itself
        const double diameter =
            std::max(other.drill_px.value_or(0), other.bore_px.value_or(2 * other.seed.radius_px));
        for_disk(patch, other.centre_px, diameter / 2 + zone_px,
                 [&](int x, int y) { patch.use[patch.at(x, y)] = Use::neighbour; });
    }
    const double bin = patch.bin;
    for_disk(patch, hole.centre_px, wall.largest_px + zone_px, [&](int x, int y) {
        const double dx = (x - patch.centre.x) * bin, dy = (y - patch.centre.y) * bin;
        const double limit =
            wall.round ? wall.mean_px : wall.radius_px[static_cast<std::size_t>(ray_of(dx, dy))];
        if (dx * dx + dy * dy <= (limit + zone_px) * (limit + zone_px)) patch.use[patch.at(x, y)] = Use::wall;
    });
}

std::vector<float> gaussian_weights(double sigma) {
    const int reach = std::max(1, static_cast<int>(std::ceil(2.5 * sigma)));
    std::vector<float> w(static_cast<std::size_t>(reach) + 1);
    for (int i = 0; i <= reach; ++i)
        w[static_cast<std::size_t>(i)] = static_cast<float>(std::exp(-0.5 * i * i / (sigma * sigma)));
    return w;
}

RINGWALL_WIDE void add_weighted(const float* from, float weight, int count, float* to) {
    for (int x = 0; x < count; ++x)
        to[x] += weight * from[x];
}

/// Sum of weights * values along rows (stride 1) or columns (stride width).
void blur_lines(const std::vector<float>& in, std::vector<float>& out, int width, int height,
                const std::vector<float>& weights, bool along_rows) {
    const int reach = static_cast<int>(weights.size()) - 1;
    out.assign(in.size(), 0);
    const auto w = static_cast<std::size_t>(width);
    for (int y = 0; y < height; ++y) {
        float* to = out.data() + static_cast<std::size_t>(y) * w;
        for (int k = -reach; k <= reach; ++k) {
            const float weight = weights[static_cast<std::size_t>(std::abs(k))];
            if (along_rows) {
                const float* from = in.data() + static_cast<std::size_t>(y) * w;
                const int first = std::max(0, -k), last = std::min(width, width - k);
                add_weighted(from + first + k, weight, last - first, to + first);
            } else if (y + k >= 0 && y + k < height) {
                const float* from = in.data() + static_cast<std::size_t>(y + k) * w;
                add_weighted(from, weight, width, to);
            }
        }
    }
}

/// What a smoothing of both directions leaves of white noise.
double noise_left(const std::vector<float>& weights) {
    double sum = -static_cast<double>(weights[0]), square = -static_cast<double>(weights[0] * weights[0]);
    for (const float w : weights) {
        sum += 2 * static_cast<double>(w);
        square += 2 * static_cast<double>(w * w);
    }
    return square / (sum * sum);
}

/// Gaussian mean over usable pixels only (normalised convolution: Knutsson & Westin 1993,
/// doi 10.1109/CVPR.1993.341081). Returns the share of the noise left.
double smooth_usable(Patch& patch, double sigma) {
    std::vector<float> value(patch.smooth.size()), mask(patch.smooth.size());
    for (std::size_t i = 0; i < value.size(); ++i) {
        mask[i] = patch.use[i] == Use::free ? 1.0F : 0.0F;
        value[i] = mask[i] * patch.smooth[i];
    }
    const std::vector<float> weights = gaussian_weights(sigma);
    std::vector<float> scratch;
    for (std::vector<float>* field : {&value, &mask}) {
        blur_lines(*field, scratch, patch.width, patch.height, weights, true);
        blur_lines(scratch, *field, patch.width, patch.height, weights, false);
    }
    for (std::size_t i = 0; i < value.size(); ++i)
        if (mask[i] > 1e-3F) patch.smooth[i] = value[i] / mask[i];
    return noise_left(weights);
}

/// Every second free pixel, flat when nothing changes over the width of an edge to either side.
std::vector<FlatValue> flat_values(const Patch& patch, const RingLevels& levels, double sigma) {
    std::vector<FlatValue> out;
    const double edge_px = 1.5 * std::hypot(levels.blur_px, patch.smoothing_px);
    const int away = std::max(1, static_cast<int>(std::lround(edge_px / patch.bin)));
    const float most = static_cast<float>(3.5 * sigma);
    for (int y = away; y + away < patch.height; y += 2)
        for (int x = away; x + away < patch.width; x += 2) {
            const std::size_t i = patch.at(x, y);
            const auto level_with = [&](std::size_t k) {
                return patch.use[k] == Use::free && std::abs(patch.smooth[k] - patch.smooth[i]) < most;
            };
            const auto down = static_cast<std::size_t>(away) * static_cast<std::size_t>(patch.width);
            const auto across = static_cast<std::size_t>(away);
            if (patch.use[i] != Use::free || static_cast<double>(patch.smooth[i]) > levels.copper_below)
                continue;
            const bool flat = level_with(i - across) && level_with(i + across) && level_with(i - down) &&
                              level_with(i + down);
            out.push_back({patch.smooth[i], flat});
        }
    return out;
}

/// T of what begins at a bare hole's wall, as most of the turn has it; 0: no such level.
double foot_level(const Patch& patch, const Hole& hole, const WallLine& wall, double zone_px, double step) {
    const std::array<bool, rays> hidden = rays_in(hole.hidden_arcs);
    std::vector<double> seen;
    for (int ray = 0; ray < rays; ++ray) {
        if (hidden[static_cast<std::size_t>(ray)]) continue;
        const Point d = ray_direction(ray);
        double sum = 0;
        int n = 0;
        for (const double past : {0.7, 1.2, 1.7}) {
            const double rho = (wall.radius_px[static_cast<std::size_t>(ray)] + zone_px + past) / patch.bin;
            const int x = static_cast<int>(std::lround(patch.centre.x + rho * d.x));
            const int y = static_cast<int>(std::lround(patch.centre.y + rho * d.y));
            if (!patch.contains(x, y) || patch.use[patch.at(x, y)] != Use::free) continue;
            sum += static_cast<double>(patch.smooth[patch.at(x, y)]);
            ++n;
        }
        if (n > 0) seen.push_back(sum / n);
    }
    if (seen.size() < 60) return 0;
    std::sort(seen.begin(), seen.end());
    const double spread = seen[3 * seen.size() / 4] - seen[seen.size() / 4];
    return spread < 0.5 * step ? seen[seen.size() / 2] : 0;
}

/// T of a plated hole's land: the level that most rays have where the wall's blur ends; 0: no such level.
double land_level(const Patch& patch, const RingLevels& levels, const WallLine& wall, double zone_px) {
    std::vector<float> seen;
    for (int ray = 0; ray < rays; ++ray) {
        const Point d = ray_direction(ray);
        const double rho = (wall.radius_px[static_cast<std::size_t>(ray)] + zone_px + 1.5) / patch.bin;
        const int x = static_cast<int>(std::lround(patch.centre.x + rho * d.x));
        const int y = static_cast<int>(std::lround(patch.centre.y + rho * d.y));
        if (patch.contains(x, y) && patch.use[patch.at(x, y)] == Use::free)
            seen.push_back(patch.smooth[patch.at(x, y)]);
    }
    if (seen.size() < rays / 2) return 0;
    std::vector<float> sorted = seen;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                     sorted.end());
    const double middle = static_cast<double>(sorted[sorted.size() / 2]);
    if (middle > levels.copper_below) return 0;
    const double near = std::max(0.5 * levels.fine_step, 0.06 * (levels.laminate - middle));
    const auto agree = std::count_if(
        seen.begin(), seen.end(), [&](float t) { return std::abs(static_cast<double>(t) - middle) < near; });
    return 2 * agree > static_cast<std::ptrdiff_t>(seen.size()) ? middle : 0;
}

/// Pieces that grow together: the least number of a piece stands for all of it.
class Pieces {
  public:
    int add() {
        parent_.push_back(static_cast<int>(parent_.size()));
        return parent_.back();
    }
    [[nodiscard]] int of(int i) {
        while (parent_[static_cast<std::size_t>(i)] != i)
            i = parent_[static_cast<std::size_t>(i)] =
                parent_[static_cast<std::size_t>(parent_[static_cast<std::size_t>(i)])];
        return i;
    }
    void join(int a, int b) {
        const int x = of(a), y = of(b);
        parent_[static_cast<std::size_t>(std::max(x, y))] = std::min(x, y);
    }
    /// Numbers from 1 in the order in which the pieces' first parts were added; that of piece 0 is 0.
    [[nodiscard]] std::vector<int> numbers() {
        std::vector<int> out(parent_.size(), 0);
        for (int i = 1, next = 0; i < static_cast<int>(out.size()); ++i) {
            const auto root = static_cast<std::size_t>(of(i));
            out[static_cast<std::size_t>(i)] = root == static_cast<std::size_t>(i) ? ++next : out[root];
        }
        return out;
    }

  private:
    std::vector<int> parent_{0};
};

/// 4-connected pieces of copper, row by row; the wall zone of a plated hole counts as copper.
void label_copper(Patch& patch, bool plated) {
    const auto copper = [&](std::size_t i) {
        return patch.use[i] == Use::free ? patch.foils[i] > 0 : plated && patch.use[i] == Use::wall;
    };
    Pieces pieces;
    for (int y = 0; y < patch.height; ++y)
        for (int x = 0; x < patch.width; ++x) {
            const std::size_t i = patch.at(x, y);
            if (!copper(i)) continue;
            const int left = x > 0 ? patch.label[i - 1] : 0;
            const int above = y > 0 ? patch.label[i - static_cast<std::size_t>(patch.width)] : 0;
            if (left != 0 && above != 0 && left != above) pieces.join(left, above);
            patch.label[i] = left != 0 ? left : above != 0 ? above : pieces.add();
        }
    const std::vector<int> number = pieces.numbers();
    for (std::size_t i = 0; i < patch.label.size(); ++i) {
        patch.label[i] = number[static_cast<std::size_t>(patch.label[i])];
        if (plated && patch.use[i] == Use::wall)
            patch.wall_label = std::max(patch.wall_label, patch.label[i]);
    }
}

/// Pieces that noise makes are laminate again. An excursion of a Gaussian field above z sigma has an area of
/// some 4 pi s^2 / z^2 in the mean and exceeds z by sigma / z in the mean, both with exponential tails (Adler
/// & Taylor 2007, section 6): what is neither large nor deep is noise.
void drop_specks(Patch& patch, const RingLevels& levels, double smooth_sigma) {
    struct Piece {
        int area = 0;
        float darkest = 1e9F;
    };
    std::vector<Piece> pieces;
    for (std::size_t i = 0; i < patch.label.size(); ++i) {
        const auto label = static_cast<std::size_t>(patch.label[i]);
        if (label >= pieces.size()) pieces.resize(label + 1);
        ++pieces[label].area;
        pieces[label].darkest = std::min(pieces[label].darkest, patch.smooth[i]);
    }
    const double s = std::max(patch.smoothing_px / patch.bin, 0.5);
    const int least = least_piece(s);
    const double deep = levels.copper_below - deep_z * smooth_sigma;
    for (std::size_t i = 0; i < patch.label.size(); ++i) {
        const int label = patch.label[i];
        if (label == 0 || label == patch.wall_label) continue;
        const Piece& piece = pieces[static_cast<std::size_t>(label)];
        if (piece.area >= least || static_cast<double>(piece.darkest) < deep) continue;
        patch.label[i] = 0;
        patch.foils[i] = 0;
    }
}

/// Something darker than any foil keeps a margin of its own blur.
void mark_dense(Patch& patch, const RingLevels& levels, double margin_px) {
    std::vector<std::size_t> found;
    for (std::size_t i = 0; i < patch.use.size(); ++i)
        if (patch.use[i] == Use::free && static_cast<double>(patch.smooth[i]) < levels.dense_below)
            found.push_back(i);
    const int reach = static_cast<int>(std::ceil(margin_px / patch.bin));
    for (std::size_t i : found) {
        const int x = static_cast<int>(i) % patch.width, y = static_cast<int>(i) / patch.width;
        for (int dy = -reach; dy <= reach; ++dy)
            for (int dx = -reach; dx <= reach; ++dx) {
                if (dx * dx + dy * dy > reach * reach || !patch.contains(x + dx, y + dy)) continue;
                Use& use = patch.use[patch.at(x + dx, y + dy)];
                if (use == Use::free) use = Use::dense;
            }
    }
}

} // namespace

Patch make_patch(const TransmissionMap& map, RingLevels& levels, const Hole& hole, const WallLine& wall,
                 std::span<const Hole> neighbours, std::span<const Body> bodies, double reach_px,
                 double wall_zone_px, int bin) {
    Patch patch;
    lay_out(patch, map, hole, wall.largest_px + reach_px, bin);
    take_blocks(patch, map);
    mark_bodies(patch, bodies, 3 * levels.blur_px + 0.5 * bin);
    mark_holes(patch, hole, wall, neighbours, wall_zone_px);
    // Sigma after a Gaussian of s px is sigma / (2 sqrt(pi) s).
    const double sigma =
        levels.noise.sigma(levels.laminate) * std::sqrt(std::max(1.0, levels.noise.correlation));
    constexpr double spread = 3.5449077018110318; // 2 sqrt(pi)
    patch.smoothing_px = std::clamp(9 * sigma / (levels.fine_step * spread), 0.0, 6.0);
    const bool plated = hole.wall.state == WallState::plated || hole.wall.state == WallState::incomplete;
    double left = 1.0 / bin;
    if (patch.smoothing_px > bin / spread) { // below that the blocks themselves show the step
        patch.smoothing_px = std::max(patch.smoothing_px, 0.6 * bin); // narrower, a grid smooths too little
        left *= smooth_usable(patch, patch.smoothing_px / bin);
    } else {
        patch.smoothing_px = 0;
    }
    const double smooth_sigma = patch.noise = sigma * left;
    if (levels.wandering && !plated) {
        const double foot = foot_level(patch, hole, wall, wall_zone_px, levels.step());
        if (foot > 0) levels = moved_to_foot(levels, foot);
    }
    levels = local_levels(levels, flat_values(patch, levels, smooth_sigma), smooth_sigma,
                          plated ? land_level(patch, levels, wall, wall_zone_px) : 0);
    mark_dense(patch, levels, 2 * levels.blur_px + 0.5);
    for (std::size_t i = 0; i < patch.foils.size(); ++i)
        if (patch.use[i] == Use::free)
            patch.foils[i] = static_cast<std::uint8_t>(levels.foils(static_cast<double>(patch.smooth[i])));
    label_copper(patch, plated);
    drop_specks(patch, levels, smooth_sigma);
    return patch;
}

} // namespace ringwall::rings
