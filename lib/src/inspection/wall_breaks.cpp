// SPDX-License-Identifier: Apache-2.0
#include "inspection/wall_breaks.hpp"

#include <algorithm>

namespace ringwall {
namespace {

using layers::WallMap;

struct Cell {
    int depth = 0, angle = 0;
};

/// Marks all cells that `start` hangs together with and `in` takes; the turn is closed. Corners count where
/// `corners` says so: plating that touches by a corner may be whole, so it is never taken as a break.
template<typename In>
std::vector<Cell> piece_of(const WallMap& map, Cell start, bool corners, std::vector<char>& seen,
                           const In& in) {
    std::vector<Cell> piece{start};
    seen[map.at(start.depth, start.angle)] = 1;
    for (std::size_t i = 0; i < piece.size(); ++i)
        for (int dd = -1; dd <= 1; ++dd)
            for (int da = -1; da <= 1; ++da) {
                if (!corners && dd != 0 && da != 0) continue;
                const Cell next{piece[i].depth + dd,
                                (piece[i].angle + da + WallMap::angles) % WallMap::angles};
                if (next.depth < 0 || next.depth >= map.depths) continue;
                const std::size_t at = map.at(next.depth, next.angle);
                if (seen[at] != 0 || !in(at)) continue;
                seen[at] = 1;
                piece.push_back(next);
            }
    return piece;
}

/// Whether plating leads past a piece of missing cells from face to face.
bool is_passed(const WallMap& map, const std::vector<Cell>& piece) {
    std::vector<char> blocked(map.missing.size(), 0);
    for (const Cell& cell : piece)
        blocked[map.at(cell.depth, cell.angle)] = 1;
    std::vector<char> seen(map.missing.size(), 0);
    for (int a = 0; a < WallMap::angles; ++a) {
        if (blocked[map.at(0, a)] != 0 || seen[map.at(0, a)] != 0) continue;
        const auto from_face =
            piece_of(map, {0, a}, true, seen, [&](std::size_t at) { return blocked[at] == 0; });
        if (std::any_of(from_face.begin(), from_face.end(),
                        [&](const Cell& cell) { return cell.depth == map.depths - 1; }))
            return true;
    }
    return false;
}

/// Where a piece that goes all round is missing over the whole turn; of a slanted one, its whole extent.
std::pair<double, double> depths_of(const WallMap& map, const std::vector<Cell>& piece) {
    std::vector<int> in_row(static_cast<std::size_t>(map.depths), 0);
    for (const Cell& cell : piece)
        ++in_row[static_cast<std::size_t>(cell.depth)];
    for (const int least : {static_cast<int>(WallMap::angles), 1}) {
        const auto in = [&](int count) { return count >= least; };
        const auto first = std::find_if(in_row.begin(), in_row.end(), in);
        if (first == in_row.end()) continue;
        const auto last = std::find_if(in_row.rbegin(), in_row.rend(), in).base();
        return {static_cast<double>(first - in_row.begin()), static_cast<double>(last - in_row.begin())};
    }
    return {};
}

} // namespace

std::vector<std::pair<double, double>> wall_breaks(const WallMap& map) {
    std::vector<std::pair<double, double>> breaks;
    std::vector<char> seen(map.missing.size(), 0);
    const auto missing = [&](std::size_t at) { return map.missing[at] != 0; };
    for (int d = 0; d < map.depths; ++d)
        for (int a = 0; a < WallMap::angles; ++a) {
            if (!missing(map.at(d, a)) || seen[map.at(d, a)] != 0) continue;
            const std::vector<Cell> piece = piece_of(map, {d, a}, false, seen, missing);
            if (piece.size() < WallMap::angles || is_passed(map, piece)) continue;
            breaks.push_back(depths_of(map, piece));
        }
    return breaks;
}

} // namespace ringwall
