// SPDX-License-Identifier: Apache-2.0
#include "holes/pyramid.hpp"

#include "bridge/opencv.hpp"
#include "bridge/parallel.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace ringwall::holes {
namespace {

constexpr int least_side = 6; // of the coarsest level: a hole may take a third of the picture's side
constexpr int strip_rows = 128;

/// Two Gaussians, sigmas in pixels of the filtered level, which is the one after the blob's own.
struct Filter {
    double centre;
    double surround;
    /// Sigma of the response for independent pixels of unit sigma on the blob's level; with a and b twice the
    /// sigmas above, by Parseval: root of 1/(4 pi a^2) + 1/(4 pi b^2) - 1/(pi (a^2 + b^2)).
    double noise;
    double radius; ///< of the blob that answers best, in pixels of its level
};
constexpr Filter usual{1.0, 1.75, 0.0825, 4.7};
constexpr Filter fine{0.7, 1.4, 0.1352,
                      3.2}; ///< for bores of 2 to 4 pixels whose dark wall lies under the usual centre

int strips(int rows) {
    return (rows + strip_rows - 1) / strip_rows;
}

Image<float> halved(ImageView<const float> from, Watch& watch) {
    Image<float> to(from.width() / 2, from.height() / 2);
    bridge::over_each(strips(to.height()), watch, [&](int strip) {
        for (int y = strip * strip_rows; y < std::min((strip + 1) * strip_rows, to.height()); ++y) {
            const float* upper = from.row(2 * y);
            const float* lower = from.row(2 * y + 1);
            float* out = to.view().row(y);
            for (int x = 0; x < to.width(); ++x)
                out[x] = 0.25F * ((upper[2 * x] + upper[2 * x + 1]) + (lower[2 * x] + lower[2 * x + 1]));
        }
    });
    return to;
}

cv::Mat blurred(const cv::Mat& rows, double sigma) {
    const int side = 2 * static_cast<int>(std::ceil(3 * sigma)) + 1;
    cv::Mat out;
    cv::GaussianBlur(rows, out, cv::Size(side, side), sigma, sigma, cv::BORDER_REFLECT_101);
    return out;
}

/// Signed response in rows first ... last - 1.
cv::Mat response_rows(ImageView<const float> level, int first, int last, const Filter& filter, int sign) {
    const cv::Mat rows =
        bridge::as_mat(level).rowRange(first, last); // filters look beyond the rows by themselves
    const cv::Mat centre = blurred(rows, filter.centre), surround = blurred(rows, filter.surround);
    if (sign > 0) return centre - surround;
    return surround - centre;
}

bool is_peak(const cv::Mat& response, int x, int row) {
    const float value = response.at<float>(row, x);
    for (int dy = -1; dy <= 1; ++dy)
        for (int dx = -1; dx <= 1; ++dx) {
            const float other = response.at<float>(row + dy, x + dx);
            const bool before = dy < 0 || (dy == 0 && dx < 0); // of equal neighbours the last one counts
            if ((dx != 0 || dy != 0) && (before ? other > value : other >= value)) return false;
        }
    return true;
}

double mean_3x3(ImageView<const float> level, int x, int y) {
    double sum = 0;
    for (int dy = -1; dy <= 1; ++dy)
        for (int dx = -1; dx <= 1; ++dx)
            sum += level(x + dx, y + dy);
    return sum / 9;
}

struct Core {
    Point at;
    double level = -1e9;
    double surround = 0; ///< median of eight 3x3 means five pixels away
};

/// The brightest of the 3 x 3 means round the four pixels that the coarser pixel (x, y) was made of.
Core core_at(ImageView<const float> level, int x, int y) {
    Core core;
    for (int dy = 0; dy < 2; ++dy)
        for (int dx = 0; dx < 2; ++dx) {
            const double mean = mean_3x3(level, 2 * x + dx, 2 * y + dy);
            if (mean > core.level) core = {{2.0 * x + dx, 2.0 * y + dy}, mean, 0};
        }
    constexpr std::array<std::array<int, 2>, 8> away{
        {{5, 0}, {4, 4}, {0, 5}, {-4, 4}, {-5, 0}, {-4, -4}, {0, -5}, {4, -4}}};
    std::array<double, 8> means{};
    for (std::size_t i = 0; i < 8; ++i) {
        const int cx = std::clamp(static_cast<int>(core.at.x) + away[i][0], 1, level.width() - 2);
        const int cy = std::clamp(static_cast<int>(core.at.y) + away[i][1], 1, level.height() - 2);
        means[i] = mean_3x3(level, cx, cy);
    }
    std::nth_element(means.begin(), means.begin() + 4, means.end());
    core.surround = means[4];
    return core;
}

struct LevelGate {
    float least_response;
    double least_core;
    double core_leak;
};

/// Peaks of rows first ... last - 1 of the level after k.
void collect(const Pyramid& pyramid, int k, const Filter& filter, int sign, const LevelGate& gate, int first,
             int last, std::vector<Blob>& out) {
    const ImageView<const float> coarse = pyramid.level(k + 1);
    const int from = std::max(first - 1, 0);
    const cv::Mat response = response_rows(coarse, from, std::min(last + 1, coarse.height()), filter, sign);
    for (int y = std::max(first, 1); y < std::min(last, coarse.height() - 1); ++y) {
        const float* row = response.ptr<float>(y - from);
        for (int x = 1; x + 1 < coarse.width(); ++x) {
            if (row[x] < gate.least_response || row[x] <= row[x + 1] || row[x] < row[x - 1]) continue;
            if (!is_peak(response, x, y - from)) continue;
            const Core core = core_at(pyramid.level(k), x, y);
            if (core.level + gate.core_leak * std::max(0.0, core.level - core.surround) < gate.least_core)
                continue;
            out.push_back({k, core.at, filter.radius, row[x], core.level, core.surround});
        }
    }
}

void search_level(const Pyramid& pyramid, int k, const Filter& filter, const BlobChoice& choice, Watch& watch,
                  std::vector<Blob>& out) {
    const double noise = choice.noise / Pyramid::pixel(k);
    const LevelGate gate{static_cast<float>(std::max(choice.least_response, 4 * filter.noise * noise)),
                         choice.least_core - choice.core_slack * noise / 3, choice.core_leak};
    const int rows = pyramid.level(k + 1).height();
    std::vector<std::vector<Blob>> found(static_cast<std::size_t>(strips(rows)));
    bridge::over_each(strips(rows), watch, [&](int strip) {
        const int first = strip * strip_rows;
        collect(pyramid, k, filter, choice.sign, gate, first, std::min(first + strip_rows, rows),
                found[static_cast<std::size_t>(strip)]);
    });
    for (const auto& of_strip : found)
        out.insert(out.end(), of_strip.begin(), of_strip.end());
}

} // namespace

Pyramid::Pyramid(ImageView<const float> picture, Watch& watch) : picture_(picture) {
    while (std::min(level(levels() - 1).width(), level(levels() - 1).height()) >= 2 * least_side)
        reduced_.push_back(halved(level(levels() - 1), watch));
}

std::vector<Blob> find_blobs(const Pyramid& pyramid, const BlobChoice& choice, Watch& watch) {
    std::vector<Blob> blobs;
    if (pyramid.levels() > 1) search_level(pyramid, 0, fine, choice, watch, blobs);
    for (int k = 0; k + 1 < pyramid.levels(); ++k)
        search_level(pyramid, k, usual, choice, watch, blobs);
    return blobs;
}

} // namespace ringwall::holes
