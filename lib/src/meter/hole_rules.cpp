// SPDX-License-Identifier: Apache-2.0
#include "meter/hole_rules.hpp"

#include <algorithm>

namespace ringwall {
namespace {

using Says = MeterAgreement::Says;

std::string line(const AtHole& at) {
    return "log line " + std::to_string(at.reading->row->line) + ": ";
}

/// "open to ground pin GND", "joined to supply pin 24V (0.3 Ω)".
std::string shown_to(const AtHole& at) {
    const ContinuityReading& row = *at.reading->row;
    return in_words(row.reading) + " to " + in_words(*at.other) +
           (row.ohms ? " (" + ohms_in_words(*row.ohms) + ")" : std::string());
}

/// A row that calls the hole by itself is taken as empty, and admits it.
std::string taken_as_empty(const AtHole& at) {
    if (at.fitted() || at.reading->setup.screw != Told::not_told) return {};
    return " (taken as empty: the set-up does not say whether a screw was fitted)";
}

bool bare_board(const AtHole& at) {
    return at.reading->setup.board == SetUp::Board::bare;
}

/// Joined in a way that no part explains.
bool plainly_joined(const AtHole& at) {
    return at.reading->shown == Shown::joined || (at.reading->shown == Shown::resistive && bare_board(at));
}

std::string rising_words() {
    return ": began low and rose, as capacitors between supply and ground do where hole or screw is "
           "grounded; "
           "read it again when it has settled, and with the probes exchanged";
}

std::string between_limits(const AtHole& at) {
    return at.reading->row->reading == Joint::open
               ? ", under the 10 MΩ that IPC-9252 asks for on unpopulated boards" +
                     perhaps_through_a_part(at.reading->setup)
               : ", over the 10 Ω that IPC-9252 allows for continuity on unpopulated boards" +
                     perhaps_through_a_part(at.reading->setup);
}

HoleSaying empty_bare(const AtHole& at) {
    const Reading& reading = *at.reading;
    if (!reading.conducts())
        return {Says::proves_nothing, shown_to(at) +
                                          " with the probe on the bare wall: proves nothing, copper just "
                                          "behind the wall or beside the probe reads open too"};
    const std::string exposed =
        shown_to(at) +
        " with the probe on the bare wall: copper is exposed there, with a conducting path "
        "to that pin" +
        perhaps_through_a_part(reading.setup) + taken_as_empty(at);
    if (at.hole->keepout == KeepOutState::touching)
        return {Says::agrees, exposed + "; the picture shows copper up to this wall"};
    const std::string ring = at.hole->keepout == KeepOutState::ring_seen ? " inside a copper-free ring" : "";
    return {Says::contradicts, exposed + ", but the picture shows a bare wall" + ring};
}

/// Supply against a wall that carries, or may carry, plating.
HoleSaying supply_at_wall(const AtHole& at) {
    const bool plated = at.hole->wall == WallState::plated;
    const std::string wall = plated ? "plated hole" : "hole";
    switch (at.reading->shown) {
    case Shown::open:
        if (plated)
            return {Says::agrees, shown_to(at) + ", as a plated mounting hole must be" + taken_as_empty(at)};
        return {Says::proves_nothing,
                shown_to(at) + ": proves nothing where the wall is not shown to be plated"};
    case Shown::charging:
        return {Says::proves_nothing, shown_to(at) + rising_words()};
    case Shown::leaky:
        return {Says::proves_nothing, shown_to(at) + between_limits(at)};
    default:
        break;
    }
    if (!plainly_joined(at)) return {Says::proves_nothing, shown_to(at) + between_limits(at)};
    return {Says::contradicts, shown_to(at) + perhaps_through_a_part(at.reading->setup) +
                                   ": a supply pin must be open to a " + wall + " for hardware" +
                                   taken_as_empty(at)};
}

HoleSaying ground_at_wall(const AtHole& at) {
    const WallState wall = at.hole->wall;
    if (!at.reading->conducts()) {
        return {Says::proves_nothing,
                shown_to(at) + ": the hole is not grounded, its plating is broken, or the probe missed it"};
    }
    if (at.reading->shown != Shown::joined) return {Says::proves_nothing, shown_to(at) + between_limits(at)};
    if (wall == WallState::undecided)
        return {Says::proves_nothing,
                shown_to(at) + ": the wall conducts there, by plating or by bare copper"};
    return {Says::agrees, shown_to(at) + ", as a plated, grounded hole is; not that its barrel is whole" +
                              taken_as_empty(at)};
}

HoleSaying other_at_wall(const AtHole& at) {
    return {Says::proves_nothing, shown_to(at) + ": no rule without the pin's role"};
}

/// A way round the screw that the set-up admits.
std::string way_round(const SetUp& setup) {
    if (setup.chassis == Told::yes) return "the connected chassis";
    return setup.cables == Told::yes ? "the connected cables" : "";
}

HoleSaying supply_at_screw(const AtHole& at) {
    const Shown shown = at.reading->shown;
    if (shown == Shown::open)
        return {Says::proves_nothing, "screw " + shown_to(at) +
                                          ": no contact at that moment in that position, which "
                                          "is no clearance"};
    if (shown == Shown::charging) return {Says::proves_nothing, "screw " + shown_to(at) + rising_words()};
    if (!plainly_joined(at)) return {Says::proves_nothing, "screw " + shown_to(at) + between_limits(at)};
    if (const std::string way = way_round(at.reading->setup); !way.empty())
        return {Says::proves_nothing,
                "screw " + shown_to(at) + ": perhaps through " + way + "; read it again without"};
    const std::string contact =
        "screw " + shown_to(at) + ": its contact with that supply is proven in that state";
    if (at.hole->contact == ContactSeen::apart)
        return {Says::contradicts, contact + ", but the picture shows the screw apart from the copper seen",
                true};
    if (at.hole->wall == WallState::plated)
        return {Says::contradicts, contact + ", and a supply pin must be open to a plated hole for hardware",
                true};
    if (at.hole->contact == ContactSeen::touching)
        return {Says::agrees, contact + ", as the picture shows it can be", true};
    return {Says::proves_nothing, contact + "; whether the two can touch, the picture cannot say", true};
}

HoleSaying other_at_screw(const AtHole& at) {
    const SetUp& setup = at.reading->setup;
    const std::string shown = "screw " + shown_to(at);
    if (!at.reading->conducts()) return {Says::proves_nothing, shown + ": no contact at that moment"};
    if (at.hole->wall == WallState::plated && at.other->role == PinRole::ground &&
        at.reading->shown == Shown::joined)
        return {Says::agrees, shown + ", as in a plated, grounded hole"};
    if (at.hole->contact == ContactSeen::apart && setup.chassis == Told::no && plainly_joined(at))
        return {
            Says::contradicts,
            shown +
                " with the chassis disconnected, but the picture shows the screw apart from the copper seen"};
    return {Says::proves_nothing, shown + ": through its thread, or through bracket and chassis"};
}

HoleSaying by_rule(const AtHole& at) {
    if (at.hole->kind == HoleKind::via)
        return {Says::proves_nothing,
                shown_to(at) + ": a via belongs to whatever net it serves, no rule for it"};
    if (at.other->what != PointMeant::What::pin)
        return {Says::proves_nothing, in_words(at.reading->row->reading) + " to " + at.other->text +
                                          ": no pin at either end, so nothing about supply or ground"};
    const PinRole role = at.other->role;
    if (at.fitted()) return role == PinRole::supply ? supply_at_screw(at) : other_at_screw(at);
    if (at.hole->wall == WallState::bare) return empty_bare(at);
    if (role == PinRole::supply) return supply_at_wall(at);
    return role == PinRole::ground ? ground_at_wall(at) : other_at_wall(at);
}

HoleSaying without_meaning(const AtHole& at) {
    const ContinuityReading& row = *at.reading->row;
    if (at.reading->shown == Shown::impossible)
        return {Says::contradicts, line(at) + "reads " + in_words(row.reading) + " and " +
                                       ohms_in_words(row.ohms.value_or(0)) + ", which deny each other"};
    const std::string why = at.reading->setup.powered ? "the board was powered" : "the battery was connected";
    return {Says::proves_nothing, line(at) + why + ": no continuity reading, counts for nothing"};
}

bool screw_denied(const AtHole& at) {
    return at.here->what == PointMeant::What::screw && at.reading->setup.screw == Told::no;
}

std::string same_test(const AtHole& at) {
    return plain_words(at.other->text) + "\n" + plain_words(at.reading->row->setup) +
           (at.fitted() ? "\nfitted" : "");
}

bool has_meaning(const AtHole& at) {
    return at.reading->shown != Shown::impossible && at.reading->shown != Shown::void_;
}

/// Two rows of the same points and set-up that read differently.
std::vector<HoleSaying> denials(std::span<const AtHole> readings) {
    std::vector<HoleSaying> sayings;
    for (std::size_t i = 0; i < readings.size(); ++i)
        for (std::size_t j = i + 1; j < readings.size(); ++j) {
            const ContinuityReading &one = *readings[i].reading->row, &two = *readings[j].reading->row;
            if (one.reading == two.reading || same_test(readings[i]) != same_test(readings[j])) continue;
            if (!has_meaning(readings[i]) || !has_meaning(readings[j])) continue;
            const std::vector<int> lines{one.line, two.line};
            const std::string words =
                "log " + lines_in_words(lines) + " read the same points in the same set-up differently";
            const bool by_polarity = !one.polarity.empty() && !two.polarity.empty() &&
                                     plain_words(one.polarity) != plain_words(two.polarity);
            if (by_polarity)
                sayings.push_back({Says::proves_nothing, words + " by polarity: a part lies in the path"});
            else
                sayings.push_back({Says::contradicts, words});
        }
    return sayings;
}

bool ground_at_empty_hole(const AtHole& at) {
    return has_meaning(at) && !at.fitted() && at.other->what == PointMeant::What::pin &&
           at.other->role == PinRole::ground;
}

/// The picture shows a plated hole's copper running on into a plane; the readings find ground nowhere.
std::vector<HoleSaying> ground_missing(std::span<const AtHole> readings) {
    std::vector<int> lines;
    for (const AtHole& at : readings) {
        if (!ground_at_empty_hole(at)) continue;
        if (at.reading->conducts()) return {};
        lines.push_back(at.reading->row->line);
    }
    if (lines.empty()) return {};
    const MeterHole& hole = *readings.front().hole;
    if (hole.wall != WallState::plated || hole.keepout != KeepOutState::runs_on) return {};
    return {{Says::contradicts,
             "log " + lines_in_words(lines) +
                 ": open to every ground pin read, but the picture shows a plated wall whose copper "
                 "runs on into a plane: that plane is not this ground (it may be a supply), the "
                 "barrel is broken, or the probe missed it"}};
}

} // namespace

bool AtHole::fitted() const {
    const Told told = reading->setup.screw;
    return here->what == PointMeant::What::screw || told == Told::yes ||
           (hole->kind == HoleKind::filled && told != Told::no);
}

HoleSaying saying_of(const AtHole& at) {
    if (!has_meaning(at)) return without_meaning(at);
    if (screw_denied(at))
        return {Says::contradicts, line(at) + "names the screw in " + at.hole->id +
                                       ", but its set-up says that none was fitted"};
    HoleSaying saying = by_rule(at);
    if (at.reading->against_expectation()) {
        const bool same_fault = saying.says == Says::agrees && at.reading->conducts();
        if (!same_fault) saying.says = Says::contradicts; // the fault that the picture shows denies nothing
        saying.text = (same_fault ? "NOT AS IT SHOULD BE: expected " : "expected ") +
                      in_words(*at.reading->row->expect) + ", read " + saying.text;
    }
    saying.text = line(at) + saying.text;
    return saying;
}

std::vector<HoleSaying> sayings_together(std::span<const AtHole> readings) {
    std::vector<HoleSaying> sayings = denials(readings);
    for (HoleSaying& saying : ground_missing(readings))
        sayings.push_back(std::move(saying));
    return sayings;
}

} // namespace ringwall
