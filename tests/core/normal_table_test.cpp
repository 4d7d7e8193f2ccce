// SPDX-License-Identifier: Apache-2.0
#include "core/normal_table.hpp"
#include "core/special.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

using namespace ringwall;

TEST_CASE("the table of the normal distribution is as good as it says") {
    const NormalTable& table = NormalTable::get();
    double worst_cdf = 0, worst_pdf = 0;
    for (double z = -7.999; z < 8; z += 0.00137) {
        const NormalTable::Value at = table.at(z);
        worst_cdf = std::max(worst_cdf, std::abs(at.cdf - normal_cdf(z))); // std::erfc
        worst_pdf = std::max(worst_pdf, std::abs(at.pdf - normal_density(z)));
    }
    CHECK(worst_cdf < 1e-11);
    CHECK(worst_pdf < 1e-9);
}

TEST_CASE("beyond the table of the normal distribution all is outside or inside") {
    const NormalTable& table = NormalTable::get();
    CHECK(table.at(-50).cdf < 1e-15);
    CHECK(table.at(-50).pdf < 1e-13);
    CHECK(table.at(50).cdf == 1.0);
    CHECK(table.at(50).pdf == 0.0);
}
