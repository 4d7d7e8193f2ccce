// SPDX-License-Identifier: Apache-2.0
#include "rings/body.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

constexpr int deep = 5;         ///< px averaged across, on either side of a line
constexpr int half_span = 4;    ///< px averaged along it, to either side
constexpr int farthest = 400;   ///< px followed along a side each way
constexpr int shortest_px = 25; ///< of a side

Point plus(Point a, Point direction, double by) {
    return {a.x + by * direction.x, a.y + by * direction.y};
}

/// A straight edge; the dark side lies to the right of `along` as seen on screen.
struct Line {
    Point at, along;
    [[nodiscard]] Point inward() const { return {-along.y, along.x}; }
};

/// Means of T on both sides of a line.
struct Across {
    double bright = 0, dark = 0;
    bool inside = true;  ///< of the picture
    bool hidden = false; ///< by something no body is as dark as
};

/// A side as far as it was followed: px along the line from its point.
struct Run {
    int first = 0, last = 0;
    int on_board = 0;        ///< px with board on the bright side
    int on_air = 0;          ///< most px on end with nothing but air there
    double step = 0;         ///< ln T bright - ln T dark
    bool open = false;       ///< it may go on where nothing was looked at yet
    std::vector<int> breaks; ///< px where the step was last seen before it was lost for a while
    [[nodiscard]] int length() const { return last - first; }
};

class Follower {
  public:
    Follower(const TransmissionMap& map, const RingLevels& levels)
        : map_(map), levels_(levels), away_(2.2 * levels.blur_px + 0.5),
          air_above_(0.5 * (levels.open + levels.laminate)) {}

    /// The straightest step on board within a few px of a point.
    [[nodiscard]] std::optional<Line> start(Point near_px) const;
    /// Noise could pass no step at all off for this one.
    [[nodiscard]] bool too_faint(double step) const {
        return 4 * std::numbers::sqrt2 * noise_of(levels_.laminate) + 0.2 * step > 0.5 * step;
    }
    /// Follows and straightens `line`; `step`: of the body's other sides, 0 not known.
    Run follow(Line& line, double step) const;
    /// The side that meets the line's at its end (`forward`) or at its beginning.
    [[nodiscard]] std::optional<Line> round_the_corner(const Line& line, const Run& run, bool forward) const;

  private:
    [[nodiscard]] bool read(Point p, double& sum) const;
    [[nodiscard]] Across across(const Line& line, int s) const;
    [[nodiscard]] Across mean(const std::vector<Across>& all, int from, int to) const;
    [[nodiscard]] double noise_of(double t) const;
    [[nodiscard]] double tolerance(const Across& mean, double step) const;
    [[nodiscard]] bool is_air(double t) const;
    [[nodiscard]] std::optional<Line> turn_at(const Line& line, double step, int corner_px,
                                              bool forward) const;
    [[nodiscard]] std::vector<Across> samples(const Line& line, int reach) const;
    int walk(const std::vector<Across>& all, int way, Run& run) const;
    void straighten(Line& line, const Run& run) const;
    [[nodiscard]] double shift_at(const Line& line, int s) const;

    const TransmissionMap& map_;
    const RingLevels& levels_;
    double away_;      ///< px from a line to where its blur has ended
    double air_above_; ///< T
};

bool Follower::read(Point p, double& sum) const {
    const int x = static_cast<int>(std::lround(p.x)), y = static_cast<int>(std::lround(p.y));
    if (!map_.t.contains(x, y)) return false;
    sum += static_cast<double>(map_.t(x, y));
    return true;
}

Across Follower::across(const Line& line, int s) const {
    Across out;
    const Point here = plus(line.at, line.along, s), inward = line.inward();
    for (int k = 0; k < deep && out.inside; ++k)
        out.inside =
            read(plus(here, inward, -away_ - k), out.bright) && read(plus(here, inward, away_ + k), out.dark);
    out.bright /= deep;
    out.dark /= deep;
    out.hidden = std::min(out.bright, out.dark) < levels_.dense_below;
    return out;
}

std::vector<Across> Follower::samples(const Line& line, int reach) const {
    std::vector<Across> out;
    for (int s = -reach; s <= reach; ++s)
        out.push_back(across(line, s));
    return out;
}

Across Follower::mean(const std::vector<Across>& all, int from, int to) const {
    Across out;
    for (int k = from; k <= to; ++k) {
        const Across& a = all[static_cast<std::size_t>(k)];
        out.bright += a.bright / (to - from + 1);
        out.dark += a.dark / (to - from + 1);
        out.inside = out.inside && a.inside;
        out.hidden = out.hidden || a.hidden;
    }
    out.bright = std::max(out.bright, 1e-3);
    out.dark = std::max(out.dark, 1e-3);
    return out;
}

/// Of ln T, for a mean on one side of a line.
double Follower::noise_of(double t) const {
    const double count = deep * (2 * half_span + 1) / std::max(1.0, levels_.noise.correlation);
    return levels_.noise.sigma(t) / t / std::sqrt(count);
}

/// Four sigma of a step's noise, and a fifth of the step for what the beam's spectrum and shading make of it;
/// never so much that no step at all would do.
double Follower::tolerance(const Across& mean, double step) const {
    return std::min(4 * std::hypot(noise_of(mean.bright), noise_of(mean.dark)) + 0.2 * step, 0.5 * step);
}

/// As bright as nothing but air is: not as the blur of a wall, nor as a label burned into the picture.
bool Follower::is_air(double t) const {
    return std::abs(std::log(levels_.open / t)) <
           4 * noise_of(t) + 0.1 * std::log(levels_.open / levels_.laminate);
}

std::optional<Line> Follower::start(Point near_px) const {
    constexpr int reach = 10, turn_deg = 4;
    std::optional<Line> best;
    double most = 0;
    for (int deg = 0; deg < 360; deg += turn_deg)
        for (const double off : {-3.0, -1.5, 0.0, 1.5, 3.0}) {
            const double a = deg * std::numbers::pi / 180;
            Line line{near_px, {std::cos(a), std::sin(a)}};
            line.at = plus(near_px, line.inward(), off);
            const std::vector<Across> all = samples(line, reach);
            double least = 1e9; // of the thirds of the line: a curved or short edge has a weak one
            for (int third = 0; third < 3; ++third) {
                const Across part = mean(all, 7 * third, 7 * third + 6);
                const bool board = part.inside && !part.hidden && part.bright < air_above_;
                least = std::min(least, board ? part.bright - part.dark : 0.0);
            }
            if (least <= most) continue;
            most = least;
            best = line;
        }
    const double noise = levels_.noise.sigma(levels_.laminate) * std::sqrt(2.0 / (7 * deep));
    if (most < 4 * noise) return std::nullopt;
    return best;
}

/// Goes along from the line's point while the step stays what it is, past what lies before the body and past
/// the edges of what lies behind. Returns the last px where it is seen.
int Follower::walk(const std::vector<Across>& all, int way, Run& run) const {
    constexpr int most_spoilt = 25, most_hidden = 60;
    const int middle = static_cast<int>(all.size() / 2), end = middle - half_span;
    int last = 0, spoilt = 0, hidden = 0, on_air = 0;
    for (int k = 1; k <= end; ++k) {
        const int at = middle + way * k;
        const Across here = mean(all, at - half_span, at + half_span);
        if (!here.inside) return last;
        if (here.hidden) {
            if (++hidden > most_hidden) return last;
            continue;
        }
        if (std::abs(std::log(here.bright / here.dark) - run.step) < tolerance(here, run.step)) {
            if (spoilt > half_span) run.breaks.push_back(last);
            last = way * k;
            spoilt = hidden = 0;
            run.on_board += here.bright < air_above_ ? 1 : 0;
            on_air = is_air(here.bright) ? on_air + 1 : 0;
            run.on_air = std::max(run.on_air, on_air);
            continue;
        }
        on_air = 0;
        if (++spoilt > most_spoilt) return last;
    }
    run.open = true;
    return last;
}

/// How far inward of the line its edge lies at px `s`: where the means of 3 px on both sides differ most.
double Follower::shift_at(const Line& line, int s) const {
    double best = 0, most = 0;
    for (double off = -4; off <= 4; off += 0.5) {
        double bright = 0, dark = 0;
        for (int along = -3; along <= 3; ++along)
            for (int k = 1; k <= 3; ++k) {
                const Point here = plus(line.at, line.along, s + along);
                if (!read(plus(here, line.inward(), off - k), bright) ||
                    !read(plus(here, line.inward(), off + k), dark))
                    return 0;
            }
        if (bright - dark <= most) continue;
        most = bright - dark;
        best = off;
    }
    return best;
}

/// Lays the line through its edge by least squares, twice: then without what other edges have drawn aside.
void Follower::straighten(Line& line, const Run& run) const {
    double offset = 0, slope = 0;
    std::vector<Point> found;
    for (int s = run.first; s <= run.last; s += 4)
        found.push_back({static_cast<double>(s), shift_at(line, s)});
    for (int pass = 0; pass < 2; ++pass) {
        double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
        for (const Point& p : found) {
            if (pass > 0 && std::abs(p.y - offset - slope * p.x) > 1.5) continue;
            n += 1, sx += p.x, sy += p.y, sxx += p.x * p.x, sxy += p.x * p.y;
        }
        const double spread = n * sxx - sx * sx;
        if (n < 3 || spread <= 0) return;
        slope = (n * sxy - sx * sy) / spread;
        offset = (sy - slope * sx) / n;
    }
    line.at = plus(line.at, line.inward(), offset);
    const double length = std::hypot(1.0, slope);
    const Point along = plus(line.along, line.inward(), slope);
    line.along = {along.x / length, along.y / length};
}

Run Follower::follow(Line& line, double step) const {
    constexpr int straight = 40; // px: a shorter piece tells the direction less well than the side before
    Run run;
    run.first = -10;
    run.last = 10;
    run.step = step;
    for (const int reach : {24, 48, 96, 192, farthest}) {
        if (step == 0 || run.length() >= straight) straighten(line, run);
        const std::vector<Across> all = samples(line, reach + half_span);
        const int middle = reach + half_span;
        if (step == 0) {
            const Across first = mean(all, middle - 10, middle + 10);
            run.step = std::log(first.bright / first.dark);
        }
        run.on_board = run.on_air = 0;
        run.open = false;
        run.breaks.clear();
        run.first = walk(all, -1, run);
        run.last = walk(all, 1, run);
        if (!run.open) break;
    }
    return run;
}

/// The line at a right angle, inward, whose step fits best near px `corner_px` of the line.
std::optional<Line> Follower::turn_at(const Line& line, double step, int corner_px, bool forward) const {
    const Point corner = plus(line.at, line.along, corner_px);
    // The body stays on the right: forward the next side leads inward, backward it comes from there.
    const Point along = forward ? line.inward() : Point{-line.inward().x, -line.inward().y};
    std::optional<Line> best;
    double least = 1e9;
    for (int off = -10; off <= 10; ++off) {
        const Point at = plus(plus(corner, line.inward(), 12), line.along, off);
        const Line side{at, along};
        const Across here = mean(samples(side, half_span), 0, 2 * half_span);
        if (!here.inside) continue;
        const double wrong = std::abs(std::log(here.bright / here.dark) - step);
        if (wrong > std::min(least, tolerance(here, step))) continue;
        least = wrong;
        best = side;
    }
    return best;
}

/// The edge of something else may have prolonged the side: its end is tried first, then where it broke.
std::optional<Line> Follower::round_the_corner(const Line& line, const Run& run, bool forward) const {
    std::vector<int> corners{forward ? run.last : run.first};
    for (const int at : run.breaks)
        if ((at > 0) == forward) corners.insert(corners.begin() + 1, at); // the outermost comes first
    for (const int at : corners) {
        std::optional<Line> next = turn_at(line, run.step, at, forward);
        if (!next) continue;
        Line tried = *next;
        if (follow(tried, run.step).length() >= shortest_px) return next;
    }
    return std::nullopt;
}

bool leads_over_air(const Run& run) {
    constexpr int enough = 12;
    return run.on_board >= enough && run.on_air >= enough;
}

} // namespace

bool Body::covers(Point p, double margin_px) const {
    return std::all_of(sides.begin(), sides.end(), [&](const Side& side) {
        return (p.x - side.at.x) * side.inward.x + (p.y - side.at.y) * side.inward.y > -margin_px;
    });
}

std::optional<Body> body_at(const TransmissionMap& map, const RingLevels& levels, Point near_px) {
    constexpr int most_corners = 2;
    const Follower follower(map, levels);
    std::optional<Line> line = follower.start(near_px);
    if (!line) return std::nullopt;
    const Run first = follower.follow(*line, 0);
    if (first.length() < shortest_px || follower.too_faint(first.step)) return std::nullopt;
    Body body;
    body.step = first.step;
    body.sides.push_back({line->at, line->inward()});
    bool proven = leads_over_air(first);
    for (const bool forward : {true, false}) {
        Line from = *line;
        Run run = first;
        for (int corner = 0; corner < most_corners && body.sides.size() < 4; ++corner) {
            std::optional<Line> next = follower.round_the_corner(from, run, forward);
            if (!next) break;
            run = follower.follow(*next, first.step);
            body.sides.push_back({next->at, next->inward()});
            proven = proven || leads_over_air(run);
            from = *next;
        }
    }
    // A single edge may be a trace's that happens to point along the wall of a bore.
    if (!proven || body.sides.size() < 2) return std::nullopt;
    return body;
}

} // namespace ringwall::rings
