// SPDX-License-Identifier: Apache-2.0
// Writes a slice stack drawn at random as a MetaImage file, to time the whole program on:
// bench_write_stack OUT.mhd SEED FOIL_UM [WIDTH_MM HEIGHT_MM SLICES]
#include "bench/drawn_stack.hpp"

#include <cstdlib>
#include <filesystem>
#include <fstream>

using namespace ringwall;

int main(int count, char** words) {
    if (count < 4) return 2;
    test::StackSize size;
    if (count > 6) size = {std::atof(words[4]), std::atof(words[5]), std::atoi(words[6])};
    const test::DrawnStack d =
        test::drawn_stack(std::strtoull(words[2], nullptr, 10), std::atof(words[3]), true, size);
    const std::filesystem::path header = words[1],
                                data = std::filesystem::path(header).replace_extension("raw");
    std::ofstream(header)
        << "ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\n"
        << "DimSize = " << d.slices.front().width() << ' ' << d.slices.front().height() << ' '
        << d.slices.size() << "\nElementSpacing = 0.025 0.025 0.025\n"
        << "ElementType = MET_USHORT\nElementDataFile = " << data.filename().string() << "\n";
    std::ofstream out(data, std::ios::binary);
    for (const auto& slice : d.slices)
        out.write(reinterpret_cast<const char*>(slice.view().row(0)),
                  static_cast<std::streamsize>(slice.size() * sizeof(std::uint16_t)));
    return out ? 0 : 3;
}
