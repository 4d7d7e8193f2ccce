// SPDX-License-Identifier: Apache-2.0
#include "ringwall/compare.hpp"
#include "compare/answer.hpp"
#include "compare/deltas.hpp"
#include "compare/frame.hpp"
#include "compare/pairing.hpp"
#include "core/text.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

namespace ringwall {
namespace {

using namespace compare;

ComparedBoard compared(const BoardRecord& board) {
    ComparedBoard out;
    out.name = board.name, out.revision = board.revision, out.unit = board.unit;
    if (!board.sources.empty()) {
        out.file = std::filesystem::path(board.sources.front().file).filename().string();
        out.sha256 = board.sources.front().sha256;
    }
    return out;
}

bool same_picture(const Comparison& comparison) {
    return !comparison.old_board.sha256.empty() &&
           comparison.old_board.sha256 == comparison.revised_board.sha256;
}

/// One picture lies on itself, whatever its pattern.
void lay_on_itself(Comparison& comparison, const AlignTask& task, const BoardRecord& old_board,
                   const BoardRecord& revised_board) {
    HoleAlignment& alignment = comparison.alignment;
    alignment = {};
    alignment.fit.emplace();
    alignment.ambiguity = 0;
    for (std::size_t i = 0; i < task.old_holes.size(); ++i)
        for (std::size_t j = 0; j < task.revised_holes.size(); ++j) {
            const HoleRecord &a = old_board.holes[task.old_holes[i]],
                             &b = revised_board.holes[task.revised_holes[j]];
            if (std::abs(a.x_px - b.x_px) < 1 && std::abs(a.y_px - b.y_px) < 1)
                alignment.common.push_back({i, j}), ++alignment.unmoved;
        }
}

/// Revised mm per old mm. Missing without both scales.
Estimate mm_scale(const BoardRecord& old_board, const BoardRecord& revised_board, const Frame& frame,
                  const PlacedFit& fit) {
    const Estimate old_mm = pixel_mm(old_board), revised_mm = pixel_mm(revised_board);
    if (!old_mm) return Estimate::missing("old board: " + old_mm.why());
    if (!revised_mm) return Estimate::missing("revised board: " + revised_mm.why());
    const double u_fit = fit.weight_span > 0 ? fit.stretch / std::sqrt(fit.weight_span) / frame.scale() : 0;
    const double relative = std::hypot(u_fit, std::hypot(relative_u(old_mm), relative_u(revised_mm)));
    const double scale = frame.scale() * revised_mm.value() / old_mm.value();
    return Estimate::of(scale, scale * relative);
}

void notes_of_scales(Comparison& comparison, const BoardRecord& old_board, const BoardRecord& revised_board) {
    const Estimate old_mm = pixel_mm(old_board), revised_mm = pixel_mm(revised_board);
    if (!old_mm || !revised_mm) {
        const char* side = !old_mm && !revised_mm ? "Neither board has"
                           : !old_mm              ? "The old board has no"
                                                  : "The revised board has no";
        comparison.notes.push_back(std::string(side) + (!old_mm && !revised_mm ? " a" : "") +
                                   " scale in mm: no millimetres are compared, lengths in px of the revised "
                                   "picture where the boards were aligned");
        return;
    }
    const Estimate& scale = comparison.scale;
    if (scale && std::abs(scale.value() - 1) > 2 * scale.u())
        comparison.notes.push_back("The two scales contradict each other: holes that stayed lie " +
                                   brief(rounded(100 * (scale.value() - 1), 2)) +
                                   " % further apart on the revised board, more than both scales' U allows; "
                                   "one of them is wrong, and differences in mm with it");
}

void align(Comparison& comparison, const AlignTask& task, const BoardRecord& old_board,
           const BoardRecord& revised_board) {
    if (same_picture(comparison) && task.request.by_hand.empty()) {
        lay_on_itself(comparison, task, old_board, revised_board);
        return;
    }
    comparison.alignment = align_holes(task.request);
    if (comparison.alignment.fit || !task.request.scale || !task.request.by_hand.empty()) return;
    // A scale that is wrong by more than its doubt must not read as "other boards".
    AlignRequest without = task.request;
    without.scale.reset();
    HoleAlignment found = align_holes(without);
    if (found.fit) comparison.alignment = std::move(found);
}

void compare_aligned(Comparison& comparison, const AlignTask& task, const BoardRecord& old_board,
                     const BoardRecord& revised_board) {
    const Frame frame(old_board, revised_board, comparison.alignment);
    comparison.revised_px_from_old_px = frame.matrix();
    comparison.scale = mm_scale(old_board, revised_board, frame, *comparison.alignment.fit);
    const Estimate revised_mm = pixel_mm(revised_board);
    if (revised_mm) comparison.residual_mm = comparison.alignment.residual_px * revised_mm.value();
    comparison.pairs = pair_holes(old_board, revised_board, task, comparison.alignment, frame);
    const ScaleTie tie = scale_tie(old_board, revised_board, comparison.alignment, comparison.scale);
    comparison.tests = find_changes(comparison.pairs, old_board, revised_board, frame, tie);
}

} // namespace

Comparison compare_boards(const BoardRecord& old_board, const BoardRecord& revised_board,
                          const CompareOptions& options) {
    Comparison comparison;
    comparison.program = revised_board.program;
    comparison.old_board = compared(old_board), comparison.revised_board = compared(revised_board);
    comparison.scale = Estimate::missing("the boards were not aligned");
    const AlignTask task = align_task(old_board, revised_board, options);
    if (same_picture(comparison))
        comparison.notes.emplace_back("Both results are of the same picture (same SHA-256): there is one "
                                      "board here, and what differs is how it was measured");
    align(comparison, task, old_board, revised_board);
    comparison.board = board_change(old_board, revised_board);
    if (comparison.alignment.fit)
        compare_aligned(comparison, task, old_board, revised_board);
    else
        comparison.why_nothing = "the boards were not aligned: " + comparison.alignment.why;
    notes_of_scales(comparison, old_board, revised_board);
    comparison.answer = answer_of(comparison, old_board, revised_board);
    return comparison;
}

} // namespace ringwall
