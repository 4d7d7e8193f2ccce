// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/record.hpp"

#include <string>
#include <vector>

namespace ringwall {

/// Holes whose label found no room.
struct LeftOut {
    std::size_t numbers = 0; ///< the id stands there alone
    std::size_t ids = 0;     ///< nothing stands there
};

/// The panel under a picture: what the lines mean, a scale bar, units, k = 2, cautions.
class Legend {
  public:
    /// `caption`: a first line of its own; may be empty.
    Legend(const BoardRecord& record, const OverlayLayout& layout, LeftOut left_out,
           std::string caption = {});
    /// A picture narrower than this gets a wider panel.
    [[nodiscard]] int least_width() const;
    /// When it stands under a picture of this width.
    [[nodiscard]] int height(int picture_width) const;
    /// At the canvas's lower end.
    void draw(Canvas& canvas) const;

  private:
    struct Item {
        LineStyle style;
        Colour colour;
        double width; ///< in line widths
        std::string text;
    };
    [[nodiscard]] std::vector<Item> items() const;
    [[nodiscard]] std::vector<std::string> sentences() const;
    [[nodiscard]] std::vector<std::string> cautions() const;
    [[nodiscard]] int rows(Canvas& canvas, int width, bool draw) const;
    void draw_scale_bar(Canvas& canvas, double x, double baseline) const;

    const BoardRecord& record_;
    const OverlayLayout& layout_;
    LeftOut left_out_;
    std::string caption_;
};

} // namespace ringwall
