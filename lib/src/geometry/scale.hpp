// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/error.hpp"
#include "ringwall/estimate.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"

#include <array>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// How many mm a pixel is at the board's planes, in x and in y. The only place where px become mm.
///
/// A pixel may be wider than high: a length then converts with the factor of its direction, a diameter (a
/// mean over all directions) with the mean of both; the area with their product. The relative uncertainty is
/// common to every length of a picture: lengths of one picture keep their ratios.
class Scale {
  public:
    /// No scale; `why` for the reader, lower case.
    static Scale unknown(std::string why);
    /// Both > 0, relative_u >= 0 (k = 1). `from`: where the numbers come from, in words.
    static Scale of(double x_mm, double y_mm, double relative_u, std::string from);

    [[nodiscard]] bool known() const { return known_; }
    [[nodiscard]] const std::string& why() const { return words_; }  ///< of an unknown scale
    [[nodiscard]] const std::string& from() const { return words_; } ///< of a known one
    [[nodiscard]] std::array<double, 2> pixel_xy_mm() const { return {x_mm_, y_mm_}; }
    [[nodiscard]] double mean_mm() const { return (x_mm_ + y_mm_) / 2; }
    [[nodiscard]] double relative_u() const { return relative_u_; }
    /// Largest departure of one direction's factor from the mean, as a share: 0 for square pixels.
    [[nodiscard]] double anisotropy() const;

    /// mm per px along a direction of the picture (degrees anticlockwise as seen, 0 = +x).
    [[nodiscard]] double along_mm(double angle_deg) const;
    [[nodiscard]] Estimate pixel_mm() const;                      ///< the mean, with the scale's u
    [[nodiscard]] Estimate diameter_mm(const Estimate& px) const; ///< also any other mean over all directions
    [[nodiscard]] Estimate length_mm(const Estimate& px, double angle_deg) const;
    [[nodiscard]] Estimate area_mm2(const Estimate& px2) const;
    [[nodiscard]] std::optional<Point> at_mm(Point px) const;

  private:
    bool known_ = false;
    double x_mm_ = 0, y_mm_ = 0, relative_u_ = 0;
    std::string words_ = "no scale was given";
};

/// A hole of this picture with the bore that a person measured on the board.
struct KnownBore {
    Estimate px;
    double mm = 0;
    std::optional<double> u_mm; ///< k = 1
};

/// Everything that may tell the scale of one picture, strongest first.
struct ScaleSources {
    std::vector<KnownDistance> by_person; ///< set in a decision: overrides the rest
    std::optional<std::array<double, 2>>
        given_mm;                      ///< --pixel-mm, or the case file's pixel_mm: overrides what follows
    std::vector<KnownDistance> known;  ///< --known, or the case file's [[scale]]
    std::vector<KnownBore> bores;      ///< the case file's [[scale]] with a hole; beside `known`
    std::optional<StatedScale> stated; ///< by the picture file
    std::optional<double> u_percent;   ///< k = 1; not given: as below
    std::string given = "given by the user"; ///< words for where given_mm, known and bores come from
};

/// The scale to use. Known distances in one direction give one factor for both axes; in two directions that
/// differ enough they give x and y apart (least squares on dx^2 sx^2 + dy^2 sy^2 = mm^2). Bores add to the
/// mean factor by their weight. Without u_percent the uncertainty is what points, bores and the lengths' u_mm
/// give when every length has one, else 1 % (or more, where the points allow no better), said to be assumed.
///
/// Throws Error(input) when two scales disagree: known distances among each other, or with what the file
/// states, by more than 1 % and more than three times what points placed to half a pixel allow; or x and y
/// factors over 3 % apart; or a bore from the other lengths. Throws Error(usage) for a known distance between
/// two equal points or outside the picture's sense (mm <= 0).
Scale find_scale(const ScaleSources& sources);

/// Throws Error(fault) for a point outside the picture: a slipped digit makes a wrong scale of it.
void check_inside(std::span<const KnownDistance> known, const SourceFacts& picture, Fault fault);

/// A sentence when the pixel size given differs by more than 2 % from the one that the file states and that
/// it overrides; else nothing.
std::optional<std::string> overridden_scale(const ScaleSources& sources);

} // namespace ringwall
