// SPDX-License-Identifier: Apache-2.0
// fuzz_files FIRST_SEED COUNT FILE...: loads COUNT damaged copies of each file, as a picture and as a stack.
// Each must load or be refused with one line; anything else ends the run, and the damaged copy stays behind
// as fuzz_files.PID in the temporary folder.
#include "files/mutations.hpp"
#include "ringwall/error.hpp"
#include "ringwall/files.hpp"
#include "ringwall/slice_stack.hpp"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <unistd.h>

namespace {

using Clock = std::chrono::steady_clock;

std::vector<unsigned char> bytes_of(const char* file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

/// As a stack: opened and, where it opens, a few slices read.
void try_stack(const std::filesystem::path& file, const ringwall::LoadLimits& limits) {
    try {
        const ringwall::SliceStack stack = ringwall::open_stack(file, limits);
        ringwall::Image<float> slice(stack.width(), stack.height());
        for (int z = 0; z < std::min(stack.slices(), 20); ++z)
            stack.read_slice(z, slice.view());
    } catch (const ringwall::Error& error) {
        if (error.fault() == ringwall::Fault::program ||
            std::string(error.what()).find('\n') != std::string::npos)
            std::abort();
    }
}

/// True when it loaded.
bool try_file(const std::filesystem::path& file) {
    ringwall::LoadLimits limits;
    limits.memory_bytes = std::size_t{64} << 20;
    try_stack(file, limits);
    try {
        ringwall::describe_file(file, limits);
    } catch (const ringwall::Error&) {
        return false;
    }
    try {
        ringwall::load_radiograph(file, limits);
        return true;
    } catch (const ringwall::Error& error) {
        if (error.fault() != ringwall::Fault::input ||
            std::string(error.what()).find('\n') != std::string::npos)
            std::abort();
        return false;
    }
}

} // namespace

int main(int count, char** words) {
    if (count < 4) return 2;
    const auto first = std::strtoull(words[1], nullptr, 10), copies = std::strtoull(words[2], nullptr, 10);
    const auto place = std::filesystem::temp_directory_path() / ("fuzz_files." + std::to_string(::getpid()));
    for (int i = 3; i < count; ++i) {
        const auto whole = bytes_of(words[i]);
        unsigned loaded = 0;
        double slowest = 0;
        for (auto seed = first; seed < first + copies && !whole.empty(); ++seed) {
            const auto damaged = ringwall::test::mutated(whole, seed);
            std::ofstream(place, std::ios::binary)
                .write(reinterpret_cast<const char*>(damaged.data()),
                       static_cast<std::streamsize>(damaged.size()));
            const auto start = Clock::now();
            loaded += try_file(place) ? 1 : 0;
            const double seconds = std::chrono::duration<double>(Clock::now() - start).count();
            if (seconds > 2)
                std::printf("slow: seed %llu of %s, %.1f s\n", static_cast<unsigned long long>(seed),
                            words[i], seconds);
            slowest = std::max(slowest, seconds);
        }
        std::printf("%s: %u of %llu loaded, slowest %.3f s\n", words[i], loaded,
                    static_cast<unsigned long long>(copies), slowest);
        std::fflush(stdout);
    }
    std::filesystem::remove(place);
    return 0;
}
