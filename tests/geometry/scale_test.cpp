// SPDX-License-Identifier: Apache-2.0
#include "geometry/scale.hpp"
#include "ringwall/error.hpp"
#include "ringwall/inspection.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace ringwall;

namespace {

std::string error_of(const ScaleSources& sources, Fault fault) {
    try {
        (void)find_scale(sources);
    } catch (const Error& error) {
        CHECK(error.fault() == fault);
        return error.what();
    }
    return "accepted";
}

/// A distance on a picture whose pixels are sx by sy mm.
KnownDistance drawn(Point from, Point to, double sx, double sy) {
    return {from, to, std::hypot((to.x - from.x) * sx, (to.y - from.y) * sy), {}};
}

} // namespace

TEST_CASE("a given pixel size is taken as it is, over what the file states") {
    ScaleSources sources;
    sources.given_mm = {0.02, 0.021};
    sources.stated = StatedScale{{0.5, 0.5}, "TIFF resolution"};
    sources.u_percent = 0.3;
    const Scale scale = find_scale(sources);
    CHECK(scale.pixel_xy_mm() == std::array{0.02, 0.021});
    CHECK(scale.relative_u() == doctest::Approx(0.003));
    CHECK(scale.from() == "given by the user");
    sources.u_percent.reset();
    CHECK(find_scale(sources).relative_u() == 0.01);
    CHECK(find_scale(sources).from().find("assumed") != std::string::npos);
}

TEST_CASE("without any source there is no scale and a word why") {
    const Scale scale = find_scale({});
    CHECK_FALSE(scale.known());
    CHECK(scale.diameter_mm(Estimate::of(3, 1)).why() == scale.why());
    CHECK(scale.diameter_mm(Estimate::missing("hidden")).why() == "hidden");
}

TEST_CASE("known distances in two directions give x and y apart") {
    ScaleSources sources;
    sources.known = {drawn({0, 0}, {1000, 200}, 0.08741, 0.08685),
                     drawn({100, 0}, {0, 600}, 0.08741, 0.08685)};
    const auto [x, y] = find_scale(sources).pixel_xy_mm();
    CHECK(x == doctest::Approx(0.08741).epsilon(1e-9));
    CHECK(y == doctest::Approx(0.08685).epsilon(1e-9));
    sources.known.push_back(drawn({0, 0}, {700, 700}, 0.08741, 0.08685));
    CHECK(find_scale(sources).pixel_xy_mm()[0] == doctest::Approx(0.08741).epsilon(1e-9));
}

TEST_CASE("one known distance, or several in one direction, give one factor") {
    ScaleSources sources;
    sources.known = {{{10, 10}, {510, 10}, 12.5, {}}};
    CHECK(find_scale(sources).pixel_xy_mm() == std::array{0.025, 0.025});
    sources.known.push_back({{10, 10}, {410, 10}, 10.0, {}});
    CHECK(find_scale(sources).pixel_xy_mm()[0] == doctest::Approx(0.025));
    // Both diagonals of a square lie as steep as each other and cannot tell x from y.
    sources.known = {drawn({0, 0}, {500, 500}, 0.02, 0.03), drawn({0, 500}, {500, 0}, 0.02, 0.03)};
    CHECK(find_scale(sources).pixel_xy_mm()[0] == find_scale(sources).pixel_xy_mm()[1]);
}

TEST_CASE("two scales that disagree are refused and both are named") {
    ScaleSources sources;
    sources.known = {{{0, 0}, {500, 0}, 12.5, {}}, {{0, 100}, {500, 100}, 13.0, {}}};
    CHECK(error_of(sources, Fault::input).find("two scales disagree") == 0);
    sources.known = {{{0, 0}, {500, 0}, 12.5, {}}};
    sources.stated = StatedScale{{0.026, 0.026}, "DICOM PixelSpacing"};
    const std::string line = error_of(sources, Fault::input);
    CHECK(line.find("0.026") != std::string::npos);
    CHECK(line.find("0.025") != std::string::npos);
    CHECK(line.find("--pixel-mm") != std::string::npos);
    sources.given_mm = {0.026, 0.026}; // the way out
    CHECK(find_scale(sources).known());
    sources.given_mm.reset();
    sources.stated = StatedScale{{0.0252, 0.0252}, "DICOM PixelSpacing"}; // 0.8 %: the same scale
    CHECK(find_scale(sources).known());
    sources.stated.reset();
    sources.known = {{{0, 0}, {500, 0}, 12.5, {}}, {{0, 0}, {0, 500}, 14, {}}};
    CHECK(error_of(sources, Fault::input).find("in x and in y") != std::string::npos);
}

TEST_CASE("short distances may differ by what their points allow") {
    ScaleSources sources; // 30 px each, half a pixel a point: u 2.4 % each
    sources.known = {{{0, 0}, {30, 0}, 0.75, {}}, {{0, 9}, {30, 9}, 0.77, {}}};
    CHECK(find_scale(sources).known());
    CHECK(find_scale(sources).relative_u() > 0.01); // worse than the assumed 1 %
}

TEST_CASE("a hole of known bore sets the scale, alone or beside distances") {
    ScaleSources sources;
    sources.given = "stated in the case file";
    sources.bores = {{Estimate::of(132, 0.132), 3.3, 0.0033}};
    const Scale alone = find_scale(sources);
    CHECK(alone.mean_mm() == doctest::Approx(0.025));
    CHECK(alone.relative_u() == doctest::Approx(0.001 * std::sqrt(2.0))); // 0.1 % of the fit and of the gauge
    CHECK(alone.from().find("one hole of known bore stated in the case file") == 0);
    // Weighted means, by hand: u 0.001 and 0.002 give weights 4 to 1.
    sources.bores = {{Estimate::of(132, 0), 3.3, 0.0033}, {Estimate::of(100, 0), 2.505, 0.00501}};
    CHECK(find_scale(sources).mean_mm() == doctest::Approx((4 * 0.025 + 0.02505) / 5));
    CHECK(find_scale(sources).relative_u() == doctest::Approx(0.001 / std::sqrt(1.25)));
    sources.bores.pop_back();
    sources.bores[0].u_mm.reset(); // nobody says how well it was measured: the usual 1 %
    CHECK(find_scale(sources).relative_u() == 0.01);
    sources.u_percent = 0.3;
    CHECK(find_scale(sources).relative_u() == doctest::Approx(0.003));
    sources.known = {{{0, 0}, {500, 0}, 13.0, {}}};
    CHECK(error_of(sources, Fault::input).find("two scales disagree: a hole's bore") == 0);
    sources.known = {drawn({0, 0}, {500, 0}, 0.0251, 0.0249), drawn({0, 0}, {0, 500}, 0.0251, 0.0249)};
    const auto [x, y] = find_scale(sources).pixel_xy_mm();
    CHECK(x / y == doctest::Approx(0.0251 / 0.0249)); // a bore says nothing of x against y
}

TEST_CASE("lengths with their own uncertainty need none assumed") {
    ScaleSources sources;
    sources.known = {{{0, 0}, {1000, 0}, 25.0, 0.05}};
    const Scale scale = find_scale(sources);
    CHECK(scale.relative_u() == doctest::Approx(std::hypot(0.002, 0.5 * std::sqrt(2.0) / 1000)));
    CHECK(scale.from().find("assumed") == std::string::npos);
}

TEST_CASE("a known distance without length is a usage error") {
    ScaleSources sources;
    sources.known = {{{5, 5}, {5, 5}, 1, {}}};
    CHECK(error_of(sources, Fault::usage).find("1 px apart") != std::string::npos);
    sources.known = {{{5, 5}, {50, 5}, 0, {}}};
    CHECK(error_of(sources, Fault::usage).find("over 0 mm") != std::string::npos);
}

TEST_CASE("a scale set by a person in the picture overrides the rest") {
    ScaleSources sources;
    sources.given_mm = {0.02, 0.02};
    sources.by_person = {{{0, 0}, {100, 0}, 3, {}}};
    CHECK(find_scale(sources).pixel_xy_mm()[0] == doctest::Approx(0.03));
    CHECK(find_scale(sources).from().find("person") != std::string::npos);
}

TEST_CASE("a length converts with its direction: a circle of the board is an ellipse of the picture") {
    const double sx = 0.02, sy = 0.03, r_mm = 1.5;
    const Scale scale = Scale::of(sx, sy, 0, "test");
    for (int angle = 0; angle < 360; angle += 15) {
        const double a = angle * std::acos(-1.0) / 180;
        const double r_px =
            r_mm / std::hypot(sx * std::cos(a), sy * std::sin(a)); // the ellipse's radius at this angle
        CHECK(scale.length_mm(Estimate::of(r_px, 0), angle).value() == doctest::Approx(r_mm));
    }
    CHECK(scale.area_mm2(Estimate::of(100, 0)).value() == doctest::Approx(100 * sx * sy));
    CHECK(Scale::of(0.1, 0.1, 0, "").along_mm(33) == 0.1);
}

TEST_CASE("a given pixel size that overrides the file's by more than 2 % is told, with both") {
    ScaleSources sources;
    sources.given_mm = {{0.05, 0.05}};
    CHECK_FALSE(overridden_scale(sources));
    sources.stated = StatedScale{{0.025, 0.025}, "TIFF resolution"};
    const auto note = overridden_scale(sources);
    REQUIRE(note);
    CHECK(note->find("0.05 mm") != std::string::npos);
    CHECK(note->find("0.025 mm, which the file states (TIFF resolution)") != std::string::npos);
    CHECK(find_scale(sources).mean_mm() == 0.05); // told, not refused
    sources.given_mm = {{0.0254, 0.0246}};
    CHECK_FALSE(overridden_scale(sources));
    sources.given_mm = {{0.025, 0.0256}};
    CHECK(overridden_scale(sources));
    sources.by_person = {{{0, 0}, {100, 0}, 3, {}}};
    CHECK_FALSE(overridden_scale(sources)); // neither is used
}
