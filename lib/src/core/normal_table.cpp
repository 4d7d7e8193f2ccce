// SPDX-License-Identifier: Apache-2.0
#include "core/normal_table.hpp"

#include "core/special.hpp"

namespace ringwall {

NormalTable::NormalTable() {
    constexpr double h = 1.0 / cells_a_unit;
    for (int i = 0; i < cells; ++i) {
        const double z0 = -reach + i * h, z1 = z0 + h;
        const double f0 = normal_cdf(z0), rise = normal_cdf(z1) - f0;
        const double d0 = h * normal_density(z0), d1 = h * normal_density(z1);
        const double s0 = -z0 * h * d0, s1 = -z1 * h * d1; // second derivatives
        cells_[static_cast<std::size_t>(i)] = {f0,
                                               d0,
                                               s0 / 2,
                                               10 * rise - 6 * d0 - 4 * d1 - 1.5 * s0 + 0.5 * s1,
                                               -15 * rise + 8 * d0 + 7 * d1 + 1.5 * s0 - s1,
                                               6 * rise - 3 * (d0 + d1) - 0.5 * (s0 - s1)};
    }
    cells_[cells] = {1, 0, 0, 0, 0, 0};
}

const NormalTable& NormalTable::get() {
    static const NormalTable table;
    return table;
}

} // namespace ringwall
