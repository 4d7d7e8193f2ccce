// SPDX-License-Identifier: Apache-2.0
#include "ringwall/transmission.hpp"

#include "core/wide.hpp"
#include "exposure/background.hpp"
#include "exposure/blocks.hpp"
#include "exposure/edges.hpp"
#include "exposure/noise.hpp"
#include "exposure/open_cores.hpp"
#include "exposure/polarity.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall {
namespace {

using namespace exposure;

/// Ends of the stored values and how many pixels sit on them.
struct Ends {
    float least = 0;
    float most = 0;
    std::size_t at_least = 0;
    std::size_t at_most = 0;
};

RINGWALL_WIDE void ends_of_row(const float* row, int count, float& least, float& most) {
    constexpr int together = 8; // as many at a time, so that the compiler need not keep an order
    std::array<float, together> low, high;
    low.fill(row[0]), high.fill(row[0]);
    int x = 0;
    for (; x + together <= count; x += together)
        for (int k = 0; k < together; ++k) {
            const float value = row[x + k];
            const auto at = static_cast<std::size_t>(k);
            low[at] = value < low[at] ? value : low[at];
            high[at] = value > high[at] ? value : high[at];
        }
    least = *std::min_element(low.begin(), low.end());
    most = *std::max_element(high.begin(), high.end());
    for (; x < count; ++x)
        least = std::min(least, row[x]), most = std::max(most, row[x]);
}

RINGWALL_WIDE void count_ends(const float* row, int count, float low, float high, int& at_low, int& at_high) {
    int below = 0, above = 0;
    for (int x = 0; x < count; ++x) {
        below += row[x] <= low;
        above += row[x] >= high;
    }
    at_low = below, at_high = above;
}

Ends ends_of(ImageView<const float> picture, double tolerance) {
    const int rows = picture.height();
    std::vector<Ends> parts(static_cast<std::size_t>(rows));
    over_rows(rows, [&](int first, int last) {
        for (int y = first; y < last; ++y) {
            Ends& part = parts[static_cast<std::size_t>(y)];
            ends_of_row(picture.row(y), picture.width(), part.least, part.most);
        }
    });
    Ends ends = parts.front();
    for (const Ends& part : parts) {
        ends.least = std::min(ends.least, part.least);
        ends.most = std::max(ends.most, part.most);
    }
    const auto low = static_cast<float>(ends.least + tolerance),
               high = static_cast<float>(ends.most - tolerance);
    over_rows(rows, [&](int first, int last) {
        for (int y = first; y < last; ++y) {
            Ends& part = parts[static_cast<std::size_t>(y)];
            int at_low = 0, at_high = 0;
            count_ends(picture.row(y), picture.width(), low, high, at_low, at_high);
            part.at_least = static_cast<std::size_t>(at_low);
            part.at_most = static_cast<std::size_t>(at_high);
        }
    });
    for (const Ends& part : parts) {
        ends.at_least += part.at_least;
        ends.at_most += part.at_most;
    }
    return ends;
}

std::string percent(double share) {
    const double p = 100 * share;
    std::string text = std::to_string(p < 10 ? std::round(p * 10) / 10 : std::round(p));
    return text.substr(0, text.find('.') + (p < 10 ? 2 : 0)) + " %";
}

template<typename F>
void change_all(Image<float>& picture, const F& f) {
    over_rows(picture.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y) {
            float* row = picture.view().row(y);
            for (int x = 0; x < picture.width(); ++x)
                row[x] = f(row[x]);
        }
    });
}

void require_same_size(const Radiograph& picture, const Radiograph* other, const char* what) {
    if (other == nullptr) return;
    if (other->values.width() == picture.values.width() && other->values.height() == picture.values.height())
        return;
    throw Error(Fault::input, std::string(what) + " " + other->facts.file + ": expected " +
                                  std::to_string(picture.values.width()) + " x " +
                                  std::to_string(picture.values.height()) + " pixels like the picture, got " +
                                  std::to_string(other->values.width()) + " x " +
                                  std::to_string(other->values.height()));
}

/// Where no beam arrives on the stored scale of a picture whose dense end is bright: the format's full scale,
/// or, where 12 or 14 bits lie in 16, theirs. Photon noise falls to nothing there, so where its line is sure,
/// the candidate nearest to the line's foot is taken; else the least that holds all values.
double no_beam_value(const SourceFacts& facts, float most, const NoiseLine& noise) {
    if (facts.is_float || facts.full_scale <= 0) return most;
    const double middle = 0.5 * (noise.lowest + noise.highest);
    const bool sure = noise.bins >= 3 && noise.slope < -6 * noise.slope_u;
    const double foot = sure ? -noise.constant / noise.slope : 0;
    double best = facts.full_scale, least_off = 1e9;
    for (const double full : {facts.full_scale, 16383.0, 4095.0}) {
        if (full > facts.full_scale || full < most) continue;
        const double off = foot > middle ? std::abs(std::log((full - middle) / (foot - middle))) : full;
        if (off < least_off) {
            least_off = off;
            best = full;
        }
    }
    return best;
}

/// One conversion on its way: the picture and what is known so far.
class Conversion {
  public:
    Conversion(Radiograph picture, const ExposureOptions& options, Watch& watch)
        : picture_(std::move(picture)), options_(options), watch_(watch) {
        map_.radiometry =
            options.radiometry != Radiometry::unknown ? options.radiometry : picture_.facts.radiometry;
        quantum_ = picture_.facts.is_float ? 0 : 1;
    }
    TransmissionMap run() {
        check();
        find_ends();
        if (options_.flat != nullptr)
            divide_by_flat();
        else
            flatten();
        map_.t = std::move(picture_.values);
        describe();
        return std::move(map_);
    }

  private:
    void step(int done) {
        watch_.progress("exposure", done, 6);
        if (watch_.cancelled()) throw Cancelled{};
    }
    [[nodiscard]] bool shown_only() const { // no linear scale can be behind it
        return map_.radiometry == Radiometry::display ||
               (map_.radiometry == Radiometry::unknown && picture_.facts.bits <= 8 &&
                !picture_.facts.is_float);
    }
    void warn(std::string sentence) { map_.warnings.push_back(std::move(sentence)); }

    void check() {
        if (picture_.values.empty())
            throw Error(Fault::input, picture_.facts.file + ": the picture has no pixels");
        require_same_size(picture_, options_.flat, "flat");
        require_same_size(picture_, options_.dark, "dark");
        step(0);
    }

    void find_ends() {
        // A lossy code spreads a clipped end over a few grey values.
        const double tolerance = picture_.facts.lossy ? 2 : 0;
        ends_ = ends_of(picture_.values.view(), tolerance);
        if (!(ends_.most > ends_.least))
            throw Error(Fault::nothing_measured,
                        picture_.facts.file +
                            ": every pixel has the same value, expected a picture of a board");
    }

    /// Shares of pixels on the ends of the scale, once it is known which end is which. A single extreme pixel
    /// is no clipping.
    void set_clipping() {
        const auto n = static_cast<double>(picture_.values.size());
        const double bright = ends_.at_most > 16 ? static_cast<double>(ends_.at_most) / n : 0;
        const double dark = ends_.at_least > 16 ? static_cast<double>(ends_.at_least) / n : 0;
        map_.saturated_fraction = map_.dense == DenseSide::dark ? bright : dark;
        map_.clipped_fraction = map_.dense == DenseSide::dark ? dark : bright;
    }

    void divide_by_flat();
    void flatten();
    void mark_cut_off();
    void remake_blocks();
    void decide_polarity();
    void warn_of_dense();
    void to_signal();
    void apply(const Background& background);
    void measure_noise();
    void describe();
    void warn_of_scale();
    void warn_of_clipping();

    Radiograph picture_;
    const ExposureOptions& options_;
    Watch& watch_;
    TransmissionMap map_;
    Ends ends_;
    double quantum_ = 1; ///< step of the grey scale, in the unit of the values at hand
    Blocks blocks_;
    FlatSpots flat_; ///< of these blocks
    std::vector<bool> cut_;
    NoiseLine stored_noise_; ///< of the values as stored
};

/// Remembers which blocks lie on an end of the scale where that end is cut off: no noise is left in them.
void Conversion::mark_cut_off() {
    const double n = static_cast<double>(picture_.values.size()), some = 0.002 * n;
    const float tolerance = picture_.facts.lossy ? 2 : 0, beyond = ends_.most - ends_.least + 1;
    const bool low = static_cast<double>(ends_.at_least) > some,
               high = static_cast<double>(ends_.at_most) > some;
    if (low || high)
        cut_ = blocks_cut_off(picture_.values.view(), ends_.least + (low ? tolerance : -beyond),
                              ends_.most - (high ? tolerance : -beyond));
}

void Conversion::remake_blocks() {
    blocks_ = make_blocks(picture_.values.view());
    blocks_.cut = cut_;
}

void Conversion::decide_polarity() {
    map_.dense_given = options_.dense != DenseSide::automatic;
    mark_cut_off();
    remake_blocks();
    flat_ = find_flat_spots(blocks_, quantum_, 3);
    stored_noise_ = fit_noise(flat_.spots, flat_.degrees);
    step(1);
    const Polarity polarity = find_polarity(picture_, blocks_, stored_noise_, map_.radiometry);
    map_.dense = polarity.dense_is_dark() ? DenseSide::dark : DenseSide::bright;
    if (map_.dense_given) {
        map_.dense_doubted = polarity.sure() && map_.dense != options_.dense;
        map_.dense = options_.dense;
        if (map_.dense_doubted) warn_of_dense();
        return;
    }
    if (!polarity.sure())
        warn(std::string("Which end of the grey scale is dense was hard to tell; taken as ") +
             (map_.dense == DenseSide::dark ? "dark" : "bright") +
             ", check the picture and give it by hand if it is wrong");
}

/// The user's word stands, but holes found on a picture taken the wrong way round are invented.
void Conversion::warn_of_dense() {
    const bool dark = map_.dense == DenseSide::dark;
    warn(std::string("Told that dense is ") + (dark ? "dark" : "bright") +
         ", but the picture looks the other way round: if copper and steel are " +
         (dark ? "bright" : "dark") +
         " in it, no hole, wall or ring in these results is true; look at the picture, and measure again "
         "with dense auto");
}

/// Stored values to signal: 0 without beam, more with more beam.
void Conversion::to_signal() {
    const bool turn = map_.dense == DenseSide::bright;
    const auto none = static_cast<float>(turn ? no_beam_value(picture_.facts, ends_.most, stored_noise_)
                                              : std::min(0.0F, ends_.least));
    const bool as_stored = map_.radiometry != Radiometry::log && !turn && none == 0;
    if (as_stored) return; // blocks and flat spots are known already
    if (map_.radiometry == Radiometry::log) {
        // Attenuation with an unknown factor: the whole range is taken as three decades of e.
        const float span = (ends_.most - ends_.least) / 3;
        const float least = ends_.least, most = ends_.most;
        change_all(picture_.values, [=](float v) { return std::exp(-(turn ? v - least : most - v) / span); });
        quantum_ = quantum_ / span;
    } else {
        change_all(picture_.values, [=](float v) { return turn ? none - v : v - none; });
    }
    remake_blocks();
    flat_ = find_flat_spots(blocks_, quantum_, 3);
}

/// Divides by exp(surface + open), laid out on a 16 px grid and interpolated: the surface is far smoother
/// than that.
void Conversion::apply(const Background& background) {
    constexpr int cell = 16;
    const int width = picture_.values.width(), height = picture_.values.height();
    const int cols = width / cell + 2, rows = height / cell + 2;
    const Frame frame(blocks_.cols * block_px, blocks_.rows * block_px);
    std::vector<float> grid(static_cast<std::size_t>(cols) * static_cast<std::size_t>(rows));
    for (int j = 0; j < rows; ++j)
        for (int i = 0; i < cols; ++i)
            grid[static_cast<std::size_t>(j * cols + i)] = static_cast<float>(
                std::exp(-background.open - background.surface.at(frame.x(i * cell), frame.y(j * cell))));
    over_rows(height, [&](int first, int last) {
        std::vector<float> line(static_cast<std::size_t>(cols));
        for (int y = first; y < last; ++y) {
            const float f = static_cast<float>(y % cell) / cell;
            const float* above = grid.data() + static_cast<std::ptrdiff_t>(y / cell) * cols;
            for (int i = 0; i < cols; ++i)
                line[static_cast<std::size_t>(i)] = above[i] * (1 - f) + above[i + cols] * f;
            float* row = picture_.values.view().row(y);
            for (int x = 0; x < width; ++x) {
                const auto i = static_cast<std::size_t>(x / cell);
                const float g = static_cast<float>(x % cell) / cell;
                row[x] *= line[i] * (1 - g) + line[i + 1] * g;
            }
        }
    });
}

void Conversion::measure_noise() {
    remake_blocks();
    flat_ = find_flat_spots(blocks_, quantum_, 3);
    const NoiseLine line = fit_noise(flat_.spots, flat_.degrees);
    if (line.bins == 0) return;
    const double rounding = quantum_ * quantum_ / 12;
    const bool poisson = line.slope > 2 * line.slope_u && line.slope > 0;
    const double middle = (line.lowest + line.highest) / 2;
    if (line.bins >= 2 && poisson && line.constant > 0) {
        map_.noise.photons = 1 / line.slope;
        map_.noise.readout = std::sqrt(line.constant);
    } else if (!shown_only() && line.variance(middle) > 2 * rounding) {
        // One level only, or a line below zero without beam: photons alone.
        map_.noise.photons = middle / line.variance(middle);
    } else {
        map_.noise.readout = std::sqrt(std::max(line.variance(middle), rounding));
    }
    map_.noise.correlation = flat_.correlation;
}

void Conversion::flatten() {
    decide_polarity();
    set_clipping();
    to_signal();
    step(2);
    Background background =
        fit_background(blocks_, flat_, fit_noise(flat_.spots, flat_.degrees), shown_only() ? 2 : 4);
    if (background.open_is_narrow)
        background.open =
            open_from_cores(picture_.values.view(), blocks_, background).value_or(background.open);
    step(3);
    apply(background);
    quantum_ *= std::exp(-background.open);
    measure_noise();
    step(4);
}

void Conversion::divide_by_flat() {
    const Image<float>& flat = options_.flat->values;
    const Image<float>* dark = options_.dark != nullptr ? &options_.dark->values : nullptr;
    if (dark == nullptr) {
        decide_polarity();
    } else {
        map_.dense_given = options_.dense != DenseSide::automatic;
        const Blocks f = make_blocks(flat.view()), d = make_blocks(dark->view());
        std::vector<float> difference(f.size());
        for (std::size_t i = 0; i < f.size(); ++i)
            difference[i] = f.mean[i] - d.mean[i];
        map_.dense =
            difference.empty() || quantile(difference, 0.5) >= 0 ? DenseSide::dark : DenseSide::bright;
        if (map_.dense_given && map_.dense != options_.dense)
            warn(std::string("Told that dense is ") +
                 (options_.dense == DenseSide::dark ? "dark" : "bright") +
                 ", but the flat and dark pictures say the other way round, and theirs was taken");
    }
    set_clipping();
    const auto none = static_cast<float>(
        map_.dense == DenseSide::bright ? no_beam_value(picture_.facts, ends_.most, stored_noise_) : 0.0);
    std::size_t dead = 0;
    std::vector<std::size_t> dead_rows(static_cast<std::size_t>(flat.height()), 0);
    const float sign = map_.dense == DenseSide::dark ? 1.0F : -1.0F;
    over_rows(flat.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y)
            for (int x = 0; x < flat.width(); ++x) {
                const float zero = dark != nullptr ? (*dark)(x, y) : none;
                const float beam = (flat(x, y) - zero) * sign;
                float& value = picture_.values(x, y);
                if (beam > 0) {
                    value = (value - zero) * sign / beam;
                } else {
                    value = 0; // a dead pixel lets nothing through
                    ++dead_rows[static_cast<std::size_t>(y)];
                }
            }
    });
    for (const std::size_t n : dead_rows)
        dead += n;
    if (dead * 2 > flat.size())
        throw Error(Fault::input, "flat " + options_.flat->facts.file +
                                      ": expected an open beam brighter than the dark picture, got none in "
                                      "more than half of the pixels");
    if (dead > 0) warn(std::to_string(dead) + " pixels have no beam in the flat and were set to 0");
    step(3);
    std::vector<float> beams = make_blocks(flat.view()).mean;
    quantum_ /= std::max(1e-9, std::abs(beams.empty() ? 1.0 : static_cast<double>(quantile(beams, 0.5))));
    measure_noise();
    step(4);
}

void Conversion::describe() {
    const EdgeFacts edges =
        measure_edges(map_.t.view(), blocks_, map_.noise, map_.saturated_fraction > 0.003);
    step(5);
    map_.blur_sigma_px = edges.blur_sigma_px;
    map_.halo = edges.halo;
    map_.t_is_physical = map_.radiometry == Radiometry::linear;
    warn_of_scale();
    warn_of_clipping();
    if (edges.halo > 0.05 && edges.halo > 3 * edges.halo_u)
        warn("Edges overshoot by " + percent(edges.halo) +
             " of their step, as after sharpening: bores may show a false dark rim; ask for the picture "
             "without filters");
    step(6);
}

void Conversion::warn_of_scale() {
    const SourceFacts& facts = picture_.facts;
    if (facts.lossy)
        warn("The picture went through a lossy compression, which moves edges and changes noise; ask for the "
             "original file");
    if (facts.bits <= 8 && !facts.is_float)
        warn("The picture holds only 8 bits a pixel, as made for looking at; ask for the raw 16-bit picture");
    if (facts.colour)
        warn("The picture is coloured; its brightness was measured, and coloured marks on it may look like "
             "material");
    if (map_.radiometry == Radiometry::display)
        warn("The picture is tone-mapped for looking at: no transmission, thickness or number of foils can "
             "be had from it");
    if (map_.radiometry == Radiometry::unknown)
        warn("Nobody said that grey values are proportional to intensity: no thickness and no number of "
             "foils is given");
    if (map_.radiometry == Radiometry::log)
        warn("Grey values are proportional to attenuation by an unknown factor: no thickness and no number "
             "of foils is given");
}

void Conversion::warn_of_clipping() {
    if (map_.saturated_fraction > 0.002)
        warn(percent(map_.saturated_fraction) +
             " of the pixels are saturated at the bright end: bores may come out larger than they are and "
             "rings narrower; ask for a shorter exposure");
    if (map_.clipped_fraction > 0.002)
        warn(percent(map_.clipped_fraction) +
             " of the pixels are cut off at the dark end: barrels and dense parts have lost their level");
}

} // namespace

TransmissionMap to_transmission(Radiograph picture, const ExposureOptions& options, Watch& watch) {
    return Conversion(std::move(picture), options, watch).run();
}

} // namespace ringwall
