// SPDX-License-Identifier: Apache-2.0
#include "materials/open_border.hpp"

#include "bridge/parallel.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <mutex>

namespace ringwall::materials {
namespace {

constexpr int line_step = 3;
constexpr int open_run = 4; ///< pixels in a row that make open beam

/// Three rows or columns of the map side by side, as a walk of `count` pixels: one alone is too noisy where
/// the whole board takes a twentieth of the beam.
struct Walk {
    const float* first = nullptr; ///< of the middle one
    std::ptrdiff_t stride = 1;
    std::ptrdiff_t beside = 0; ///< from one line to the next
    int count = 0;
    [[nodiscard]] float at(int i) const {
        const float* p = first + i * stride;
        return p[-beside] + p[0] + p[beside];
    }
    [[nodiscard]] float mean9(int i) const { return mean9(at(i - 1), at(i), at(i + 1)); }
    static float mean9(float before, float here, float after) { return (before + here + after) / 9; }
};

class Border {
  public:
    Border(const std::vector<exposure::LogLevel>& levels, double open_above, double blur_px)
        : levels_(levels), open_above_(static_cast<float>(open_above)),
          beyond_(static_cast<int>(std::ceil(2.2 * blur_px)) + 2), counts_(levels.size(), 0) {}

    void follow(const Walk& walk) {
        int run = 0;
        float before = 0, here = walk.at(0), after = walk.at(1);
        for (int i = 1; i + beyond_ + 1 < walk.count; ++i) {
            before = here, here = after, after = walk.at(i + 1);
            if (Walk::mean9(before, here, after) >= open_above_) {
                ++run;
                continue;
            }
            if (run >= open_run) count(walk.mean9(i + beyond_));
            run = 0;
        }
    }
    void add(const Border& other) {
        all_ += other.all_;
        for (std::size_t i = 0; i < counts_.size(); ++i)
            counts_[i] += other.counts_[i];
    }
    [[nodiscard]] std::vector<double> shares() const {
        if (all_ < 50) return {};
        std::vector<double> shares;
        for (const double n : counts_)
            shares.push_back(n / all_);
        return shares;
    }

  private:
    void count(double t) {
        all_ += 1;
        const double p = -std::log(std::max(t, 1e-3));
        const int near = exposure::nearest_level(levels_, p);
        if (near < 0) return;
        const auto i = static_cast<std::size_t>(near);
        const double here = levels_[i].value;
        const double below = i > 0 ? here - levels_[i - 1].value : here;
        const double above = i + 1 < levels_.size() ? levels_[i + 1].value - here : below;
        if (std::abs(p - here) < 0.5 * std::max(below, above)) counts_[i] += 1;
    }

    const std::vector<exposure::LogLevel>& levels_;
    float open_above_;
    int beyond_;
    std::vector<double> counts_;
    double all_ = 0;
};

} // namespace

std::vector<double> shares_beside_open(const TransmissionMap& map,
                                       const std::vector<exposure::LogLevel>& levels) {
    if (levels.empty() || map.t.width() < 16 || map.t.height() < 16) return {};
    const Border none(levels, std::exp(-0.5 * levels.front().value), map.blur_sigma_px.value_or(1.0));
    Border border = none;
    std::mutex mutex;
    const int width = map.t.width(), height = map.t.height();
    const auto over_lines = [&](int length, const auto& follow) {
        bridge::over_rows(length / line_step, [&](int first, int last) {
            Border part = none;
            for (int i = first; i < last; ++i)
                follow(part, i * line_step + 1);
            const std::lock_guard lock(mutex);
            border.add(part); // whole numbers: their order is free
        });
    };
    over_lines(height, [&](Border& part, int y) {
        const float* row = map.t.view().row(y);
        part.follow({row, 1, width, width});
        part.follow({row + width - 1, -1, width, width});
    });
    over_lines(width, [&](Border& part, int x) {
        const float* column = map.t.data() + x;
        part.follow({column, width, 1, height});
        part.follow({column + static_cast<std::ptrdiff_t>(height - 1) * width, -width, 1, height});
    });
    return border.shares();
}

} // namespace ringwall::materials
