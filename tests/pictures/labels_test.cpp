// SPDX-License-Identifier: Apache-2.0
#include "pictures/labels.hpp"

#include <doctest/doctest.h>

using namespace ringwall;

TEST_CASE("labels never overlap, stay in the field and off the disks") {
    std::vector<LabelWish> wishes;
    std::vector<Disk> disks;
    for (int i = 0; i < 400; ++i) {
        const Disk disk{{30.0 + 40 * (i % 20), 30.0 + 40 * (i / 20)}, 8};
        disks.push_back(disk);
        wishes.push_back({disk, 60, 14, false});
    }
    const auto places = place_labels(wishes, disks, 860, 860);
    REQUIRE(places.size() == wishes.size());
    int placed = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (!places[i]) continue;
        ++placed;
        const Box& box = places[i]->box;
        CHECK(box.x >= 0);
        CHECK(box.y + box.height <= 860);
        for (const auto& disk : disks)
            CHECK_FALSE(disk.meets(box));
        for (std::size_t k = 0; k < i; ++k) {
            if (places[k]) CHECK_FALSE(box.meets(places[k]->box));
        }
    }
    CHECK(placed > 20);
    CHECK(placed < 400); // it is crowded: some must be left out
}

TEST_CASE("a label that may lead finds a place further off; the first wish is served first") {
    std::vector<Disk> disks;
    for (int i = 0; i < 9; ++i)
        disks.push_back({{200.0 + 30 * (i % 3 - 1), 200.0 + 30 * (i / 3 - 1)}, 12});
    const LabelWish wish{disks[4], 80, 20, true};
    const auto places = place_labels({wish, wish}, disks, 600, 600);
    REQUIRE(places[0]);
    REQUIRE(places[1]);
    CHECK(places[0]->led);
    CHECK_FALSE(places[0]->box.meets(places[1]->box));
    CHECK_FALSE(place_labels({{disks[4], 80, 20, false}}, disks, 600, 600)[0]);
}
