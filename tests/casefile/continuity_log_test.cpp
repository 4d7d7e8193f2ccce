// SPDX-License-Identifier: Apache-2.0
#include "casefile/continuity_log.hpp"
#include "casefile/file_on_disk.hpp"
#include "ringwall/error.hpp"

using namespace ringwall;
using ringwall::test::FileOnDisk;

namespace {

/// The first line of contract.md's log.
const std::string header =
    "a,b,expect,reading,ohms,behaviour,setup,polarity,lead_ohms,meter,calibrated_on,when,by,note\n";

ContinuityLog log_of(const std::string& text) {
    const FileOnDisk on_disk("meter.csv", text);
    return read_continuity_log(on_disk.path());
}

std::string error_of(const std::string& text) {
    try {
        (void)log_of(text);
    } catch (const Error& error) {
        CHECK(error.fault() == Fault::input);
        const std::string line = error.what();
        CHECK(line.find('\n') == std::string::npos);
        const auto name = line.find("meter.csv");
        REQUIRE(name != std::string::npos);
        return line.substr(name);
    }
    return "accepted";
}

} // namespace

TEST_CASE("every column arrives, with the line it stands in") {
    const ContinuityLog log = log_of(header +
                                     "H1,+24V,open,joined,0.4,steady,\"bare board, no screw\",both,0.2,DMM "
                                     "1,2026-01-05,10:30,NN,\"said \"\"odd\"\"\"\n" +
                                     "\nH2,GND,,open,,,,,,,,,,\n");
    CHECK(log.warnings.empty());
    REQUIRE(log.readings.size() == 2);
    const ContinuityReading first{2,
                                  "H1",
                                  "+24V",
                                  Joint::open,
                                  Joint::joined,
                                  0.4,
                                  ReadingBehaviour::steady,
                                  "bare board, no screw",
                                  "both",
                                  0.2,
                                  "DMM 1",
                                  "2026-01-05",
                                  "10:30",
                                  "NN",
                                  "said \"odd\""};
    CHECK(log.readings[0] == first);
    ContinuityReading second;
    second.line = 4, second.a = "H2", second.b = "GND";
    CHECK(log.readings[1] == second);
}

TEST_CASE("UTF-8 with its mark, CRLF, line ends in quotes, other order, spaces round a field") {
    const ContinuityLog log =
        log_of("\xEF\xBB\xBFreading,b,a,note\r\n joined , Masse Ω ,孔1,\"one\r\ntwo\"\r\nopen,b,a,\r\n");
    REQUIRE(log.readings.size() == 2);
    CHECK(log.readings[0].a == "孔1");
    CHECK(log.readings[0].b == "Masse Ω");
    CHECK(log.readings[0].note == "one\r\ntwo");
    CHECK(log.readings[1].line == 4);
}

TEST_CASE("the same points read differently are data; a row that repeats another in every field is told") {
    const std::string joined = "H1,P1,open,joined,0.4,,,,,,,,,\n", open = "H1,P1,open,open,,,,,,,,,,\n";
    CHECK(log_of(header + joined + open).warnings.empty());
    const ContinuityLog log = log_of(header + joined + open + joined);
    CHECK(log.readings.size() == 3);
    REQUIRE(log.warnings.size() == 1);
    CHECK(log.warnings[0] == "meter.csv, line 4: repeats line 2 in every field");
}

TEST_CASE("an unknown column and an empty log are told") {
    const ContinuityLog log = log_of("a,b,reading,colour\n");
    REQUIRE(log.warnings.size() == 2);
    CHECK(log.warnings[0] == "meter.csv, line 1: column colour is unknown and ignored");
    CHECK(log.warnings[1] == "meter.csv: holds no reading");
}

TEST_CASE("what cannot be is refused with line, column, expected and got") {
    const auto row = [](const std::string& text) {
        return error_of("a,b,expect,reading,ohms,behaviour\n" + text);
    };
    const std::string ohms =
        "meter.csv, line 2, column ohms: expected a resistance of 0 ohm or more with a decimal "
        "point, or nothing where the meter shows no number, got ";
    CHECK(row("H1,P1,open,joined,\"0,4\",\n") == ohms + "0,4");
    CHECK(row("H1,P1,open,joined,-1,\n") == ohms + "-1");
    CHECK(row("H1,P1,open,joined,OL,\n") == ohms + "OL");
    CHECK(row("H1,P1,open,joined,inf,\n") == ohms + "inf");
    CHECK(row("H1,P1,open,joined,nan,\n") == ohms + "nan");
    CHECK(row("H1,P1,open,joined,0,4,\n") ==
          "meter.csv, line 2: expected 6 fields as in the first line, got 7 "
          "(a decimal comma, or a comma in a text without quotes?)");
    CHECK(row("H1,P1,open\n") == "meter.csv, line 2: expected 6 fields as in the first line, got 3");
    CHECK(row("H1,H1,,open,,\n") ==
          "meter.csv, line 2, column b: expected another point than in column a, got H1");
    CHECK(row(",P1,,open,,\n") == "meter.csv, line 2, column a: expected a hole or a pin, got nothing");
    CHECK(row("H1,P1,,,,\n") == "meter.csv, line 2, column reading: expected open or joined, got nothing");
    CHECK(row("H1,P1,,short,,\n") == "meter.csv, line 2, column reading: expected open or joined, got short");
    CHECK(row("H1,P1,maybe,open,,\n") ==
          "meter.csv, line 2, column expect: expected open or joined, got maybe");
    CHECK(row("H1,P1,,open,,jumping\n") ==
          "meter.csv, line 2, column behaviour: expected steady, rising, falling or nothing, got jumping");
    CHECK(row("H1,P1,,open,0.2,\n") ==
          "meter.csv, line 2, column ohms: expected 1 ohm or more beside the reading open, got 0.2");
    CHECK(row("H1,P1,,open,1,\n") == "accepted");
    const auto read_on = [](const std::string& when) {
        return error_of("a,b,reading,when\nH1,P1,open," + when + "\n");
    };
    CHECK(read_on("2026-13-45") == "meter.csv, line 2, column when: expected a day that the calendar has, as "
                                   "2026-04-06, got 2026-13-45");
    CHECK(read_on("2026-02-29").find("column when") != std::string::npos);
    CHECK(read_on("2028-02-29 14:30") == "accepted");
    CHECK(read_on("after lunch") == "accepted");
    CHECK(row("H1,P1,,joined,0,\nH2,P1,,joined,1,\nH3,P1,,closed,,\n")
              .starts_with("meter.csv, line 4, column reading"));
}

TEST_CASE("what is no such table is refused") {
    CHECK(error_of("") == "meter.csv: expected a first line with the columns' names, got nothing");
    CHECK(error_of("a;b;reading\n1;2;open\n")
              .starts_with("meter.csv, line 1, column 1: expected columns apart by commas"));
    CHECK(error_of("a,b,ohms\n") ==
          "meter.csv, line 1, column reading: expected a column of that name in the first line, got nothing");
    CHECK(error_of("a,b,reading,a\n") ==
          "meter.csv, line 1, column a: expected every column once, got it twice");
    CHECK(error_of("a,b,reading\n\"x,y,open\n") ==
          "meter.csv, line 2: expected a closing quote, got the end of the file");
    CHECK(error_of("a,b,reading\n5\" screw,y,open\n") ==
          "meter.csv, line 2: expected quotes round the whole field, got one inside it");
    CHECK(error_of("a,b,reading\n\"x\"y,z,open\n")
              .starts_with("meter.csv, line 2: expected a comma or the end of the line"));
    CHECK(error_of("a,b,reading\nx,H\xF6he,open\n") ==
          "meter.csv, line 2: expected text in UTF-8 (save it as UTF-8), got other bytes");
    for (const char* bad :
         {"\xC0\xAF", "\xE0\x80\x80", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xE2\x82", "\x80"})
        CHECK(error_of(std::string("a,b,reading\nx,") + bad + ",open\n").find("expected text in UTF-8") !=
              std::string::npos);
    CHECK(error_of(std::string("a,b,reading\nx,\0,open\n", 21)).find("expected text in UTF-8") !=
          std::string::npos);
}

TEST_CASE("a log that is not there") {
    CHECK_THROWS_WITH_AS((void)read_continuity_log("/nowhere/m.csv"), "/nowhere/m.csv: no such file", Error);
}
