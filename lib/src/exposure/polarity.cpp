// SPDX-License-Identifier: Apache-2.0
#include "exposure/polarity.hpp"
#include "bridge/opencv.hpp"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace ringwall::exposure {
namespace {

struct Range {
    double low = 0;
    double high = 1;
    /// 0 at the dark end, 1 at the bright end.
    [[nodiscard]] double share(double value) const { return high > low ? (value - low) / (high - low) : 0.5; }
};

Range range_of(const Blocks& blocks) {
    std::vector<float> means = blocks.mean;
    const double low = quantile(means, 0.0005);
    return {low, quantile(means, 0.9995)};
}

double noise_evidence(const Radiograph& picture, const NoiseLine& noise, Radiometry radiometry) {
    if (noise.bins < 3 || noise.slope_u <= 0) return 0;
    double z = noise.slope / noise.slope_u;
    if (radiometry == Radiometry::log) z = -z;
    // A tone curve or a lossy code changes noise with grey value in its own way.
    const bool doubtful = picture.facts.lossy || picture.facts.bits <= 8 || radiometry == Radiometry::display;
    return doubtful ? std::clamp(0.1 * z, -1.0, 1.0) : std::clamp(0.5 * z, -12.0, 12.0);
}

/// Share of the border's blocks that are calm and lie within an eighth of the range from one end.
double border_evidence(const Blocks& blocks, const Range& range) {
    double bright = 0, dark = 0, all = 0;
    for (int row = 0; row < blocks.rows; ++row)
        for (int col = 0; col < blocks.cols; ++col) {
            if (row > 0 && col > 0 && row + 1 < blocks.rows && col + 1 < blocks.cols) continue;
            const double share = range.share(blocks.mean[blocks.at(col, row)]);
            all += 1;
            bright += share > 0.875;
            dark += share < 0.125;
        }
    const double difference = all > 0 ? (bright - dark) / all : 0;
    return std::abs(difference) > 0.4 ? 6 * difference : 0;
}

/// Area of the compact round spots of a mask that do not touch the border, in px; a disk fills pi/4 of its
/// box.
double round_area(const cv::Mat& mask) {
    cv::Mat labels, stats, centres;
    const int n = cv::connectedComponentsWithStats(mask, labels, stats, centres, 8, CV_32S);
    double sum = 0;
    for (int i = 1; i < n; ++i) {
        const double w = stats.at<int>(i, cv::CC_STAT_WIDTH), h = stats.at<int>(i, cv::CC_STAT_HEIGHT);
        const double area = stats.at<int>(i, cv::CC_STAT_AREA);
        const int x = stats.at<int>(i, cv::CC_STAT_LEFT), y = stats.at<int>(i, cv::CC_STAT_TOP);
        if (area < 12 || x == 0 || y == 0 || x + w >= mask.cols || y + h >= mask.rows) continue;
        if (area > 0.02 * mask.total() || std::abs(std::log(w / h)) > 0.16) continue;
        const double fill = area / (w * h);
        if (fill > 0.70 && fill < 0.86) sum += area;
    }
    return sum;
}

double core_evidence(ImageView<const float> picture, const Range& range) {
    const cv::Mat full = bridge::as_mat(picture);
    const double shrink = std::sqrt(std::min(1.0, 2e6 / static_cast<double>(picture.size())));
    cv::Mat small;
    if (shrink < 1)
        cv::resize(full, small, {}, shrink, shrink, cv::INTER_AREA);
    else
        small = full;
    const double span = range.high - range.low;
    const double bright = round_area(small > range.low + 0.85 * span);
    const double dark = round_area(small < range.low + 0.15 * span);
    return 5 * (bright - dark) / (bright + dark + 100);
}

} // namespace

Polarity find_polarity(const Radiograph& picture, const Blocks& blocks, const NoiseLine& noise,
                       Radiometry radiometry) {
    const Range range = range_of(blocks);
    Polarity polarity;
    polarity.noise = noise_evidence(picture, noise, radiometry);
    polarity.border = border_evidence(blocks, range);
    polarity.cores = core_evidence(picture.values.view(), range);
    return polarity;
}

} // namespace ringwall::exposure
