// SPDX-License-Identifier: Apache-2.0
#include "stackup/layer_pictures.hpp"

#include "bridge/parallel.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr int steps_a_slice = 64;      ///< of the weights' table
constexpr double reach_of_foil = 2.25; ///< of the blur's sigma, from its surface: its tail there is 1.2 %

/// How far from its middle a foil's own copper shows.
double shows_to(const DepthModel& model, const FoilLine& foil) {
    return foil.thickness / 2 + reach_of_foil * model.blur;
}

bool between_foils(const DepthModel& model, double depth) {
    return std::none_of(model.foils.begin(), model.foils.end(), [&](const FoilLine& foil) {
        return std::abs(depth - foil.middle) < shows_to(model, foil);
    });
}

/// What a voxel at a depth adds to which layer's picture: at most two layers overlap anywhere.
struct Share {
    int layer = -1;
    float weight = 0;
};
struct Shares {
    Share first, second;
    float of_mean = 0;
    bool between = false; ///< no foil's own copper shows at this depth
};

class ShareTable {
  public:
    ShareTable(const DepthModel& model, double zero, double thickness) : from_(-8) {
        const auto count = static_cast<std::size_t>((thickness + 16) * steps_a_slice) + 1;
        shares_.resize(count);
        for (std::size_t i = 0; i < count; ++i) {
            const double d = from_ + (static_cast<double>(i) + 0.5) / steps_a_slice;
            shares_[i].of_mean = d >= 0 && d <= thickness ? 1.0F : 0.0F;
            shares_[i].between = d >= 0 && d <= thickness && between_foils(model, d + zero);
            for (std::size_t k = 0; k < model.foils.size(); ++k) {
                const double w = weight(model, model.foils[k], d + zero);
                if (w <= 0) continue;
                Share& place = shares_[i].first.layer < 0 ? shares_[i].first : shares_[i].second;
                place = {static_cast<int>(k), static_cast<float>(w)};
            }
        }
    }
    /// Cut where little is left, so that half a slice beyond does not matter.
    static double weight(const DepthModel& model, const FoilLine& foil, double depth) {
        const double half = foil.thickness / 2 + 1.5 * model.blur;
        return std::abs(depth - foil.middle) > half ? 0 : model.line(foil, depth);
    }
    [[nodiscard]] const Shares* at(double depth) const {
        const double place = (depth - from_) * steps_a_slice;
        if (!(place >= 0) || place >= static_cast<double>(shares_.size())) return nullptr;
        return &shares_[static_cast<std::size_t>(place)];
    }

  private:
    double from_;
    std::vector<Shares> shares_;
};

/// Sums of one picture, and of the weights that went into it.
struct Sums {
    Image<float> values, weights;
    Sums(int width, int height) : values(width, height), weights(width, height) {}
};

struct Column { ///< depth of slice z is z * cosine - offset
    float cosine, offset;
};

Image<Column> columns_of(const FlatStack& flat, int width, int height) {
    Image<Column> columns(width, height);
    bridge::over_rows(height, [&](int first, int last) {
        for (int y = first; y < last; ++y)
            for (int x = 0; x < width; ++x) {
                const Point at{static_cast<double>(x), static_cast<double>(y)};
                const auto [sx, sy] = flat.low_face.slope(at);
                const double cosine = 1 / std::sqrt(1 + sx * sx + sy * sy);
                columns(x, y) = {static_cast<float>(cosine),
                                 static_cast<float>(flat.low_face.at(at) * cosine)};
            }
    });
    return columns;
}

/// Adds some slices, z rising in every column, so that the sums are the same on any number of threads.
class Gatherer {
  public:
    Gatherer(const ShareTable& table, const VolumeLevels& levels, const Image<Column>& columns, int layers)
        : table_(table), levels_(levels), columns_(columns), mean_(columns.width(), columns.height()),
          highest_(columns.width(), columns.height()), depth_(columns.width(), columns.height()) {
        for (int k = 0; k < layers; ++k)
            layers_.emplace_back(columns.width(), columns.height());
    }
    void add(const std::vector<Image<float>>& slices, int first_z, int count) {
        bridge::over_rows(columns_.height(), [&](int first, int last) {
            for (int i = 0; i < count; ++i)
                for (int y = first; y < last; ++y)
                    add_row(slices[static_cast<std::size_t>(i)].view().row(y), first_z + i, y);
        });
    }
    void finish(FlatStack& flat) {
        flat.mean = quotient(mean_);
        flat.between.most = std::move(highest_);
        flat.between.depth_px = std::move(depth_);
        for (std::size_t k = 0; k < layers_.size(); ++k)
            flat.layers[k].picture = quotient(layers_[k]);
    }

  private:
    void add_row(const float* row, int z, int y) {
        const auto scale = static_cast<float>(levels_.sign / (levels_.laminate - levels_.air));
        const auto zero = static_cast<float>(levels_.air / (levels_.laminate - levels_.air));
        for (int x = 0; x < columns_.width(); ++x) {
            const Column& column = columns_(x, y);
            const float depth = static_cast<float>(z) * column.cosine - column.offset;
            const Shares* shares = table_.at(static_cast<double>(depth));
            if (shares == nullptr) continue;
            const float value = row[x] * scale - zero;
            if (shares->between && value > highest_(x, y)) highest_(x, y) = value, depth_(x, y) = depth;
            put(mean_, x, y, value, shares->of_mean);
            for (const Share& share : {shares->first, shares->second})
                if (share.layer >= 0)
                    put(layers_[static_cast<std::size_t>(share.layer)], x, y, value, share.weight);
        }
    }
    static void put(Sums& sums, int x, int y, float value, float weight) {
        sums.values(x, y) += weight * value;
        sums.weights(x, y) += weight;
    }
    static Image<float> quotient(Sums& sums) {
        for (std::size_t i = 0; i < sums.values.size(); ++i)
            sums.values.data()[i] /= std::max(sums.weights.data()[i], 1e-6F);
        return std::move(sums.values);
    }

    const ShareTable& table_;
    const VolumeLevels& levels_;
    const Image<Column>& columns_;
    Sums mean_;
    Image<float> highest_, depth_; ///< between the layers
    std::vector<Sums> layers_;
};

/// How much of foil j's line ends up in layer k's picture, in shares of foil j's own height.
Eigen::MatrixXd overlaps(const DepthModel& model) {
    const auto n = static_cast<Eigen::Index>(model.foils.size());
    Eigen::MatrixXd shares = Eigen::MatrixXd::Zero(n, n);
    for (Eigen::Index k = 0; k < n; ++k) {
        const FoilLine& own = model.foils[static_cast<std::size_t>(k)];
        double sum = 0;
        const double half = own.thickness / 2 + 1.5 * model.blur;
        for (double d = own.middle - half; d <= own.middle + half; d += 0.02) {
            const double w = ShareTable::weight(model, own, d);
            sum += w;
            for (Eigen::Index j = 0; j < n; ++j)
                shares(k, j) += w * model.line(model.foils[static_cast<std::size_t>(j)], d);
        }
        shares.row(k) /= std::max(sum, 1e-9);
    }
    return shares;
}

/// Copper beside its layers' own depth is taken out of each picture; what is not laminate throughout (air,
/// barrels) keeps its value.
void take_out_neighbours(const DepthModel& model, FlatStack& flat) {
    const Eigen::MatrixXd shares = overlaps(model);
    const auto n = shares.rows();
    Eigen::MatrixXd inverse = shares.inverse();
    for (Eigen::Index k = 0; k < n; ++k)
        inverse.row(k) *= shares(k, k); // a layer's own height stays as gathered
    bool apart = true;
    for (Eigen::Index k = 0; k < n; ++k)
        for (Eigen::Index j = 0; j < n; ++j)
            if (j != k && std::abs(inverse(k, j)) > 1e-3) apart = false;
    if (n < 2 || apart) return;
    const std::size_t size = flat.mean.size();
    Eigen::VectorXf column(n);
    const Eigen::MatrixXf unmix = inverse.cast<float>();
    for (std::size_t i = 0; i < size; ++i) {
        for (Eigen::Index k = 0; k < n; ++k)
            column[k] = flat.layers[static_cast<std::size_t>(k)].picture.data()[i] - 1;
        // A column that is copper or air from face to face has no layers to be told apart.
        const float least = column.minCoeff(), most = column.maxCoeff();
        if (least < -0.5F || least > 0.5F * most) continue;
        const Eigen::VectorXf own = unmix * column;
        for (Eigen::Index k = 0; k < n; ++k)
            flat.layers[static_cast<std::size_t>(k)].picture.data()[i] = 1 + own[k];
    }
}

} // namespace

void gather_pictures(const Volume& volume, const VolumeLevels& levels, const DepthModel& model, double zero,
                     FlatStack& flat, Watch& watch) {
    const Image<Column> columns = columns_of(flat, volume.width_px, volume.height_px);
    const ShareTable table(model, zero, flat.thickness_px.value());
    Gatherer gatherer(table, levels, columns, static_cast<int>(model.foils.size()));
    constexpr int batch = 8;
    std::vector<Image<float>> slices;
    slices.reserve(batch);
    for (int i = 0; i < batch; ++i)
        slices.emplace_back(volume.width_px, volume.height_px);
    for (int z = 0; z < volume.slices; z += batch) {
        const int count = std::min(batch, volume.slices - z);
        bridge::over_each(count, watch, [&](int i) {
            volume.read_slice(z + i, slices[static_cast<std::size_t>(i)].view());
        });
        gatherer.add(slices, z, count);
        watch.progress("gathering layers", z + count, volume.slices);
    }
    gatherer.finish(flat);
    for (std::size_t k = 0; k + 1 < model.foils.size(); ++k) {
        const FoilLine &foil = model.foils[k], &next = model.foils[k + 1];
        if (next.middle - foil.middle <= shows_to(model, foil) + shows_to(model, next))
            flat.between.none_after.push_back(static_cast<int>(k) + 1);
    }
    take_out_neighbours(model, flat);
}

} // namespace ringwall
