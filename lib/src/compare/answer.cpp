// SPDX-License-Identifier: Apache-2.0
#include "compare/answer.hpp"

#include "compare/frame.hpp"
#include "core/text.hpp"
#include "record/names.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::compare {

std::string delta_words(const Delta& delta, const std::string& more, const std::string& less) {
    if (!delta.value) {
        if (!delta.beyond.value_or(false)) return "cannot be compared (" + delta.value.why() + ")";
        return delta.value.why();
    }
    if (!delta.beyond.value_or(false)) return "no change shown";
    const std::string unit = delta.key.ends_with("_px") ? " px" : " mm";
    const Estimate size = Estimate::of(std::abs(delta.value.value()), delta.value.u());
    return (delta.value.value() > 0 ? more : less) + " by " + with_expanded_u(size, unit == " px" ? 2 : 3) +
           unit;
}

namespace {

/// What the finding says, in words of the results' own; never a verdict of ours.
std::string finding_words(Finding finding) {
    switch (finding) {
    case Finding::gap_shown:
        return "gap shown to the copper seen";
    case Finding::too_close:
        return "no contact shown, but nearer than the spacing chosen";
    case Finding::reaches:
        return "can touch copper in the position drawn";
    case Finding::undecided:
        break;
    }
    return "neither contact nor gap shown";
}

class Answer {
  public:
    Answer(const Comparison& comparison, const BoardRecord& old_board, const BoardRecord& revised_board)
        : comparison_(comparison), old_(old_board), revised_(revised_board) {}

    std::string text() {
        say(boards());
        for (const std::string& note : comparison_.notes)
            say(note);
        if (comparison_.alignment.fit) {
            say(placed());
            holes();
        } else {
            say("The boards could not be laid on each other, so no hole was compared: " +
                comparison_.alignment.why);
        }
        say(board());
        say("Only what the pictures show was compared, for these two units: another unit of either revision "
            "may differ, and one sample says almost nothing about a lot");
        say("A wider ring on a picture is not insulation, and a difference not shown is not a proof that "
            "there is none");
        return text_;
    }

  private:
    void say(std::string sentence) {
        if (sentence.empty()) return;
        if (sentence.back() != '.') sentence += '.';
        text_ += (text_.empty() ? "" : " ") + sentence;
    }

    static std::string board_words(const ComparedBoard& board) {
        std::string words = board.name.empty() ? "" : "\"" + board.name + "\"";
        const auto add = [&](const std::string& part) { words += (words.empty() ? "" : ", ") + part; };
        if (!board.revision.empty()) add("revision " + board.revision);
        if (!board.unit.empty()) add("unit " + board.unit);
        add(board.file.empty() ? board.results : board.file);
        return words;
    }
    [[nodiscard]] std::string boards() const {
        return "Old board, as given: " + board_words(comparison_.old_board) +
               "; revised board: " + board_words(comparison_.revised_board);
    }

    [[nodiscard]] std::string placed() const {
        const HoleAlignment& alignment = comparison_.alignment;
        std::string words = "They lie on each other by " + std::to_string(alignment.unmoved) +
                            " holes that stayed, of " + std::to_string(old_.holes.size()) + " and " +
                            std::to_string(revised_.holes.size()) +
                            (alignment.by_hand ? ", from pairs given by hand" : "") + ", " +
                            brief(rounded(alignment.residual_px, 2)) + " px RMS apart";
        if (comparison_.residual_mm) words += " (" + brief(rounded(*comparison_.residual_mm, 2)) + " mm)";
        if (alignment.fit->similarity.mirrored)
            words += "; one picture shows the board from the other side (mirrored)";
        return words;
    }

    [[nodiscard]] const HoleRecord* old_of(const HoleChange& pair) const {
        return pair.old_hole ? &old_.holes[*pair.old_hole] : nullptr;
    }
    [[nodiscard]] const HoleRecord* revised_of(const HoleChange& pair) const {
        return pair.revised_hole ? &revised_.holes[*pair.revised_hole] : nullptr;
    }
    [[nodiscard]] bool matters(const HoleChange& pair) const {
        const auto said = [](const HoleRecord* hole) {
            return hole != nullptr && (hole->screw.has_value() || !hole->name.empty());
        };
        return said(old_of(pair)) || said(revised_of(pair));
    }

    void holes() {
        std::vector<const HoleChange*> those, rest;
        for (const HoleChange& pair : comparison_.pairs)
            (matters(pair) ? those : rest).push_back(&pair);
        std::stable_sort(those.begin(), those.end(), [](const HoleChange* a, const HoleChange* b) {
            return !a->change.empty() && b->change.empty();
        });
        constexpr std::size_t most = 12; // what a paragraph holds
        for (std::size_t i = 0; i < std::min(most, those.size()); ++i)
            say(hole_words(*those[i]));
        if (those.size() > most)
            say(std::to_string(those.size() - most) +
                " more holes with a screw or a name stand in changes.csv");
        say(counts(rest, those.empty() ? "Of the holes" : "Of the other holes"));
    }

    [[nodiscard]] std::string name_of(const HoleChange& pair) const {
        const HoleRecord *before = old_of(pair), *after = revised_of(pair);
        const std::string name = before != nullptr && !before->name.empty() ? before->name
                                 : after != nullptr                         ? after->name
                                                                            : "";
        std::string ids = before != nullptr ? pair.old_id : pair.revised_id;
        if (before != nullptr && after != nullptr && pair.old_id != pair.revised_id)
            ids += " (revised " + pair.revised_id + ")";
        return "Hole " + ids + (name.empty() ? "" : " \"" + name + "\"");
    }

    [[nodiscard]] std::string hole_words(const HoleChange& pair) const {
        if (pair.has("dropped")) return name_of(pair) + ": not found on the revised board";
        if (pair.has("added")) return name_of(pair) + ": on the revised board only";
        if (!pair.old_hole || !pair.revised_hole)
            return name_of(pair) + ": the place is not in view on the other board";
        std::vector<std::string> parts;
        if (const Delta* moved = shown(pair, "position"))
            parts.push_back("moved by " + with_expanded_u(moved->value, 3) +
                            (moved->key.ends_with("_px") ? " px" : " mm"));
        part(parts, pair, "keepout_min", "copper-free ring", "wider", "narrower");
        part(parts, pair, "bore", "bore", "larger", "smaller");
        if (pair.has("plated")) parts.emplace_back("wall bare, now plated");
        if (pair.has("unplated")) parts.emplace_back("wall plated, now bare");
        if (pair.has("reshaped"))
            parts.push_back("shape " + spaced(word(old_of(pair)->shape.state)) + ", now " +
                            spaced(word(revised_of(pair)->shape.state)));
        finding_part(parts, pair);
        std::string words = name_of(pair) + ":";
        for (const std::string& one : parts)
            words += (&one == &parts.front() ? " " : "; ") + one;
        return words;
    }

    static const Delta* shown(const HoleChange& pair, const std::string& key) {
        for (const char* unit : {"_mm", "_px"})
            if (const Delta* delta = pair.find(key + unit); delta != nullptr && delta->beyond.value_or(false))
                return delta;
        return nullptr;
    }

    void part(std::vector<std::string>& parts, const HoleChange& pair, const std::string& key,
              const std::string& what, const std::string& more, const std::string& less) const {
        const Delta* delta = pair.find(key + "_mm");
        if (const Delta* px = pair.find(key + "_px")) delta = px;
        if (delta == nullptr) return;
        std::string words = what + " " + delta_words(*delta, more, less);
        if (key == "keepout_min") {
            const std::string before = spaced(word(old_of(pair)->keepout.state)),
                              after = spaced(word(revised_of(pair)->keepout.state));
            if (before != after) words += " (state: " + before + ", now " + after + ")";
            if (old_of(pair)->keepout.state == KeepOutState::runs_on ||
                revised_of(pair)->keepout.state == KeepOutState::runs_on)
                words += " (where own copper runs on into a plane, the ring counts other copper only)";
        }
        parts.push_back(std::move(words));
    }

    void finding_part(std::vector<std::string>& parts, const HoleChange& pair) const {
        const auto &before = old_of(pair)->screw, &after = revised_of(pair)->screw;
        if (!before || !after) return;
        if (const Delta* margin = pair.find("margin_mm"))
            parts.push_back("space left " + delta_words(*margin, "larger", "smaller"));
        const std::string was = finding_words(before->finding), is = finding_words(after->finding);
        parts.push_back(before->name + (was == is ? " on both: " + was : " was: " + was + "; is: " + is));
    }

    [[nodiscard]] static std::string counts(const std::vector<const HoleChange*>& pairs,
                                            const std::string& start) {
        const std::pair<const char*, const char*> kinds[] = {{"added", "added"},
                                                             {"dropped", "not found on the revised board"},
                                                             {"moved", "moved"},
                                                             {"resized", "with another bore"},
                                                             {"plated", "bare, now plated"},
                                                             {"unplated", "plated, now bare"},
                                                             {"wider", "with a wider ring"},
                                                             {"narrower", "with a narrower ring"},
                                                             {"reshaped", "of another shape"}};
        std::string words;
        std::size_t unchanged = 0, unseen = 0;
        for (const auto& [key, text] : kinds) {
            const auto n = std::count_if(pairs.begin(), pairs.end(),
                                         [key = key](const HoleChange* pair) { return pair->has(key); });
            if (n > 0) words += (words.empty() ? " " : ", ") + std::to_string(n) + " " + text;
        }
        for (const HoleChange* pair : pairs) {
            const bool both = pair->old_hole && pair->revised_hole;
            unchanged += both && pair->change.empty() ? 1 : 0;
            unseen += !both && pair->change.empty() ? 1 : 0;
        }
        if (unchanged > 0)
            words += (words.empty() ? " " : ", ") + std::to_string(unchanged) + " with no change shown";
        if (unseen > 0)
            words +=
                (words.empty() ? " " : ", ") + std::to_string(unseen) + " not in view on the other board";
        return words.empty() ? "" : start + ":" + words;
    }

    [[nodiscard]] std::string board() const {
        const BoardChange& change = comparison_.board;
        std::string words = "Thickness: ";
        if (!change.thickness_mm)
            words += "cannot be compared (" + change.thickness_mm.why() + ")";
        else
            words += delta_words({"thickness_mm", change.thickness_mm, change.thickness_beyond, 1},
                                 "larger on the revised board", "smaller on the revised board");
        words += "; copper layers: ";
        if (change.layers)
            words += std::to_string(*old_.copper_layers.value) + ", now " +
                     std::to_string(*revised_.copper_layers.value);
        else if (change.layers_at_least)
            words += "at least " + std::to_string(*change.layers_at_least) + " more";
        else
            words += "cannot be compared";
        return words + (change.layers ? "" : " (" + change.layers_why + ")");
    }

    const Comparison& comparison_;
    const BoardRecord& old_;
    const BoardRecord& revised_;
    std::string text_;
};

} // namespace

std::string answer_of(const Comparison& comparison, const BoardRecord& old_board,
                      const BoardRecord& revised_board) {
    return Answer(comparison, old_board, revised_board).text();
}

} // namespace ringwall::compare
