// SPDX-License-Identifier: Apache-2.0
// A part's body in front of a ring: its outline is drawn, and the beam it takes multiplies what lies behind.
#include "rings/body.hpp"
#include "rings/draw.hpp"
#include "rings/rings.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <optional>

using namespace ringwall;
using drawn::Beam;

namespace {

constexpr int size_px = 240;
constexpr Point middle{90.3, 120.6};
constexpr double blur_px = 1.0, photons = 8000, bore_px = 40, ring_px = 66, board_ends_px = 200;

/// A bare hole with its ring in a plane of one foil; `over_air`: the board ends at the right, else it goes
/// on.
drawn::Board board(bool over_air) {
    return [over_air](double x, double y) {
        const double r = std::hypot(x - middle.x, y - middle.y);
        if (r < bore_px || (over_air && x > board_ends_px)) return drawn::air;
        return r < ring_px ? 0 : 1;
    };
}

/// Something as dark as a foil whose lower side is the line y = 72 and whose left side x = 70: both pass
/// through the ring, the lower one 8 px outside the hole and on over the board's end.
double body_share(double x, double y, double factor) {
    const auto inside = [](double d) { return 0.5 * std::erfc(-d / (blur_px * std::numbers::sqrt2)); };
    return 1 - (1 - factor) * inside(72 - y) * inside(x - 70);
}

struct Taken {
    TransmissionMap map;
    KeepOut keepout;
};

Taken taken(bool over_air) {
    const Beam beam;
    Image<float> clean = drawn::draw(board(over_air), beam, size_px, blur_px);
    for (int y = 0; y < size_px; ++y)
        for (int x = 0; x < size_px; ++x)
            clean(x, y) *= static_cast<float>(body_share(x, y, beam.foil));
    Taken out{drawn::exposed(clean, blur_px, photons, 3), {}};
    Hole hole = drawn::bare_hole(middle, bore_px);
    measure_ring(out.map, drawn::known_levels(beam, 2), hole, {});
    out.keepout = hole.keepout;
    return out;
}

} // namespace

TEST_CASE(
    "a body's edge in the ring, seen on air beyond the board, is no copper, and nothing behind it is read") {
    const KeepOut keepout = taken(true).keepout;
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - (ring_px - bore_px)) < 3 * keepout.min_px.u());
    REQUIRE(keepout.profile.size() == 360);
    CHECK(keepout.profile[80].reason == GapReason::hidden);
    CHECK(keepout.profile[270].reason == GapReason::measured);
}

TEST_CASE("the same edge where the board goes on may be copper and is measured as such") {
    const KeepOut keepout = taken(false).keepout;
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - (middle.y - bore_px - 72)) < 3 * keepout.min_px.u());
}
