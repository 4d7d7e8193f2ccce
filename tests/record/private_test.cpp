// SPDX-License-Identifier: Apache-2.0
#include "record/private.hpp"
#include "record/sample_record.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using ringwall::test::sample_record;

TEST_CASE("what names an owner, a person or a place is left out and listed; the rest stays") {
    BoardRecord record = sample_record();
    record.left_out.clear();
    record.sources[0].file = "/home folder/N. N./secret place/face.tif";
    leave_out_private(record);
    CHECK(record.left_out == std::vector<std::string>{
                                 "evidence.intake.serial", "evidence.intake.lot", "evidence.custody",
                                 "sources.file (folders)", "evidence.pictures.taken_by",
                                 "evidence.pictures.file (folders)", "evidence.pictures.repeat_of (folders)",
                                 "continuity.by", "decisions.who"});
    CHECK(record.measured == sample_record().measured);
    CHECK(record.intake.chosen == "returned");
    CHECK(record.picture_notes[0].taken_on == "2026-03-01");
    CHECK(record.continuity[0].meter == "meter 1");
    CHECK(record.sources[0].warnings.back().find("text burned into a picture is not removed") !=
          std::string::npos);
    const std::string bytes = to_json(record, "/home folder/N. N./results");
    for (const char* gone : {"SN 7", "L 3", "N. N.", "\"me\"", "lab", "A1", "secret place", "old/first"})
        CHECK_MESSAGE(bytes.find(gone) == std::string::npos, gone);
    CHECK(bytes.find("\"file\": \"face.tif\"") != std::string::npos);
}

TEST_CASE("what was never there is not listed as left out") {
    BoardRecord record;
    record.sources.resize(1);
    record.sources[0].file = "face.tif";
    leave_out_private(record);
    CHECK(record.left_out.empty());
}
