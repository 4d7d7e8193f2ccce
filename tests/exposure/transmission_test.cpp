// SPDX-License-Identifier: Apache-2.0
#include "exposure/drawn.hpp"
#include "ringwall/error.hpp"
#include "ringwall/transmission.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>

using namespace ringwall;

namespace {

struct Residual {
    double mean = 0, rms = 0;
};

/// Ratio of measured to true transmission over cells of 60 px, minus 1.
Residual residual(const Image<float>& t, const Image<float>& truth) {
    double sum = 0, squares = 0, n = 0;
    for (int y = 0; y + 60 <= t.height(); y += 60)
        for (int x = 0; x + 60 <= t.width(); x += 60) {
            double a = 0, b = 0;
            for (int j = 0; j < 60; ++j)
                for (int i = 0; i < 60; ++i) {
                    a += t(x + i, y + j);
                    b += truth(x + i, y + j);
                }
            sum += a / b - 1;
            squares += std::pow(a / b - 1, 2);
            n += 1;
        }
    Residual r;
    r.mean = sum / n;
    r.rms = std::sqrt(squares / n - r.mean * r.mean);
    return r;
}

bool warned_of(const TransmissionMap& map, const std::string& word) {
    return std::any_of(map.warnings.begin(), map.warnings.end(),
                       [&](const std::string& w) { return w.find(word) != std::string::npos; });
}

Radiograph plain(int width, int height, float value) {
    Radiograph r;
    r.facts.file = "plain.tif";
    r.facts.bits = 16;
    r.facts.full_scale = 65535;
    r.values = Image<float>(width, height);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            r.values(x, y) = value;
    return r;
}

} // namespace

TEST_CASE("heel, noise, polarity and blur come back from boards that were drawn with them") {
    struct Beam {
        double laminate_p, foil_p, photons;
    };
    // One foil in the beam at 30 to 100 keV (linear attenuation of copper and glass epoxy, xraylib).
    const Beam beams[] = {
        {0.212, 0.342, 3000}, {0.085, 0.082, 8000}, {0.070, 0.050, 1300}, {0.05, 0.014, 4000}};
    int seed = 700;
    for (const Beam& beam : beams)
        for (const bool air : {true, false}) {
            drawn::Choice choice;
            choice.seed = static_cast<std::uint64_t>(seed++);
            choice.laminate_p = beam.laminate_p;
            choice.foil_p = beam.foil_p;
            choice.photons = beam.photons;
            choice.air = air;
            choice.dense_bright = seed % 2 == 0;
            choice.parts = seed % 3 == 0;
            choice.heel = 0.2;
            choice.heel_deg = 47.0 * seed;
            choice.heel_curve = air ? 0.2 : 0.7;
            CAPTURE(choice.seed);
            drawn::Picture picture = drawn::draw(choice);
            Watch watch;
            const TransmissionMap map = to_transmission(std::move(picture.radiograph), {}, watch);
            CHECK(map.dense == (choice.dense_bright ? DenseSide::bright : DenseSide::dark));
            CHECK_FALSE(map.dense_given);
            const Residual left = residual(map.t, picture.truth_t);
            CHECK(std::abs(left.mean) < 0.001); // the open beam is 1
            // A cell of 60 px has noise of 1/60 of a pixel's; the surface itself must add less than 5e-4.
            CHECK(left.rms < std::hypot(1 / std::sqrt(beam.photons) / 60, 5e-4));
            CHECK(map.noise.photons == doctest::Approx(beam.photons).epsilon(0.05));
            CHECK(map.noise.readout < 0.3 / std::sqrt(beam.photons));
            CHECK(map.noise.correlation == doctest::Approx(1).epsilon(0.1));
            REQUIRE(map.blur_sigma_px);
            const double blur = std::sqrt(choice.blur_sigma_px * choice.blur_sigma_px + 1 / 12.0);
            CHECK(std::abs(map.blur_sigma_px.value() - blur) < 3.5 * map.blur_sigma_px.u());
            CHECK(map.blur_sigma_px.u() < 0.06 * blur);
            CHECK_FALSE(map.t_is_physical); // nobody said linear
            CHECK(warned_of(map, "Nobody said"));
        }
}

TEST_CASE("told the wrong way round: the word is followed, and the first warning says what the picture looks "
          "like") {
    for (const bool bright : {false, true}) {
        drawn::Choice choice;
        choice.seed = 733;
        choice.dense_bright = bright;
        Watch watch;
        for (const bool right : {true, false}) {
            drawn::Picture picture = drawn::draw(choice);
            ExposureOptions options;
            options.dense = bright == right ? DenseSide::bright : DenseSide::dark;
            const TransmissionMap map = to_transmission(std::move(picture.radiograph), options, watch);
            CHECK(map.dense == options.dense);
            CHECK(map.dense_doubted == !right);
            CHECK(warned_of(map, "looks the other way round") == !right);
            REQUIRE_FALSE(map.warnings.empty());
            const std::string told = bright ? "Told that dense is dark" : "Told that dense is bright";
            CHECK(map.warnings.front().starts_with(told) == !right);
        }
    }
}

TEST_CASE("with flat and dark T is their quotient, whichever end is dense") {
    for (const bool turned : {false, true}) {
        Radiograph picture = plain(64, 48, 0), flat = plain(64, 48, 0), dark = plain(64, 48, 0);
        const auto store = [&](double v) { return static_cast<float>(turned ? 65535 - v : v); };
        for (int y = 0; y < 48; ++y)
            for (int x = 0; x < 64; ++x) {
                const double open = 30000 + 100.0 * x + 37.0 * y, none = 900 + x,
                             t = 0.2 + 0.01 * ((x * 7 + y * 13) % 71);
                picture.values(x, y) = store(none + t * open);
                flat.values(x, y) = store(none + open);
                dark.values(x, y) = store(none);
            }
        ExposureOptions options;
        options.flat = &flat;
        options.dark = &dark;
        options.radiometry = Radiometry::linear;
        Watch watch;
        const TransmissionMap map = to_transmission(std::move(picture), options, watch);
        CHECK(map.dense == (turned ? DenseSide::bright : DenseSide::dark));
        CHECK(map.t_is_physical);
        double worst = 0;
        for (int y = 0; y < 48; ++y)
            for (int x = 0; x < 64; ++x)
                worst = std::max(worst, std::abs(map.t(x, y) - (0.2 + 0.01 * ((x * 7 + y * 13) % 71))));
        CHECK(worst < 3e-7 * 65535 / 30000); // rounding of the stored floats
    }
}

TEST_CASE("pictures that cannot be used are refused by name") {
    Watch watch;
    SUBCASE("all one value") {
        try {
            to_transmission(plain(50, 50, 1234), {}, watch);
            FAIL("no error");
        } catch (const Error& e) {
            CHECK(e.fault() == Fault::nothing_measured);
            CHECK(std::string(e.what()).find("plain.tif") != std::string::npos);
        }
    }
    SUBCASE("flat of another size") {
        Radiograph picture = plain(50, 50, 10), flat = plain(50, 49, 100);
        picture.values(3, 3) = 20;
        ExposureOptions options;
        options.flat = &flat;
        try {
            to_transmission(std::move(picture), options, watch);
            FAIL("no error");
        } catch (const Error& e) {
            CHECK(e.fault() == Fault::input);
            CHECK(std::string(e.what()).find("50 x 49") != std::string::npos);
        }
    }
    SUBCASE("no beam in the flat") {
        Radiograph picture = plain(50, 50, 10), flat = plain(50, 50, 0);
        picture.values(3, 3) = 20;
        ExposureOptions options;
        options.flat = &flat;
        options.dense = DenseSide::dark;
        CHECK_THROWS_AS(to_transmission(std::move(picture), options, watch), Error);
    }
}

TEST_CASE("saturation is counted at the bright end of the beam, clipping at the dark end") {
    drawn::Choice choice;
    choice.seed = 31;
    choice.dense_bright = true;
    choice.open_grey = 70000; // over the scale's end
    choice.parts = true;
    drawn::Picture picture = drawn::draw(choice);
    const auto total = static_cast<double>(picture.radiograph.values.size());
    double at_end = 0;
    for (std::size_t i = 0; i < picture.radiograph.values.size(); ++i)
        at_end += picture.radiograph.values.data()[i] == 0;
    Watch watch;
    const TransmissionMap map = to_transmission(std::move(picture.radiograph), {}, watch);
    CHECK(map.dense == DenseSide::bright);
    REQUIRE(at_end > 0.05 * total);
    CHECK(map.saturated_fraction == doctest::Approx(at_end / total));
    CHECK(map.clipped_fraction == 0);
    CHECK(warned_of(map, "saturated"));
}

TEST_CASE("a cancelled conversion stops") {
    struct Stop : Watch {
        bool cancelled() override { return true; }
    } stop;
    Radiograph picture = plain(50, 50, 10);
    picture.values(3, 3) = 20;
    CHECK_THROWS_AS(to_transmission(std::move(picture), {}, stop), Cancelled);
}
