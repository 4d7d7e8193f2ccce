// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"
#include "layers/one_drill.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::layers {
namespace {

constexpr double inside_px = 4, beyond_px = 3, step_px = 0.5;
constexpr double least_wall_px = 0.25; ///< of integrated copper: less is no plating
constexpr int least_missing_cells = 6; ///< two slices by nine degrees
constexpr double missing_share = 0.5;

struct Axis {
    Point centre_px;
    double depth = 0, radius_px = 0;
    bool usable = false;
};

struct Cells {
    std::vector<double> sum;
    std::vector<int> count;
};

/// Bilinear, held at the borders.
double sampled(ImageView<const float> slice, double x, double y) {
    x = std::clamp(x, 0.0, slice.width() - 1.001), y = std::clamp(y, 0.0, slice.height() - 1.001);
    const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
    const double fx = x - x0, fy = y - y0;
    const auto v = [&](int i, int j) { return static_cast<double>(slice(x0 + i, y0 + j)); };
    return (v(0, 0) * (1 - fx) + v(1, 0) * fx) * (1 - fy) + (v(0, 1) * (1 - fx) + v(1, 1) * fx) * fy;
}

class WallReader {
  public:
    WallReader(const Volume& volume, const FlatStack& flat, const std::vector<LayeredHole>& holes)
        : flat_(flat), pitch_px_(volume.pitch_px), ratio_(copper_ratio(flat).value()),
          depths_(std::max(1, static_cast<int>(flat.thickness_px.value()))) {
        for (const LayeredHole& hole : holes) {
            Axis axis{hole.whole.centre_px, flat.thickness_px.value() / 2, 0, false};
            axis.usable = hole.whole.kind == HoleKind::hole && hole.whole.drill_px.has_value();
            if (axis.usable) axis.radius_px = hole.whole.drill_px.value() / 2;
            axes_.push_back(axis);
            const auto n = static_cast<std::size_t>(depths_) * WallMap::angles;
            cells_.push_back({std::vector<double>(n), std::vector<int>(n)});
        }
    }
    void add(std::size_t hole, ImageView<const float> slice, int z) {
        const Axis& axis = axes_[hole];
        if (!axis.usable) return;
        const Point near{axis.centre_px.x, axis.centre_px.y};
        const double depth = depth_at(near, z);
        const double slope_reach = 0.05 * axis.radius_px + 2;
        if (depth < -slope_reach || depth > depths_ + slope_reach) return;
        const Point centre = along_normal(flat_, pitch_px_, axis.centre_px, axis.depth, depth);
        for (int a = 0; a < WallMap::angles; ++a)
            add_ray(hole, slice, z, centre, a);
    }
    [[nodiscard]] WallMap finished(std::size_t hole) const {
        WallMap map;
        map.depths = depths_;
        const Cells& cells = cells_[hole];
        map.copper_px.assign(cells.sum.size(), 0);
        map.missing.assign(cells.sum.size(), 0);
        for (int a = 0; a < WallMap::angles; ++a)
            for (int d = 0; d < depths_; ++d)
                map.copper_px[map.at(d, a)] = static_cast<float>(nearest(cells, map, d, a));
        return map;
    }
    [[nodiscard]] bool usable(std::size_t hole) const { return axes_[hole].usable; }

  private:
    [[nodiscard]] double depth_at(Point px, int z) const {
        const auto [x, y] = flat_.low_face.slope(px);
        return (z - flat_.low_face.at(px)) / std::sqrt(1 + x * x + y * y);
    }
    void add_ray(std::size_t hole, ImageView<const float> slice, int z, Point centre, int angle) {
        const double turn = (angle + 0.5) * 2 * std::numbers::pi / WallMap::angles;
        const double cosine = std::cos(turn), sine = -std::sin(turn), radius = axes_[hole].radius_px;
        const auto cell =
            static_cast<int>(std::floor(depth_at({centre.x + radius * cosine, centre.y + radius * sine}, z)));
        if (cell < 0 || cell >= depths_) return;
        const auto value = [&](double r) {
            const double v = sampled(slice, centre.x + r * cosine, centre.y + r * sine);
            return (v - flat_.air) / (flat_.laminate - flat_.air);
        };
        double sum = 0;
        for (double r = radius - inside_px + step_px / 2; r < radius + beyond_px; r += step_px)
            sum += value(r) * step_px;
        const double behind = (value(radius + beyond_px) + value(radius + beyond_px + 1)) / 2;
        const std::size_t at =
            static_cast<std::size_t>(cell) * WallMap::angles + static_cast<std::size_t>(angle);
        cells_[hole].sum[at] += (sum - beyond_px * behind) / ratio_;
        ++cells_[hole].count[at];
    }
    /// A tilted column may pass a cell by: the nearest one that was met.
    [[nodiscard]] double nearest(const Cells& cells, const WallMap& map, int depth, int angle) const {
        for (int off = 0; off < depths_; ++off)
            for (const int d : {depth - off, depth + off}) {
                if (d < 0 || d >= depths_ || cells.count[map.at(d, angle)] == 0) continue;
                return cells.sum[map.at(d, angle)] / cells.count[map.at(d, angle)];
            }
        return 0;
    }

    const FlatStack& flat_;
    double pitch_px_, ratio_;
    int depths_;
    std::vector<Axis> axes_;
    std::vector<Cells> cells_;
};

/// Middle of the cells, the outermost slices left out: air is blurred into them.
double usual_wall(const WallMap& map) {
    std::vector<float> inner;
    for (int d = std::min(2, map.depths - 1); d < std::max(map.depths - 2, 1); ++d)
        for (int a = 0; a < WallMap::angles; ++a)
            inner.push_back(map.copper_px[map.at(d, a)]);
    if (inner.empty()) return 0;
    const auto middle = inner.begin() + static_cast<std::ptrdiff_t>(inner.size() / 2);
    std::nth_element(inner.begin(), middle, inner.end());
    return static_cast<double>(*middle);
}

void mark_thin(WallMap& map, double usual) {
    for (int d = 2; d + 2 < map.depths; ++d)
        for (int a = 0; a < WallMap::angles; ++a) {
            double sum = 0;
            for (int i = -1; i <= 1; ++i)
                sum += static_cast<double>(
                    map.copper_px[map.at(d, (a + i + WallMap::angles) % WallMap::angles)]);
            map.missing[map.at(d, a)] = sum / 3 < missing_share * usual ? 1 : 0;
        }
}

/// Pieces of marked cells that hang together, sides and turn counted; small ones are unmarked.
int keep_large_pieces(WallMap& map) {
    std::vector<char> seen(map.missing.size(), 0);
    int kept = 0;
    for (std::size_t start = 0; start < map.missing.size(); ++start) {
        if (map.missing[start] == 0 || seen[start] != 0) continue;
        std::vector<std::size_t> piece{start};
        seen[start] = 1;
        for (std::size_t i = 0; i < piece.size(); ++i) {
            const int d = static_cast<int>(piece[i]) / WallMap::angles,
                      a = static_cast<int>(piece[i]) % WallMap::angles;
            for (const auto& [dd, da] : {std::pair{1, 0}, {-1, 0}, {0, 1}, {0, WallMap::angles - 1}}) {
                if (d + dd < 0 || d + dd >= map.depths) continue;
                const std::size_t next = map.at(d + dd, (a + da) % WallMap::angles);
                if (map.missing[next] != 0 && seen[next] == 0) seen[next] = 1, piece.push_back(next);
            }
        }
        const bool large = static_cast<int>(piece.size()) >= least_missing_cells;
        kept += large ? static_cast<int>(piece.size()) : 0;
        for (const std::size_t cell : piece)
            map.missing[cell] = large ? 1 : 0;
    }
    return kept;
}

/// Arcs of the turn over which plating is missing at some depth.
std::vector<Arc> arcs_of(const WallMap& map) {
    constexpr double cell_deg = 360.0 / WallMap::angles;
    std::vector<char> any(WallMap::angles, 0);
    for (std::size_t i = 0; i < map.missing.size(); ++i)
        if (map.missing[i] != 0) any[i % WallMap::angles] = 1;
    if (std::count(any.begin(), any.end(), 1) == WallMap::angles) return {{0, 360 - 1e-9}};
    std::vector<Arc> arcs;
    for (int a = 0; a < WallMap::angles; ++a) {
        const auto before = static_cast<std::size_t>((a + WallMap::angles - 1) % WallMap::angles);
        if (any[static_cast<std::size_t>(a)] == 0 || any[before] != 0) continue;
        int end = a;
        while (any[static_cast<std::size_t>(end % WallMap::angles)] != 0)
            ++end;
        arcs.push_back({a * cell_deg, std::fmod(end * cell_deg, 360)});
    }
    return arcs;
}

/// Plated or not where this layer crosses the wall.
bool plated_at(const WallMap& map, double depth) {
    const int d =
        std::clamp(static_cast<int>(depth), std::min(2, map.depths - 1), std::max(map.depths - 3, 0));
    int missing = 0;
    for (int a = 0; a < WallMap::angles; ++a)
        missing += map.missing[map.at(d, a)];
    return 2 * missing < WallMap::angles;
}

/// Layers at whose depth the plating is broken: what their edge was read as is a mixture of bore and drill.
std::vector<char> settle_layers(const FlatStack& flat, double usual, bool plated, LayeredHole& hole) {
    std::vector<char> broken(hole.by_layer.size(), 0);
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        Hole& layer = hole.by_layer[k];
        if (!layer.bore_px) continue;
        const bool here = plated && plated_at(hole.wall_map, flat.layers[k].depth_px.value());
        broken[k] = plated && !here ? 1 : 0;
        const WallState state = here ? WallState::plated : WallState::bare;
        if (layer.wall.state == state || (here && layer.wall.state == WallState::incomplete)) continue;
        layer.wall.state = state;
        layer.wall.why.clear();
        layer.drill_px =
            here ? Estimate::of(layer.bore_px.value() + 2 * usual, std::hypot(layer.bore_px.u(), 0.2 * usual))
                 : layer.bore_px;
    }
    return broken;
}

void judge(const FlatStack& flat, double pitch_px, LayeredHole& hole) {
    WallMap& map = hole.wall_map;
    const double usual = usual_wall(map);
    const bool plated = usual > least_wall_px;
    HoleWall& wall = hole.whole.wall;
    wall = HoleWall{};
    const Estimate ratio = copper_ratio(flat);
    if (plated) {
        mark_thin(map, usual);
        const int missing = keep_large_pieces(map);
        wall.state = missing > 0 ? WallState::incomplete : WallState::plated;
        wall.missing_arcs = arcs_of(map);
        wall.covered_fraction = 1 - missing / static_cast<double>(map.missing.size());
        wall.thickness_integrated_px =
            Estimate::of(usual, std::hypot(0.03, usual * ratio.u() / ratio.value()));
        wall.thickness_px = wall.thickness_integrated_px;
    } else {
        wall.state = WallState::bare;
        wall.thickness_px = wall.thickness_integrated_px = Estimate::missing("no plating was seen");
    }
    use_one_drill(flat, pitch_px, settle_layers(flat, usual, plated, hole), hole);
}

} // namespace

void read_walls(const Volume& volume, const FlatStack& flat, std::vector<LayeredHole>& holes, Watch& watch) {
    WallReader reader(volume, flat, holes);
    constexpr int batch = 8;
    std::vector<Image<float>> slices;
    slices.reserve(batch);
    for (int i = 0; i < batch; ++i)
        slices.emplace_back(volume.width_px, volume.height_px);
    const int count = static_cast<int>(holes.size());
    for (int z = 0; z < volume.slices; z += batch) {
        const int here = std::min(batch, volume.slices - z);
        bridge::over_each(here, watch, [&](int i) {
            volume.read_slice(z + i, slices[static_cast<std::size_t>(i)].view());
        });
        bridge::over_each(count, watch, [&](int h) { // slices rising: the same sums on any number of threads
            for (int i = 0; i < here; ++i)
                reader.add(static_cast<std::size_t>(h), slices[static_cast<std::size_t>(i)].view(), z + i);
        });
        watch.progress("reading walls", z + here, volume.slices);
    }
    for (std::size_t h = 0; h < holes.size(); ++h) {
        holes[h].wall_map = reader.finished(h);
        if (reader.usable(h)) judge(flat, volume.pitch_px, holes[h]);
    }
}

} // namespace ringwall::layers
