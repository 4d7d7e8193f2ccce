// SPDX-License-Identifier: Apache-2.0
#include "pictures/labels.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace ringwall;

TEST_CASE("labels never overlap, stay in the field and off the marks") {
    std::vector<LabelWish> wishes;
    std::vector<Mark> marks;
    for (int i = 0; i < 400; ++i) {
        const Mark mark{{30.0 + 40 * (i % 20), 30.0 + 40 * (i / 20)}, 8};
        marks.push_back(mark);
        wishes.push_back({mark, {60, 14}, {}, false});
    }
    const auto places = place_labels(wishes, marks, 860, 860);
    REQUIRE(places.size() == wishes.size());
    int placed = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (!places[i]) continue;
        ++placed;
        const Box& box = places[i]->box;
        CHECK(box.x >= 0);
        CHECK(box.y + box.height <= 860);
        for (const auto& mark : marks)
            CHECK_FALSE(mark.meets(box));
        for (std::size_t k = 0; k < i; ++k) {
            if (places[k]) CHECK_FALSE(box.meets(places[k]->box));
        }
    }
    CHECK(placed > 20);
    CHECK(placed < 400); // it is crowded: some must be left out
}

TEST_CASE("a label that may lead finds a place further off; the first wish is served first") {
    std::vector<Mark> marks;
    for (int i = 0; i < 9; ++i)
        marks.push_back({{200.0 + 40 * (i % 3 - 1), 200.0 + 40 * (i / 3 - 1)}, 12});
    const LabelWish wish{marks[4], {80, 20}, {}, true};
    const auto places = place_labels({wish, wish}, marks, 600, 600);
    REQUIRE(places[0]);
    REQUIRE(places[1]);
    CHECK(places[0]->led);
    CHECK_FALSE(places[0]->box.meets(places[1]->box));
    CHECK_FALSE(place_labels({{marks[4], {80, 20}, {}, false}}, marks, 600, 600)[0]);
}

TEST_CASE("lines to labels cross no label, no other mark and no other line; the brief label stands where the "
          "full one cannot") {
    std::vector<Mark> marks;
    std::vector<LabelWish> wishes;
    for (int i = 0; i < 36; ++i) {
        marks.push_back({{220.0 + 36 * (i % 6), 220.0 + 36 * (i / 6)}, 6});
        wishes.push_back({marks.back(), {70, 20}, {12, 9}, true});
    }
    const auto places = place_labels(wishes, marks, 640, 640);
    int led = 0, brief = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (!places[i]) continue;
        brief += places[i]->brief ? 1 : 0;
        CHECK(places[i]->box.width == (places[i]->brief ? 12 : 70));
        if (!places[i]->led) continue;
        ++led;
        const Point from = places[i]->from, to = places[i]->to;
        CHECK(std::hypot(from.x - marks[i].centre.x, from.y - marks[i].centre.y) ==
              doctest::Approx(6).epsilon(0.01));
        for (double share = 0.02; share < 0.98; share += 0.01) {
            const Point p{from.x + (to.x - from.x) * share, from.y + (to.y - from.y) * share};
            for (std::size_t k = 0; k < places.size(); ++k) {
                if (k == i) continue;
                CHECK(std::hypot(p.x - marks[k].centre.x, p.y - marks[k].centre.y) > 5.5);
                if (!places[k]) continue;
                const Box& box = places[k]->box;
                const bool on_it = p.x > box.x + 2 && p.y > box.y + 2 && p.x < box.x + box.width - 2 &&
                                   p.y < box.y + box.height - 2;
                CHECK_FALSE(on_it);
            }
        }
    }
    CHECK(led > 3);
    CHECK(brief > 3);
}

TEST_CASE("a label without a line stands nearest to its own hole") {
    std::vector<Mark> marks;
    std::vector<LabelWish> wishes;
    for (int i = 0; i < 64; ++i) { // two sizes, now near each other, now far
        const double step = i % 3 == 0 ? 41 : 52;
        marks.push_back({{100 + step * (i % 8), 100 + step * (i / 8)}, i % 5 == 0 ? 11.0 : 5.0});
        wishes.push_back({marks.back(), {56, 12}, {14, 8}, i % 2 == 0});
    }
    const auto places = place_labels(wishes, marks, 600, 600);
    int plain = 0, led = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (!places[i]) continue;
        (places[i]->led ? led : plain) += 1;
        if (places[i]->led) continue;
        for (std::size_t k = 0; k < marks.size(); ++k)
            if (k != i) CHECK(marks[k].distance(places[i]->box) > marks[i].distance(places[i]->box));
    }
    CHECK(plain > 10);
    CHECK(led > 3);
}

TEST_CASE("a label that only fits beside another hole gets a line to its own") {
    const Mark own{{60, 300}, 10};
    const std::vector<Mark> marks{own, {{150, 300}, 40}};
    CHECK(could_mislead({82, 200, 60, 50}, own, marks)); // as near to the large hole
    CHECK_FALSE(could_mislead({10, 265, 60, 20}, own, marks));
    // 6 px from the hole, and from the other's outermost line 3 px: its hole is far, its line is not
    CHECK(could_mislead({76, 290, 20, 20}, own, {own, {{150, 300}, 20, std::vector<double>(180, 51.0)}}));
    const auto places = place_labels({{own, {90, 20}, {}, true}}, marks, 240, 400);
    REQUIRE(places[0]);
    CHECK((places[0]->led || !could_mislead(places[0]->box, own, marks)));
    // Walled in by small holes on all sides but far to the right: never beside them without a line.
    std::vector<Mark> walled{own};
    for (int i = 0; i < 12; ++i)
        walled.push_back({{60 + 26 * std::cos(i * 0.5236), 300 + 26 * std::sin(i * 0.5236)}, 4});
    const auto out = place_labels({{own, {40, 14}, {}, true}}, walled, 400, 600);
    if (out[0]) CHECK(out[0]->led);
}

TEST_CASE("lines end at the mark as it reaches in their direction; labels may stand in its notches") {
    Mark mark{{200, 200}, 20, std::vector<double>(180, 20.0)};
    for (std::size_t i = 40; i < 50; ++i) // a spike straight up, over 20 degrees
        mark.reach[i] = 90;
    CHECK(mark.outermost() == 90);
    CHECK(mark.reach_along({0, -1}) == 90);
    CHECK(mark.reach_along({1, 0}) == 20);
    CHECK(mark.meets({190, 120, 20, 10}));       // on the spike
    CHECK_FALSE(mark.meets({225, 190, 40, 20})); // right of the hole: a circle as far as the spike would
    const LabelWish wish{mark, {100, 30}, {}, true};
    std::vector<Mark> marks{mark};
    for (const double y : {150.0, 250.0})
        marks.push_back({{240, y}, 10});
    for (const double y : {120.0, 200.0, 280.0})
        marks.push_back({{160, y}, 10});
    const auto place = place_labels({wish}, marks, 500, 500)[0];
    REQUIRE(place);
    if (place->led) {
        const Point way{place->from.x - 200, place->from.y - 200};
        CHECK(std::hypot(way.x, way.y) == doctest::Approx(mark.reach_along(way)));
    } else {
        CHECK(place->box.x < 240); // in the notch, not beyond the spike's circle
    }
}

TEST_CASE("a full label gives way where it would take the room for another's id") {
    std::vector<Mark> marks;
    std::vector<LabelWish> wishes;
    for (int i = 0; i < 7; ++i) { // a row of pins at the edge of the field, labels four pins wide
        marks.push_back({{200.0 + 30 * i, 30}, 12});
        wishes.push_back({marks.back(), {120, 20}, {16, 8}, true});
    }
    for (const auto& place : place_labels(wishes, marks, 600, 100))
        CHECK(place);
}

TEST_CASE("a line to a hole with vias in its ring does not end at a via") {
    Mark hole{{300, 300}, 40, std::vector<double>(180, 100.0)};
    std::vector<Mark> marks{hole};
    for (const double turn : {0.0, 90.0, 180.0, 270.0}) {
        const double a = turn / 180 * std::acos(-1.0);
        marks.push_back({{300 + 70 * std::cos(a), 300 - 70 * std::sin(a)}, 6});
        for (int i = -3; i <= 3; ++i) // copper is met at the via
            marks.front().reach[static_cast<std::size_t>(turn / 2 + i + 180) % 180] = 77;
    }
    for (int i = 0; i < 24; ++i) // more holes round it: no place without a line
        marks.push_back({{300 + 128 * std::cos(i * 0.2618), 300 + 128 * std::sin(i * 0.2618)}, 3});
    const auto place = place_labels({{marks.front(), {60, 20}, {}, true}}, marks, 640, 640)[0];
    REQUIRE(place);
    REQUIRE(place->led);
    for (std::size_t i = 1; i < marks.size(); ++i)
        CHECK(std::hypot(place->from.x - marks[i].centre.x, place->from.y - marks[i].centre.y) >
              marks[i].radius + 3);
}
