// SPDX-License-Identifier: Apache-2.0
// How fast a slice stack opens and reads: bench_stack STACK...
//
// Each stack is opened, then read whole by one thread and by two, slice by slice into one picture a thread.
// The first pass fills the page cache and is not counted: what is measured is the reader and not the disk.
#include "ringwall/error.hpp"
#include "ringwall/slice_stack.hpp"

#include <chrono>
#include <cstdio>
#include <thread>
#include <vector>

namespace {

using Clock = std::chrono::steady_clock;

double seconds_since(Clock::time_point start) {
    return std::chrono::duration<double>(Clock::now() - start).count();
}

/// Every `step`-th slice from `first` on.
void read(const ringwall::SliceStack& stack, int first, int step) {
    ringwall::Image<float> slice(stack.width(), stack.height());
    for (int z = first; z < stack.slices(); z += step)
        stack.read_slice(z, slice.view());
}

double read_seconds(const ringwall::SliceStack& stack, int threads) {
    const auto start = Clock::now();
    std::vector<std::thread> others;
    for (int i = 1; i < threads; ++i)
        others.emplace_back([&stack, i, threads] { read(stack, i, threads); });
    read(stack, 0, threads);
    for (auto& other : others)
        other.join();
    return seconds_since(start);
}

} // namespace

int main(int count, char** words) try {
    std::printf("| stack | voxels | open s | Mvoxel/s, 1 thread | 2 threads |\n|---|---|---|---|---|\n");
    for (int i = 1; i < count; ++i) {
        const auto start = Clock::now();
        const ringwall::SliceStack stack = ringwall::open_stack(words[i]);
        const double open = seconds_since(start);
        read(stack, 0, 1);
        const double voxels = static_cast<double>(stack.width()) * stack.height() * stack.slices();
        const double one = read_seconds(stack, 1), two = read_seconds(stack, 2);
        std::printf("| %s | %d x %d x %d | %.3f | %.0f | %.0f |\n", words[i], stack.width(), stack.height(),
                    stack.slices(), open, voxels / one / 1e6, voxels / two / 1e6);
        std::fflush(stdout);
    }
    return 0;
} catch (const ringwall::Error& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
}
