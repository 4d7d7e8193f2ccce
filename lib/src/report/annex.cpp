// SPDX-License-Identifier: Apache-2.0
#include "core/statistics.hpp"
#include "core/text.hpp"
#include "report/model.hpp"
#include "report/words.hpp"

namespace ringwall::report {

namespace {

/// An edge-on picture alone has no finding: what is left to explain is the ±.
Section edge_statistics() {
    Section section{"Annex: statistics", {}, {}, {}, ""};
    section.paragraphs = {
        "The ± on these pages is U = 2 u, the expanded uncertainty with k = 2, two-sided, about 95 %.",
        "u, the standard uncertainty, is combined from the components of the budget as the GUM (JCGM "
        "100:2008) does. The scale is common to thickness, layers and barrels."};
    return section;
}

} // namespace

Section statistics_section(const BoardRecord& record) {
    if (is_edge_on_alone(record)) return edge_statistics();
    const std::string confidence = percent(record.confidence), risk = percent(1 - record.confidence);
    Section section{"Annex: statistics", {}, {}, {}, ""};
    section.paragraphs = {
        "Confidence of every finding: " + confidence +
            ", one-sided (z = " + fixed(normal_quantile(record.confidence), 3) +
            " for a normal distribution). The ± on these pages is another thing: U = 2 u, the expanded "
            "uncertainty with k = 2, two-sided, about 95 %.",
        "u, the standard uncertainty, is combined from the components of the budget as the GUM (JCGM "
        "100:2008) "
        "does, with the correlations that exist: the scale is common to bore, drill and ring; the choice of "
        "grey "
        "level moves both edges of a ring.",
        "The smallest gap of a ring is not the smallest of 360 noisy numbers: its distribution comes from "
        "drawing "
        "the fitted profile again and again with its noise, combined with all other components. Its " +
            risk + " quantile is the least value stated at " + confidence + ".",
        "Space left = keep-out radius − reach − spacing chosen. Space left to contact = keep-out radius − "
        "reach. "
        "Reach is a worst-case bound (screw pushed, tilted or cut in as far as it can go) and no part of u."};
    section.points = {"“can touch copper in the position drawn”: the " + confidence +
                          " quantile of the space left to contact, screw resting, is below 0 mm; or copper "
                          "touches the wall of a "
                          "bare hole and a gap of 0.05 mm would have been seen.",
                      "“no contact shown, but nearer than the spacing chosen”: not that, but the " +
                          confidence + " quantile of the space left is below 0 mm.",
                      "“gap shown to the copper seen”: the " + risk +
                          " quantile of the space left is above 0 mm, with the thread cut in where it cuts, "
                          "and nothing forbids "
                          "the finding.",
                      "“neither contact nor gap shown”: everything else. Both a false accusation and a false "
                      "comfort are held to "
                      "the same risk, " +
                          risk + "."};
    section.points.emplace_back("No gap is ever found when no spacing was chosen, when copper thinner than "
                                "the picture would have shown must "
                                "be assumed, when part of the turn is hidden, above 60 V DC or 42.4 V peak "
                                "AC (the product's safety standard "
                                "decides there), or when metal fills the hole.");
    return section;
}

Section limits_section(const BoardRecord& record) {
    Section section{"Limits and cautions", {}, {}, {}, ""};
    section.points = record.not_proven; // says already that recalled parts stay out of use
    for (const char* point :
         {"X-ray work is for trained people at a shielded cabinet, under local rules. Its dose can harm "
          "memory chips "
          "and sensors on the board.",
          "Live tests and meter readings are for trained people, under local rules. Before any reading: "
          "disconnect "
          "mains and battery, discharge the capacitors and verify that they are empty. No insulation tester "
          "on a "
          "board with parts on it. Never power a recalled unit to test it."})
        section.points.emplace_back(point);
    if (is_edge_on_alone(record)) return section;
    for (const char* point :
         {"A low voltage is no comfort: the current of a short circuit makes the fire.",
          "The spacing of IPC-2221 is a design rule for printed boards in peak volts, used here as a "
          "yardstick that "
          "the investigator chose. It is no safety insulation; the product's safety standard decides.",
          "The position drawn is the worst one that the sizes allow; where the screw of this unit sat is not "
          "measured, and it sits differently each time it is turned in."})
        section.points.emplace_back(point);
    return section;
}

} // namespace ringwall::report
