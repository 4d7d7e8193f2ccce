// SPDX-License-Identifier: Apache-2.0
// What this project reads of a stack, for stacks.py: a line "width height slices [x y z]" and the voxels as
// floats.
#include "ringwall/error.hpp"
#include "ringwall/slice_stack.hpp"

#include <cstdio>

int main(int count, char** words) try {
    if (count != 2) return 2;
    const ringwall::SliceStack stack = ringwall::open_stack(words[1]);
    std::printf("%d %d %d", stack.width(), stack.height(), stack.slices());
    if (const auto& voxel = stack.facts().voxel)
        for (const double mm : voxel->voxel_mm)
            std::printf(" %.10g", mm);
    std::printf("\n");
    ringwall::Image<float> slice(stack.width(), stack.height());
    for (int z = 0; z < stack.slices(); ++z) {
        stack.read_slice(z, slice.view());
        std::fwrite(slice.data(), sizeof(float), slice.size(), stdout);
    }
    return 0;
} catch (const ringwall::Error& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
}
