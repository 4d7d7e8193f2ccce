// SPDX-License-Identifier: Apache-2.0
#include "stackup/align.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

namespace ringwall::stackup {
namespace {

double quantile_of(std::vector<double> values, double q) {
    if (values.empty()) return 0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(q * static_cast<double>(values.size() - 1))];
}

/// Where the transmission first falls through a level, from the outside; `forward`: from the low side.
std::optional<double> crossing(const std::vector<Sample>& samples, double level, bool forward) {
    const auto n = samples.size();
    for (std::size_t i = 0; i + 1 < n; ++i) {
        const Sample& a = samples[forward ? i : n - 1 - i];
        const Sample& b = samples[forward ? i + 1 : n - 2 - i];
        if (a.t >= level && b.t < level) return a.z + (b.z - a.z) * (a.t - level) / (a.t - b.t);
    }
    return std::nullopt;
}

/// Means of a few bins: single pixels of a short piece are too noisy for a first crossing.
std::vector<Sample> smoothed(const std::vector<Sample>& samples) {
    std::vector<Sample> out;
    const auto n = static_cast<std::ptrdiff_t>(samples.size());
    for (std::ptrdiff_t i = 0; i < n; ++i) {
        double z = 0, t = 0;
        const std::ptrdiff_t reach = std::min<std::ptrdiff_t>({2, i, n - 1 - i});
        for (std::ptrdiff_t k = i - reach; k <= i + reach; ++k)
            z += samples[static_cast<std::size_t>(k)].z, t += samples[static_cast<std::size_t>(k)].t;
        const auto count = static_cast<double>(2 * reach + 1);
        out.push_back({z / count, t / count, samples[static_cast<std::size_t>(i)].u, 0});
    }
    return out;
}

struct FacePoint {
    double along, across;
    int face;
};

/// across = offset of the face + slope * along + bend * along^2.
struct Parabola {
    std::array<double, 2> offset{};
    double slope = 0, bend = 0, scatter = 1;
    [[nodiscard]] double off(const FacePoint& p) const {
        return p.across - offset[static_cast<std::size_t>(p.face)] - slope * p.along -
               bend * p.along * p.along;
    }
};

/// Tukey's biweight, from the median scatter down.
Parabola robust_parabola(const std::vector<FacePoint>& points, double half_length, bool bent) {
    Parabola fit;
    std::vector<double> off;
    for (int face = 0; face < 2; ++face) {
        std::vector<double> at;
        for (const FacePoint& p : points)
            if (p.face == face) at.push_back(p.across);
        fit.offset[static_cast<std::size_t>(face)] = quantile_of(at, 0.5);
    }
    fit.scatter = 3;
    for (int pass = 0; pass < 12; ++pass) {
        Eigen::Matrix4d matrix = Eigen::Matrix4d::Identity() * 1e-9;
        Eigen::Vector4d right = Eigen::Vector4d::Zero();
        for (const FacePoint& p : points) {
            const double r = fit.off(p) / (4.685 * fit.scatter);
            const double w = std::abs(r) < 1 ? (1 - r * r) * (1 - r * r) : 0;
            const double x = p.along / half_length;
            const Eigen::Vector4d row(p.face == 0 ? 1 : 0, p.face == 1 ? 1 : 0, x, bent ? x * x : 0);
            matrix += w * row * row.transpose();
            right += w * p.across * row;
        }
        const Eigen::Vector4d a = matrix.ldlt().solve(right);
        fit.offset = {a[0], a[1]};
        fit.slope = a[2] / half_length, fit.bend = a[3] / half_length / half_length;
        off.clear();
        for (const FacePoint& p : points)
            off.push_back(std::abs(fit.off(p)));
        fit.scatter = std::max(0.02, 1.4826 * quantile_of(off, 0.5));
    }
    return fit;
}

Strip moved(const Strip& strip, const Parabola& fit) {
    Strip out = strip;
    const double middle = (fit.offset[0] + fit.offset[1]) / 2, half = (fit.offset[1] - fit.offset[0]) / 2;
    out.origin = strip.image_from_strip({0, middle});
    // Across grows to the right of `along`, or to its left for a board that stands: see strip_from_image.
    const bool mirrored = strip.angle_deg < -45;
    out.angle_deg = strip.angle_deg + (mirrored ? 1 : -1) * std::atan(fit.slope) * 180 / std::numbers::pi;
    out.bow = strip.bow + fit.bend;
    out.low = -half, out.high = half;
    if (out.angle_deg > 90) out.angle_deg -= 180;
    if (out.angle_deg <= -90) out.angle_deg += 180;
    return out;
}

/// Level halfway down into the board, of all pieces alike.
double half_level(const Profiles& all, const Strip& strip) {
    std::vector<double> inside;
    for (int i = 0; i < all.count(); ++i)
        for (const Sample& s : all.of(i))
            if (s.z > strip.low && s.z < strip.high) inside.push_back(s.t);
    return (1 + quantile_of(inside, 0.2)) / 2;
}

std::vector<FacePoint> face_points(const Profiles& all, const Strip& strip) {
    const double level = half_level(all, strip);
    std::vector<FacePoint> points;
    for (int i = 0; i < all.count(); ++i) {
        const std::vector<Sample> samples = smoothed(all.of(i));
        const auto low = crossing(samples, level, true), high = crossing(samples, level, false);
        if (low && high && samples.front().t > level && samples.back().t > level) {
            points.push_back({all.along(i), *low, 0});
            points.push_back({all.along(i), *high, 1});
        }
    }
    return points;
}

/// 0 where the board ends, or where something stands on a face; else 1.
std::vector<double> plain_pieces(const Profiles& all, const Strip& strip) {
    std::vector<double> inside, low, high;
    const double near = 3, far = beside_px - 1;
    for (int i = 0; i < all.count(); ++i) {
        inside.push_back(1 - all.mean(i, strip.low, strip.high));
        low.push_back(all.mean(i, strip.low - far, strip.low - near));
        high.push_back(all.mean(i, strip.high + near, strip.high + far));
    }
    const double usual = quantile_of(inside, 0.5), open = quantile_of(low, 0.75),
                 open2 = quantile_of(high, 0.75);
    std::vector<double> weights;
    for (std::size_t i = 0; i < inside.size(); ++i) {
        const bool board = inside[i] > 0.8 * usual && inside[i] < 1.25 * usual + 0.02;
        const bool clear = low[i] > open - 0.04 && high[i] > open2 - 0.04;
        weights.push_back(board && clear ? 1 : 0);
    }
    return weights;
}

} // namespace

Profiles profiles(const TransmissionMap& map, const Strip& strip, Watch& watch) {
    const double length = std::clamp((strip.last - strip.first) / 10, 6.0, piece_px);
    return {map, strip, strip.low - beside_px, strip.high + beside_px, length, watch};
}

Aligned align(const TransmissionMap& map, const Strip& coarse, Watch& watch) {
    Aligned out{coarse, 0, {}, ""};
    const double half_length = (coarse.last - coarse.first) / 2;
    for (int pass = 0; pass < 3; ++pass) {
        const Profiles all = profiles(map, out.strip, watch);
        const auto points = face_points(all, out.strip);
        if (points.size() < 8) {
            out.why = "the dark band has no two faces with open beam beside them: no board seen edge-on";
            return out;
        }
        const Parabola fit = robust_parabola(points, half_length, pass > 0 && points.size() >= 16);
        out.strip = moved(out.strip, fit);
        out.scatter_px = fit.scatter;
    }
    if (out.scatter_px > 2) out.why = "the dark band's faces are not straight: no board seen edge-on";
    const Profiles all = profiles(map, out.strip, watch);
    out.weights = plain_pieces(all, out.strip);
    if (std::count(out.weights.begin(), out.weights.end(), 1.0) < 4)
        out.why = "no stretch of the board is free of parts on both faces";
    return out;
}

} // namespace ringwall::stackup
