// SPDX-License-Identifier: Apache-2.0
#include "ringwall/phantom.hpp"

#include "phantom/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

/// Open beam relative to its brightest place: falls smoothly, half in proportion and half with the square, by
/// `heel` from one end of the picture to the other along the stated direction.
class Heel {
  public:
    Heel(const Exposure& exposure, int width, int height) : heel_(exposure.heel) {
        const double angle = exposure.heel_angle_deg * std::numbers::pi / 180;
        const double dx = std::cos(angle), dy = -std::sin(angle);
        const double length = std::abs(dx) * (width - 1) + std::abs(dy) * (height - 1);
        const double scale = length > 0 ? 1 / length : 0;
        along_x_ = dx * scale;
        along_y_ = dy * scale;
        start_ = 0.5 - (along_x_ * (width - 1) + along_y_ * (height - 1)) / 2;
    }
    [[nodiscard]] double at(int x, int y) const {
        const double u = start_ + along_x_ * x + along_y_ * y;
        return 1 - heel_ * (0.5 * u + 0.5 * u * u);
    }

  private:
    double heel_, along_x_, along_y_, start_;
};

double noisy(double signal, const Exposure& exposure, Random random) {
    if (exposure.photons > 0) signal = random.poisson(signal * exposure.photons) / exposure.photons;
    if (exposure.readout_sigma > 0) signal += exposure.readout_sigma * random.normal();
    return signal;
}

} // namespace

Image<std::uint16_t> expose(const Board& board, const Exposure& exposure) {
    return expose_drawn(draw_transmission(board, exposure).view(), exposure);
}

Image<std::uint16_t> expose_drawn(ImageView<const float> transmission, const Exposure& exposure) {
    const int width = transmission.width(), height = transmission.height();
    const Heel heel(exposure, width, height);
    Image<std::uint16_t> picture(width, height);
    for (int y = 0; y < height; ++y) {
        const float* t = transmission.row(y);
        std::uint16_t* out = picture.view().row(y);
        for (int x = 0; x < width; ++x) {
            const auto pixel = static_cast<std::uint64_t>(y) * static_cast<std::uint64_t>(width) +
                               static_cast<std::uint64_t>(x);
            const double signal = noisy(heel.at(x, y) * t[x], exposure, Random(exposure.seed, pixel));
            const double value =
                std::clamp(std::round(exposure.offset + exposure.gain * signal), 0.0, 65535.0);
            out[x] = static_cast<std::uint16_t>(exposure.dense_bright ? 65535.0 - value : value);
        }
    }
    return picture;
}

} // namespace ringwall::phantom
