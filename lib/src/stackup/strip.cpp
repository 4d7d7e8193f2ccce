// SPDX-License-Identifier: Apache-2.0
#include "stackup/strip.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::stackup {
namespace {

constexpr double least_darkness =
    0.06;                         ///< of a board against the open beam: what flattening may leave is less
constexpr double steepest = 0.21; ///< slope searched about level and upright, 12 degrees

/// Block means, turned so that the board lies level: `upright` swaps x and y.
Image<float> coarse(ImageView<const float> t, int factor, bool upright) {
    const int width = t.width() / factor, height = t.height() / factor;
    Image<float> out(upright ? height : width, upright ? width : height);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            float sum = 0;
            for (int j = 0; j < factor; ++j)
                for (int i = 0; i < factor; ++i)
                    sum += t(x * factor + i, y * factor + j);
            const float mean = sum / static_cast<float>(factor * factor);
            (upright ? out(y, x) : out(x, y)) = std::clamp(mean, 0.0F, 1.0F);
        }
    return out;
}

/// A coarse picture sheared by a slope: row r of column x is y = r + slope * (x - middle).
class Sheared {
  public:
    Sheared(const Image<float>& picture, double slope)
        : picture_(picture), slope_(slope), middle_((picture.width() - 1) / 2.0) {}
    /// 1 outside the picture.
    [[nodiscard]] float at(int x, int r) const {
        const auto y = static_cast<int>(std::lround(r + slope_ * (x - middle_)));
        return y >= 0 && y < picture_.height() ? picture_(x, y) : 1.0F;
    }
    /// Energy of the steps of the mean over all columns: highest along the board.
    [[nodiscard]] double sharpness() const {
        std::vector<double> sum(static_cast<std::size_t>(picture_.height()));
        for (int x = 0; x < picture_.width(); ++x) {
            const auto shift = static_cast<int>(std::lround(slope_ * (x - middle_)));
            for (int r = 0; r < picture_.height(); ++r) {
                const int y = r + shift;
                sum[static_cast<std::size_t>(r)] += y >= 0 && y < picture_.height() ? picture_(x, y) : 1.0;
            }
        }
        double energy = 0;
        for (std::size_t r = 1; r < sum.size(); ++r)
            energy += (sum[r] - sum[r - 1]) * (sum[r] - sum[r - 1]);
        return energy / picture_.width() / picture_.width();
    }
    [[nodiscard]] int width() const { return picture_.width(); }
    [[nodiscard]] int height() const { return picture_.height(); }
    [[nodiscard]] double slope() const { return slope_; }
    [[nodiscard]] double middle() const { return middle_; }

  private:
    const Image<float>& picture_;
    double slope_, middle_;
};

struct Run {
    int first = 0, last = -1; ///< both included
    [[nodiscard]] int length() const { return last - first + 1; }
};

/// Longest run of true, gaps of up to `gap` bridged.
Run longest_run(const std::vector<bool>& in, int gap) {
    Run best, now;
    for (int i = 0; i < static_cast<int>(in.size()); ++i) {
        if (!in[static_cast<std::size_t>(i)]) continue;
        if (now.length() > 0 && i - now.last <= gap + 1)
            now.last = i;
        else
            now = {i, i};
        if (now.length() > best.length()) best = now;
    }
    return best;
}

float median(std::vector<float>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

Run dark_columns(const Sheared& picture) {
    std::vector<double> dark;
    for (int x = 0; x < picture.width(); ++x) {
        double sum = 0;
        for (int r = 0; r < picture.height(); ++r)
            sum += 1 - picture.at(x, r);
        dark.push_back(sum);
    }
    std::vector<double> sorted = dark;
    std::sort(sorted.begin(), sorted.end());
    const double usual = sorted[sorted.size() * 3 / 4];
    std::vector<bool> in;
    in.reserve(dark.size());
    for (const double d : dark)
        in.push_back(d > 0.5 * usual);
    return longest_run(in, 3);
}

/// Rows that are dark in most of the columns: a part standing on the board covers fewer.
Run dark_rows(const Sheared& picture, Run columns) {
    std::vector<bool> in;
    std::vector<float> values;
    for (int r = 0; r < picture.height(); ++r) {
        values.clear();
        for (int x = columns.first; x <= columns.last; ++x)
            values.push_back(picture.at(x, r));
        in.push_back(median(values) < 1 - least_darkness);
    }
    return longest_run(in, 0);
}

struct Direction {
    bool upright = false;
    double slope = 0, sharpness = 0;
};

Direction sharpest(const Image<float>& picture, bool upright, Watch& watch) {
    Direction best{upright, 0, -1};
    const double step = 1.0 / std::max(picture.width(), 8);
    const auto steps = static_cast<int>(steepest / step);
    for (int i = -steps; i <= steps; ++i) {
        if (watch.cancelled()) throw Cancelled{};
        const double sharpness = Sheared(picture, i * step).sharpness();
        if (sharpness > best.sharpness) best = {upright, i * step, sharpness};
    }
    return best;
}

Strip strip_of(const Sheared& picture, Run columns, Run rows, int factor, bool upright) {
    const double f = factor, centre = (f - 1) / 2; // of a block's first pixel
    const double across = (rows.first + rows.last) / 2.0, slope = picture.slope(), middle = picture.middle();
    const double along = (columns.first + columns.last) / 2.0;
    const Point at{along * f + centre, (across + slope * (along - middle)) * f + centre};
    const double turn = std::atan(slope) * 180 / std::numbers::pi, cosine = 1 / std::hypot(1, slope);
    Strip strip;
    strip.origin = upright ? Point{at.y, at.x} : at;
    strip.angle_deg = upright ? -90 + turn : -turn;
    if (strip.angle_deg <= -90) strip.angle_deg += 180;
    const double half = columns.length() * f / 2 / cosine, thick = rows.length() * f / 2 * cosine;
    strip.first = -half, strip.last = half, strip.low = -thick, strip.high = thick;
    return strip;
}

} // namespace

Point Strip::along_unit() const {
    const double a = angle_deg * std::numbers::pi / 180;
    return {std::cos(a), -std::sin(a)};
}

// Across runs from the upper face to the lower one; of an upright board from left to right.
Point Strip::strip_from_image(Point p) const {
    const Point u = along_unit();
    const double side = std::abs(angle_deg) > 45 ? (angle_deg > 0 ? 1 : -1) : 1;
    const double dx = p.x - origin.x, dy = p.y - origin.y;
    const double along = dx * u.x + dy * u.y;
    return {along, side * (dy * u.x - dx * u.y) - bow * along * along};
}

Point Strip::image_from_strip(Point p) const {
    const Point u = along_unit();
    const double side = std::abs(angle_deg) > 45 ? (angle_deg > 0 ? 1 : -1) : 1;
    const double across = side * (p.y + bow * p.x * p.x);
    return {origin.x + p.x * u.x - across * u.y, origin.y + p.x * u.y + across * u.x};
}

std::pair<std::optional<Strip>, std::string> find_strip(ImageView<const float> t, Watch& watch) {
    const int longest = std::max(t.width(), t.height());
    const int factor = longest >= 800 ? 4 : longest >= 300 ? 2 : 1;
    if (std::min(t.width(), t.height()) < 4 * factor)
        return {std::nullopt, "the picture is too small to hold a board seen edge-on"};
    const Image<float> level = coarse(t, factor, false), upright = coarse(t, factor, true);
    const Direction a = sharpest(level, false, watch), b = sharpest(upright, true, watch);
    const Direction& best = a.sharpness >= b.sharpness ? a : b;
    const Sheared sheared(best.upright ? upright : level, best.slope);
    const Run columns = dark_columns(sheared), rows = dark_rows(sheared, columns);
    if (columns.length() < 8 || rows.length() * factor < 8)
        return {std::nullopt, "no dark band was found that could be a board seen edge-on"};
    if (columns.length() < 2 * rows.length())
        return {std::nullopt,
                "what is dark in this picture is not longer than it is thick: no board seen edge-on"};
    return {strip_of(sheared, columns, rows, factor, best.upright), ""};
}

} // namespace ringwall::stackup
