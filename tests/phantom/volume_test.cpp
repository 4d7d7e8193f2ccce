// SPDX-License-Identifier: Apache-2.0
#include "ringwall/error.hpp"
#include "ringwall/phantom_volume.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

Board small_board() {
    Board board;
    board.width_mm = 3;
    board.height_mm = 2;
    board.thickness_mm = 1.0;
    board.layers = {{70, true, {}}, {70, true, {}}};
    return board;
}

VolumeScan quiet_scan() {
    VolumeScan scan;
    scan.slices = 80;
    scan.laminate_snr = 0;
    return scan;
}

/// Values of a column over z, laminate steps.
std::vector<double> column(const VolumePainter& painter, int slices, int x, int y) {
    Image<float> slice(painter.width(), painter.height());
    std::vector<double> values;
    for (int z = 0; z < slices; ++z) {
        painter.draw_slice(z, slice.view());
        values.push_back(slice(x, y));
    }
    return values;
}

} // namespace

TEST_CASE("a column holds as much copper and laminate as the board, at the depths asked for") {
    const Board board = small_board();
    VolumeScan scan = quiet_scan();
    const VolumePainter painter(board, scan);
    const std::vector<double> values = column(painter, scan.slices, 60, 40);
    double sum = 0, moment = 0;
    for (std::size_t z = 0; z < values.size(); ++z)
        sum += values[z], moment += values[z] * static_cast<double>(z);
    // 0.14 mm of copper (ratio 30) and 0.86 mm of laminate, in slices of 0.025 mm. A sum over slices of a
    // profile blurred by one slice is its integral to 1e-8 (Poisson's sum formula: exp(-2 pi^2 sigma^2)).
    CHECK(sum == doctest::Approx((0.14 * 30 + 0.86) / 0.025).epsilon(1e-4));
    CHECK(moment / sum == doctest::Approx((scan.slices - 1) / 2.0).epsilon(1e-4)); // the board lies midway
    const double middle = low_face_z_mm(board, scan, {1.5, 1}) / 0.025 + 20;
    CHECK(values[static_cast<std::size_t>(std::lround(middle))] == doctest::Approx(1).epsilon(1e-3));
    CHECK(values.front() == doctest::Approx(0).epsilon(1e-6));
}

TEST_CASE("tilt and bow lift the column's copper by what the surface says") {
    const Board board = small_board();
    VolumeScan scan = quiet_scan();
    scan.tilt_x_deg = 1, scan.tilt_y_deg = -0.5, scan.bow_mm = 0.1;
    const VolumePainter painter(board, scan);
    for (const Point at : {Point{0.5, 0.5}, Point{1.5, 1.0}, Point{2.5, 1.5}}) {
        const std::vector<double> values =
            column(painter, scan.slices, static_cast<int>(std::lround(at.x / 0.025)),
                   static_cast<int>(std::lround(at.y / 0.025)));
        double sum = 0, moment = 0;
        for (std::size_t z = 0; z < values.size(); ++z)
            sum += values[z], moment += values[z] * static_cast<double>(z);
        // The pile is symmetric, so its centre of mass is the middle, half a board up along the normal.
        const double slope_x = (low_face_z_mm(board, scan, {at.x + 0.01, at.y}) -
                                low_face_z_mm(board, scan, {at.x - 0.01, at.y})) /
                               0.02;
        const double slope_y = std::tan(-0.5 * std::numbers::pi / 180);
        const double up_mm = 0.5 * std::sqrt(1 + slope_x * slope_x + slope_y * slope_y);
        const double expected = (low_face_z_mm(board, scan, at) + up_mm) / 0.025;
        CHECK(moment / sum == doctest::Approx(expected).epsilon(0.002 / expected));
    }
}

TEST_CASE("a hole's wall stands where the drill put it, plated, bare, and where its plating is broken") {
    Board board = small_board();
    board.drills = {{{1.0, 1.0}, 0.8, 0, {}, {}}, {{2.2, 1.0}, 0.8, 50, {}, {}}};
    VolumeScan scan = quiet_scan();
    scan.breaks = {{1, 0.4, 0.6}};
    const VolumePainter painter(board, scan);
    const int middle = static_cast<int>(std::lround(low_face_z_mm(board, scan, {1.5, 1}) / 0.025)) + 20;
    Image<float> slice(painter.width(), painter.height());
    const auto copper_um =
        [&](int z) { // integral over the barrel's cross-section beyond laminate, along a row
            painter.draw_slice(z, slice.view());
            double sum = 0;
            for (int x = 60; x < 116; ++x) {
                const double from_centre = std::abs(x * 0.025 - 2.2);
                sum += slice(x, 40) - (from_centre > 0.4 ? 1 : 0);
            }
            return sum * 25 /
                   30; // both walls: 2 x 50 um; blur of the edge of the laminate cancels but for 1/30
        };
    CHECK(copper_um(middle - 12) == doctest::Approx(100).epsilon(0.03));
    CHECK(std::abs(copper_um(middle)) < 2);
    // Bare: half a laminate step at the wall, 0.4 mm from the centre, to 0.02 voxel (s^2/2R = 0.03 voxel
    // inward, Gaussian blur of a disk's edge).
    double x = 20;
    painter.draw_slice(middle, slice.view());
    for (int i = 40; i < 70; ++i)
        if (slice(i, 40) < 0.5F && slice(i + 1, 40) >= 0.5F)
            x = i + (0.5 - slice(i, 40)) / (slice(i + 1, 40) - slice(i, 40));
    CHECK(x * 0.025 - 1.0 == doctest::Approx(0.4 - 0.025 * 1.083 / (2 * 16)).epsilon(0.0005 / 0.4));
}

TEST_CASE("a scan's noise, cupping and polarity are as asked for") {
    Board board = small_board();
    board.layers.clear();
    VolumeScan scan = quiet_scan();
    scan.laminate_snr = 18;
    const VolumePainter painter(board, scan);
    Image<std::uint16_t> slice(painter.width(), painter.height());
    painter.scan_slice(40, slice.view());
    double sum = 0, squares = 0;
    for (std::size_t i = 0; i < slice.size(); ++i)
        sum += slice.data()[i], squares += double(slice.data()[i]) * slice.data()[i];
    const double n = static_cast<double>(slice.size()), mean = sum / n;
    CHECK(mean == doctest::Approx(4200).epsilon(0.001));
    CHECK(std::sqrt(squares / n - mean * mean) == doctest::Approx(1200.0 / 18).epsilon(0.03)); // 9600 voxels
    VolumeScan turned = scan;
    turned.dense_bright = false;
    Image<std::uint16_t> dark(painter.width(), painter.height());
    VolumePainter(board, turned).scan_slice(40, dark.view());
    CHECK(dark(10, 10) == 65535 - slice(10, 10));
}

TEST_CASE(
    "laminate is 1 and copper the ratio asked for, whatever the board is made of; beyond it is refused") {
    Board board = small_board();
    VolumeScan scan = quiet_scan();
    for (const double ratio : {2.0, 8.0, 30.0}) {
        scan.copper_ratio = ratio;
        board.laminate = glass_epoxy();
        const std::vector<double> plain = column(VolumePainter(board, scan), scan.slices, 60, 40);
        board.laminate = brominated_glass_epoxy();
        const std::vector<double> brominated = column(VolumePainter(board, scan), scan.slices, 60, 40);
        CHECK(plain == brominated);
        CHECK(plain[40] == doctest::Approx(1).epsilon(1e-3)); // mid-depth: laminate alone
        double sum = 0;
        for (const double value : plain)
            sum += value;
        CHECK(sum == doctest::Approx((0.14 * ratio + 0.86) / 0.025).epsilon(1e-4)); // as above
    }
    for (const double ratio : {1.0, 40.0}) {
        scan.copper_ratio = ratio;
        CHECK_THROWS_AS(VolumePainter(board, scan), Error);
    }
}

TEST_CASE("layers that do not fit into the board are refused") {
    Board board = small_board();
    VolumeScan scan = quiet_scan();
    scan.layer_depths_mm = {0.5, 0.2};
    CHECK_THROWS_AS(VolumePainter(board, scan), Error);
    scan.layer_depths_mm = {0.2};
    CHECK_THROWS_AS(VolumePainter(board, scan), Error);
    scan.layer_depths_mm = {0.2, 0.99};
    CHECK_THROWS_AS(VolumePainter(board, scan), Error);
}
