// SPDX-License-Identifier: Apache-2.0
#include "compare/similarity.hpp"

#include <cmath>
#include <complex>

namespace ringwall {

double PlacedFit::u_px(Point old) const {
    if (weight <= 0) return 0;
    const double lever2 = compare::distance2(old, centre_old);
    const double variance = 1 / weight + (weight_span > 0 ? lever2 / weight_span : 0);
    return stretch * std::sqrt(variance);
}

namespace compare {
namespace {

using Complex = std::complex<double>;

Complex old_number(Point at, bool mirrored) {
    return {at.x, mirrored ? -at.y : at.y};
}

Similarity similarity_of(Complex a, Complex b, bool mirrored) {
    return {a.real(), a.imag(), b.real(), b.imag(), mirrored};
}

} // namespace

std::optional<PlacedFit> fit_similarity(std::span<const WeightedPair> pairs, bool mirrored) {
    Complex old_mean, revised_mean;
    double weight = 0;
    for (const WeightedPair& pair : pairs) {
        old_mean += pair.weight * old_number(pair.old_px, mirrored);
        revised_mean += pair.weight * Complex(pair.revised_px.x, pair.revised_px.y);
        weight += pair.weight;
    }
    if (weight <= 0) return std::nullopt;
    old_mean /= weight;
    revised_mean /= weight;
    Complex crossed;
    double span = 0;
    for (const WeightedPair& pair : pairs) {
        const Complex old = old_number(pair.old_px, mirrored) - old_mean;
        crossed +=
            pair.weight * (Complex(pair.revised_px.x, pair.revised_px.y) - revised_mean) * std::conj(old);
        span += pair.weight * std::norm(old);
    }
    if (span <= 0 || crossed == Complex()) return std::nullopt;
    const Complex a = crossed / span;
    PlacedFit fit;
    fit.similarity = similarity_of(a, revised_mean - a * old_mean, mirrored);
    fit.centre_old = {old_mean.real(), mirrored ? -old_mean.imag() : old_mean.imag()};
    fit.weight = weight;
    fit.weight_span = span;
    return fit;
}

Similarity similarity_through(Point old_a, Point old_b, Point revised_a, Point revised_b, bool mirrored) {
    // Written out: a search calls this millions of times, and complex division looks for infinities.
    const double turn = mirrored ? -1 : 1;
    const double x = old_b.x - old_a.x, y = turn * (old_b.y - old_a.y), over = 1 / (x * x + y * y);
    const double u = revised_b.x - revised_a.x, v = revised_b.y - revised_a.y;
    Similarity similarity;
    similarity.mirrored = mirrored;
    similarity.a_x = (u * x + v * y) * over;
    similarity.a_y = (v * x - u * y) * over;
    const double from_y = turn * old_a.y;
    similarity.b_x = revised_a.x - (similarity.a_x * old_a.x - similarity.a_y * from_y);
    similarity.b_y = revised_a.y - (similarity.a_y * old_a.x + similarity.a_x * from_y);
    return similarity;
}

Point inverse(const Similarity& similarity, Point revised) {
    const Complex old = Complex(revised.x - similarity.b_x, revised.y - similarity.b_y) /
                        Complex(similarity.a_x, similarity.a_y);
    return {old.real(), similarity.mirrored ? -old.imag() : old.imag()};
}

double scale_of(const Similarity& similarity) {
    return std::hypot(similarity.a_x, similarity.a_y);
}

} // namespace compare
} // namespace ringwall
