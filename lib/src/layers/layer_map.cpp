// SPDX-License-Identifier: Apache-2.0
#include "layers/layer_map.hpp"

#include "bridge/parallel.hpp"
#include "core/special.hpp"
#include "exposure/blocks.hpp"
#include "exposure/edges.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::layers {
namespace {

/// Of t: what solid copper and a foil take away at most. Foils of face-on pictures, for which the ring stage
/// is made, dim by this and less; there one more foil is a factor, which must then be near to a difference.
constexpr double most_of_solid = 0.6, most_of_foil = 0.3;
constexpr double least_copper_share = 0.8; ///< of the level that the foil's thickness leads one to expect
constexpr double model_share = 0.01;       ///< of a foil's level
constexpr double least_copper_level = 1.5; ///< laminate steps over laminate: below it a layer shows no copper

double quantile_of(std::vector<float>& values, double share) {
    if (values.empty()) return 0;
    const auto at =
        values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return static_cast<double>(*at);
}

/// Sigma of one pixel, from second differences two pixels apart: edges are few.
double noise_of(ImageView<const float> picture) {
    std::vector<float> differences;
    const int stride = std::max(1, static_cast<int>(picture.size() / 200000));
    for (int y = 0; y < picture.height(); ++y)
        for (int x = 2 + y % stride; x + 2 < picture.width(); x += stride)
            differences.push_back(std::abs(picture(x, y) - (picture(x - 2, y) + picture(x + 2, y)) / 2));
    return quantile_of(differences, 0.5) / (0.6745 * std::sqrt(1.5));
}

/// Mean of 2 x 2 pixels.
Image<float> halved(ImageView<const float> picture) {
    Image<float> half(picture.width() / 2, picture.height() / 2);
    for (int y = 0; y < half.height(); ++y)
        for (int x = 0; x < half.width(); ++x)
            half(x, y) = (picture(2 * x, 2 * y) + picture(2 * x + 1, 2 * y) + picture(2 * x, 2 * y + 1) +
                          picture(2 * x + 1, 2 * y + 1)) /
                         4;
    return half;
}

NoiseModel noise_model(ImageView<const float> t) {
    NoiseModel noise;
    noise.readout = std::max(noise_of(t), 1e-5);
    const Image<float> half = halved(t);
    noise.correlation = std::clamp(4 * std::pow(noise_of(half.view()) / noise.readout, 2), 1.0, 6.0);
    return noise;
}

/// How unevenly laminate reads over the picture, robust sigma of the values between two limits that are
/// laminate's for sure. Nothing: too little of the picture is laminate, and edges would count.
std::optional<double> unevenness_of(ImageView<const float> picture, double from, double to) {
    std::vector<float> values;
    const int stride = std::max(1, static_cast<int>(picture.size() / 200000));
    for (int y = 0; y < picture.height(); ++y)
        for (int x = y % stride; x < picture.width(); x += stride)
            if (const auto v = static_cast<double>(picture(x, y)); v > from && v < to)
                values.push_back(picture(x, y));
    constexpr double least_share = 0.3;
    if (static_cast<double>(values.size()) < least_share * static_cast<double>(picture.size()) / stride)
        return std::nullopt;
    const auto middle = static_cast<float>(quantile_of(values, 0.5));
    for (float& v : values)
        v = std::abs(v - middle);
    return 1.4826 * quantile_of(values, 0.5);
}

/// Level of copper in a layer's picture: the upper middle of what stands above half the highest. Barrels,
/// which stand higher than a thin foil, are few beside foils and lands.
double copper_level(ImageView<const float> picture) {
    std::vector<float> values(picture.row(0), picture.row(0) + picture.size());
    const double highest = quantile_of(values, 0.999);
    if (highest < 1 + least_copper_level) return 0;
    std::erase_if(values, [&](float v) { return static_cast<double>(v) < (1 + highest) / 2; });
    return quantile_of(values, 0.6);
}

/// Level of bare laminate in a layer's picture: the commonest value between air and copper. Below 1 on an
/// outer layer, where air lies beside the foil.
double laminate_level(ImageView<const float> picture) {
    constexpr int bins = 60;
    std::array<int, bins> counts{};
    for (int y = 0; y < picture.height(); ++y)
        for (int x = 0; x < picture.width(); ++x) {
            const float v = picture(x, y);
            if (v > 0.25F && v < 1.75F) ++counts[static_cast<std::size_t>((v - 0.25F) * bins / 1.5F)];
        }
    int best = 1, most = 0;
    for (int i = 1; i + 1 < bins; ++i) {
        const auto at = static_cast<std::size_t>(i);
        const int here = counts[at - 1] + counts[at] + counts[at + 1];
        if (here > most) best = i, most = here;
    }
    return 0.25 + (best + 0.5) * 1.5 / bins;
}

Image<float> scaled(ImageView<const float> picture, double step) {
    Image<float> t(picture.width(), picture.height());
    bridge::over_rows(picture.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y)
            for (int x = 0; x < picture.width(); ++x)
                t(x, y) = 1 - static_cast<float>(step) * picture(x, y);
    });
    return t;
}

TransmissionMap as_map(Image<float> t) {
    TransmissionMap map;
    map.t = std::move(t);
    map.radiometry = Radiometry::linear;
    map.t_is_physical = true;
    map.dense = DenseSide::dark;
    map.noise = noise_model(map.t.view());
    return map;
}

/// Share of a foil's own level that its picture shows: the mean of its blurred line, weighted with itself
/// (stackup/layer_pictures.hpp).
double own_share(double thickness, double blur) {
    double sum = 0, weights = 0;
    const double half = thickness / 2;
    for (double d = 0; d <= half + 1.5 * blur; d += 0.02) {
        const double line = normal_cdf((d + half) / blur) - normal_cdf((d - half) / blur);
        sum += line * line, weights += line;
    }
    return sum / weights;
}

/// Share of a barrel's level that a layer's picture shows: all of it inside the board, less on an outer
/// layer, where the barrel ends with the foil.
double barrel_share(const FlatStack& flat, const FlatLayer& layer) {
    const double thickness = layer.thickness_px.value_or(1), blur = flat.blur_z_px.value_or(1);
    const double half = thickness / 2, middle = layer.depth_px.value(), board = flat.thickness_px.value();
    double sum = 0, weights = 0;
    for (double d = -half - 1.5 * blur; d <= half + 1.5 * blur; d += 0.02) {
        const double line = normal_cdf((d + half) / blur) - normal_cdf((d - half) / blur);
        sum += line * (normal_cdf((middle + d) / blur) - normal_cdf((middle + d - board) / blur));
        weights += line;
    }
    return sum / weights;
}

LayerMap layer_map(const FlatStack& flat, const FlatLayer& layer, const Estimate& ratio) {
    LayerMap out;
    out.copper = copper_level(layer.picture.view());
    if (layer.thickness_px && flat.blur_z_px && out.copper > 0) {
        const double share = own_share(layer.thickness_px.value(), flat.blur_z_px.value());
        const double expected = 1 + share * (ratio.value() - 1);
        if (out.copper < least_copper_share * expected)
            out.copper = expected; // strokes narrower than the blur
    }
    out.step = std::min(most_of_solid / ratio.value(), most_of_foil / std::max(out.copper, 1.0));
    out.depth_px = layer.depth_px.value();
    out.map = as_map(scaled(layer.picture.view(), out.step));
    // A stack has so little noise that what tilt and resampling leave of a model's edges stands above it.
    out.map.noise.readout = std::hypot(out.map.noise.readout, model_share * out.step * out.copper);
    const double laminate = laminate_level(layer.picture.view());
    const double reach = 0.25 * std::max(out.copper - 1, 2.0);
    out.unevenness = unevenness_of(layer.picture.view(), laminate - 1.5 * reach, laminate + reach);
    MaterialLevels& levels = out.materials.levels;
    const double u = 0.01 * out.step;
    levels.open = Estimate::of(1, u);
    levels.laminate = Estimate::of(1 - out.step * laminate, u);
    if (out.copper > 0)
        levels.copper = {Estimate::of(1 - out.step * out.copper, 0.03 * out.step * out.copper)};
    levels.foils_resolved = true;
    const double shown = barrel_share(flat, layer);
    out.priors.shared.barrel = 1 - out.step * shown * ratio.value();
    out.priors.variance.barrel = std::pow(out.step * shown * ratio.u(), 2);
    out.priors.barrel_known = true;
    return out;
}

/// Mean over the layers whose edges say anything, weighted; no doubt below a fiftieth.
Estimate blur_of(const std::vector<LayerMap>& maps) {
    double sum = 0, weights = 0;
    for (const LayerMap& each : maps) {
        const exposure::Blocks blocks = exposure::make_blocks(each.map.t.view());
        const Estimate blur =
            exposure::measure_edges(each.map.t.view(), blocks, each.map.noise, false).blur_sigma_px;
        if (!blur || blur.u() <= 0) continue;
        const double weight = 1 / (blur.u() * blur.u());
        sum += weight * blur.value(), weights += weight;
    }
    if (weights <= 0) return Estimate::of(1.2, 0.4);
    const double blur = sum / weights;
    return Estimate::of(blur, std::max(1 / std::sqrt(weights), 0.02 * blur));
}

} // namespace

Estimate copper_ratio(const FlatStack& flat) {
    Estimate best = Estimate::of(30, 4);
    double highest = 0;
    for (const FlatLayer& layer : flat.layers) {
        const double level = copper_level(layer.picture.view());
        if (!layer.thickness_px || !flat.blur_z_px || level <= 0) continue;
        const double relative_u = layer.thickness_px.u() / layer.thickness_px.value();
        if (relative_u > 0.1) continue;
        const double share = own_share(layer.thickness_px.value(), flat.blur_z_px.value());
        const double ratio = (level - 1 + share) / share;
        // A layer with little copper wide enough for the blur reads low; none reads high.
        if (ratio <= highest) continue;
        highest = ratio;
        best = Estimate::of(ratio, ratio * std::hypot(0.03, relative_u));
    }
    return best;
}

double unevenness_of_laminate(const std::vector<LayerMap>& maps) {
    std::optional<double> least;
    for (const LayerMap& each : maps)
        if (each.unevenness) least = std::min(least.value_or(*each.unevenness), *each.unevenness);
    return least.value_or(0);
}

std::vector<LayerMap> layer_maps(const FlatStack& flat) {
    const Estimate ratio = copper_ratio(flat);
    std::vector<LayerMap> maps;
    for (const FlatLayer& layer : flat.layers)
        maps.push_back(layer_map(flat, layer, ratio));
    const Estimate blur = blur_of(maps);
    for (LayerMap& each : maps) {
        each.map.blur_sigma_px = blur;
        each.priors.shared.sigma_px = blur.value();
        each.priors.variance.sigma = blur.u() * blur.u();
        each.priors.blur_known = true;
    }
    return maps;
}

TransmissionMap through_map(const FlatStack& flat) {
    Image<float> t(flat.mean.width(), flat.mean.height());
    for (int y = 0; y < t.height(); ++y)
        for (int x = 0; x < t.width(); ++x)
            t(x, y) = std::exp(-0.1F * flat.mean(x, y));
    TransmissionMap map = as_map(std::move(t));
    map.blur_sigma_px = Estimate::of(1.5, 0.5);
    return map;
}

} // namespace ringwall::layers
