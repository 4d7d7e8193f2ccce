// SPDX-License-Identifier: Apache-2.0
#include "holes/regions.hpp"

#include "bridge/opencv.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace ringwall::holes {
namespace {

/// Finest level on which `step` is four times the noise; not the picture itself when that is large.
int calm_level(const Pyramid& pyramid, double noise, double step) {
    int k = pyramid.level(0).size() > 2000000 && pyramid.levels() > 1 ? 1 : 0;
    while (k + 1 < pyramid.levels() && noise / Pyramid::pixel(k) > 0.25 * step)
        ++k;
    return k;
}

std::vector<Region> regions_of(const cv::Mat& mask, int level, double least_px2) {
    std::vector<std::vector<cv::Point>> borders;
    std::vector<cv::Vec4i> tree;
    cv::findContours(mask, borders, tree, cv::RETR_CCOMP, cv::CHAIN_APPROX_NONE);
    const double pixel = Pyramid::pixel(level);
    std::vector<Region> regions;
    for (std::size_t i = 0; i < borders.size(); ++i) {
        if (tree[i][3] >= 0) continue; // the border of a hole in a region
        const auto n = static_cast<double>(borders[i].size());
        const double area = (cv::contourArea(borders[i]) + 0.5 * n + 1) * pixel * pixel;
        if (area < least_px2) continue;
        const cv::Rect box = cv::boundingRect(borders[i]);
        if (box.x <= 1 || box.y <= 1 || box.br().x >= mask.cols - 1 || box.br().y >= mask.rows - 1) continue;
        Region region;
        region.area_px2 = area;
        region.resolution_px = pixel;
        region.border_px.reserve(borders[i].size());
        for (const cv::Point p : borders[i]) {
            const Point at = Pyramid::to_picture({static_cast<double>(p.x), static_cast<double>(p.y)}, level);
            region.border_px.push_back(at);
            region.middle_px.x += at.x / n;
            region.middle_px.y += at.y / n;
        }
        regions.push_back(std::move(region));
    }
    return regions;
}

constexpr double least_slot_width =
    16; // in pixels it is read on: narrower ones look like bores behind a part

/// Signed distance from the outline of a slot of half width `half` and straight part 2 * `straight`, outside
/// positive; u along the axis.
double outside_slot(double u, double v, double straight, double half) {
    const double beyond = std::max(0.0, std::abs(u) - straight);
    return std::hypot(beyond, v) - half;
}

} // namespace

std::vector<Region> void_regions(const Pyramid& pyramid, const GreyScale& grey, double least_px2) {
    const int k = calm_level(pyramid, grey.noise, grey.tolerance);
    const double brightest =
        grey.open + grey.tolerance + 4 * grey.noise / Pyramid::pixel(k); // beyond: burned-in marks
    cv::Mat mask;
    cv::inRange(bridge::as_mat(pyramid.level(k)), grey.open - grey.tolerance, brightest, mask);
    return regions_of(mask, k, least_px2);
}

std::vector<Region> dense_regions(const Pyramid& pyramid, const GreyScale& grey, double least_px2) {
    const int k = calm_level(pyramid, grey.noise, 0.4 * grey.open);
    const cv::Mat mask = bridge::as_mat(pyramid.level(k)) < 0.4 * grey.open;
    return regions_of(mask, k, least_px2);
}

std::optional<Slot> slot_of(const Region& region) {
    std::vector<cv::Point2f> points;
    points.reserve(region.border_px.size());
    for (const Point p : region.border_px)
        points.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
    const cv::RotatedRect box = cv::minAreaRect(points);
    const bool wide = box.size.width >= box.size.height;
    Slot slot;
    slot.centre_px = {box.center.x, box.center.y};
    slot.length_px = std::max(box.size.width, box.size.height) + region.resolution_px;
    slot.width_px = std::min(box.size.width, box.size.height) + region.resolution_px;
    if (slot.width_px < least_slot_width * region.resolution_px || slot.length_px < 1.2 * slot.width_px)
        return {};
    const double turn = (box.angle + (wide ? 0 : 90)) * std::numbers::pi / 180; // y down: clockwise
    slot.angle_deg = std::fmod(std::fmod(-turn * 180 / std::numbers::pi, 180) + 180, 180);
    const double c = std::cos(turn), s = std::sin(turn);
    double squares = 0;
    for (const Point p : region.border_px) {
        const double dx = p.x - slot.centre_px.x, dy = p.y - slot.centre_px.y;
        const double off =
            outside_slot(dx * c + dy * s, dy * c - dx * s, 0.5 * (slot.length_px - slot.width_px),
                         0.5 * (slot.width_px - region.resolution_px));
        squares += off * off;
    }
    const double rms = std::sqrt(squares / static_cast<double>(region.border_px.size()));
    if (rms > std::hypot(0.02 * slot.width_px, 0.67 * region.resolution_px)) return {};
    return slot;
}

std::optional<Disk> disk_of(const Region& region) {
    double sum = 0, squares = 0;
    const auto n = static_cast<double>(region.border_px.size());
    for (const Point p : region.border_px) {
        const double r = std::hypot(p.x - region.middle_px.x, p.y - region.middle_px.y);
        sum += r;
        squares += r * r;
    }
    const double mean = sum / n, rms = std::sqrt(std::max(0.0, squares / n - mean * mean));
    if (rms > 0.03 * mean + 0.5 * region.resolution_px) return {};
    return Disk{region.middle_px, mean + 0.5 * region.resolution_px};
}

} // namespace ringwall::holes
