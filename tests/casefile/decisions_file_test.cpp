// SPDX-License-Identifier: Apache-2.0
#include "casefile/file_on_disk.hpp"
#include "ringwall/decision.hpp"
#include "ringwall/error.hpp"

#include <limits>

using namespace ringwall;
using ringwall::test::FileOnDisk;

namespace {

/// Of every kind, with all that text and numbers can hold.
std::vector<Decision> all_kinds() {
    return {
        {Decision::Act::add_hole,
         {1.0 / 3, -2e-7},
         {},
         15.5,
         WallState::undecided,
         "Ü. \"N\"",
         "2026-01-01T10:00",
         "a\\b\n\tc\x7F",
         true,
         "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"},
        {Decision::Act::set_wall, {3, 4}, {}, 0, WallState::incomplete, "", "", "", false, ""},
        {Decision::Act::set_wall, {3, 4}, {}, 0, WallState::undecided, "", "", "", true, ""},
        {Decision::Act::set_scale, {5, 6}, {7, 1e6}, 12.5, WallState::undecided, "me", "", "孔", false, ""},
        {Decision::Act::strike_out, {9, 10}, {}, 0, WallState::undecided, "me", "", "text", true, ""}};
}

std::string refusal(const std::string& text) {
    const FileOnDisk on_disk("c.decisions.toml", text);
    try {
        (void)read_decisions(on_disk.path());
    } catch (const Error& error) {
        CHECK(error.fault() == Fault::input);
        const std::string line = error.what();
        return line.substr(line.find("c.decisions.toml"));
    }
    return "accepted";
}

} // namespace

TEST_CASE("the decisions file stands beside the case, under its name") {
    CHECK(decisions_file_of("/a/b/unit 7.toml") == "/a/b/unit 7.decisions.toml");
    CHECK(decisions_file_of("case.toml") == "case.decisions.toml");
}

TEST_CASE("decisions survive the file, and the file written again is the same") {
    const FileOnDisk old("c.decisions.toml", "");
    std::filesystem::remove(old.path());
    write_decisions(old.path(), all_kinds());
    CHECK(read_decisions(old.path()) == all_kinds());
    const std::string bytes = old.text();
    write_decisions(old.path(), all_kinds());
    CHECK(old.text() == bytes);
    write_decisions(old.path(), {});
    CHECK(read_decisions(old.path()).empty());
    const auto count = std::distance(std::filesystem::directory_iterator(old.folder()), {});
    CHECK(count == 1); // nothing is left aside
}

TEST_CASE("a file that holds anything else is neither read as if nothing were nor overwritten") {
    const FileOnDisk made("c.decisions.toml", "");
    std::filesystem::remove(made.path());
    write_decisions(made.path(), all_kinds());
    for (const std::string& text :
         {std::string("schema = 1\n"), made.text() + "# my note\n", std::string("not ours"), std::string()}) {
        const FileOnDisk on_disk("c.decisions.toml", text);
        CHECK_THROWS_AS(write_decisions(on_disk.path(), all_kinds()), Error);
        CHECK(on_disk.text() == text);
    }
    std::string with_crlf;
    for (const char c : made.text())
        with_crlf += c == '\n' ? std::string("\r\n") : std::string(1, c);
    const FileOnDisk moved("c.decisions.toml", with_crlf);
    write_decisions(moved.path(), {}); // line ends changed by a mail program are no content
    CHECK(read_decisions(moved.path()).empty());
}

TEST_CASE("anything unknown is named with its line") {
    const std::string start = "schema = 1\n[[decision]]\nwhat = \"wall state set\"\nat_px = [1, 2]\n";
    CHECK(refusal(start + "wall = \"bare\"\n") == "accepted");
    CHECK(refusal("") == "c.decisions.toml, line 1: key schema: expected 1, got nothing");
    CHECK(refusal("schema = 2\n") == "c.decisions.toml, line 1: key schema: expected 1, got 2");
    CHECK(refusal("schema = 1\ncolour = 3\n") ==
          "c.decisions.toml, line 2: key colour: expected only schema and [[decision]], got 3");
    CHECK(refusal("schema = 1\ndecision = 3\n") ==
          "c.decisions.toml, line 2: key decision: expected [[decision]] tables, got 3");
    CHECK(refusal(start) ==
          "c.decisions.toml, line 2: key [decision] wall: expected a wall state, got nothing");
    CHECK(refusal(start + "wall = \"bare\"\npicture_sha256 = \"12ab\"\n").find("expected a SHA-256 of 64") !=
          std::string::npos);
    CHECK(refusal(start + "wall = \"wet\"\n").find("expected one of \"plated\"") != std::string::npos);
    CHECK(refusal(start + "wall = \"bare\"\nmm = 3\n") ==
          "c.decisions.toml, line 6: key [decision] mm: expected no such key of this decision, got 3");
    CHECK(refusal("schema = 1\n[[decision]]\nat_px = [1, 2]\n").find("[decision] what: expected") !=
          std::string::npos);
    CHECK(refusal("schema = 1\n[[decision]]\nwhat = \"scale set\"\nat_px=[1,2]\nto_px=[1,3]\nmm = -1\n")
              .find("line 6: key [decision] mm: expected a number over 0, got -1") != std::string::npos);
    CHECK(refusal("schema = 1\n[[decision]]\nwhat = \"hole added\"\nat_px=[1,nan]\nradius_px = 1\n")
              .find("line 4: key [decision] at_px: expected a point") != std::string::npos);
}

TEST_CASE("what would not read back the same is not written") {
    const FileOnDisk on_disk("c.decisions.toml", "");
    std::filesystem::remove(on_disk.path());
    std::vector<Decision> bad(1, all_kinds()[0]);
    bad[0].why = "H\xF6he";
    CHECK_THROWS_AS(write_decisions(on_disk.path(), bad), Error);
    bad[0] = all_kinds()[0];
    bad[0].at_px.x = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(write_decisions(on_disk.path(), bad), Error);
    CHECK_FALSE(std::filesystem::exists(on_disk.path()));
    CHECK_THROWS_AS(write_decisions("/nowhere/c.decisions.toml", all_kinds()), Error);
}
