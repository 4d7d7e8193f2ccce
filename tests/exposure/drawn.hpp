// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/radiograph.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <vector>

/// Small boards with known levels, drawn apart from the product's own phantom: classes on a fine grid,
/// intensities averaged into pixels, blurred, then heel, noise and the stored scale.
namespace drawn {

struct Random { // splitmix64
    std::uint64_t state;
    std::uint64_t bits() {
        std::uint64_t z = (state += 0x9E3779B97F4A7C15ULL);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31);
    }
    double uniform() { return static_cast<double>(bits() >> 11) * 0x1.0p-53; }
    double uniform(double low, double high) { return low + (high - low) * uniform(); }
    int below(int n) { return static_cast<int>(uniform() * n); }
    double normal() {
        const double u = 1 - uniform(), v = uniform();
        return std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586 * v);
    }
};

struct Choice {
    std::uint64_t seed = 1;
    int width = 1200, height = 900; ///< px
    double laminate_p = 0.085, foil_p = 0.082;
    double hardening = 0; ///< k foils attenuate k foil_p (1 - hardening (k - 1))
    double barrel_p = 1.5;
    double blur_sigma_px = 1.2, photons = 5000, readout = 0;
    double heel = 0.15, heel_deg = 30, heel_curve = 0; ///< fall over the field; share of it that is quadratic
    bool dense_bright = false;
    bool air = true; ///< board with air round it; else it fills the field
    bool parts = false;
    int bores = 6, vias = 25, planes = 2;
    int fine = 3; ///< samples a pixel and axis
    double open_grey = 40000;
    double drilled_min = 40, drilled_max = 66; ///< bore radii of hardware holes, px
};

struct Picture {
    ringwall::Radiograph radiograph;
    ringwall::Image<float> truth_t;   ///< blurred, without heel and noise
    std::vector<double> copper_t;     ///< levels of laminate with 1, 2, ... foils
    std::vector<double> copper_share; ///< share of the field
    double laminate_t = 1, laminate_share = 0;
};

class Drawing {
  public:
    explicit Drawing(const Choice& choice)
        : c_(choice), random_{choice.seed * 7919 + 17}, width_(c_.width * c_.fine),
          height_(c_.height * c_.fine), foils_(static_cast<std::size_t>(width_) * height_, 0) {}

    Picture run() {
        place_holes();
        for (int plane = 0; plane < c_.planes; ++plane)
            add_plane(plane);
        add_traces();
        drill();
        if (c_.air) trim();
        if (c_.parts) add_parts();
        return expose();
    }

  private:
    static constexpr std::uint8_t air = 255, barrel = 254, part = 253;
    struct Hole {
        double x, y, r;
        bool plated;
        double ring; ///< outer radius of the copper-free ring
    };

    template<typename F>
    void disk(double x, double y, double r, const F& f) { // px
        const double k = c_.fine;
        for (int j = std::max(0, static_cast<int>((y - r) * k));
             j <= std::min(height_ - 1, static_cast<int>((y + r + 1) * k)); ++j)
            for (int i = std::max(0, static_cast<int>((x - r) * k));
                 i <= std::min(width_ - 1, static_cast<int>((x + r + 1) * k)); ++i) {
                const double dx = (i + 0.5) / k - 0.5 - x, dy = (j + 0.5) / k - 0.5 - y;
                if (dx * dx + dy * dy <= r * r) f(foils_[static_cast<std::size_t>(j) * width_ + i]);
            }
    }
    template<typename F>
    void box(double x0, double y0, double x1, double y1, const F& f) {
        const int k = c_.fine;
        for (int j = std::max(0, static_cast<int>(y0 * k)); j < std::min(height_, static_cast<int>(y1 * k));
             ++j)
            for (int i = std::max(0, static_cast<int>(x0 * k));
                 i < std::min(width_, static_cast<int>(x1 * k)); ++i)
                f(foils_[static_cast<std::size_t>(j) * width_ + i]);
    }

    void place_holes() {
        const double edge = c_.air ? 160 : 110;
        for (int tries = 0; tries < 4000 && static_cast<int>(holes_.size()) < c_.bores + c_.vias; ++tries) {
            const bool hardware = static_cast<int>(holes_.size()) < c_.bores;
            Hole h{};
            h.r = hardware ? random_.uniform(c_.drilled_min, c_.drilled_max) : random_.uniform(6, 8);
            h.ring = h.r + (hardware ? random_.uniform(10, 30) : random_.uniform(8, 14));
            h.plated = !hardware || random_.uniform() < 0.4;
            h.x = random_.uniform(edge, c_.width - edge);
            h.y = random_.uniform(edge, c_.height - edge);
            bool free = true;
            for (const Hole& o : holes_)
                free = free && std::hypot(o.x - h.x, o.y - h.y) > o.ring + h.ring + 12;
            if (free) holes_.push_back(h);
        }
    }
    void add_plane(int plane) {
        std::vector<std::uint8_t> before = foils_;
        const double m = c_.air ? 130 : -1;
        if (plane == 0) {
            box(m, m, c_.width - m, c_.height - m, [](std::uint8_t& v) { ++v; });
            box(c_.width * 0.30, c_.height * 0.2, c_.width * 0.42, c_.height * 0.8,
                [](std::uint8_t& v) { --v; });
        } else {
            const double x0 = random_.uniform(0, 0.3) * c_.width, y0 = random_.uniform(0, 0.3) * c_.height;
            box(std::max(m, x0), std::max(m, y0), std::min(c_.width - m, x0 + 0.6 * c_.width),
                std::min(c_.height - m, y0 + 0.6 * c_.height), [](std::uint8_t& v) { ++v; });
        }
        for (const Hole& h : holes_) {
            const double k = c_.fine;
            for (int j = std::max(0, static_cast<int>((h.y - h.ring) * k));
                 j <= std::min(height_ - 1, static_cast<int>((h.y + h.ring + 1) * k)); ++j)
                for (int i = std::max(0, static_cast<int>((h.x - h.ring) * k));
                     i <= std::min(width_ - 1, static_cast<int>((h.x + h.ring + 1) * k)); ++i) {
                    const double dx = (i + 0.5) / k - 0.5 - h.x, dy = (j + 0.5) / k - 0.5 - h.y;
                    const auto at = static_cast<std::size_t>(j) * width_ + i;
                    if (dx * dx + dy * dy <= h.ring * h.ring) foils_[at] = before[at];
                }
        }
    }
    void add_traces() {
        for (int n = 0; n < 30; ++n) {
            const double x = random_.uniform(0.1, 0.8) * c_.width, y = random_.uniform(0.15, 0.8) * c_.height;
            const double length = random_.uniform(40, 300), w = random_.uniform(5, 12);
            if (random_.uniform() < 0.5)
                box(x, y, x + length, y + w, [](std::uint8_t& v) { ++v; });
            else
                box(x, y, x + w, y + length, [](std::uint8_t& v) { ++v; });
        }
    }
    void drill() {
        for (const Hole& h : holes_) {
            if (h.plated) disk(h.x, h.y, h.r + 1.2, [](std::uint8_t& v) { v = barrel; });
            disk(h.x, h.y, h.r, [](std::uint8_t& v) { v = air; });
        }
    }
    void trim() {
        const auto f = [](std::uint8_t& v) { v = air; };
        box(0, 0, 90.3, c_.height, f);
        box(c_.width - 80.6, 0, c_.width, c_.height, f);
        box(0, 0, c_.width, 85.7, f);
        box(0, c_.height - 95.4, c_.width, c_.height, f);
    }
    void add_parts() {
        for (int n = 0; n < 14; ++n) {
            const double x = random_.uniform(0.12, 0.8) * c_.width,
                         y = random_.uniform(0.15, 0.8) * c_.height;
            box(x, y, x + random_.uniform(15, 70), y + random_.uniform(10, 40),
                [](std::uint8_t& v) { v = part; });
        }
    }
    double level(std::uint8_t code) const {
        if (code == air) return 1;
        if (code == barrel) return std::exp(-c_.laminate_p - c_.barrel_p);
        if (code == part) return std::exp(-c_.laminate_p - 1.1);
        return std::exp(-c_.laminate_p - code * c_.foil_p * (1 - c_.hardening * (code > 0 ? code - 1 : 0)));
    }

    Picture expose() {
        Picture picture;
        std::array<double, 256> levels{};
        std::array<double, 256> counts{};
        for (int code = 0; code < 256; ++code)
            levels[static_cast<std::size_t>(code)] = level(static_cast<std::uint8_t>(code));
        // Blurred on the fine grid: a blur of whole pixels would make an edge's width depend on where it cuts
        // them.
        std::vector<float> fine(foils_.size());
        for (std::size_t i = 0; i < foils_.size(); ++i) {
            fine[i] = static_cast<float>(levels[foils_[i]]);
            counts[foils_[i]] += 1;
        }
        blur(fine);
        ringwall::Image<float> t(c_.width, c_.height);
        for (int y = 0; y < c_.height; ++y)
            for (int x = 0; x < c_.width; ++x) {
                float sum = 0;
                for (int j = 0; j < c_.fine; ++j)
                    for (int i = 0; i < c_.fine; ++i)
                        sum += fine[static_cast<std::size_t>(y * c_.fine + j) * width_ + x * c_.fine + i];
                t(x, y) = sum / static_cast<float>(c_.fine * c_.fine);
            }
        picture.laminate_t = levels[0];
        picture.laminate_share = counts[0] / static_cast<double>(foils_.size());
        for (std::size_t k = 1; k < 8 && counts[k] > 0; ++k) {
            picture.copper_t.push_back(levels[k]);
            picture.copper_share.push_back(counts[k] / static_cast<double>(foils_.size()));
        }
        picture.radiograph = store(t);
        picture.truth_t = std::move(t);
        return picture;
    }
    void blur(std::vector<float>& t) const {
        if (c_.blur_sigma_px <= 0) return;
        const double sigma = c_.blur_sigma_px * c_.fine;
        const int reach = static_cast<int>(std::ceil(4.5 * sigma));
        std::vector<float> kernel(static_cast<std::size_t>(2 * reach + 1));
        double sum = 0;
        for (int i = -reach; i <= reach; ++i)
            sum += std::exp(-0.5 * i * i / (sigma * sigma));
        for (int i = -reach; i <= reach; ++i)
            kernel[static_cast<std::size_t>(i + reach)] =
                static_cast<float>(std::exp(-0.5 * i * i / (sigma * sigma)) / sum);
        std::vector<float> other(t.size());
        for (int y = 0; y < height_; ++y) { // along rows
            const float* from = t.data() + static_cast<std::size_t>(y) * width_;
            float* to = other.data() + static_cast<std::size_t>(y) * width_;
            for (int x = 0; x < width_; ++x) {
                float s = 0;
                if (x >= reach && x + reach < width_)
                    for (int i = -reach; i <= reach; ++i)
                        s += kernel[static_cast<std::size_t>(i + reach)] * from[x + i];
                else
                    for (int i = -reach; i <= reach; ++i)
                        s += kernel[static_cast<std::size_t>(i + reach)] *
                             from[std::clamp(x + i, 0, width_ - 1)];
                to[x] = s;
            }
        }
        for (int y = 0; y < height_; ++y) { // along columns, a row at a time
            float* to = t.data() + static_cast<std::size_t>(y) * width_;
            std::fill(to, to + width_, 0.0F);
            for (int i = -reach; i <= reach; ++i) {
                const float k = kernel[static_cast<std::size_t>(i + reach)];
                const float* from =
                    other.data() + static_cast<std::size_t>(std::clamp(y + i, 0, height_ - 1)) * width_;
                for (int x = 0; x < width_; ++x)
                    to[x] += k * from[x];
            }
        }
    }

  public:
    /// Open beam at a pixel, mean about 1.
    static double beam(const Choice& c, int x, int y) {
        const double a = c.heel_deg * 3.141592653589793 / 180, half = std::max(c.width, c.height) / 2.0;
        const double s =
            ((x - c.width / 2.0) * std::cos(a) - (y - c.height / 2.0) * std::sin(a)) / half; // about -1 to 1
        return 1 - c.heel * ((1 - c.heel_curve) * s / 2 + c.heel_curve * s * s / 2);
    }

  private:
    ringwall::Radiograph store(const ringwall::Image<float>& t) {
        ringwall::Radiograph r;
        r.values = ringwall::Image<float>(c_.width, c_.height);
        for (int y = 0; y < c_.height; ++y)
            for (int x = 0; x < c_.width; ++x) {
                const double b = beam(c_, x, y);
                double s = t(x, y) * b;
                if (c_.photons > 0) s += std::sqrt(s / c_.photons) * random_.normal();
                if (c_.readout > 0) s += c_.readout * random_.normal();
                const double v = std::clamp(std::round(s * c_.open_grey), 0.0, 65535.0);
                r.values(x, y) = static_cast<float>(c_.dense_bright ? 65535 - v : v);
            }
        r.facts.file = "drawn.tif";
        r.facts.format = "TIFF";
        r.facts.bits = 16;
        r.facts.width_px = c_.width;
        r.facts.height_px = c_.height;
        r.facts.full_scale = 65535;
        return r;
    }

    const Choice& c_;
    Random random_;
    int width_, height_;
    std::vector<std::uint8_t> foils_;
    std::vector<Hole> holes_;
};

inline Picture draw(const Choice& choice) {
    return Drawing(choice).run();
}

} // namespace drawn
