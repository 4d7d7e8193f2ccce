// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace ringwall::rings {

/// splitmix64 (Steele, Lea & Flood 2014, doi 10.1145/2714064.2660195): same numbers on every platform.
class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    std::uint64_t bits() {
        std::uint64_t z = (state_ += 0x9e3779b97f4a7c15ULL);
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
        return z ^ (z >> 31);
    }
    /// In (0, 1).
    double uniform() { return (static_cast<double>(bits() >> 11) + 0.5) * 0x1.0p-53; }
    int below(int n) { return static_cast<int>(uniform() * n); }
    /// Box & Muller 1958.
    double normal() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        const double r = std::sqrt(-2 * std::log(uniform())), a = 2 * std::numbers::pi * uniform();
        spare_ = r * std::sin(a);
        has_spare_ = true;
        return r * std::cos(a);
    }

  private:
    std::uint64_t state_;
    double spare_ = 0;
    bool has_spare_ = false;
};

} // namespace ringwall::rings
