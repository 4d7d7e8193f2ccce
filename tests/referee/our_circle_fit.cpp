// SPDX-License-Identifier: Apache-2.0
// Lends the library's circle fit to circle_fits.py: "x0 y0 x1 y1 ..." a line in, "x y radius rms" a line out.
#include "core/circle_fit.hpp"

#include <cstdio>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

int main() {
    for (std::string line; std::getline(std::cin, line);) {
        std::istringstream words(line);
        std::vector<ringwall::Point> points;
        for (ringwall::Point point; words >> point.x >> point.y;)
            points.push_back(point);
        const ringwall::CircleFit fit = ringwall::fit_circle(points);
        std::printf("%.17g %.17g %.17g %.17g\n", fit.centre.x, fit.centre.y, fit.ok ? fit.radius : -1.0,
                    fit.rms);
    }
}
