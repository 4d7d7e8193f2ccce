// SPDX-License-Identifier: Apache-2.0
#include "compare/pairing.hpp"

#include "compare/similarity.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace ringwall::compare {
namespace {

double bore_of(const HoleRecord& hole) {
    return hole.bore_px.value_or(0);
}

class Pairing {
  public:
    Pairing(const BoardRecord& old_board, const BoardRecord& revised_board, const AlignTask& task,
            const Frame& frame)
        : old_(old_board), revised_(revised_board), task_(task), frame_(frame),
          partner_(old_board.holes.size()), taken_(revised_board.holes.size()) {}

    void pair(std::size_t old_hole, std::size_t revised_hole) {
        partner_[old_hole] = revised_hole;
        taken_[revised_hole] = true;
    }

    /// Named by a person, the same on both boards and once on each.
    void pair_by_name() {
        for (const std::size_t i : task_.old_holes) {
            const std::string& name = old_.holes[i].name;
            if (partner_[i] || name.empty() || times(old_, name) != 1 || times(revised_, name) != 1) continue;
            for (const std::size_t j : task_.revised_holes)
                if (!taken_[j] && revised_.holes[j].name == name) pair(i, j);
        }
    }

    /// A hole that moved by less than its own diameter, where no other hole is as likely.
    void pair_nearest() {
        std::vector<std::pair<std::size_t, std::size_t>> found;
        for (const std::size_t i : task_.old_holes) {
            if (partner_[i]) continue;
            const auto j = only_candidate(i);
            if (j) found.emplace_back(i, *j);
        }
        for (const auto& [i, j] : found) {
            const auto claims = std::count_if(found.begin(), found.end(), [&, hole = j](const auto& other) {
                return other.second == hole;
            });
            if (claims == 1) pair(i, j);
        }
    }

    [[nodiscard]] std::vector<HoleChange> all() const {
        std::vector<HoleChange> changes;
        for (const std::size_t i : task_.old_holes) {
            HoleChange change;
            change.old_hole = i;
            change.old_id = old_.holes[i].id;
            change.revised_hole = partner_[i];
            if (partner_[i])
                change.revised_id = revised_.holes[*partner_[i]].id;
            else
                say_alone(change, "dropped", frame_.revised_px(at(old_.holes[i])),
                          frame_.scale() * bore_of(old_.holes[i]), revised_, "revised");
            changes.push_back(std::move(change));
        }
        for (const std::size_t j : task_.revised_holes) {
            if (taken_[j]) continue;
            HoleChange change;
            change.revised_hole = j;
            change.revised_id = revised_.holes[j].id;
            say_alone(change, "added", frame_.old_px(at(revised_.holes[j])),
                      bore_of(revised_.holes[j]) / frame_.scale(), old_, "old");
            changes.push_back(std::move(change));
        }
        return changes;
    }

  private:
    static Point at(const HoleRecord& hole) { return {hole.x_px, hole.y_px}; }
    static std::ptrdiff_t times(const BoardRecord& board, const std::string& name) {
        return std::count_if(board.holes.begin(), board.holes.end(),
                             [&](const HoleRecord& hole) { return hole.source == 0 && hole.name == name; });
    }

    [[nodiscard]] std::optional<std::size_t> only_candidate(std::size_t i) const {
        const HoleRecord& old_hole = old_.holes[i];
        const double bore = bore_of(old_hole) * frame_.scale();
        std::optional<std::size_t> nearest;
        double least = 1e300, next = 1e300;
        for (const std::size_t j : task_.revised_holes) {
            const double off = frame_.off_px(old_hole, revised_.holes[j]).value();
            if (off > 2 * bore) continue;
            // One that has its partner already still makes the place crowded.
            if (off < least) {
                next = least, least = off;
                nearest = j;
            } else {
                next = std::min(next, off);
            }
        }
        if (!nearest || taken_[*nearest] || least > bore || next < 2 * least) return std::nullopt;
        const double there = bore_of(revised_.holes[*nearest]);
        constexpr double alike = 0.25;
        if (there <= 0 || std::abs(there - bore) > alike * bore) return std::nullopt;
        return nearest;
    }

    static void say_alone(HoleChange& change, const char* what, Point place, double bore_px,
                          const BoardRecord& other, const std::string& which) {
        const SourceRecord& source = other.sources.front();
        const double room = bore_px / 2;
        const bool in_view = place.x - room > -0.5 && place.y - room > -0.5 &&
                             place.x + room < source.width_px - 0.5 &&
                             place.y + room < source.height_px - 0.5;
        if (in_view)
            change.change.emplace_back(what);
        else
            change.notes.push_back("the " + which +
                                   " board's picture does not cover this place: not in view");
    }

    const BoardRecord& old_;
    const BoardRecord& revised_;
    const AlignTask& task_;
    const Frame& frame_;
    std::vector<std::optional<std::size_t>> partner_; ///< of each old hole
    std::vector<bool> taken_;                         ///< each revised one
};

} // namespace

std::vector<HoleChange> pair_holes(const BoardRecord& old_board, const BoardRecord& revised_board,
                                   const AlignTask& task, const HoleAlignment& alignment,
                                   const Frame& frame) {
    Pairing pairing(old_board, revised_board, task, frame);
    for (const AlignPair& pair : alignment.common)
        pairing.pair(task.old_holes[pair.old_hole], task.revised_holes[pair.revised_hole]);
    pairing.pair_by_name();
    pairing.pair_nearest();
    return pairing.all();
}

} // namespace ringwall::compare
