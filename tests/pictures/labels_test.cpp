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
