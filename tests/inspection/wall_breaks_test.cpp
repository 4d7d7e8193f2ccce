// SPDX-License-Identifier: Apache-2.0
#include "inspection/wall_breaks.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using layers::WallMap;

namespace {

WallMap whole(int depths) {
    WallMap map;
    map.depths = depths;
    map.copper_px.assign(static_cast<std::size_t>(depths) * WallMap::angles, 1);
    map.missing.assign(map.copper_px.size(), 0);
    return map;
}

/// From depth `from` up to `to`, over angles `first` to `last`.
void cut(WallMap& map, int from, int to, int first = 0, int last = WallMap::angles) {
    for (int d = from; d < to; ++d)
        for (int a = first; a < last; ++a)
            map.missing[map.at(d, a)] = 1;
}

using Breaks = std::vector<std::pair<double, double>>;

} // namespace

TEST_CASE("a barrel is interrupted where missing plating goes all round, and nowhere else") {
    WallMap map = whole(40);
    CHECK(wall_breaks(map).empty());
    cut(map, 10, 14);
    CHECK(wall_breaks(map) == Breaks{{10, 14}});
    cut(map, 14, 18, 40, 50); // plating missing above or below it over a part of the turn is no part of it
    CHECK(wall_breaks(map) == Breaks{{10, 14}});
    cut(map, 25, 27);
    CHECK(wall_breaks(map) == Breaks{{10, 14}, {25, 27}});
    for (int d = 10; d < 14; ++d) // one cell wide, from end to end: plating leads past
        map.missing[map.at(d, 77)] = 0;
    CHECK(wall_breaks(map) == Breaks{{25, 27}});

    WallMap hole_in_it = whole(40); // large, but over half the turn only
    cut(hole_in_it, 5, 35, 20, 80);
    CHECK(wall_breaks(hole_in_it).empty());
}

TEST_CASE("a slanted cut has the depths of its two ends; plating that touches by corners may be whole") {
    WallMap map = whole(40);
    for (int a = 0; a < WallMap::angles; ++a) { // two cells deep, one cell lower every 12 degrees, and back
        const int down = std::min(a, WallMap::angles - 1 - a) / 4;
        cut(map, 10 + down, 12 + down, a, a + 1);
    }
    CHECK(wall_breaks(map) == Breaks{{10, 26}});
    WallMap corners = whole(40);
    cut(corners, 10, 11, 0, 60);
    cut(corners, 11, 12, 60, WallMap::angles);
    CHECK(wall_breaks(corners).empty());
}
