// SPDX-License-Identifier: Apache-2.0
#include "meter/board_rules.hpp"

#include <algorithm>
#include <functional>
#include <iterator>
#include <map>
#include <set>
#include <utility>

namespace ringwall {
namespace {

using What = PointMeant::What;

bool two_pins(const Reading& reading) {
    return reading.a.what == What::pin && reading.b.what == What::pin;
}

bool supply_to_ground(const Reading& reading) {
    const PinRole a = reading.a.role, b = reading.b.role;
    return two_pins(reading) &&
           ((a == PinRole::supply && b == PinRole::ground) || (a == PinRole::ground && b == PinRole::supply));
}

std::string shown_between(const Reading& reading) {
    const ContinuityReading& row = *reading.row;
    return "log line " + std::to_string(row.line) + ": " + row.a + " to " + row.b + " " +
           in_words(row.reading) + (row.ohms ? " (" + ohms_in_words(*row.ohms) + ")" : std::string());
}

/// Joined to a supply at a point that names no hole that was measured: a contact, but where?
bool not_placed(const Reading& reading) {
    const auto lost = [&](const PointMeant& point, const PointMeant& other) {
        return point.what == What::not_found && other.what == What::pin && other.role == PinRole::supply;
    };
    return reading.conducts() && (lost(reading.a, reading.b) || lost(reading.b, reading.a));
}

std::string joined_supply(const Reading& reading) {
    if (reading.shown == Shown::charging)
        return "began low and rose: expected, capacitors charge between supply and ground";
    if (reading.setup.board == SetUp::Board::bare)
        return "on a bare board nothing may join supply and ground: a short, in the board or by what is "
               "fitted";
    switch (reading.row->behaviour) {
    case ReadingBehaviour::steady:
        return "stayed low: not expected, a short or a low-resistance load; find it, and do not power the "
               "unit to "
               "look for it";
    case ReadingBehaviour::falling:
        return "fell: not what capacitors do; read it again";
    default:
        break;
    }
    return "whether it rose, as capacitors charging do, or stayed low is not said; read it again and wait";
}

std::string supply_words(const Reading& reading) {
    const std::string shown = shown_between(reading);
    if (reading.conducts()) {
        const bool short_on_bare = reading.setup.board == SetUp::Board::bare;
        return (short_on_bare ? "CONTRADICTION: " : "") + shown + ": supply to ground, " +
               joined_supply(reading) + ".";
    }
    const bool charging =
        reading.row->behaviour == ReadingBehaviour::rising && reading.setup.board != SetUp::Board::bare;
    if (reading.shown == Shown::leaky && charging)
        return shown +
               ": supply to ground, rising: expected, capacitors charge between supply and ground; no "
               "short at that moment.";
    if (reading.shown == Shown::leaky)
        return shown + ": supply to ground, under the 10 MΩ that IPC-9252 asks for on unpopulated boards" +
               perhaps_through_a_part(reading.setup) + ".";
    return shown + ": supply to ground, no short at that moment.";
}

std::string pin_sentence(const Reading& reading) {
    if (reading.shown == Shown::impossible)
        return "CONTRADICTION: " + shown_between(reading) + ": word and resistance deny each other.";
    if (reading.shown == Shown::void_)
        return shown_between(reading) +
               ": the board was powered or its battery connected: no continuity reading, "
               "counts for nothing.";
    std::string words =
        supply_to_ground(reading)
            ? supply_words(reading)
            : shown_between(reading) +
                  ": names no hole that was measured and is no supply-to-ground pair: kept, not judged.";
    if (reading.against_expectation() && !words.starts_with("CONTRADICTION"))
        words = "CONTRADICTION (expected: " + in_words(*reading.row->expect) + "), " + words;
    return words;
}

using Missing = std::function<bool(const Reading&)>;

/// Lines for which something holds.
std::vector<int> lines_where(std::span<const Reading> readings, const Missing& missing) {
    std::vector<int> lines;
    for (const Reading& reading : readings)
        if (missing(reading)) lines.push_back(reading.row->line);
    return lines;
}

std::string in_lines(const std::vector<int>& lines, std::size_t all) {
    return lines.size() == all && all > 1 ? "in any line" : "in " + lines_in_words(lines);
}

bool at_a_hole(const Reading& reading) {
    return !two_pins(reading);
}

bool names_a_screw(const Reading& reading) {
    return reading.a.what == What::screw || reading.b.what == What::screw;
}

bool fitted(const Reading& reading) {
    return names_a_screw(reading) || reading.setup.screw == Told::yes;
}

bool parts_possible(const Reading& reading) {
    return reading.setup.board != SetUp::Board::bare;
}

/// Each fact that a reader needs to repeat the reading, and when it is wanting.
std::vector<std::pair<std::string, Missing>> wanted_facts() {
    return {
        {"whether the board was bare or assembled",
         [](const Reading& r) { return r.setup.board == SetUp::Board::not_told; }},
        {"whether a screw was fitted",
         [](const Reading& r) {
             return at_a_hole(r) && !names_a_screw(r) && r.setup.screw == Told::not_told;
         }},
        {"the screw's torque", [](const Reading& r) { return fitted(r) && !r.setup.torque; }},
        {"toward which side the screw was pushed",
         [](const Reading& r) { return fitted(r) && !r.setup.side; }},
        {"whether cables were disconnected",
         [](const Reading& r) { return parts_possible(r) && r.setup.cables == Told::not_told; }},
        {"whether the chassis was disconnected",
         [](const Reading& r) {
             return (parts_possible(r) || fitted(r)) && r.setup.chassis == Told::not_told;
         }},
        {"whether the battery was disconnected",
         [](const Reading& r) { return parts_possible(r) && r.setup.battery == Told::not_told; }},
        {"which meter was used", [](const Reading& r) { return r.row->meter.empty(); }},
        {"when the meter was calibrated", [](const Reading& r) { return r.row->calibrated_on.empty(); }},
        {"the leads' resistance", [](const Reading& r) { return !r.row->lead_ohms; }},
    };
}

std::vector<std::string> facts_not_said(std::span<const Reading> readings) {
    std::vector<std::string> sentences;
    for (const auto& [fact, missing] : wanted_facts())
        if (const std::vector<int> lines = lines_where(readings, missing); !lines.empty())
            sentences.push_back("Not said " + in_lines(lines, readings.size()) + " of the log: " + fact +
                                ".");
    return sentences;
}

std::string way_round_words(const Reading& reading) {
    std::string words;
    if (reading.setup.cables == Told::yes) words = "cables";
    if (reading.setup.chassis == Told::yes) words += words.empty() ? "chassis" : " and chassis";
    return words;
}

std::vector<std::string> connected(std::span<const Reading> readings) {
    std::vector<std::string> sentences;
    for (const Reading& reading : readings)
        if (const std::string words = way_round_words(reading); !words.empty())
            sentences.push_back("log line " + std::to_string(reading.row->line) + ": " + words +
                                " connected: what reads as joined may run through them.");
    return sentences;
}

/// The two points whichever way round, with what sat in the hole.
std::string pair_of(const Reading& reading) {
    std::string first = plain_words(reading.row->a), second = plain_words(reading.row->b);
    if (second < first) std::swap(first, second);
    return first + "\n" + second + (fitted(reading) ? "\nfitted" : "");
}

/// Pairs on assembled boards that were read with one polarity, or with none said.
std::vector<std::string> polarity_wanted(std::span<const Reading> readings) {
    std::map<std::string, std::set<std::string>> said;
    std::map<std::string, std::vector<int>> lines;
    for (const Reading& reading : readings) {
        if (reading.setup.board != SetUp::Board::assembled) continue;
        lines[pair_of(reading)].push_back(reading.row->line);
        const std::string polarity = plain_words(reading.row->polarity);
        if (!polarity.empty()) said[pair_of(reading)].insert(polarity);
        if (polarity.find("both") != std::string::npos) said[pair_of(reading)].insert("and the other");
    }
    std::vector<int> wanting;
    for (const auto& [pair, of_pair] : lines)
        if (said[pair].size() < 2) wanting.insert(wanting.end(), of_pair.begin(), of_pair.end());
    if (wanting.empty()) return {};
    std::sort(wanting.begin(), wanting.end());
    return {"Both polarities are asked for on an assembled board, since parts conduct one way: read " +
            lines_in_words(wanting) + " again with the probes exchanged."};
}

std::vector<std::string> points_not_found(std::span<const Reading> readings) {
    std::vector<std::string> sentences;
    for (const Reading& reading : readings)
        for (const PointMeant* point : {&reading.a, &reading.b}) {
            const std::string start =
                "log line " + std::to_string(reading.row->line) + ": \"" + point->text + "\" ";
            if (point->what == What::not_found) {
                const PointMeant& other = point == &reading.a ? reading.b : reading.a;
                sentences.push_back(
                    not_placed(reading)
                        ? "NOT PLACED: " + start + "names no hole that was measured, and reads " +
                              in_words(reading.row->reading) + " to supply pin " + other.text +
                              ": find which hole it was before any gap in this report is relied on."
                        : start + "names no hole that was measured: kept, not judged.");
            }
            if (point->what == What::ambiguous)
                sentences.push_back(start +
                                    "is the name of more than one hole, use the id: kept, not judged.");
            if (point->what == What::pin && point->role == PinRole::both)
                sentences.push_back(start + "speaks of supply and of ground: taken as neither.");
        }
    return sentences;
}

void append(std::vector<std::string>& all, std::vector<std::string> more) {
    std::move(more.begin(), more.end(), std::back_inserter(all));
}

} // namespace

std::vector<std::string> pin_sentences(std::span<const Reading> readings) {
    std::vector<std::string> sentences;
    for (const Reading& reading : readings)
        if (!reading.a.hole && !reading.b.hole && !not_placed(reading))
            sentences.push_back(pin_sentence(reading));
    return sentences;
}

std::vector<std::string> log_sentences(std::span<const Reading> readings) {
    std::vector<std::string> sentences = points_not_found(readings);
    append(sentences, connected(readings));
    append(sentences, polarity_wanted(readings));
    append(sentences, facts_not_said(readings));
    return sentences;
}

} // namespace ringwall
