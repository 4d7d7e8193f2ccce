// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"

#include <doctest/doctest.h>

#include <opencv2/core/utility.hpp>

#include <atomic>
#include <stdexcept>
#include <thread>
#include <vector>

using namespace ringwall;

TEST_CASE("every row is worked on once") {
    std::vector<int> visits(1000, 0);
    bridge::over_rows(1000, [&](int first, int last) {
        for (int i = first; i < last; ++i)
            ++visits[static_cast<std::size_t>(i)];
    });
    CHECK(visits == std::vector<int>(1000, 1));
    bridge::over_rows(0, [](int, int) { FAIL("there is nothing to do"); });
}

TEST_CASE("what a piece throws comes through as it was thrown") {
    const auto run = [] {
        bridge::over_rows(64, [](int first, int last) {
            if (first <= 17 && 17 < last) throw std::out_of_range("row 17");
        });
    };
    CHECK_THROWS_WITH_AS(run(), "row 17", std::out_of_range);
}

TEST_CASE("a watch that says stop ends the work between two pieces") {
    struct Stop : Watch {
        int asked = 0;
        bool cancelled() override { return ++asked > 5; }
    } watch;
    std::atomic<int> done = 0;
    CHECK_THROWS_AS(bridge::over_each(1000, watch, [&](int) { ++done; }), Cancelled);
    CHECK(done == 5);
}

TEST_CASE("a pool of one thread works on the caller's, and the number before comes back") {
    const int before = cv::getNumThreads();
    {
        const bridge::PoolSize one(1);
        std::atomic<int> elsewhere = 0;
        const auto caller = std::this_thread::get_id();
        bridge::over_rows(256, [&](int, int) { elsewhere += std::this_thread::get_id() != caller; });
        CHECK(elsewhere == 0);
        const bridge::PoolSize as_before(0);
        CHECK(cv::getNumThreads() == 1);
    }
    CHECK(cv::getNumThreads() == before);
}
