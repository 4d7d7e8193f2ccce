// SPDX-License-Identifier: Apache-2.0
#include "meter/agreement.hpp"

#include "meter/board_rules.hpp"
#include "meter/hole_rules.hpp"

#include <algorithm>
#include <cstddef>

namespace ringwall {
namespace {

using Says = MeterAgreement::Says;

/// Readings that name the hole, once each.
std::vector<AtHole> readings_at(std::size_t index, const MeterHole& hole, std::span<const Reading> readings) {
    std::vector<AtHole> result;
    for (const Reading& reading : readings) {
        if (reading.a.hole == index)
            result.push_back({&reading, &hole, &reading.a, &reading.b});
        else if (reading.b.hole == index)
            result.push_back({&reading, &hole, &reading.b, &reading.a});
    }
    return result;
}

/// Contradictions first, then proven contact, what agrees and what proves nothing; within one the log's
/// order.
void by_weight(std::vector<HoleSaying>& sayings) {
    const auto weight = [](const HoleSaying& saying) {
        if (saying.says == Says::contradicts) return 0;
        if (saying.contact_proven) return 1;
        return saying.says == Says::agrees ? 2 : 3;
    };
    std::stable_sort(sayings.begin(), sayings.end(),
                     [&](const HoleSaying& a, const HoleSaying& b) { return weight(a) < weight(b); });
}

MeterAgreement agreement_at(const MeterHole& hole, const std::vector<AtHole>& readings) {
    std::vector<HoleSaying> sayings = sayings_together(readings);
    MeterAgreement agreement;
    agreement.hole = hole.id;
    for (const AtHole& at : readings) {
        sayings.push_back(saying_of(at));
        agreement.lines.push_back(at.reading->row->line);
    }
    by_weight(sayings);
    agreement.says = sayings.front().says;
    agreement.why = agreement.says == Says::contradicts ? "CONTRADICTION: " : "";
    for (const HoleSaying& saying : sayings) {
        if (&saying != &sayings.front()) agreement.why += "; ";
        agreement.why += saying.text;
        agreement.contact_proven = agreement.contact_proven || saying.contact_proven;
    }
    agreement.why += ".";
    return agreement;
}

} // namespace

MeterResult meter_against_pictures(std::span<const ContinuityReading> readings,
                                   std::span<const MeterHole> holes) {
    MeterResult result;
    if (readings.empty()) return result;
    const std::vector<Reading> all = understood(readings, holes);
    for (std::size_t i = 0; i < holes.size(); ++i)
        if (const std::vector<AtHole> at = readings_at(i, holes[i], all); !at.empty())
            result.holes.push_back(agreement_at(holes[i], at));
    result.board = pin_sentences(all);
    for (std::string& sentence : log_sentences(all))
        result.board.push_back(std::move(sentence));
    result.board.emplace_back(two_wire_limits);
    return result;
}

} // namespace ringwall
