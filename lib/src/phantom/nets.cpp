// SPDX-License-Identifier: Apache-2.0
#include "phantom/nets.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

constexpr int tile = 128;
constexpr double plane_mm2 = 10;

double cell_for(const Board& board) {
    return std::clamp(std::sqrt(board.width_mm * board.height_mm / 16e6), 0.010, 0.025);
}

} // namespace

CopperNets::CopperNets(const Board& board, Scene& scene)
    : walker_(scene, {{cell_for(board) / 2, cell_for(board) / 2}, cell_for(board)}),
      cell_mm_(cell_for(board)), width_(static_cast<int>(std::ceil(board.width_mm / cell_mm_))),
      height_(static_cast<int>(std::ceil(board.height_mm / cell_mm_))), layers_(board.layers.size()),
      band_(static_cast<std::size_t>(width_) * tile) {
    for (Layer& layer : layers_) {
        layer.rows.resize(static_cast<std::size_t>(height_));
        layer.parent = {0};
        layer.pour_mm2 = {0};
    }
    for (band_top_ = 0; band_top_ < height_; band_top_ += tile) {
        for (int x = 0; x < width_; x += tile)
            walker_.walk(x, band_top_, tile, *this);
        for (int y = band_top_; y < std::min(height_, band_top_ + tile); ++y)
            add_row(y, band_.data() + static_cast<std::size_t>(y - band_top_) * width_);
    }
    for (Layer& layer : layers_)
        for (std::size_t net = 1; net < layer.parent.size(); ++net) {
            const int top = root(layer.parent, static_cast<int>(net));
            if (top != static_cast<int>(net))
                layer.pour_mm2[static_cast<std::size_t>(top)] += layer.pour_mm2[net];
        }
}

void CopperNets::filled(int x, int y, int size, Stack stack) {
    const int columns = std::min(size, width_ - x);
    for (int row = y; row < y + size && columns > 0; ++row)
        std::fill_n(band_.begin() + static_cast<std::ptrdiff_t>(row - band_top_) * width_ + x, columns,
                    stack);
}

void CopperNets::edge(int x, int y, const Walker::List& list) {
    if (x < width_)
        band_[static_cast<std::size_t>(y - band_top_) * width_ + x] =
            walker_.stack_at(list, walker_.centre_mm(x, y, 1));
}

int CopperNets::root(const std::vector<int>& parent, int net) {
    while (parent[static_cast<std::size_t>(net)] != net)
        net = parent[static_cast<std::size_t>(net)];
    return net;
}

/// Gives each run a net: of the runs above that it lies against (they become one net), or a new one.
void CopperNets::join_rows(Layer& layer, const std::vector<Run>& above, std::vector<Run>& row) {
    std::size_t i = 0;
    for (Run& run : row) {
        while (i < above.size() && above[i].last < run.first)
            ++i;
        for (std::size_t j = i; j < above.size() && above[j].first <= run.last; ++j) {
            const int theirs = root(layer.parent, above[j].net);
            if (run.net == 0) run.net = theirs;
            const int ours = root(layer.parent, run.net);
            const int low = std::min(ours, theirs), high = std::max(ours, theirs);
            layer.parent[static_cast<std::size_t>(high)] = low;
            run.net = low;
        }
        if (run.net == 0) {
            run.net = static_cast<int>(layer.parent.size());
            layer.parent.push_back(run.net);
            layer.pour_mm2.push_back(0);
        }
    }
}

void CopperNets::add_row(int y, const Stack* row) {
    for (std::size_t n = 0; n < layers_.size(); ++n) {
        Layer& layer = layers_[n];
        std::vector<Run>& runs = layer.rows[static_cast<std::size_t>(y)];
        for (int x = 0; x < width_; ++x) {
            if ((row[x].copper >> n & 1U) == 0) continue;
            const int first = x;
            while (x + 1 < width_ && (row[x + 1].copper >> n & 1U) != 0)
                ++x;
            runs.push_back({first, x, 0});
        }
        join_rows(layer, y > 0 ? layer.rows[static_cast<std::size_t>(y) - 1] : std::vector<Run>{}, runs);
        for (const Run& run : runs) {
            const auto cells = std::count_if(row + run.first, row + run.last + 1,
                                             [&](const Stack& s) { return (s.pour >> n & 1U) != 0; });
            layer.pour_mm2[static_cast<std::size_t>(run.net)] +=
                static_cast<double>(cells) * cell_mm_ * cell_mm_;
        }
    }
}

int CopperNets::net_at(int layer, Point p) const {
    const Layer& l = layers_[static_cast<std::size_t>(layer)];
    const int x = static_cast<int>(std::floor(p.x / cell_mm_)),
              y = static_cast<int>(std::floor(p.y / cell_mm_));
    for (const int dy : {0, -1, 1}) {
        if (y + dy < 0 || y + dy >= height_) continue;
        const std::vector<Run>& runs = l.rows[static_cast<std::size_t>(y + dy)];
        const auto after =
            std::partition_point(runs.begin(), runs.end(), [&](const Run& r) { return r.last < x - 1; });
        if (after != runs.end() && after->first <= x + 1) return root(l.parent, after->net);
    }
    return 0;
}

bool CopperNets::is_plane(int layer, int net) const {
    return net > 0 &&
           layers_[static_cast<std::size_t>(layer)].pour_mm2[static_cast<std::size_t>(net)] >= plane_mm2;
}

} // namespace ringwall::phantom
