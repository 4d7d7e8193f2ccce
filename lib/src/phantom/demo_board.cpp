// SPDX-License-Identifier: Apache-2.0
#include "ringwall/error.hpp"

#include "phantom/figure.hpp"
#include "phantom/layout_kit.hpp"

#include <cmath>
#include <string>

namespace ringwall::phantom {
namespace {

constexpr double lid_drill_mm = 3.3;

/// "Field pump controller", a 24 V irrigation drive. Invented from end to end; no board like it exists.
class PumpController {
  public:
    explicit PumpController(char revision) : revision_(revision), kit_(roles(revision), outline(), 80, 50) {}

    Board draw() {
        pours();
        lid_holes();
        terminals();
        power_side();
        controller();
        header_bus();
        valve_bus();
        drivers();
        small_parts();
        stitching();
        markings();
        return kit_.finish(std::string("Field pump controller, revision ") + revision_,
                           revision_ == 'A' ? 1.6 : 1.8);
    }

  private:
    using Role = LayerRole;
    static std::vector<Role> roles(char revision) {
        if (revision == 'A') return {Role::top, Role::ground, Role::supply, Role::bottom};
        return {Role::top, Role::ground, Role::supply, Role::signal, Role::ground, Role::bottom};
    }
    static Polygon outline() { return rounded_rectangle(3, 3, 77, 47, 2); }
    static constexpr Point middle{40, 25}; ///< of the controller
    static constexpr int leads = 12;
    static constexpr double pitch = 0.8, body = 10.8;
    static Point lead(int side, int i) { return LayoutKit::lead_place(middle, leads, pitch, body, side, i); }

    void pours() {
        for (const Role role : {Role::ground, Role::supply, Role::bottom})
            kit_.pour(role, rounded_rectangle(3.5, 3.5, 76.5, 46.5, 1.6));
        // 24 V and 5 V share a layer.
        const Point split[] = {{28.5, 2}, {28.5, 33}, {49.5, 33}, {49.5, 48}};
        for (int i = 0; i < 3; ++i)
            kit_.gap_line(Role::supply, split[i], split[i + 1], 0.4);
    }

    /// Revision A: one ring gone over an arc, one narrow, one wide, one spare that never had a screw.
    /// Revision B: the first left bare in a wider ring, the second moved, the third plated and stitched to
    /// ground, the spare kept.
    void lid_holes() {
        const double drill_mm = lid_drill_mm;
        kit_.bare_hole({72, 42}, drill_mm, 0.9, {0.04, 0.03});
        if (revision_ == 'A') {
            kit_.bare_hole({8, 8}, drill_mm, 0.35, {-0.38, -0.26});
            kit_.bare_hole({72, 8}, drill_mm, 0.45, {0.15, -0.16});
            kit_.bare_hole({8, 42}, drill_mm, 1.1, {0.10, 0.11});
        } else {
            kit_.bare_hole({8, 8}, drill_mm, 1.6, {0.06, -0.08});
            kit_.bare_hole({70.5, 9.5}, drill_mm, 1.2, {-0.05, 0.05});
            kit_.stitched_hole({8, 42}, drill_mm, 6.4, 8);
        }
    }

    /// 24 V in on the left, the pump on the right, six valves below.
    void terminals() {
        kit_.pin({7, 19}, 1.3, 2.6, Net::supply);
        kit_.pin({7, 24.08}, 1.3, 2.6, Net::ground);
        kit_.pin({73.5, 20}, 1.3, 2.6, Net::signal);
        kit_.pin({73.5, 25.08}, 1.3, 2.6, Net::signal);
        kit_.pin({73.5, 30.16}, 1.3, 2.6, Net::ground);
        for (int i = 0; i < 6; ++i)
            kit_.pin({22 + 5.08 * i, 43.2}, 1.2, 2.4, Net::signal);
    }

    void power_side() {
        for (const double y : {18.5, 29.5}) {
            kit_.pin({14, y}, 1.0, 2.0, Net::supply);
            kit_.pin({14, y + 5}, 1.0, 2.0, Net::ground);
        }
        kit_.trace(Role::top, 1.8, {{7, 19}, {10, 19}, {10.5, 18.5}, {18, 18.5}, {18.5, 19}, {18.5, 24}});
        kit_.trace(Role::top, 1.2, {{24.5, 24}, {24.5, 28}, {20.9, 31.6}});
        kit_.pad(Role::top, {18.5, 24}, 2.2, 3.4);
        kit_.pad(Role::top, {24.5, 24}, 2.2, 3.4);
        // A coil seen along its axis: copper, a little tin under it.
        kit_.part(Ring{{21.5, 24}, 1.3, 2.7}, copper(), 1.1);
        kit_.part(rectangle(17.7, 22.8, 19.0, 25.2), tin(), 0.08);
        kit_.part(rectangle(24.0, 22.8, 25.3, 25.2), tin(), 0.08);
        for (const double x : {0.0, 0.9, 1.8})
            for (const double y : {0.0, 0.9, 1.8})
                kit_.via({16.8 + x, 14.2 + y}, Net::supply);
    }

    void controller() {
        kit_.package(middle, leads, pitch, body, true);
        for (const double x : {-1.6, 0.0, 1.6})
            for (const double y : {-1.6, 0.0, 1.6})
                kit_.via({middle.x + x, middle.y + y}, Net::ground);
        kit_.pad(Role::top, middle, 5.0, 5.0);
        for (int i = 0; i < leads; i += 3) { // decoupling below
            const Point p = lead(3, i);
            kit_.trace(Role::top, 0.25, {p, {p.x, 33.9}});
            kit_.chip({p.x, 34.8}, true);
            kit_.trace(Role::top, 0.25, {{p.x, 35.75}, {p.x + 1.2, 35.75}});
            kit_.via({p.x + 1.2, 35.75}, Net::ground);
        }
    }

    /// Two rows of seven pins above the controller; every second trace runs between the pins of the lower
    /// row.
    void header_bus() {
        const double x0 = 30, step = 2.54, upper = 6.2, lower = upper + step;
        for (int k = 0; k < 7; ++k) {
            kit_.pin({x0 + step * k, upper}, 1.0, 1.7, k == 6 ? Net::supply : Net::signal);
            kit_.pin({x0 + step * k, lower}, 1.0, 1.7, k == 0 ? Net::ground : Net::signal);
        }
        for (int i = 0; i < leads; ++i) {
            const bool between = i % 2 == 0;
            const int k = (i + 1) / 2;
            const double x = x0 + step * k + (between ? step / 2 : 0);
            const Point from = lead(1, i);
            const double slant = std::abs(x - from.x);
            std::vector<Point> points{from, {from.x, 16.9}, {x, 16.9 - slant}};
            if (between) {
                points.push_back({x, lower - 0.9});
                points.push_back({x - 0.6, lower - 1.5});
                points.push_back({x0 + step * k, upper});
            } else {
                points.push_back({x, lower});
            }
            kit_.trace(Role::top, 0.2, points);
        }
    }

    /// From the controller's left side through vias to the bottom, along the board to the valves.
    void valve_bus() {
        for (int i = 0; i < leads; ++i) {
            const Point from = lead(2, i);
            const Point via{i % 2 == 0 ? 31.6 : 30.7, from.y};
            kit_.trace(Role::top, 0.2, {from, via});
            kit_.via(via, Net::signal);
            if (i < 6) { // on the signal layer, where there is one
                const double lane = 26.5 - 0.6 * (5 - i);
                kit_.trace(Role::signal, 0.2, {via, {lane + 0.4, via.y}, {lane, via.y - 0.4}, {lane, 12.5}});
                if (revision_ != 'A') kit_.via({lane, i % 2 == 0 ? 12.5 : 13.4}, Net::signal);
                continue;
            }
            const int j = i - 6;
            const double lane = 25.5 + 0.7 * j, level = 40.4 - 0.8 * j, pin_x = 22 + 5.08 * j;
            kit_.trace(Role::bottom, 0.25,
                       {via,
                        {lane + 0.4, via.y},
                        {lane, via.y + 0.4},
                        {lane, level - 0.4},
                        {lane + (pin_x > lane ? 0.4 : -0.4), level},
                        {pin_x - (pin_x > lane ? 0.4 : -0.4), level},
                        {pin_x, level + 0.4},
                        {pin_x, 43.2}});
        }
    }

    /// Two driver packages between controller and pump.
    void drivers() {
        for (const double y : {19.5, 30.0}) {
            const Point at{56, y};
            kit_.package(at, 4, 1.27, 4.0, false);
            for (int k = 0; k < 4; ++k) {
                const Point from = lead(0, (y < 25 ? 2 : 6) + k),
                            to = LayoutKit::lead_place(at, 4, 1.27, 4.0, 2, k);
                const double slant = std::abs(to.y - from.y);
                kit_.trace(Role::top, 0.2, {from, {47.6, from.y}, {47.6 + slant, to.y}, to});
            }
            const Point out = LayoutKit::lead_place(at, 4, 1.27, 4.0, 0, 1),
                        gnd = LayoutKit::lead_place(at, 4, 1.27, 4.0, 0, 3);
            const double pump_y = y < 25 ? 20 : 25.08;
            kit_.trace(Role::top, 0.6,
                       {out, {60.5, out.y}, {60.5 + std::abs(pump_y - out.y), pump_y}, {73.5, pump_y}});
            kit_.trace(Role::top, 0.4, {gnd, {60.2, gnd.y}});
            kit_.via({60.2, gnd.y}, Net::ground);
        }
        for (int k = 0; k < 3; ++k)
            kit_.pin({59 + 2.54 * k, 12.5}, 1.1, 2.0,
                     k == 0   ? Net::signal
                     : k == 1 ? Net::supply
                              : Net::ground);
        for (const Point p : {Point{59, 38}, Point{59, 43}, Point{64, 38}, Point{64, 43}})
            kit_.pin(p, 1.2, 2.2, Net::signal);
        kit_.trace(Role::top, 0.8, {{59, 38}, {59, 43}});
        kit_.trace(Role::bottom, 0.8, {{64, 38}, {64, 43}});
    }

    void small_parts() {
        for (const double y : {32.0, 34.6})
            for (const double x : {20.0, 24.4})
                kit_.chip({x, y}, false);
        for (const double y : {32.0, 34.6})
            kit_.trace(Role::top, 0.3, {{20.95, y}, {23.45, y}});
        for (const double x : {50.5, 53.2, 55.9}) {
            kit_.chip({x, 36.5}, true);
            kit_.trace(Role::top, 0.3, {{x, 37.4}, {x, 39}});
            kit_.via({x, 39}, Net::ground);
        }
        for (const double y : {11.2, 13.8}) {
            kit_.chip({51.5, y}, false);
            kit_.trace(Role::top, 0.3, {{52.4, y}, {54.2, y}});
            kit_.via({54.2, y}, Net::signal);
            kit_.via({49.2, y}, Net::supply);
            kit_.trace(Role::top, 0.3, {{49.2, y}, {50.6, y}});
        }
        for (const double x : {64.0, 68.5}) {
            kit_.chip({x, 33.5}, false);
            kit_.chip({x, 16.4}, false);
        }
        kit_.trace(Role::top, 0.3, {{64.9, 33.5}, {67.6, 33.5}});
        kit_.trace(Role::top, 0.3, {{64.9, 16.4}, {67.6, 16.4}});
        kit_.trace(Role::bottom, 0.25,
                   {{54.2, 11.2}, {56.4, 13.4}, {56.4, 22.0}, {60.0, 25.6}, {60.0, 26.4}});
        kit_.trace(Role::top, 0.25,
                   {{60.0, 26.4}, {60.0, 27.0}, LayoutKit::lead_place({56, 30}, 4, 1.27, 4.0, 0, 0)});
        kit_.via({60.0, 26.4}, Net::signal);
    }

    void stitching() {
        const double step = revision_ == 'A' ? 4.5 : 3.0;
        for (double x = 15.5; x <= 65; x += step) {
            kit_.via({x, 4.6}, Net::ground);
            kit_.via({x, 45.6}, Net::ground);
        }
        for (double y = 13; y <= 37; y += 4)
            for (const double x : {4.6, 75.6})
                if (std::abs(y - 21) > 6 || x < 5) kit_.via({x, y}, Net::ground);
    }

    void markings() {
        kit_.text(Role::top, {12.8, 7.0}, 1.2, "FIELD PUMP");
        kit_.text(Role::top, {12.8, 9.2}, 1.2, "CONTROLLER");
        kit_.text(Role::top, {47.5, 6.0}, 1.4, revision_ == 'A' ? "REV A" : "REV B");
        kit_.text(Role::top, {10.2, 21.0}, 1.0, "24V");
        for (const Point p : {Point{23.5, 6.2}, Point{67.5, 27.6}, Point{15.2, 39}})
            kit_.pad(Role::top, p, 1.0, 1.0); // sights for placing parts
    }

    char revision_;
    LayoutKit kit_;
};

} // namespace

std::array<std::size_t, 4> demo_lid_holes(const Board& demo) {
    // Told by side, for the boards may have been laid down anew.
    const auto at = [&](bool right, bool below) {
        for (std::size_t i = 0; i < demo.drills.size(); ++i) {
            const Drill& drill = demo.drills[i];
            if (drill.drill_mm == lid_drill_mm && (drill.centre_mm.x > demo.width_mm / 2) == right &&
                (drill.centre_mm.y > demo.height_mm / 2) == below)
                return i;
        }
        throw Error(Fault::usage, "demo: a board without lid-screw holes");
    };
    return {at(false, false), at(true, false), at(false, true), at(true, true)};
}

Exposure demo_exposure(char revision) {
    Exposure exposure;
    exposure.beam = tube_beam(90, 1.5);
    exposure.pixel_mm = 0.025;
    exposure.blur_sigma_px = 1.1;
    exposure.photons = 8000;
    exposure.readout_sigma = 0.002;
    exposure.heel = 0.08;
    exposure.heel_angle_deg = 20;
    exposure.gain = 42000;
    exposure.seed = revision == 'A' ? 20240501 : 20240502;
    return exposure;
}

Board demo_board(char revision) {
    if (revision != 'A' && revision != 'B')
        throw Error(Fault::usage, std::string("demo: expected revision A or B, got ") + revision);
    return PumpController(revision).draw();
}

} // namespace ringwall::phantom
