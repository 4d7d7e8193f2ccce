// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "phantom/random.hpp"
#include "ringwall/error.hpp"
#include "ringwall/phantom_volume.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

double sheet_weight(double d_mm, double from_mm, double to_mm, double sigma_mm) {
    const auto below = [&](double edge) {
        return 0.5 * std::erfc((edge - d_mm) / (std::numbers::sqrt2 * sigma_mm));
    };
    return below(from_mm) - below(to_mm);
}

double sigma_z_mm(const VolumeScan& scan) {
    return std::sqrt(scan.blur_z_mm * scan.blur_z_mm + scan.pitch_mm * scan.pitch_mm / 12);
}

/// Sum of all barrels' bands: two waves round each, its own phases.
Image<float> streak_picture(const Board& board, const VolumeScan& scan, int width, int height) {
    Image<float> sum(width, height);
    for (std::size_t i = 0; i < board.drills.size(); ++i) {
        const Drill& drill = board.drills[i];
        if (drill.plating_um <= 0) continue;
        Random random(scan.seed, 7000 + i);
        const double slow = random.between(0, 2 * std::numbers::pi),
                     fast = random.between(0, 2 * std::numbers::pi);
        const double radius_px = drill.drill_mm / 2 / scan.voxel_mm;
        const double cx = drill.centre_mm.x / scan.voxel_mm - 0.5,
                     cy = drill.centre_mm.y / scan.voxel_mm - 0.5;
        for (int y = 0; y < height; ++y)
            for (int x = 0; x < width; ++x) {
                const double r = std::hypot(x - cx, y - cy), turn = std::atan2(y - cy, x - cx);
                if (r < radius_px) continue;
                const double wave = 0.6 * std::cos(4 * turn + slow) + 0.4 * std::cos(11 * turn + fast);
                sum(x, y) += static_cast<float>(scan.metal_streaks * wave * radius_px / r);
            }
    }
    return sum;
}

/// A picture of a board whose T is affine in the covered shares of air, laminate and copper: laminate and a
/// copper layer together darken as much as a barrel does. The laminate is always the same substance, whatever
/// the board's own is: it only draws the footprint, and the ratio asked for is reached by thickness.
struct AffineBeam {
    static constexpr double lowest_ratio = 2; // below, a barrel lets nothing through
    Beam beam = single_energy_beam(60);
    Substance laminate = glass_epoxy();
    double thickness_mm = 0;
    double layer_um = 0;
    double laminate_t = 0, copper_t = 0;

    explicit AffineBeam(double ratio) {
        const double of_laminate = linear_attenuation_per_cm(laminate, 60) / 10;
        const double of_copper = linear_attenuation_per_cm(copper(), 60) / 10;
        const double highest = 0.99 * of_copper / of_laminate; // reached at no thickness at all
        if (!(ratio >= lowest_ratio && ratio <= highest))
            throw Error(Fault::usage, "phantom: expected a copper_ratio between " + shortest(lowest_ratio) +
                                          " and " + shortest(rounded(highest, 3)) + ", got " +
                                          shortest(ratio));
        // (1 - exp(-a L)) / (1 - exp(-c L)) rises with L from a/c to 1: bisection for 1/ratio.
        double low = 1e-6, high = 20; // mm; the lowest ratio takes 15
        for (int i = 0; i < 200; ++i) {
            thickness_mm = (low + high) / 2;
            const double share =
                std::expm1(-of_laminate * thickness_mm) / std::expm1(-of_copper * thickness_mm);
            (share < 1 / ratio ? low : high) = thickness_mm;
        }
        layer_um = 1000 * thickness_mm * (1 - of_laminate / of_copper);
        laminate_t = std::exp(-of_laminate * thickness_mm);
        copper_t = std::exp(-of_copper * thickness_mm);
    }
};

/// The board as it is between two depths: one copper layer or none, platings broken there gone.
Board slab_of(const Board& board, const VolumeScan& scan, int layer, double middle_mm,
              const AffineBeam& beam) {
    Board slab = board;
    slab.laminate = beam.laminate;
    slab.thickness_mm = beam.thickness_mm;
    slab.parts.clear();
    slab.layers.clear();
    if (layer >= 0) {
        slab.layers.push_back(board.layers[static_cast<std::size_t>(layer)]);
        slab.layers.back().thickness_um = beam.layer_um;
    }
    for (const PlatingBreak& gap : scan.breaks)
        if (middle_mm > gap.from_mm && middle_mm < gap.to_mm) slab.drills.at(gap.drill).plating_um = 0;
    return slab;
}

Image<float> footprint_of(const Board& slab, const VolumeScan& scan, const AffineBeam& beam) {
    Exposure exposure;
    exposure.beam = beam.beam;
    exposure.pixel_mm = scan.voxel_mm;
    exposure.blur_sigma_px = scan.blur_mm / scan.voxel_mm;
    Image<float> t = draw_transmission(slab, exposure);
    const auto copper_step = static_cast<float>(1 - beam.copper_t);
    const auto ratio = static_cast<float>(scan.copper_ratio);
    for (std::size_t i = 0; i < t.size(); ++i)
        t.data()[i] = ratio * (1 - t.data()[i]) / copper_step;
    return t;
}

/// Weights of four neighbours, cubic convolution (Keys 1981, doi 10.1109/TASSP.1981.1163711), third order.
std::array<double, 4> cubic(double f) {
    return {((-0.5 * f + 1) * f - 0.5) * f, (1.5 * f - 2.5) * f * f + 1, ((-1.5 * f + 2) * f + 0.5) * f,
            (0.5 * f - 0.5) * f * f};
}

double ring_pattern(double radius, std::uint64_t seed) {
    return Random(seed, static_cast<std::uint64_t>(radius) + (std::uint64_t{1} << 40)).between(-1, 1);
}

} // namespace

std::vector<double> layer_depths_mm(const Board& board, const VolumeScan& scan) {
    const std::size_t count = board.layers.size();
    std::vector<double> depths = scan.layer_depths_mm;
    if (depths.empty() && count > 0) {
        const double first = board.layers.front().thickness_um / 2000;
        const double last = board.thickness_mm - board.layers.back().thickness_um / 2000;
        for (std::size_t k = 0; k < count; ++k)
            depths.push_back(count == 1 ? first
                                        : first + (last - first) * static_cast<double>(k) /
                                                      static_cast<double>(count - 1));
    }
    double below = -1e-9;
    for (std::size_t k = 0; k < count && depths.size() == count; ++k) {
        const double half = board.layers[k].thickness_um / 2000;
        if (depths[k] - half < below)
            depths.clear();
        else
            below = depths[k] + half;
    }
    if (depths.size() != count || below > board.thickness_mm + 1e-9)
        throw Error(Fault::usage, "phantom: expected a depth for each layer, rising, inside the board");
    return depths;
}

double low_face_z_mm(const Board& board, const VolumeScan& scan, Point at_mm) {
    const double x = at_mm.x - board.width_mm / 2, y = at_mm.y - board.height_mm / 2;
    const double along = board.width_mm >= board.height_mm ? 2 * x / board.width_mm : 2 * y / board.height_mm;
    const double degrees = std::numbers::pi / 180;
    const double middle = (scan.slices - 1) / 2.0 * scan.pitch_mm - board.thickness_mm / 2;
    return middle + x * std::tan(scan.tilt_x_deg * degrees) + y * std::tan(scan.tilt_y_deg * degrees) +
           scan.bow_mm * (0.5 - along * along);
}

VolumePainter::VolumePainter(const Board& board, const VolumeScan& scan) : board_(board), scan_(scan) {
    const AffineBeam beam(scan.copper_ratio);
    const std::vector<double> depths = layer_depths_mm(board, scan);
    std::vector<double> cuts{0, board.thickness_mm};
    for (std::size_t k = 0; k < depths.size(); ++k)
        for (const double sign : {-1, 1})
            cuts.push_back(depths[k] + sign * board.layers[k].thickness_um / 2000);
    for (const PlatingBreak& gap : scan.breaks)
        cuts.insert(cuts.end(), {gap.from_mm, gap.to_mm});
    std::sort(cuts.begin(), cuts.end());
    for (std::size_t i = 1; i < cuts.size(); ++i) {
        const double from = std::max(0.0, cuts[i - 1]), to = std::min(board.thickness_mm, cuts[i]);
        if (to - from < 1e-9) continue;
        int layer = -1;
        for (std::size_t k = 0; k < depths.size(); ++k)
            if (std::abs((from + to) / 2 - depths[k]) < board.layers[k].thickness_um / 2000)
                layer = static_cast<int>(k);
        const Board slab = slab_of(board, scan, layer, (from + to) / 2, beam);
        sheets_.push_back({from, to, footprint_of(slab, scan, beam)});
    }
    width_ = sheets_.front().footprint.width();
    height_ = sheets_.front().footprint.height();
    const double v = scan.voxel_mm;
    const auto face = [&](double x, double y) { return low_face_z_mm(board_, scan_, {x * v, y * v}); };
    for (int y = 0; y < height_; ++y)
        for (int x = 0; x < width_; ++x)
            places_.push_back({static_cast<float>(face(x, y)),
                               static_cast<float>((face(x + 1, y) - face(x - 1, y)) / (2 * v)),
                               static_cast<float>((face(x, y + 1) - face(x, y - 1)) / (2 * v))});
    if (scan.metal_streaks > 0) streaks_ = streak_picture(board_, scan_, width_, height_);
}

const VolumePainter::Place& VolumePainter::place_at(int x, int y) const {
    return places_[static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
                   static_cast<std::size_t>(x)];
}

double VolumePainter::cosine_of(const Place& place) {
    return 1 / std::sqrt(1 + place.slope_x * place.slope_x + place.slope_y * place.slope_y);
}

float VolumePainter::sampled(const Sheet& sheet, double x, double y) const {
    const int x0 = static_cast<int>(std::floor(x)), y0 = static_cast<int>(std::floor(y));
    const std::array<double, 4> wx = cubic(x - x0), wy = cubic(y - y0);
    double sum = 0;
    for (int j = 0; j < 4; ++j) {
        const float* row = sheet.footprint.view().row(std::clamp(y0 + j - 1, 0, height_ - 1));
        for (int i = 0; i < 4; ++i)
            sum += wx[static_cast<std::size_t>(i)] * wy[static_cast<std::size_t>(j)] *
                   row[std::clamp(x0 + i - 1, 0, width_ - 1)];
    }
    return static_cast<float>(sum);
}

double VolumePainter::depth_mm(int x, int y, double z_mm) const {
    const Place& place = place_at(x, y);
    return (z_mm - place.low_face_mm) * cosine_of(place);
}

double VolumePainter::value_at(int x, int y, double z_mm) const {
    const double sigma = sigma_z_mm(scan_), d_mm = depth_mm(x, y, z_mm);
    const Place& place = place_at(x, y);
    const double cosine = cosine_of(place);
    // The foot of the normal on the board's middle is where the footprint is read.
    const double lift_px = (d_mm - board_.thickness_mm / 2) * cosine / scan_.voxel_mm;
    double sum = 0;
    for (const Sheet& sheet : sheets_) {
        if (d_mm < sheet.from_mm - 6 * sigma || d_mm > sheet.to_mm + 6 * sigma) continue;
        sum += sheet_weight(d_mm, sheet.from_mm, sheet.to_mm, sigma) *
               sampled(sheet, x + place.slope_x * lift_px, y + place.slope_y * lift_px);
    }
    return sum;
}

void VolumePainter::draw_slice(int z, ImageView<float> out) const {
    for (int y = 0; y < out.height(); ++y)
        for (int x = 0; x < out.width(); ++x)
            out(x, y) = static_cast<float>(value_at(x, y, z * scan_.pitch_mm));
}

void VolumePainter::scan_slice(int z, ImageView<std::uint16_t> out) const {
    Image<float> clean(width_, height_);
    draw_slice(z, clean.view());
    const double cx = width_ / 2.0, cy = height_ / 2.0, reach2 = cx * cx + cy * cy;
    for (int y = 0; y < height_; ++y)
        for (int x = 0; x < width_; ++x) {
            const double r2 = (x - cx) * (x - cx) + (y - cy) * (y - cy);
            double value = clean(x, y) * (1 - scan_.cupping * (1 - r2 / reach2));
            if (scan_.ring_artefacts > 0)
                value += scan_.ring_artefacts * ring_pattern(std::sqrt(r2), scan_.seed);
            if (scan_.metal_streaks > 0)
                value += streaks_(x, y) * sheet_weight(depth_mm(x, y, z * scan_.pitch_mm), 0,
                                                       board_.thickness_mm, sigma_z_mm(scan_));
            if (scan_.laminate_snr > 0) {
                const std::uint64_t place =
                    (static_cast<std::uint64_t>(z) * static_cast<std::uint64_t>(height_) +
                     static_cast<std::uint64_t>(y)) *
                        static_cast<std::uint64_t>(width_) +
                    static_cast<std::uint64_t>(x);
                value += Random(scan_.seed, place).normal() / scan_.laminate_snr;
            }
            double grey = scan_.air_grey + scan_.laminate_grey * value;
            if (!scan_.dense_bright) grey = 65535 - grey;
            out(x, y) = static_cast<std::uint16_t>(std::clamp(std::lround(grey), 0L, 65535L));
        }
}

} // namespace ringwall::phantom
