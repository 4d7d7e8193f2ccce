// SPDX-License-Identifier: Apache-2.0
#include "screwfit/forbids.hpp"

#include "core/text.hpp"
#include "screwfit/words.hpp"

#include <cmath>
#include <numbers>

namespace ringwall::screwfit {
namespace {

/// Half the width of the narrowest trace that most boards carry (0.15 mm, common practice, no source): behind
/// less of the wall than this, half of any copper still shows.
constexpr double least_hiding_mm = 0.075;

bool partly_hidden(const RingInMm& ring) {
    return (1 - ring.seen_fraction) * std::numbers::pi * ring.drill_mm >= least_hiding_mm;
}

bool own_copper_overlaps(const RingInMm& ring) {
    return ring.own_outer_mm && ring.gap_mm && *ring.own_outer_mm >= 0.5 * ring.drill_mm + *ring.gap_mm;
}

/// The two as far as they can be told apart, so that a sentence of "5 and from 5" is never written.
std::string um(double value, double other) {
    int decimals = 0;
    while (decimals < 3 && fixed(value, decimals) == fixed(other, decimals))
        ++decimals;
    return fixed(value, decimals) + " µm";
}

void add_of_copper(const RingInMm& ring, std::vector<std::string>& sentences) {
    if (ring.state == KeepOutState::undecided)
        sentences.push_back("The copper-free ring is undecided: " + ring.why + ".");
    if (ring.state == KeepOutState::runs_on)
        sentences.push_back(
            "Own copper runs on into a plane: right for a grounded mount, and only a meter can say "
            "that it is no supply.");
    if (!ring.bare && !ring.plated) sentences.push_back("Whether the wall is plated is undecided.");
    if (own_copper_overlaps(ring))
        sentences.push_back(
            ring.layer ? "Own copper reaches out further than the nearest other copper begins: how far apart "
                         "the two lie is not measured."
                       : "Own copper reaches out further than the nearest other copper begins: on different "
                         "layers, or they would be joined; how far apart they lie is not visible face-on.");
    if (partly_hidden(ring))
        sentences.push_back("Part of the turn is hidden: " + fixed(100 * ring.seen_fraction, 1) +
                            " % of it was seen.");
}

void add_of_picture(const Judging& with, std::vector<std::string>& sentences) {
    if (!with.smallest_foil_seen_um)
        sentences.push_back("How thin a copper this picture would have shown is not known.");
    else if (*with.smallest_foil_seen_um > with.thinnest_foil_um)
        sentences.push_back("Copper down to " + um(with.thinnest_foil_um, *with.smallest_foil_seen_um) +
                            " must be assumed, and this picture is sure to show it from " +
                            um(*with.smallest_foil_seen_um, with.thinnest_foil_um) + " on only.");
    sentences.insert(sentences.end(), with.stack_forbids.begin(), with.stack_forbids.end());
}

void add_of_case(const Judging& with, std::vector<std::string>& sentences) {
    if (!required_spacing_mm(with.rule))
        sentences.push_back("No spacing rule is given: no contact shown is all that could be said.");
    if (above_low_voltage(with.rule))
        sentences.push_back(
            "The voltage is above " +
            std::string(with.rule.voltage_kind == VoltageKind::dc ? "60 V DC" : "42.4 V peak") +
            ": the product's safety standard decides, not this yardstick.");
    if (with.screw.tilt_deg > 0 && !with.board_mm)
        sentences.push_back("The screw may stand crooked, and the board's thickness is not known.");
}

} // namespace

double own_copper_beyond_mm(const RingInMm& ring) {
    if (!ring.own_outer_mm || own_copper_overlaps(ring)) return 0;
    return std::max(0.0, *ring.own_outer_mm - 0.5 * ring.drill_mm);
}

std::vector<std::string> forbids_gap(const RingInMm& ring, const Judging& with) {
    std::vector<std::string> sentences;
    add_of_copper(ring, sentences);
    for (std::string& sentence : sentences)
        sentence = on_layer(ring, sentence);
    add_of_picture(with, sentences);
    add_of_case(with, sentences);
    return sentences;
}

} // namespace ringwall::screwfit
