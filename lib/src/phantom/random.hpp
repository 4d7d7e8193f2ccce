// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

namespace ringwall::phantom {

/// Portable random numbers: SplitMix64 (Steele, Lea, Flood 2014, doi 10.1145/2714064.2660195), the same on
/// every machine. Cheap to seed, so every pixel has its own: noise does not depend on the order in which
/// pixels are made.
class Random {
  public:
    explicit Random(std::uint64_t seed, std::uint64_t stream = 0)
        : state_(mix(seed) ^ mix(stream * odd + 1)) {}

    std::uint64_t next() { return mix(state_ += odd); }
    /// In (0, 1), 53 bits, never 0 or 1.
    double uniform() { return (static_cast<double>(next() >> 11) + 0.5) * 0x1p-53; }
    double between(double low, double high) { return low + (high - low) * uniform(); }
    int whole(int low, int high) {
        return low + static_cast<int>(uniform() * (high - low + 1));
    } ///< both included
    bool chance(double probability) { return uniform() < probability; }
    double normal();             ///< mean 0, standard deviation 1 (Box and Muller 1958)
    double poisson(double mean); ///< exact at any mean

    static std::uint64_t mix(std::uint64_t z) {
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
        z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
        return z ^ (z >> 31);
    }

  private:
    static constexpr std::uint64_t odd = 0x9e3779b97f4a7c15;
    std::uint64_t state_;
};

} // namespace ringwall::phantom
