// SPDX-License-Identifier: Apache-2.0
#include "meter/reading.hpp"

#include "core/text.hpp"

#include <algorithm>

namespace ringwall {
namespace {

/// Without the leads where the row gives them; a meter zeroed twice may leave less than nothing.
std::optional<double> ohms_of(const ContinuityReading& row) {
    if (!row.ohms) return {};
    return std::max(0.0, *row.ohms - row.lead_ohms.value_or(0));
}

Shown shown_by(const ContinuityReading& row, const SetUp& setup) {
    const std::optional<double> ohms = ohms_of(row);
    if (setup.powered || setup.battery == Told::yes) return Shown::void_;
    if (row.reading == Joint::open) {
        if (ohms && *ohms <= continuity_ohm) return Shown::impossible;
        return ohms && *ohms < isolation_ohm ? Shown::leaky : Shown::open;
    }
    if (ohms && *ohms >= isolation_ohm) return Shown::impossible;
    if (row.behaviour == ReadingBehaviour::rising && setup.board != SetUp::Board::bare)
        return Shown::charging;
    return ohms && *ohms > continuity_ohm ? Shown::resistive : Shown::joined;
}

/// The note may name the role of the one pin of a row that its own name does not.
void role_from_note(Reading& reading) {
    const bool a_pin = reading.a.what == PointMeant::What::pin,
               b_pin = reading.b.what == PointMeant::What::pin;
    if (a_pin == b_pin) return;
    PointMeant& pin = a_pin ? reading.a : reading.b;
    if (pin.role == PinRole::unknown) pin.role = role_in_note(reading.row->note);
}

} // namespace

std::vector<Reading> understood(std::span<const ContinuityReading> rows, std::span<const MeterHole> holes) {
    std::vector<Reading> readings;
    for (const ContinuityReading& row : rows) {
        Reading reading{.row = &row,
                        .a = point_meant(row.a, holes),
                        .b = point_meant(row.b, holes),
                        .setup = setup_in(row.setup)};
        role_from_note(reading);
        reading.shown = shown_by(row, reading.setup);
        readings.push_back(reading);
    }
    return readings;
}

std::string ohms_in_words(double ohms) {
    if (ohms >= 1e6) return shortest(rounded(ohms / 1e6, 3)) + " MΩ";
    if (ohms >= 1e3) return shortest(rounded(ohms / 1e3, 3)) + " kΩ";
    return shortest(rounded(ohms, 3)) + " Ω";
}

std::string in_words(Joint joint) {
    return joint == Joint::open ? "open" : "joined";
}

std::string lines_in_words(std::span<const int> lines) {
    std::string words = lines.size() == 1 ? "line " : "lines ";
    for (std::size_t i = 0; i < lines.size(); ++i) {
        if (i > 0) words += i + 1 == lines.size() ? " and " : ", ";
        words += std::to_string(lines[i]);
    }
    return words;
}

std::string in_words(const PointMeant& pin) {
    switch (pin.role) {
    case PinRole::supply:
        return "supply pin " + pin.text;
    case PinRole::ground:
        return "ground pin " + pin.text;
    case PinRole::both:
        return "pin " + pin.text + ", whose name speaks of supply and of ground";
    case PinRole::unknown:
        break;
    }
    return "pin " + pin.text + ", whose role the log does not say";
}

std::string perhaps_through_a_part(const SetUp& setup) {
    if (setup.board == SetUp::Board::bare) return {};
    return setup.board == SetUp::Board::assembled ? ", on an assembled board possibly through a part"
                                                  : ", if the board is assembled possibly through a part";
}

} // namespace ringwall
