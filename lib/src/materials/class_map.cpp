// SPDX-License-Identifier: Apache-2.0
#include "materials/class_map.hpp"

#include "bridge/opencv.hpp"
#include "bridge/parallel.hpp"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

namespace ringwall::materials {
namespace {

constexpr int tile_px = 384;

/// What the tiles need to know.
struct Rules {
    double open_above = 1;           ///< T over which a pixel is void
    double dense_below = 0;          ///< T under which it is dense
    std::vector<float> copper_below; ///< [k-1]: T under which a board pixel has k foils or more
    double light_px = 0;             ///< smoothing for void and dense
    double strong_px = 0;            ///< smoothing for foils
};

Rules make_rules(const TransmissionMap& map, const MaterialLevels& levels, double dense_below_t) {
    Rules rules;
    rules.dense_below = dense_below_t;
    const double board = levels.laminate         ? levels.laminate.value()
                         : levels.copper.empty() ? 0.8
                                                 : levels.copper[0].value();
    const double sigma = map.noise.sigma(board) * std::sqrt(map.noise.correlation);
    rules.open_above = (levels.open.value_or(1) + board) / 2;
    rules.light_px = smoothing_for(sigma, levels.open.value_or(1) - board);
    double last = board, least_step = levels.open.value_or(1) - board;
    for (const Estimate& copper : levels.copper) {
        if (!copper) break;
        if (levels.laminate || !rules.copper_below.empty())
            rules.copper_below.push_back(static_cast<float>((last + copper.value()) / 2));
        least_step =
            std::min(least_step, std::abs(last - copper.value()) > 0 ? last - copper.value() : least_step);
        last = copper.value();
    }
    // One step more than was found as a class of its own: a small place with a foil more is copper, not
    // dense.
    const double next = last - (levels.copper.empty() ? 0 : least_step * last / board);
    if (!levels.copper.empty() && levels.copper.size() < 8)
        rules.copper_below.push_back(static_cast<float>((last + next) / 2));
    rules.strong_px = rules.copper_below.empty() ? 0 : smoothing_for(sigma, least_step);
    return rules;
}

cv::Mat smoothed(const cv::Mat& picture, double sigma) {
    cv::Mat out;
    const int reach = static_cast<int>(std::ceil(3 * sigma));
    cv::GaussianBlur(picture, out, {2 * reach + 1, 2 * reach + 1}, sigma, sigma, cv::BORDER_REFLECT_101);
    return out;
}

std::uint8_t copper_class(const std::vector<float>& below, float t) {
    std::size_t k = 0;
    while (k < below.size() && t < below[k])
        ++k;
    return static_cast<std::uint8_t>(material::laminate + k);
}

/// Board pixels keep their own T, all others count for nothing in the mean.
cv::Mat smoothed_inside(const cv::Mat& t, const cv::Mat& board, double sigma) {
    cv::Mat weight, product;
    board.convertTo(weight, CV_32F, 1.0 / 255);
    product = t.mul(weight);
    const cv::Mat top = smoothed(product, sigma), bottom = smoothed(weight, sigma);
    cv::Mat mean;
    cv::divide(top, cv::max(bottom, 1e-6F), mean);
    return mean;
}

void classify_tile(const cv::Mat& t, const cv::Rect& inner, const Rules& rules, cv::Mat out) {
    const cv::Mat light = rules.light_px > 0.4 ? smoothed(t, rules.light_px) : t;
    cv::Mat foils = light;
    if (rules.strong_px > std::max(0.4, rules.light_px)) {
        const cv::Mat board = (light <= rules.open_above) & (light >= rules.dense_below);
        foils = smoothed_inside(t, board, rules.strong_px);
    }
    for (int y = 0; y < inner.height; ++y) {
        const float* l = light.ptr<float>(y + inner.y) + inner.x;
        const float* f = foils.ptr<float>(y + inner.y) + inner.x;
        auto* o = out.ptr<std::uint8_t>(y);
        for (int x = 0; x < inner.width; ++x)
            o[x] = l[x] > rules.open_above    ? material::void_air
                   : l[x] < rules.dense_below ? material::dense
                                              : copper_class(rules.copper_below, f[x]);
    }
}

} // namespace

double smoothing_for(double sigma, double step) {
    constexpr double two_root_pi = 3.5449077018110318; // noise of a Gaussian mean: sigma / (2 sqrt(pi) width)
    return step > 0 ? std::min(4.0, 5 * sigma / (two_root_pi * step)) : 0;
}

Image<std::uint8_t> make_class_map(const TransmissionMap& map, const MaterialLevels& levels,
                                   double dense_below_t, Watch& watch) {
    const Rules rules = make_rules(map, levels, dense_below_t);
    const cv::Mat t = bridge::as_mat(map.t.view());
    Image<std::uint8_t> classes(map.t.width(), map.t.height());
    cv::Mat out = bridge::as_mat(classes.view());
    const int margin = static_cast<int>(std::ceil(3 * std::max(rules.light_px, rules.strong_px))) + 3;
    const int cols = (t.cols + tile_px - 1) / tile_px, rows = (t.rows + tile_px - 1) / tile_px;
    bridge::over_each(cols * rows, watch, [&](int i) {
        const cv::Rect all(0, 0, t.cols, t.rows);
        const cv::Rect tile = cv::Rect(i % cols * tile_px, i / cols * tile_px, tile_px, tile_px) & all;
        const cv::Rect wide =
            cv::Rect(tile.x - margin, tile.y - margin, tile.width + 2 * margin, tile.height + 2 * margin) &
            all;
        classify_tile(t(wide), {tile.x - wide.x, tile.y - wide.y, tile.width, tile.height}, rules, out(tile));
    });
    return classes;
}

} // namespace ringwall::materials
