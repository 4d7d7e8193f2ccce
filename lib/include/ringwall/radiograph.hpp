// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// What is known of the grey scale. `linear`: proportional to intensity (offset given by a dark picture or
/// 0); `log`: proportional to attenuation; `display`: tone-mapped for looking at; `unknown`: nobody said
/// (never guessed).
enum class Radiometry { unknown, linear, log, display };

/// Which end of the stored grey scale dense material (copper, steel) lies at. `automatic`: to be found.
enum class DenseSide { automatic, dark, bright };

/// How the beam met the board: through its flat, along it, or from all round (slices).
enum class Shot { face, edge, stack };

/// Pixel size that a file states, and where it stands in the file. mm a pixel, at the board unless `meaning`
/// says other.
struct StatedScale {
    std::array<double, 2> pixel_xy_mm{}; ///< x, y; both > 0
    std::string from;                    ///< for the reader: "TIFF resolution, 508 per cm"
};

/// Two points of known distance, px and mm.
struct KnownDistance {
    Point from_px;
    Point to_px;
    double mm = 0;
    std::optional<double> u_mm; ///< of the length itself, k = 1
};

/// What a picture file says about itself. Facts only: nothing here is estimated from the grey values'
/// pattern.
struct SourceFacts {
    std::string file;   ///< path as it was given
    std::string format; ///< "TIFF", "PNG", "JPEG", "BMP", "MetaImage", "NRRD", "DICOM"
    std::string sha256; ///< of the file's bytes (header and data file in this order when there are two),
                        ///< lower-case hex
    int width_px = 0;
    int height_px = 0;
    int pages = 1; ///< pages, frames or slices held
    int bits = 0;  ///< significant bits a sample; 32 or 64 with is_float
    bool is_float = false;
    bool lossy = false;  ///< went through a lossy compression at least once, as far as the file says
    bool colour = false; ///< had colour channels that differ; grey was made of them (Rec. 601 luma, scaled
                         ///< like the source)
    bool inverted_scale =
        false; ///< the file declares "minimum is white"; `values` are as stored, not inverted
    double lowest_value =
        0; ///< least value the sample format can hold (0 for unsigned); float: least value present
    double full_scale = 0; ///< greatest value the sample format can hold; float: greatest value present
    Radiometry radiometry = Radiometry::unknown; ///< as metadata states it
    std::optional<StatedScale> scale;
    std::vector<std::string>
        notes; ///< things the reader should know: "resolution tag 72 per inch ignored: a screen value"
};

/// One projection picture as stored. Values keep the file's numbers (rescale slope of DICOM applied); no
/// inversion, no stretch. 32-bit integers and doubles lose digits beyond 24 bits; `facts.notes` says so when
/// it happened.
struct Radiograph {
    SourceFacts facts;
    Image<float> values;
};

} // namespace ringwall
