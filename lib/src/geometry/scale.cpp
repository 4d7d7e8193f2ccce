// SPDX-License-Identifier: Apache-2.0
#include "geometry/scale.hpp"

#include "core/text.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

constexpr double point_u_px = 0.5; // a person places a point to about half a pixel
constexpr double least_disagreement =
    0.01; // below this two scales are taken as one, whatever their points allow
constexpr double most_anisotropy = 0.03; // real pixels are square to 1 %; beyond 3 % a distance is wrong
constexpr double assumed_u_percent = 1;
constexpr double most_override = 0.02; // beyond this a given pixel size and the file's are told apart aloud

std::string size_words(double x_mm, double y_mm) {
    const std::string x = shortest(rounded(x_mm, 5)), y = shortest(rounded(y_mm, 5));
    return (x == y ? x : x + " x " + y) + " mm";
}

double length_px(const KnownDistance& known) {
    return std::hypot(known.to_px.x - known.from_px.x, known.to_px.y - known.from_px.y);
}

double relative_u(const KnownDistance& known) {
    return std::hypot(point_u_px * std::numbers::sqrt2 / length_px(known), known.u_mm.value_or(0) / known.mm);
}

double relative_u(const KnownBore& bore) {
    return std::hypot(bore.px.u() / bore.px.value(), bore.u_mm.value_or(0) / bore.mm);
}

double direction_deg(const KnownDistance& known) {
    return std::atan2(known.from_px.y - known.to_px.y, known.to_px.x - known.from_px.x) * 180 /
           std::numbers::pi;
}

void check_known(const KnownDistance& known) {
    if (!(known.mm > 0) || !std::isfinite(known.mm)) {
        throw Error(Fault::usage, "known distance: expected a length over 0 mm, got " + shortest(known.mm));
    }
    if (!(length_px(known) >= 1) || !std::isfinite(length_px(known))) {
        throw Error(Fault::usage, "known distance: expected two points at least 1 px apart, got " +
                                      shortest(length_px(known)) + " px");
    }
}

struct Factors {
    double x_mm, y_mm;
    double relative_u; // of the points alone
    bool apart;        // x and y found separately
};

/// One factor from all distances, each weighted by its own uncertainty (1/u^2 ~ length^2).
Factors one_factor(std::span<const KnownDistance> known) {
    double sum_mm = 0, sum_px = 0, weight = 0;
    for (const auto& k : known) {
        sum_mm += k.mm * length_px(k);
        sum_px += length_px(k) * length_px(k);
        weight += 1 / (relative_u(k) * relative_u(k));
    }
    return {sum_mm / sum_px, sum_mm / sum_px, 1 / std::sqrt(weight), false};
}

/// Normal equations for (sx^2, sy^2), rows scaled to unit length so that long and short distances count alike
/// by angle.
struct AxisEquations {
    double xx = 0, xy = 0, yy = 0, xr = 0, yr = 0;
    explicit AxisEquations(std::span<const KnownDistance> known) {
        for (const auto& k : known) {
            const double l2 = length_px(k) * length_px(k);
            const double cx = (k.to_px.x - k.from_px.x) * (k.to_px.x - k.from_px.x) / l2, cy = 1 - cx;
            const double r = k.mm * k.mm / l2, w = l2;
            xx += w * cx * cx, xy += w * cx * cy, yy += w * cy * cy, xr += w * cx * r, yr += w * cy * r;
        }
    }
    /// 1 for one distance along x and one along y; 0 when all lie in mirrored directions and cannot tell x
    /// from y.
    [[nodiscard]] double separation() const { return 4 * (xx * yy - xy * xy) / ((xx + yy) * (xx + yy)); }
};

Factors factors_of(std::span<const KnownDistance> known) {
    const Factors one = one_factor(known);
    const AxisEquations e(known);
    const double determinant = e.xx * e.yy - e.xy * e.xy;
    if (known.size() < 2 || e.separation() < 0.1) return one;
    const double sx2 = (e.yy * e.xr - e.xy * e.yr) / determinant,
                 sy2 = (e.xx * e.yr - e.xy * e.xr) / determinant;
    if (!(sx2 > 0) || !(sy2 > 0))
        return one; // the distances contradict each other: found below, against `one`
    return {std::sqrt(sx2), std::sqrt(sy2), one.relative_u, true};
}

[[noreturn]] void disagree(const std::string& what, double a, double b) {
    throw Error(Fault::input, "two scales disagree: " + what + " give " + shortest(rounded(a, 5)) + " and " +
                                  shortest(rounded(b, 5)) +
                                  " mm a pixel; give the right one with --pixel-mm");
}

double tolerance(double u_a, double u_b) {
    return std::max(least_disagreement, 3 * std::hypot(u_a, u_b));
}

/// Every distance against the factors that all of them gave together.
void check_among_each_other(std::span<const KnownDistance> known, const Factors& f) {
    if (f.apart &&
        std::abs(f.x_mm - f.y_mm) > std::max(most_anisotropy, 3 * f.relative_u) * (f.x_mm + f.y_mm) / 2) {
        disagree("known distances in x and in y", f.x_mm, f.y_mm);
    }
    const Scale scale = Scale::of(f.x_mm, f.y_mm, 0, {});
    for (const auto& k : known) {
        const double own = k.mm / length_px(k), all = scale.along_mm(direction_deg(k));
        if (std::abs(own / all - 1) > tolerance(relative_u(k), f.relative_u) / 2) {
            // Half: with two distances both lie on either side of their mean.
            const auto& other = &k == &known.front() ? known.back() : known.front();
            disagree("known distances", k.mm / length_px(k), other.mm / length_px(other));
        }
    }
}

Factors checked_factors(std::span<const KnownDistance> known) {
    for (const auto& k : known)
        check_known(k);
    const Factors factors = factors_of(known);
    check_among_each_other(known, factors);
    return factors;
}

void check_bore(const KnownBore& bore) {
    if (!(bore.mm > 0) || !std::isfinite(bore.mm))
        throw Error(Fault::usage, "known bore: expected a length over 0 mm, got " + shortest(bore.mm));
}

/// The bores' weighted mean, joined with the distances' factors, whose ratio of x to y stays.
Factors with_bores(std::optional<Factors> all, std::span<const KnownBore> bores) {
    for (const KnownBore& bore : bores) {
        check_bore(bore);
        const double own = bore.mm / bore.px.value(), u = std::max(relative_u(bore), 1e-9);
        if (!all) {
            all = Factors{own, own, u, false};
            continue;
        }
        const double mean = (all->x_mm + all->y_mm) / 2, mean_u = std::max(all->relative_u, 1e-9);
        if (std::abs(own / mean - 1) > tolerance(u, mean_u))
            disagree("a hole's bore and the lengths before it", own, mean);
        const double weight = 1 / (u * u), before = 1 / (mean_u * mean_u);
        const double factor = (own * weight + mean * before) / (weight + before) / mean;
        all = Factors{all->x_mm * factor, all->y_mm * factor, 1 / std::sqrt(weight + before), all->apart};
    }
    return all.value();
}

Factors all_factors(std::span<const KnownDistance> known, std::span<const KnownBore> bores) {
    return with_bores(known.empty() ? std::nullopt : std::optional(checked_factors(known)), bores);
}

std::string how_many(std::size_t count, const std::string& one, const std::string& more) {
    return count == 1 ? one : std::to_string(count) + " " + more;
}

std::string lengths_in_words(std::span<const KnownDistance> known, std::span<const KnownBore> bores) {
    std::string words =
        known.empty() ? std::string() : how_many(known.size(), "one known distance", "known distances");
    if (!bores.empty())
        words += (words.empty() ? "" : " and ") +
                 how_many(bores.size(), "one hole of known bore", "holes of known bore");
    return words;
}

std::string u_words(const ScaleSources& sources) {
    return sources.u_percent ? "" : "; its uncertainty of 1 % (k = 1) is assumed, not measured";
}

bool every_length_has_u(std::span<const KnownDistance> known, std::span<const KnownBore> bores) {
    const auto has = [](const auto& length) { return length.u_mm.has_value(); };
    return std::all_of(known.begin(), known.end(), has) && std::all_of(bores.begin(), bores.end(), has);
}

Scale from_known(std::span<const KnownDistance> known, std::span<const KnownBore> bores,
                 const ScaleSources& sources, const std::string& who) {
    const Factors f = all_factors(known, bores);
    const std::string words = lengths_in_words(known, bores) + " " + who + (f.apart ? ", x and y apart" : "");
    if (!sources.u_percent && every_length_has_u(known, bores)) {
        return Scale::of(f.x_mm, f.y_mm, f.relative_u,
                         words +
                             "; its uncertainty is that of the lengths and of their places in the picture");
    }
    if (!sources.u_percent && f.relative_u > assumed_u_percent / 100) {
        return Scale::of(
            f.x_mm, f.y_mm, f.relative_u,
            words + "; its uncertainty is that of points placed to half a pixel, over the usual 1 %");
    }
    return Scale::of(f.x_mm, f.y_mm, sources.u_percent.value_or(assumed_u_percent) / 100,
                     words + u_words(sources));
}

void check_stated(const StatedScale& stated, std::span<const KnownDistance> known,
                  std::span<const KnownBore> bores) {
    const Factors f = all_factors(known, bores);
    const double allowed = tolerance(f.relative_u, 0);
    const bool same = std::abs(stated.pixel_xy_mm[0] / f.x_mm - 1) <= allowed &&
                      std::abs(stated.pixel_xy_mm[1] / f.y_mm - 1) <= allowed;
    if (!same) {
        disagree("the file (" + stated.from + ") and the known lengths", stated.pixel_xy_mm[0], f.x_mm);
    }
}

} // namespace

Scale Scale::unknown(std::string why) {
    Scale scale;
    scale.words_ = std::move(why);
    return scale;
}

Scale Scale::of(double x_mm, double y_mm, double relative_u, std::string from) {
    assert(x_mm > 0 && y_mm > 0 && relative_u >= 0);
    Scale scale;
    scale.known_ = true;
    scale.x_mm_ = x_mm;
    scale.y_mm_ = y_mm;
    scale.relative_u_ = relative_u;
    scale.words_ = std::move(from);
    return scale;
}

double Scale::anisotropy() const {
    return known_ ? std::abs(x_mm_ - y_mm_) / (x_mm_ + y_mm_) : 0;
}

double Scale::along_mm(double angle_deg) const {
    if (x_mm_ == y_mm_) return x_mm_; // exactly, not up to rounding
    const double a = angle_deg * std::numbers::pi / 180;
    return std::hypot(x_mm_ * std::cos(a), y_mm_ * std::sin(a));
}

Estimate Scale::pixel_mm() const {
    return known_ ? Estimate::of(mean_mm(), mean_mm() * relative_u_) : Estimate::missing(words_);
}

Estimate Scale::diameter_mm(const Estimate& px) const {
    return known_ ? px.scaled(mean_mm(), relative_u_) : Estimate::missing(px ? words_ : px.why());
}

Estimate Scale::length_mm(const Estimate& px, double angle_deg) const {
    return known_ ? px.scaled(along_mm(angle_deg), relative_u_) : Estimate::missing(px ? words_ : px.why());
}

Estimate Scale::area_mm2(const Estimate& px2) const {
    // Twice the relative uncertainty: both sides of the area carry the same scale.
    return known_ ? px2.scaled(x_mm_ * y_mm_, 2 * relative_u_) : Estimate::missing(px2 ? words_ : px2.why());
}

std::optional<Point> Scale::at_mm(Point px) const {
    if (!known_) return std::nullopt;
    return Point{px.x * x_mm_, px.y * y_mm_};
}

Scale find_scale(const ScaleSources& sources) {
    const double u = sources.u_percent.value_or(assumed_u_percent) / 100;
    if (!sources.by_person.empty())
        return from_known(sources.by_person, {}, sources, "set by a person in this picture");
    if (sources.given_mm) {
        const auto [x, y] = *sources.given_mm;
        return Scale::of(x, y, u, sources.given + u_words(sources));
    }
    if (!sources.known.empty() || !sources.bores.empty()) {
        if (sources.stated) check_stated(*sources.stated, sources.known, sources.bores);
        return from_known(sources.known, sources.bores, sources, sources.given);
    }
    if (sources.stated) {
        const auto [x, y] = sources.stated->pixel_xy_mm;
        return Scale::of(x, y, u, sources.stated->from + u_words(sources));
    }
    return Scale::unknown("no scale: the file states none that is certain; give --pixel-mm or --known");
}

void check_inside(std::span<const KnownDistance> known, const SourceFacts& picture, Fault fault) {
    for (const KnownDistance& each : known)
        for (const Point at : {each.from_px, each.to_px}) {
            const bool inside = at.x >= -0.5 && at.y >= -0.5 && at.x <= picture.width_px - 0.5 &&
                                at.y <= picture.height_px - 0.5;
            if (inside) continue;
            throw Error(fault, picture.file + ": known distance: expected points inside the picture of " +
                                   std::to_string(picture.width_px) + " x " +
                                   std::to_string(picture.height_px) + " px, got (" + shortest(at.x) + ", " +
                                   shortest(at.y) + ")");
        }
}

std::optional<std::string> overridden_scale(const ScaleSources& sources) {
    if (!sources.by_person.empty() || !sources.given_mm || !sources.stated) return std::nullopt;
    const auto [x, y] = *sources.given_mm;
    const auto [file_x, file_y] = sources.stated->pixel_xy_mm;
    if (std::abs(x / file_x - 1) <= most_override && std::abs(y / file_y - 1) <= most_override)
        return std::nullopt;
    return "the pixel size given, " + size_words(x, y) + ", is used in place of " +
           size_words(file_x, file_y) + ", which the file states (" + sources.stated->from +
           "): every length in mm hangs on it";
}

} // namespace ringwall
