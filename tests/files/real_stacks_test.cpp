// SPDX-License-Identifier: Apache-2.0
#include "files/real_data.hpp"
#include "files/stacks.hpp"

#include <sstream>

using namespace ringwall;
using namespace ringwall::test;

namespace {

using Row = std::vector<std::string>;

std::vector<Row> table() {
    std::ifstream in(std::filesystem::path(__FILE__).parent_path() / "real_stacks.csv");
    std::vector<Row> rows;
    for (std::string line; std::getline(in, line);) {
        if (line.empty() || line[0] == '#' || line.rfind("file;", 0) == 0) continue;
        std::istringstream words(line);
        rows.emplace_back();
        for (std::string cell; std::getline(words, cell, ';');)
            rows.back().push_back(cell);
        rows.back().resize(11);
    }
    return rows;
}

void check_read(const std::filesystem::path& file, const Row& row) {
    const SliceStack stack = open_stack(file);
    CHECK(std::to_string(stack.width()) == row[2]);
    CHECK(std::to_string(stack.height()) == row[3]);
    CHECK(std::to_string(stack.slices()) == row[4]);
    CHECK(std::to_string(stack.facts().source.bits) == row[5]);
    REQUIRE(stack.facts().voxel.has_value() == !row[6].empty());
    for (std::size_t axis = 0; axis < 3 && stack.facts().voxel; ++axis)
        CHECK(stack.facts().voxel->voxel_mm[axis] == doctest::Approx(std::stod(row[6 + axis])).epsilon(1e-6));
    double sum = 0;
    Image<float> slice(stack.width(), stack.height());
    for (int z = 0; z < stack.slices(); ++z) {
        stack.read_slice(z, slice.view());
        for (std::size_t i = 0; i < slice.size(); ++i)
            sum += static_cast<double>(slice.data()[i]);
    }
    if (!row[9].empty()) CHECK(sum == std::stod(row[9])); // whole numbers below 2^53: no rounding
}

} // namespace

TEST_CASE("real stacks are read as other decoders read them, or refused for the right reason") {
    const auto place = real_data();
    if (place.empty()) {
        MESSAGE("skipped: no real files on this machine (RINGWALL_REAL_DATA names their folder)");
        return;
    }
    const auto rows = table();
    REQUIRE(rows.size() > 15);
    for (const Row& row : rows) {
        CAPTURE(row[0]);
        if (row[1] == "read") {
            CHECK_NOTHROW(check_read(place / row[0], row));
            continue;
        }
        std::string why;
        try {
            open_stack(place / row[0]);
        } catch (const Error& error) {
            why = error.what();
        }
        CHECK(has(why, row[2]));
    }
}
