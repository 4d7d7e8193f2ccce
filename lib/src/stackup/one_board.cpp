// SPDX-License-Identifier: Apache-2.0
#include "stackup/one_board.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace ringwall {
namespace {

constexpr int least_run = 5; ///< slices of board, or of air between two

/// Runs of board in a block's column, as first and last slice.
std::vector<std::pair<int, int>> runs_of(const BlockProfiles& blocks, const VolumeLevels& levels, int block) {
    const auto values = blocks.of(block);
    std::vector<std::pair<int, int>> runs;
    for (int z = 0; z < blocks.slices(); ++z) {
        if (levels.steps(static_cast<double>(values[static_cast<std::size_t>(z)])) < 0.5) continue;
        if (!runs.empty() && z - runs.back().second <= least_run)
            runs.back().second = z;
        else
            runs.emplace_back(z, z);
    }
    std::erase_if(runs, [](const auto& run) { return run.second - run.first < least_run; });
    return runs;
}

/// Blocks with the board from face to face, numbered by the piece they lie in; -1: none there.
class Pieces {
  public:
    Pieces(const BlockProfiles& blocks, const std::vector<std::optional<BlockFaces>>& faces, double thickness)
        : blocks_(blocks), piece_(static_cast<std::size_t>(blocks.count()), -1) {
        for (int b = 0; b < blocks.count(); ++b) {
            const auto& face = faces[static_cast<std::size_t>(b)];
            if (face && is_whole(*face, thickness)) piece_[static_cast<std::size_t>(b)] = unnumbered;
        }
        for (int b = 0; b < blocks.count(); ++b)
            if (piece_[static_cast<std::size_t>(b)] == unnumbered) fill(b);
    }

    /// Pieces by size, largest first.
    [[nodiscard]] std::vector<std::vector<int>> by_size() const {
        std::vector<std::vector<int>> pieces(static_cast<std::size_t>(count_));
        for (int b = 0; b < blocks_.count(); ++b)
            if (const int p = piece_[static_cast<std::size_t>(b)]; p >= 0)
                pieces[static_cast<std::size_t>(p)].push_back(b);
        std::stable_sort(pieces.begin(), pieces.end(),
                         [](const auto& a, const auto& b) { return a.size() > b.size(); });
        return pieces;
    }

  private:
    static constexpr int unnumbered = -2;

    void fill(int seed) {
        std::vector<int> open{seed};
        const int number = count_++;
        piece_[static_cast<std::size_t>(seed)] = number;
        while (!open.empty()) {
            const int b = open.back();
            open.pop_back();
            for (const int next : neighbours(b)) {
                if (piece_[static_cast<std::size_t>(next)] != unnumbered) continue;
                piece_[static_cast<std::size_t>(next)] = number;
                open.push_back(next);
            }
        }
    }
    /// The eight round a block, and one block further on: a row of holes does not part a board.
    [[nodiscard]] std::vector<int> neighbours(int b) const {
        constexpr int reach = 2;
        const int columns = blocks_.columns(), rows = blocks_.count() / columns;
        std::vector<int> list;
        for (int dy = -reach; dy <= reach; ++dy)
            for (int dx = -reach; dx <= reach; ++dx) {
                const int x = b % columns + dx, y = b / columns + dy;
                if (x >= 0 && x < columns && y >= 0 && y < rows) list.push_back(y * columns + x);
            }
        return list;
    }

    const BlockProfiles& blocks_;
    std::vector<int> piece_;
    int count_ = 0;
};

/// "x 0 to 639, y 16 to 383 px".
std::string extent_of(const BlockProfiles& blocks, const std::vector<int>& piece) {
    int x0 = blocks.columns(), y0 = blocks.count(), x1 = 0, y1 = 0;
    for (const int b : piece) {
        x0 = std::min(x0, b % blocks.columns()), x1 = std::max(x1, b % blocks.columns());
        y0 = std::min(y0, b / blocks.columns()), y1 = std::max(y1, b / blocks.columns());
    }
    const int side = BlockProfiles::side_px;
    return "x " + std::to_string(x0 * side) + " to " + std::to_string((x1 + 1) * side - 1) + ", y " +
           std::to_string(y0 * side) + " to " + std::to_string((y1 + 1) * side - 1) + " px";
}

/// Blocks side by side whose middles lie apart by what no one board bends to, along more than a stray line of
/// them.
bool has_step(const BlockProfiles& blocks, const std::vector<std::optional<BlockFaces>>& faces,
              double thickness) {
    constexpr double step = 3, most_share = 0.01; // slices; of the neighbours
    int pairs = 0, apart = 0;
    for (int b = 0; b < blocks.count(); ++b)
        for (const int next : {b + 1, b + blocks.columns()}) {
            if (next >= blocks.count() || (next == b + 1 && next % blocks.columns() == 0)) continue;
            const auto &one = faces[static_cast<std::size_t>(b)],
                       &other = faces[static_cast<std::size_t>(next)];
            if (!one || !other || !is_whole(*one, thickness) || !is_whole(*other, thickness)) continue;
            ++pairs;
            apart += std::abs(one->low + one->high - other->low - other->high) / 2 > step ? 1 : 0;
        }
    return apart > most_share * pairs;
}

} // namespace

bool is_whole(const BlockFaces& face, double thickness) {
    return std::abs(face.high - face.low - thickness) < 8;
}

void check_not_stacked(const BlockProfiles& blocks, const VolumeLevels& levels) {
    int met = 0, twice = 0;
    std::pair<int, int> first{blocks.slices(), 0}, second{blocks.slices(), 0};
    for (int b = 0; b < blocks.count(); ++b) {
        const auto runs = runs_of(blocks, levels, b);
        if (runs.empty()) continue;
        ++met;
        if (runs.size() < 2) continue;
        ++twice;
        first = {std::min(first.first, runs[0].first), std::max(first.second, runs[0].second)};
        second = {std::min(second.first, runs[1].first), std::max(second.second, runs[1].second)};
    }
    if (2 * twice <= met) return;
    const auto slices = [](const std::pair<int, int>& run) {
        return std::to_string(run.first + 1) + " to " + std::to_string(run.second + 1);
    };
    throw Error(Fault::nothing_measured, "two boards lie one above the other with air between them: slices " +
                                             slices(first) + " and " + slices(second) +
                                             ", counted from 1; cut the stack so that it holds one");
}

void check_one_piece(const BlockProfiles& blocks, const std::vector<std::optional<BlockFaces>>& faces,
                     double thickness) {
    constexpr double least_share = 0.1;
    if (has_step(blocks, faces, thickness))
        throw Error(
            Fault::nothing_measured,
            "nothing in this volume is one sheet: neighbouring places lie at different heights, as of "
            "two boards that overlap or lie side by side");
    const auto pieces = Pieces(blocks, faces, thickness).by_size();
    if (pieces.size() < 2 ||
        static_cast<double>(pieces[1].size()) < least_share * static_cast<double>(pieces[0].size()))
        return;
    throw Error(Fault::nothing_measured,
                "two boards, or one in pieces, lie side by side: " + extent_of(blocks, pieces[0]) + ", and " +
                    extent_of(blocks, pieces[1]) + "; cut the stack so that it holds one");
}

} // namespace ringwall
