// SPDX-License-Identifier: Apache-2.0
#include "stackup/profile.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::stackup {
namespace {

constexpr double bin_px = 0.25; ///< adds 0.25^2/12 px^2 to the blur: nothing

constexpr std::size_t bins_a_px = 4;

} // namespace

Profiles::Profiles(const TransmissionMap& map, const Strip& strip, double low, double high, double piece_px,
                   Watch& watch)
    : count_(std::max(1, static_cast<int>((strip.last - strip.first) / piece_px))),
      bins_across_(static_cast<int>(std::ceil((high - low) / bin_px))), first_(strip.first),
      piece_px_((strip.last - strip.first) / count_), low_(low), noise_(map.noise),
      bins_(static_cast<std::size_t>(count_) * static_cast<std::size_t>(bins_across_)) {
    const ImageView<const float> t = map.t.view();
    for (int y = 0; y < t.height(); ++y) {
        if (y % 64 == 0 && watch.cancelled()) throw Cancelled{};
        const float* row = t.row(y);
        for (int x = 0; x < t.width(); ++x) {
            const Point p = strip.strip_from_image({static_cast<double>(x), static_cast<double>(y)});
            const auto k = static_cast<int>(std::floor((p.y - low_) / bin_px));
            const auto piece = static_cast<int>(std::floor((p.x - first_) / piece_px_));
            if (k < 0 || k >= bins_across_ || piece < 0 || piece >= count_) continue;
            Bin& into = bins_[static_cast<std::size_t>(piece) * static_cast<std::size_t>(bins_across_) +
                              static_cast<std::size_t>(k)];
            into.t += row[x], into.z += p.y, into.n += 1, into.zz += p.y * p.y;
        }
    }
}

std::vector<Sample> Profiles::samples(const std::vector<Bin>& bins) const {
    std::vector<Sample> list;
    for (std::size_t k = 0; k + bins_a_px <= bins.size(); ++k) {
        Bin sum;
        double filled = 0; // of the stretch's bins: a level board fills one in four
        for (std::size_t i = k; i < k + bins_a_px; ++i) {
            sum.t += bins[i].t, sum.z += bins[i].z, sum.n += bins[i].n, sum.zz += bins[i].zz;
            filled += bins[i].n > 0.5 ? 1 : 0;
        }
        if (filled == 0) continue;
        const double t = sum.t / sum.n, z = sum.z / sum.n;
        if (!list.empty() && z - list.back().z < 1e-9) continue; // the same pixels again
        const double pixel = std::max(noise_.sigma(std::max(t, 0.01)), 1e-4);
        // Neighbours share three pixels in four: each counts for a quarter.
        const double u = pixel * std::sqrt(noise_.correlation * filled / sum.n);
        list.push_back({z, t, u, std::sqrt(std::max(0.0, sum.zz / sum.n - z * z))});
    }
    return list;
}

std::vector<Sample> Profiles::of(int piece) const {
    std::vector<double> weights(static_cast<std::size_t>(count_));
    weights[static_cast<std::size_t>(piece)] = 1;
    return of(weights);
}

std::vector<Sample> Profiles::of(const std::vector<double>& weights) const {
    std::vector<Bin> sum(static_cast<std::size_t>(bins_across_));
    for (int piece = 0; piece < count_; ++piece) {
        const double w = weights[static_cast<std::size_t>(piece)];
        if (w <= 0) continue;
        for (int k = 0; k < bins_across_; ++k) {
            const Bin& b = bin(piece, k);
            Bin& into = sum[static_cast<std::size_t>(k)];
            into.t += w * b.t, into.z += w * b.z, into.n += w * b.n, into.zz += w * b.zz;
        }
    }
    return samples(sum);
}

double Profiles::mean(int piece, double from, double to) const {
    double sum = 0, n = 0;
    const int last = std::min(bins_across_ - 1, static_cast<int>((to - low_) / bin_px));
    for (int k = std::max(0, static_cast<int>((from - low_) / bin_px)); k <= last; ++k)
        sum += bin(piece, k).t, n += bin(piece, k).n;
    return n > 0 ? sum / n : 1;
}

} // namespace ringwall::stackup
