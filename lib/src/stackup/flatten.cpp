// SPDX-License-Identifier: Apache-2.0
#include "ringwall/error.hpp"
#include "stackup/depth_model.hpp"
#include "stackup/foil_fit.hpp"
#include "stackup/layer_pictures.hpp"
#include "stackup/one_board.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <string>

namespace ringwall {
namespace {

constexpr int most_degree = 5;
constexpr double depth_step = 0.25; ///< slices

double cosine_at(const SmoothHeight& height, Point px) {
    const auto [x, y] = height.slope(px);
    return 1 / std::sqrt(1 + x * x + y * y);
}

/// The blocks that hold the board from face to face.
struct Sheet {
    const BlockProfiles& blocks;
    const VolumeLevels& levels;
    std::vector<int> inside; ///< block numbers
    SmoothHeight low;        ///< near the low face; the depth's zero
    double thickness = 0;    ///< about, slices
    [[nodiscard]] double depth(int block, int z) const {
        const Point at = blocks.centre_px(block);
        return (z - low.at(at)) * cosine_at(low, at);
    }
};

std::string percent_words(double share) {
    return std::to_string(std::lround(100 * share)) + " %";
}

/// Middle of the faces block by block, and one smooth sheet through them.
Sheet first_sheet(const BlockProfiles& blocks, const VolumeLevels& levels, const Volume& volume) {
    const auto faces = block_faces(blocks, levels);
    std::vector<HeightPoint> middles;
    std::vector<double> thicknesses;
    for (int b = 0; b < blocks.count(); ++b) {
        const auto& face = faces[static_cast<std::size_t>(b)];
        if (!face) continue;
        middles.push_back({blocks.centre_px(b), (face->low + face->high) / 2, 1});
        thicknesses.push_back(face->high - face->low);
    }
    if (middles.size() < 12)
        throw Error(Fault::nothing_measured, "no board in this volume: of " + std::to_string(blocks.count()) +
                                                 " blocks of columns, " + std::to_string(middles.size()) +
                                                 " run through a board with air on both sides");
    HeightFit fit = fit_height(middles, volume.width_px, volume.height_px, 3);
    std::nth_element(thicknesses.begin(),
                     thicknesses.begin() + static_cast<std::ptrdiff_t>(thicknesses.size() / 2),
                     thicknesses.end());
    const double thickness = thicknesses[thicknesses.size() / 2];
    check_one_piece(blocks, faces, thickness);
    Sheet sheet{blocks, levels, {}, fit.height, thickness};
    for (int b = 0; b < blocks.count(); ++b) {
        const auto& face = faces[static_cast<std::size_t>(b)];
        if (!face) continue;
        const double off = (face->low + face->high) / 2 - fit.height.at(blocks.centre_px(b));
        if (std::abs(off) < 4 && is_whole(*face, thickness)) sheet.inside.push_back(b);
    }
    if (sheet.inside.size() < 0.75 * static_cast<double>(middles.size())) {
        const auto [low, high] =
            std::minmax_element(middles.begin(), middles.end(),
                                [](const HeightPoint& a, const HeightPoint& b) { return a.z < b.z; });
        throw Error(Fault::nothing_measured,
                    "nothing in this volume is one sheet: " +
                        percent_words(static_cast<double>(sheet.inside.size()) /
                                      static_cast<double>(middles.size())) +
                        " of the board lies near one smooth surface of one thickness, middles from slice " +
                        std::to_string(std::lround(low->z) + 1) + " to " +
                        std::to_string(std::lround(high->z) + 1) + ", counted from 1");
    }
    sheet.low.terms[0] -= thickness / 2;
    return sheet;
}

/// Cubic B-spline through a block's values (Unser 1999, doi 10.1109/79.799930): at a blur of one slice its
/// error is a thousandth of an edge, which shorter kernels do not reach.
std::vector<double> spline_of(std::span<const float> values) {
    const double pole = std::sqrt(3.0) - 2;
    const std::size_t n = values.size();
    std::vector<double> c(n);
    c[0] = 6 * static_cast<double>(values[0]) / (1 - pole); // held constant beyond the ends
    for (std::size_t i = 1; i < n; ++i)
        c[i] = 6 * static_cast<double>(values[i]) + pole * c[i - 1];
    c[n - 1] = -pole / (1 - pole) * c[n - 1];
    for (std::size_t i = n - 1; i-- > 0;)
        c[i] = pole * (c[i + 1] - c[i]);
    return c;
}

double spline_at(const std::vector<double>& c, double z) {
    const int n = static_cast<int>(c.size());
    const int at = static_cast<int>(std::floor(z));
    const double f = z - at, g = 1 - f;
    const std::array<double, 4> w = {g * g * g / 6, 2.0 / 3 - f * f * (2 - f) / 2,
                                     2.0 / 3 - g * g * (2 - g) / 2, f * f * f / 6};
    double sum = 0;
    for (int i = 0; i < 4; ++i)
        sum += w[static_cast<std::size_t>(i)] * c[static_cast<std::size_t>(std::clamp(at + i - 1, 0, n - 1))];
    return sum;
}

/// Every block speaks at every depth, so that no depth is made by other blocks than the next.
DepthProfile profile_of(const Sheet& sheet) {
    DepthProfile profile;
    for (double d = -8; d <= sheet.thickness + 8; d += depth_step)
        profile.depth.push_back(d);
    const std::size_t depths = profile.depth.size(), blocks = sheet.inside.size();
    std::vector<double> values(depths * blocks); // all blocks at one depth lie together
    for (std::size_t i = 0; i < blocks; ++i) {
        const Point at = sheet.blocks.centre_px(sheet.inside[i]);
        const double face = sheet.low.at(at), cosine = cosine_at(sheet.low, at);
        const std::vector<double> spline = spline_of(sheet.blocks.of(sheet.inside[i]));
        for (std::size_t k = 0; k < depths; ++k)
            values[k * blocks + i] = sheet.levels.steps(spline_at(spline, face + profile.depth[k] / cosine));
    }
    for (std::size_t k = 0; k < depths; ++k) {
        const auto first = values.begin() + static_cast<std::ptrdiff_t>(k * blocks);
        const auto last = first + static_cast<std::ptrdiff_t>(blocks);
        profile.value.push_back(std::accumulate(first, last, 0.0) / static_cast<double>(blocks));
        const auto crest = last - 1 - static_cast<std::ptrdiff_t>(blocks / 200);
        std::nth_element(first, crest, last);
        profile.crest.push_back(*crest);
        profile.weight.push_back(1);
    }
    return profile;
}

/// A profile's readings differ from the model by its shape, not by noise: their weight is 1 over the greater
/// of a five-thousandth of the highest value and the block noise.
void weigh(DepthProfile& profile, const Sheet& sheet) {
    const double highest = *std::max_element(profile.value.begin(), profile.value.end());
    const double sigma = std::max(
        sheet.levels.block_noise / std::sqrt(static_cast<double>(sheet.inside.size())), 0.0002 * highest);
    std::fill(profile.weight.begin(), profile.weight.end(), 1 / sigma);
}

/// Of every foil in one block: its height (laminate steps) and how far it lies off its place.
struct FoilInBlock {
    double height = 0, shift = 0;
};
std::vector<FoilInBlock> foils_in_block(const Sheet& sheet, const DepthModel& model, int block) {
    const auto values = sheet.blocks.of(block);
    const auto foils = static_cast<Eigen::Index>(model.foils.size());
    const auto n = static_cast<Eigen::Index>(values.size());
    Eigen::MatrixXd rows = Eigen::MatrixXd::Zero(n, 2 * foils + 1); // the last: its laminate (cupping)
    Eigen::VectorXd rest = Eigen::VectorXd::Zero(n);
    DepthModel bare = model;
    bare.foils.clear();
    for (Eigen::Index i = 0; i < n; ++i) {
        const double d = sheet.depth(block, static_cast<int>(i));
        if (d < model.low - 4 * model.blur || d > model.high + 4 * model.blur) continue;
        rest[i] = sheet.levels.steps(static_cast<double>(values[static_cast<std::size_t>(i)]));
        rows(i, 2 * foils) = bare.at(d);
        for (Eigen::Index k = 0; k < foils; ++k) {
            const FoilLine& foil = model.foils[static_cast<std::size_t>(k)];
            rows(i, 2 * k) = model.line(foil, d);
            rows(i, 2 * k + 1) = -model.line_slope(foil, d);
        }
    }
    const Eigen::VectorXd found = rows.colPivHouseholderQr().solve(rest);
    std::vector<FoilInBlock> list;
    for (Eigen::Index k = 0; k < foils; ++k)
        list.push_back({found[2 * k], found[2 * k] > 0 ? found[2 * k + 1] / found[2 * k] : 0});
    return list;
}

void add_foil_heights(const Sheet& sheet, const DepthModel& model, int block,
                      std::vector<HeightPoint>& points) {
    const Point at = sheet.blocks.centre_px(block);
    const double cosine = cosine_at(sheet.low, at);
    for (const FoilInBlock& foil : foils_in_block(sheet, model, block)) {
        // A block with next to no copper on this layer says nothing of its height.
        if (foil.height < 2 || std::abs(foil.shift) > 3) continue;
        points.push_back({at, sheet.low.at(at) + foil.shift / cosine, std::min(foil.height / 10, 1.0)});
    }
}

/// The sheet again, from all foils together; returns what is left as RMS, slices.
double settle(Sheet& sheet, const DepthModel& model, const Volume& volume) {
    std::vector<HeightPoint> points;
    for (const int b : sheet.inside)
        add_foil_heights(sheet, model, b, points);
    if (points.size() < 30) return 0;
    const HeightFit fit = fit_height(points, volume.width_px, volume.height_px, most_degree);
    sheet.low = fit.height;
    return fit.residual_px;
}

constexpr std::size_t most_blocks = 40; ///< behind one foil or face
/// Copper of a foil in its fullest blocks: 18 um over a fiftieth of a block make 0.4 laminate steps times
/// slices of 25 um; shares are of the fullest foil, distances in blurs.
constexpr double least_foil_copper = 0.4, least_foil_share = 0.02, least_apart = 2;
constexpr double face_reach = 4; ///< slices

/// Readings of some blocks from one depth to another, block by block.
std::vector<BlockReadings> readings_of(const Sheet& sheet, const std::vector<int>& blocks, double from,
                                       double to) {
    std::vector<BlockReadings> all;
    for (const int b : blocks) {
        const auto [x, y] = sheet.low.slope(sheet.blocks.centre_px(b));
        const double width2 = BlockProfiles::side_px * BlockProfiles::side_px;
        BlockReadings readings;
        for (int z = 0; z < sheet.blocks.slices(); ++z) {
            const double d = sheet.depth(b, z);
            if (d < from || d > to) continue;
            readings.push_back(
                {d, sheet.levels.steps(static_cast<double>(sheet.blocks.of(b)[static_cast<std::size_t>(z)])),
                 (x * x + y * y) * width2 / 12});
        }
        if (readings.size() >= 6) all.push_back(std::move(readings));
    }
    return all;
}

/// Blocks by how much of each foil they hold.
struct Coverage {
    std::vector<std::vector<FoilInBlock>> of_block; ///< in the order of Sheet::inside
    /// The fullest blocks of a foil: within a fifth of the fullest, which one in two hundred exceeds.
    [[nodiscard]] std::vector<int> full(const Sheet& sheet, std::size_t foil) const {
        std::vector<std::pair<double, int>> heights;
        for (std::size_t i = 0; i < of_block.size(); ++i)
            heights.emplace_back(-of_block[i][foil].height, sheet.inside[i]);
        std::sort(heights.begin(), heights.end());
        const double most = heights[heights.size() / 200].first;
        std::vector<int> blocks;
        for (const auto& [height, block] : heights)
            if (blocks.size() < most_blocks && height < 0.8 * most && height > 1.3 * most)
                blocks.push_back(block);
        return blocks;
    }
};

/// Blocks with no copper at all at an outer foil's place: the closest heap of heights near zero. A foil over
/// a thousandth of a block would bend the face by more than its blur is to be known, and zero itself lies off
/// by as much while the blur is only guessed.
std::vector<int> bare_blocks(const Sheet& sheet, const Coverage& coverage, std::size_t foil) {
    std::vector<std::pair<double, int>> heights;
    for (std::size_t i = 0; i < sheet.inside.size(); ++i)
        heights.emplace_back(coverage.of_block[i][foil].height, sheet.inside[i]);
    std::sort(heights.begin(), heights.end());
    const double heap = std::max(15 * sheet.levels.block_noise, 0.06);
    const double limit = 0.05 * heights[heights.size() - 1 - heights.size() / 50].first;
    std::size_t best = 0, most = 0;
    for (std::size_t first = 0, last = 0; first < heights.size(); ++first) {
        while (last < heights.size() && heights[last].first < heights[first].first + heap)
            ++last;
        if (last - first > most && std::abs(heights[first].first) < limit) best = first, most = last - first;
    }
    std::vector<int> blocks;
    const std::size_t stride = std::max<std::size_t>(1, most / most_blocks);
    for (std::size_t i = 0; i < most && blocks.size() < most_blocks; i += stride)
        blocks.push_back(heights[best + i].second);
    return blocks;
}

BareFace bare_face(const Sheet& sheet, const Coverage& coverage, const DepthModel& model, bool at_high) {
    BareFace face;
    face.depth = at_high ? model.high : model.low;
    face.rising = !at_high;
    const std::vector<int> blocks = bare_blocks(sheet, coverage, at_high ? model.foils.size() - 1 : 0);
    if (blocks.size() >= 6)
        face.blocks = readings_of(sheet, blocks, face.depth - face_reach, face.depth + face_reach);
    return face;
}

Coverage coverage_of(const Sheet& sheet, const DepthModel& model) {
    Coverage coverage;
    for (const int b : sheet.inside)
        coverage.of_block.push_back(foils_in_block(sheet, model, b));
    return coverage;
}

/// Copper of a foil in its fullest blocks, laminate steps times slices.
double fullest(const Coverage& coverage, const DepthModel& model, std::size_t foil) {
    std::vector<double> heights;
    for (const auto& block : coverage.of_block)
        heights.push_back(block[foil].height);
    const auto at = heights.end() - 1 - static_cast<std::ptrdiff_t>(heights.size() / 200);
    std::nth_element(heights.begin(), at, heights.end());
    return *at * model.foils[foil].thickness;
}

struct FalseFoil {
    std::size_t foil;
    bool doubled; ///< one of two at one place
};

/// A foil that the profile's misfit asked for and no block shows, or one of two at one place. Nothing: none.
std::optional<FalseFoil> false_foil(const Sheet& sheet, const DepthModel& model) {
    const Coverage coverage = coverage_of(sheet, model);
    std::vector<double> copper;
    for (std::size_t k = 0; k < model.foils.size(); ++k)
        copper.push_back(fullest(coverage, model, k));
    const double most = *std::max_element(copper.begin(), copper.end());
    std::optional<FalseFoil> worst;
    for (std::size_t k = 0; k < copper.size(); ++k) {
        bool doubled = false;
        for (const std::size_t other : {k - 1, k + 1}) // k - 1 of 0 is beyond the end
            doubled = doubled || (other < copper.size() && copper[other] > copper[k] &&
                                  std::abs(model.foils[other].middle - model.foils[k].middle) <
                                      least_apart * model.blur);
        const bool unseen = copper[k] < std::max(least_foil_copper, least_foil_share * most);
        if ((doubled || unseen) && (!worst || copper[k] < copper[worst->foil])) worst = {k, doubled};
    }
    return worst;
}

void drop_false_foils(const Sheet& sheet, DepthModel& model) {
    while (!model.foils.empty()) {
        const auto worst = false_foil(sheet, model);
        if (!worst) return;
        model.unseen += worst->doubled ? 0 : 1;
        model.foils.erase(model.foils.begin() + static_cast<std::ptrdiff_t>(worst->foil));
    }
}

/// What speaks for more layers than were counted. A board has copper on both faces and an even number of
/// layers (common practice, no source).
std::string layers_doubt(const DepthModel& model) {
    const std::string more = ": a layer too thin or with too little copper to show may be missing";
    const std::size_t count = model.foils.size();
    if (count == 0) return "no copper layer shows";
    if (!model.low_is_copper || !model.high_is_copper)
        return std::string("no copper shows on the ") + (model.low_is_copper ? "high-z" : "low-z") + " face" +
               more;
    if (count % 2 == 1)
        return std::to_string(count) +
               " layers show, and boards have an even number as a rule (common practice, no source)" + more +
               ", or two may lie closer than the blur";
    if (model.unseen > 0)
        return "something as faint as the thinnest copper lies between the layers seen" + more;
    return {};
}

/// Depth at which blocks read most, the mean over them, no further than `reach` from a guess.
double highest_place(const std::vector<BlockReadings>& blocks, double guess, double reach) {
    double sum = 0;
    int count = 0;
    for (const BlockReadings& block : blocks) {
        const DepthReading* most = nullptr;
        for (const DepthReading& reading : block)
            if (std::abs(reading.depth - guess) < reach && (most == nullptr || reading.value > most->value))
                most = &reading;
        if (most != nullptr) sum += most->depth, ++count;
    }
    return count > 0 ? sum / count : guess;
}

/// Blocks full of one foil, from half way to its neighbours.
CoveredFoil covered_foil(const Sheet& sheet, const Coverage& coverage, const DepthModel& model,
                         std::size_t k) {
    const double middle = model.foils[k].middle;
    const double before = k == 0 ? 6 : (middle - model.foils[k - 1].middle) / 2;
    const double behind = k + 1 == model.foils.size() ? 6 : (model.foils[k + 1].middle - middle) / 2;
    const std::vector<int> blocks = coverage.full(sheet, k);
    const double from = middle - std::min(6.0, before), to = middle + std::min(6.0, behind);
    CoveredFoil foil;
    foil.middle =
        highest_place(readings_of(sheet, blocks, from, to), middle, std::min({4.0, before, behind}));
    foil.blocks = readings_of(sheet, blocks, std::max(from, foil.middle - 6), std::min(to, foil.middle + 6));
    return foil;
}

/// Foils again, each where it covers whole blocks: there a foil stands thirty steps over its surround, and
/// whether laminate or air lies beside it moves it by hundredths of a slice.
void fit_on_full_blocks(const Sheet& sheet, DepthModel& model) {
    const Coverage coverage = coverage_of(sheet, model);
    FoilFit guess;
    guess.blur = model.blur;
    for (std::size_t k = 0; k < model.foils.size(); ++k)
        guess.foils.push_back(covered_foil(sheet, coverage, model, k));
    for (const bool at_high : {false, true})
        guess.faces.push_back(bare_face(sheet, coverage, model, at_high));
    const FoilFit fit = fit_foils(std::move(guess), std::max(sheet.levels.block_noise, 0.001), 1.4, 1.6);
    model.blur = fit.blur, model.u_blur = fit.u_blur, model.residual = fit.residual;
    for (std::size_t k = 0; k < model.foils.size(); ++k) {
        model.foils[k].middle = fit.foils[k].middle, model.foils[k].u_middle = fit.foils[k].u_middle;
        model.foils[k].thickness = fit.foils[k].thickness,
        model.foils[k].u_thickness = fit.foils[k].u_thickness;
    }
    for (std::size_t k = 0; k < model.foils.size(); ++k) {
        double sum = 0;
        for (const auto& block : coverage.of_block)
            sum += block[k].height;
        model.foils[k].height = sum / static_cast<double>(coverage.of_block.size());
    }
    set_outer_faces(model);
}

} // namespace

FlatStack flatten(const Volume& volume, const FlattenOptions& options, Watch& watch) {
    const BlockProfiles blocks = block_profiles(volume, watch);
    const VolumeLevels levels = volume_levels(blocks, options.dense);
    check_inside(blocks, levels);
    check_not_stacked(blocks, levels);
    Sheet sheet = first_sheet(blocks, levels, volume);
    DepthModel model;
    double residual = 0;
    for (int round = 0; round < 3; ++round) {
        DepthProfile profile = profile_of(sheet);
        weigh(profile, sheet);
        model = fit_depth_model(profile, std::nullopt);
        if (model.foils.empty()) break;
        residual = settle(sheet, model, volume);
    }
    DepthProfile profile = profile_of(sheet);
    weigh(profile, sheet);
    model = fit_depth_model(profile, std::nullopt);
    if (!model.foils.empty()) {
        drop_false_foils(sheet, model);
        if (model.foils.empty())
            set_outer_faces(model);
        else
            fit_on_full_blocks(sheet, model);
    }

    FlatStack flat;
    flat.dense = levels.sign > 0 ? DenseSide::bright : DenseSide::dark;
    flat.air = levels.sign * levels.air, flat.laminate = levels.sign * levels.laminate;
    flat.residual_px = residual;
    flat.thickness_px = Estimate::of(model.high_face - model.low_face, model.u_thickness);
    flat.blur_z_px = Estimate::of(model.blur, model.u_blur);
    const double zero = model.low_face;
    flat.low_face = sheet.low;
    flat.low_face.terms[0] += zero;
    for (const FoilLine& foil : model.foils) {
        FlatLayer layer;
        layer.depth_px = Estimate::of(foil.middle - zero, foil.u_middle);
        layer.thickness_px = foil.u_thickness < 0.5 * foil.thickness
                                 ? Estimate::of(foil.thickness, foil.u_thickness)
                                 : Estimate::missing("the foil is too thin to be told from the blur");
        layer.coverage = foil.height * foil.thickness;
        flat.layers.push_back(std::move(layer));
    }
    flat.layers_why = layers_doubt(model);
    gather_pictures(volume, levels, model, zero, flat, watch);
    return flat;
}

} // namespace ringwall
