// SPDX-License-Identifier: Apache-2.0
#include "stackup/block_profiles.hpp"

#include "bridge/parallel.hpp"
#include "ringwall/error.hpp"

#include <atomic>
#include <string>

namespace ringwall {
namespace {

void add_row(const float* row, int columns, std::vector<double>& sums) {
    for (int c = 0; c < columns; ++c) {
        float sum = 0;
        for (int i = 0; i < BlockProfiles::side_px; ++i)
            sum += row[c * BlockProfiles::side_px + i];
        sums[static_cast<std::size_t>(c)] += static_cast<double>(sum);
    }
}

void add_slice(ImageView<const float> slice, int z, BlockProfiles& blocks) {
    constexpr int side = BlockProfiles::side_px;
    std::vector<double> sums;
    for (int r = 0; r < blocks.rows(); ++r) {
        sums.assign(static_cast<std::size_t>(blocks.columns()), 0);
        for (int y = r * side; y < (r + 1) * side; ++y)
            add_row(slice.row(y), blocks.columns(), sums);
        for (int c = 0; c < blocks.columns(); ++c)
            blocks.of(r * blocks.columns() + c)[static_cast<std::size_t>(z)] =
                static_cast<float>(sums[static_cast<std::size_t>(c)] / (side * side));
    }
}

} // namespace

BlockProfiles block_profiles(const Volume& volume, Watch& watch) {
    constexpr int side = BlockProfiles::side_px;
    BlockProfiles blocks(volume.width_px / side, volume.height_px / side, volume.slices);
    if (blocks.columns() < 4 || blocks.rows() < 4 || volume.slices < 8)
        throw Error(Fault::nothing_measured, "expected a volume of at least 64 x 64 x 8 voxels, got " +
                                                 std::to_string(volume.width_px) + " x " +
                                                 std::to_string(volume.height_px) + " x " +
                                                 std::to_string(volume.slices));
    std::atomic<int> done = 0;
    bridge::over_each(volume.slices, watch, [&](int z) {
        Image<float> slice(volume.width_px, volume.height_px);
        volume.read_slice(z, slice.view());
        add_slice(slice.view(), z, blocks);
        watch.progress("looking for the board", ++done, volume.slices);
    });
    return blocks;
}

} // namespace ringwall
