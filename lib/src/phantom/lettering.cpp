// SPDX-License-Identifier: Apache-2.0
#include "phantom/lettering.hpp"

#include <map>
#include <string>

namespace ringwall::phantom {
namespace {

/// Strokes as pairs of column (0-2) and row (0-4), strung together; a blank lifts the pen.
const std::map<char, std::string>& glyphs() {
    static const std::map<char, std::string> table = {{'A', "0401102124 0222"},
                                                      {'B', "0004142312 0212211000"},
                                                      {'C', "2110000424"},
                                                      {'D', "00041423211000"},
                                                      {'E', "20000424 0212"},
                                                      {'F', "200004 0212"},
                                                      {'I', "1014"},
                                                      {'L', "000424"},
                                                      {'M', "0400122024"},
                                                      {'N', "04002420"},
                                                      {'O', "0020240400"},
                                                      {'P', "0400202202"},
                                                      {'R', "0400202202 1224"},
                                                      {'S', "200002222404"},
                                                      {'T', "0020 1014"},
                                                      {'U', "00042420"},
                                                      {'V', "001420"},
                                                      {'Y', "001220 1214"},
                                                      {'0', "0020240400"},
                                                      {'1', "011014"},
                                                      {'2', "002022020424"},
                                                      {'3', "00202404 0222"},
                                                      {'4', "000222 2024"},
                                                      {'+', "0222 1113"},
                                                      {'-', "0222"},
                                                      {'H', "0004 0222 2024"}};
    return table;
}

} // namespace

std::vector<Track> lettering(Point at, double height, std::string_view words) {
    const double unit = height / 4, stroke = height * 0.14;
    std::vector<Track> strokes;
    for (const char letter : words) {
        const auto glyph = glyphs().find(letter);
        if (glyph != glyphs().end()) {
            bool pen_down = false;
            Point last{};
            const std::string& path = glyph->second;
            for (std::size_t i = 0; i + 1 < path.size();) {
                if (path[i] == ' ') {
                    pen_down = false;
                    ++i;
                    continue;
                }
                const Point next{at.x + (path[i] - '0') * unit, at.y + (path[i + 1] - '0') * unit};
                if (pen_down) strokes.push_back({last, next, stroke});
                pen_down = true;
                last = next;
                i += 2;
            }
        }
        at.x += 3 * unit;
    }
    return strokes;
}

} // namespace ringwall::phantom
