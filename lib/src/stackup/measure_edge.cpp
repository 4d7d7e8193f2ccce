// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "stackup/align.hpp"
#include "stackup/barrels.hpp"
#include "stackup/layers.hpp"
#include "stackup/smear.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

using namespace stackup;

constexpr double most_smear_px = 1;     ///< beyond this copper layers near each other may have run into one
constexpr double most_saturated = 0.01; ///< share of the pixels at the end of the scale
constexpr int folds = 10;               ///< of the jackknife along the board

StepPriors priors_of(const TransmissionMap& map, const EdgeOptions& options) {
    StepPriors priors;
    if (map.blur_sigma_px) {
        priors.blur_px = std::clamp(map.blur_sigma_px.value(), 0.4, 4.0);
        priors.u_blur_px = 0.15 * priors.blur_px + map.blur_sigma_px.u();
    }
    priors.foil_px = options.foil_px;
    if (options.foil_px) priors.u_foil_px = 0.1 * *options.foil_px + 0.4; // and what a smear adds
    return priors;
}

/// Outermost copper edges; laminate's where a face carries none.
std::array<double, 2> faces_of(const Steps& s) {
    std::size_t first = 0, last = s.edges.size() - 1;
    if (s.is[1] == Steps::Is::mask) ++first;
    if (s.is[s.is.size() - 2] == Steps::Is::mask) --last;
    return {s.edges[first], s.edges[last]};
}

double middle_of(const Steps& s, int j) {
    const auto i = static_cast<std::size_t>(j);
    return (s.edges[i - 1] + s.edges[i]) / 2;
}

/// What single stretches of the board disagree by: u of thickness and of each layer's place.
struct Scatter {
    double thickness = 0;
    std::vector<double> layers, widths;
};

Scatter jackknife(const Profiles& all, const std::vector<double>& weights, const StepFit& whole,
                  const StepPriors& priors, Watch& watch) {
    const auto copper = whole.steps.copper();
    std::vector<std::vector<double>> values; // thickness, then middles from the low face, then widths
    for (int fold = 0; fold < folds; ++fold) {
        if (watch.cancelled()) throw Cancelled{};
        std::vector<double> part = weights;
        int used = 0;
        for (double& w : part)
            if (w > 0 && used++ % folds == fold) w = 0;
        if (used < folds)
            part = weights; // few pieces: the same again adds no scatter, the noise stands beside
        const Steps s = fit_steps(whole.steps, all.of(part), priors).steps;
        std::vector<double> row{faces_of(s)[1] - faces_of(s)[0]};
        for (const int j : copper)
            row.push_back(middle_of(s, j) - faces_of(s)[0]);
        for (const int j : copper)
            row.push_back(s.edges[static_cast<std::size_t>(j)] - s.edges[static_cast<std::size_t>(j) - 1]);
        values.push_back(std::move(row));
    }
    std::vector<double> u(values.front().size());
    for (std::size_t k = 0; k < u.size(); ++k) {
        double mean = 0, sum = 0;
        for (const auto& row : values)
            mean += row[k] / folds;
        for (const auto& row : values)
            sum += (row[k] - mean) * (row[k] - mean);
        u[k] = std::sqrt(sum * (folds - 1) / folds);
    }
    const auto n = static_cast<std::ptrdiff_t>(copper.size());
    return {u[0], {u.begin() + 1, u.begin() + 1 + n}, {u.begin() + 1 + n, u.end()}};
}

double variance_of_difference(const Eigen::MatrixXd& c, Eigen::Index a, Eigen::Index b) {
    return std::max(0.0, c(a, a) + c(b, b) - 2 * c(a, b));
}

std::string px_words(double px) {
    return shortest(rounded(px, 2)) + " px";
}

class Measurement {
  public:
    Measurement(const TransmissionMap& map, const EdgeOptions& options, Watch& watch)
        : map_(map), options_(options), watch_(watch), priors_(priors_of(map, options)) {}

    EdgeView run() {
        const auto [coarse, why] = find_strip(map_.t.view(), watch_);
        if (!coarse) return not_found(why);
        aligned_ = align(map_, *coarse, watch_);
        if (!aligned_.why.empty()) return not_found(aligned_.why);
        const Profiles all = profiles(map_, aligned_.strip, watch_);
        const std::vector<Sample> samples = all.of(aligned_.weights);
        if (!samples.empty()) spread_ = samples[samples.size() / 2].spread;
        priors_.blur_px = std::hypot(priors_.blur_px, spread_);
        layers_ = find_layers(samples, aligned_.strip.low, aligned_.strip.high, priors_);
        if (!layers_.sound) return not_found("the dark band shows no board's profile");
        scatter_ = jackknife(all, aligned_.weights, layers_.fit, priors_, watch_);
        fill_place();
        fill_thickness();
        fill_layers();
        count();
        fill_barrels();
        return view_;
    }

  private:
    static EdgeView not_found(const std::string& why) {
        EdgeView view;
        view.why = why;
        view.thickness_px = Estimate::missing(why);
        view.smear_px = view.blur_px = Estimate::missing(why);
        view.layers_why = why;
        return view;
    }
    [[nodiscard]] const Steps& steps() const { return layers_.fit.steps; }

    void fill_place() {
        view_.found = true;
        view_.angle_deg = aligned_.strip.angle_deg;
        const auto faces = faces_of(steps());
        for (std::size_t f = 0; f < 2; ++f)
            view_.faces_px[f] = {aligned_.strip.image_from_strip({aligned_.strip.first, faces[f]}),
                                 aligned_.strip.image_from_strip({aligned_.strip.last, faces[f]})};
        const auto& is = steps().is;
        const std::size_t low = is[1] == Steps::Is::mask ? 2 : 1,
                          high = is[is.size() - 2] == Steps::Is::mask ? is.size() - 3 : is.size() - 2;
        view_.face_has_copper = {is[low] == Steps::Is::copper, is[high] == Steps::Is::copper};
        const auto last = layers_.fit.covariance.rows() - 1;
        view_.blur_px =
            Estimate::of(std::sqrt(std::max(0.01, steps().sigma * steps().sigma - spread_ * spread_)),
                         std::sqrt(layers_.fit.misfit * layers_.fit.covariance(last, last)));
        if (std::abs(aligned_.strip.bow) * std::pow((aligned_.strip.last - aligned_.strip.first) / 2, 2) >
            1.5)
            view_.warnings.emplace_back(
                "The board is bent in this picture; its layers were measured along the bend");
    }

    void fill_thickness() {
        std::optional<double> axis;
        if (options_.centre_px) axis = aligned_.strip.strip_from_image(*options_.centre_px).y;
        const Eigen::MatrixXd covariance = layers_.fit.covariance * layers_.fit.misfit;
        smear_ = smear_of(steps(), covariance, options_, axis);
        const auto faces = faces_of(steps());
        const auto n = static_cast<Eigen::Index>(steps().edges.size());
        const double noise = std::sqrt(variance_of_difference(covariance, 0, n - 1));
        // Plating counts, mask does not, and either may be all of the excess: its middle, evenly spread.
        const double excess = smear_.excess_px[0] + smear_.excess_px[1];
        view_.u_fit_px = std::hypot(std::hypot(noise, scatter_.thickness), excess / std::sqrt(12.0));
        view_.u_smear_px = smear_.u_px;
        // Half the step of an unknown grey curve lies up to 0.3 blurs off at each face (a logarithm's does).
        // So does that of an open beam beyond the scale's end: 10 % beyond, 0.12 blurs and a sharper blur.
        const bool saturated = map_.saturated_fraction > most_saturated;
        view_.u_curve_px = map_.t_is_physical && !saturated ? 0 : 0.3 * steps().sigma;
        const double u = std::sqrt(view_.u_fit_px * view_.u_fit_px + smear_.u_px * smear_.u_px +
                                   view_.u_curve_px * view_.u_curve_px);
        view_.thickness_px = Estimate::of(faces[1] - faces[0] - smear_.widened_px - excess / 2, u);
        view_.smear_px = Estimate::of(smear_.outer_px, smear_.u_px);
        warn_of_faces(excess, saturated);
    }

    void warn_of_faces(double excess, bool saturated) {
        if (excess > 0)
            view_.warnings.emplace_back(
                "Copper on the faces shows " + px_words(excess) +
                " wider in all than the inner layers': plating, which counts, and solder mask, which does "
                "not, cannot be told apart at this blur, and the thickness lies between the two");
        if (saturated)
            view_.warnings.emplace_back("The open beam is saturated: the board's faces show further in than "
                                        "they are, by an amount that the picture does not tell");
        if (!view_.face_has_copper[0] || !view_.face_has_copper[1])
            view_.warnings.emplace_back("No copper shows on " +
                                        std::string(view_.face_has_copper[0] || view_.face_has_copper[1]
                                                        ? "one face"
                                                        : "either face") +
                                        ": there the thickness was measured to the laminate");
    }

    void fill_layers() {
        const auto copper = steps().copper();
        const double low = faces_of(steps())[0] + (smear_.widened_px + smear_.excess_px[0]) / 2;
        for (std::size_t n = 0; n < copper.size(); ++n) {
            const auto i = static_cast<std::size_t>(copper[n]);
            const auto e = static_cast<Eigen::Index>(i);
            double laminate = 0.01;
            for (const std::size_t k : {i - 1, i + 1})
                if (steps().is[k] == Steps::Is::laminate) laminate = std::max(laminate, steps().levels[k]);
            EdgeLayer layer;
            layer.number = static_cast<int>(n) + 1;
            layer.outer =
                steps().is[i - 1] != Steps::Is::laminate || steps().is[i + 1] != Steps::Is::laminate;
            layer.darkness = std::clamp(1 - steps().levels[i] / laminate, 0.0, 1.0);
            layer.saturated = steps().levels[i] < 0.03;
            const double noise =
                std::sqrt(layers_.fit.misfit * variance_of_difference(layers_.fit.covariance, e - 1, e));
            layer.z_px = Estimate::of(middle_of(steps(), copper[n]) - low,
                                      std::hypot(std::hypot(scatter_.layers[n], noise / 2), smear_.u_px / 2));
            layer.width_px =
                Estimate::of(steps().edges[i] - steps().edges[i - 1], std::hypot(noise, scatter_.widths[n]));
            view_.layers.push_back(layer);
        }
    }

    /// Why lines may be missing, strongest reason first; empty: nothing speaks against the count.
    [[nodiscard]] std::string why_more() const {
        if (view_.layers.empty()) return "no copper layer shows";
        if (!view_.face_has_copper[0] || !view_.face_has_copper[1])
            return "on a face no copper stands out from the laminate: thin copper there may not show";
        if (smear_.outer_px > most_smear_px)
            return "the beam passed " + px_words(smear_.outer_px) +
                   " across the board's thickness on its way through: copper layers near each other may "
                   "show as one";
        std::vector<double> widths;
        for (const EdgeLayer& layer : view_.layers)
            widths.push_back(layer.width_px.value_or(0));
        std::sort(widths.begin(), widths.end());
        const double usual = widths[(widths.size() - 1) / 2];
        for (const EdgeLayer& layer : view_.layers) {
            const double width = layer.width_px.value_or(0), u = layer.width_px.u();
            if (width > 2 * usual + 2 * u && width - usual > 1.5 * steps().sigma)
                return "line " + std::to_string(layer.number) + " is wide enough for two copper layers";
        }
        if (!layers_.unsure.empty())
            return "a faint line may be a layer with little copper or none: " +
                   std::to_string(layers_.unsure.size()) + " not counted";
        double brightest = 0;
        for (std::size_t j = 0; j < steps().is.size(); ++j)
            if (steps().is[j] == Steps::Is::laminate) brightest = std::max(brightest, steps().levels[j]);
        if (brightest < 0.02) return "almost nothing comes through the laminate: copper in it does not show";
        return {};
    }

    void count() {
        const int sure = static_cast<int>(view_.layers.size() - layers_.unsure.size());
        const std::string why = why_more();
        if (why.empty()) {
            view_.copper_layers = sure;
            if (sure % 2 == 1)
                view_.layers_why = "an odd number of copper layers is unusual: one may not have been seen";
        } else {
            if (sure > 0) view_.at_least = sure;
            view_.layers_why = why;
        }
    }

    void fill_barrels() {
        const auto faces = faces_of(steps());
        for (const Barrel& barrel : find_barrels(map_, aligned_.strip, steps(), watch_))
            view_.barrels.push_back(
                {aligned_.strip.image_from_strip({barrel.along, (faces[0] + faces[1]) / 2}),
                 barrel.width_px});
        view_.barrels_why = "plated holes that overlap along the beam show as one or are left out";
    }

    const TransmissionMap& map_;
    const EdgeOptions& options_;
    Watch& watch_;
    StepPriors priors_;
    Aligned aligned_;
    LayerFit layers_;
    Scatter scatter_;
    Smear smear_;
    double spread_ = 0; ///< px, blur added by the profile
    EdgeView view_;
};

} // namespace

EdgeView measure_edge_on(const TransmissionMap& map, const EdgeOptions& options, Watch& watch) {
    return Measurement(map, options, watch).run();
}

} // namespace ringwall
