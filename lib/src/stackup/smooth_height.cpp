// SPDX-License-Identifier: Apache-2.0
#include "stackup/sheet.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

namespace ringwall {
namespace {

int term_count(int degree) {
    return (degree + 1) * (degree + 2) / 2;
}

/// x^i y^j for i + j <= degree, lower degrees first.
template<typename F>
void each_term(int degree, F visit) {
    int k = 0;
    for (int d = 0; d <= degree; ++d)
        for (int j = 0; j <= d; ++j)
            visit(k++, d - j, j);
}

double power(double x, int n) {
    double p = 1;
    for (int i = 0; i < n; ++i)
        p *= x;
    return p;
}

Eigen::VectorXd basis(const SmoothHeight& height, Point px) {
    const double x = (px.x - height.middle_px.x) / height.half_px,
                 y = (px.y - height.middle_px.y) / height.half_px;
    Eigen::VectorXd row(term_count(height.degree));
    each_term(height.degree, [&](int k, int i, int j) { row[k] = power(x, i) * power(y, j); });
    return row;
}

double median_of(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Least scale of Tukey's weights, slices: below it all points count.
constexpr double least_scale_px = 0.02;

struct Weighted {
    Eigen::VectorXd terms;
    Eigen::VectorXd residuals;
    double scale = 0, kept = 0;
};

Weighted robust_fit(const Eigen::MatrixXd& rows, const Eigen::VectorXd& z, const Eigen::VectorXd& weights) {
    Weighted fit;
    Eigen::VectorXd w = weights;
    for (int round = 0; round < 12; ++round) {
        const Eigen::MatrixXd weighted = w.cwiseSqrt().asDiagonal() * rows;
        fit.terms = weighted.colPivHouseholderQr().solve(w.cwiseSqrt().cwiseProduct(z));
        fit.residuals = z - rows * fit.terms;
        std::vector<double> sizes;
        for (Eigen::Index i = 0; i < z.size(); ++i)
            if (weights[i] > 0) sizes.push_back(std::abs(fit.residuals[i]));
        fit.scale = 1.4826 * median_of(std::move(sizes));
        const double reach = 4.685 * std::max(fit.scale, least_scale_px);
        for (Eigen::Index i = 0; i < z.size(); ++i) {
            const double u = fit.residuals[i] / reach;
            w[i] = std::abs(u) < 1 ? weights[i] * (1 - u * u) * (1 - u * u) : 0;
        }
    }
    fit.kept = w.sum() / std::max(weights.sum(), 1e-12);
    return fit;
}

} // namespace

double SmoothHeight::at(Point px) const {
    const Eigen::VectorXd row = basis(*this, px);
    double sum = 0;
    for (Eigen::Index k = 0; k < row.size(); ++k)
        sum += row[k] * terms[static_cast<std::size_t>(k)];
    return sum;
}

std::array<double, 2> SmoothHeight::slope(Point px) const {
    const double x = (px.x - middle_px.x) / half_px, y = (px.y - middle_px.y) / half_px;
    double along_x = 0, along_y = 0;
    each_term(degree, [&](int k, int i, int j) {
        const double c = terms[static_cast<std::size_t>(k)];
        if (i > 0) along_x += c * i * power(x, i - 1) * power(y, j);
        if (j > 0) along_y += c * j * power(x, i) * power(y, j - 1);
    });
    return {along_x / half_px, along_y / half_px};
}

HeightFit fit_height(const std::vector<HeightPoint>& points, int width_px, int height_px, int most_degree) {
    const auto n = static_cast<Eigen::Index>(points.size());
    HeightFit best;
    double best_bic = std::numeric_limits<double>::max();
    for (int degree = 1; degree <= most_degree && term_count(degree) * 4 <= n; ++degree) {
        SmoothHeight height;
        height.degree = degree;
        height.middle_px = {(width_px - 1) / 2.0, (height_px - 1) / 2.0};
        height.half_px = std::max(width_px, height_px) / 2.0;
        Eigen::MatrixXd rows(n, term_count(degree));
        Eigen::VectorXd z(n), weights(n);
        for (Eigen::Index i = 0; i < n; ++i) {
            const HeightPoint& p = points[static_cast<std::size_t>(i)];
            rows.row(i) = basis(height, p.at_px).transpose();
            z[i] = p.z, weights[i] = p.weight;
        }
        const Weighted fit = robust_fit(rows, z, weights);
        const double scale = std::max(fit.scale, 1e-4);
        const double bic = 2 * static_cast<double>(n) * std::log(scale) +
                           term_count(degree) * std::log(static_cast<double>(n));
        if (bic >= best_bic) continue;
        best_bic = bic;
        height.terms.assign(fit.terms.data(), fit.terms.data() + fit.terms.size());
        best = {height, fit.scale, fit.kept};
    }
    return best;
}

} // namespace ringwall
