// SPDX-License-Identifier: Apache-2.0
#include "report/page_records.hpp"
#include "report/page_text.hpp"

#include <doctest/doctest.h>
#include <regex>

using namespace ringwall;
using namespace ringwall::test;

TEST_CASE("a slice stack's report speaks of a stack, nowhere of a face-on picture or its beam") {
    const std::string text = visible(page_of(of_stack()));
    const std::regex of_picture(
        "face-on|open beam|All copper layers lie on top|in the beam|towards the source|"
        "pixel at the board|picture sample-face",
        std::regex::icase);
    std::smatch found;
    const bool wrong = std::regex_search(text, found, of_picture);
    CHECK_MESSAGE(!wrong, "found: ", wrong ? found.str() : "");
    CHECK(std::regex_search(visible(page_of(sample().record)), of_picture)); // the pattern itself can fail
    for (const char* said :
         {"Slice stack: sample-face.tif.", "slice stack sample-face.tif",
          "a slice stack does not show to which net it belongs", "one voxel is 25.0 ±0.1 µm wide in a slice"})
        CHECK_MESSAGE(text.find(said) != std::string::npos, said);
    ReportPictures pictures;
    pictures.overlay = "data:image/png;base64,AAAA";
    const std::string drawn = visible(report_html(of_stack(), pictures));
    CHECK_FALSE(std::regex_search(drawn, of_picture));
    CHECK(drawn.find("mean over the board's depth") != std::string::npos);
    CHECK(visible(report_html(sample().record, pictures)).find("All copper layers lie on top") !=
          std::string::npos);
}

TEST_CASE("the layers' table says what the case states as the case's, and what is treated as live") {
    const std::string text = visible(page_of(of_stack()));
    CHECK(text.find("stated by the case: ground, evidence “drawing 7 <of> the maker”; not established here; "
                    "not counted as live") != std::string::npos);
    CHECK(text.find("stated by the case: signal, without evidence; not established here; treated as live") !=
          std::string::npos);
    CHECK(count_of(text, "treated as live, net not established") == 1); // layer 1
    BoardRecord record = of_stack();
    (*record.layers)[1].evidence.clear(), record.left_out = {"layers.stated.evidence"};
    CHECK(visible(page_of(record))
              .find("ground, evidence left out or not given; not established here; not "
                    "counted as live") != std::string::npos);
}

TEST_CASE("a land is no joined plane: a layer is joined where copper runs on from the barrel") {
    const std::string text = visible(page_of(of_stack()));
    CHECK(count_of(text, "a land alone at H5") == 1);
    CHECK(count_of(text, "runs on from H5") == 1);
    CHECK(text.find("Barrels joined") == std::string::npos);
}

TEST_CASE("a barrel cut right through is said with its depth, not as a share of the turn") {
    const std::string text = visible(page_of(of_stack()));
    CHECK(text.find("incomplete: the plating is interrupted round the whole turn at a depth of 0.425 mm to "
                    "0.575 mm below the low face, copper over 86 % of the wall, turn by depth") !=
          std::string::npos);
    CHECK(text.find("no plating was seen there that would join the layers") != std::string::npos);
    CHECK(text.find("% of the turn seen") == std::string::npos);
    CHECK(visible(page_of(of_stack(false))).find("at a depth of 17 voxels to 23 voxels below the low face") !=
          std::string::npos);
}

TEST_CASE("layers without a scale: depths in voxels, rings in px; none is called unseen") {
    const std::string text = visible(page_of(of_stack(false)));
    CHECK(text.find("No scale: depths are in voxels, rings in px; 3 copper layers seen") !=
          std::string::npos);
    CHECK(text.find("13.80 ±0.10 voxels") != std::string::npos);
    CHECK(text.find(": 21.00 ±0.40 px") != std::string::npos);
    CHECK(text.find("none seen") == std::string::npos);
    CHECK(text.find(": 21.00 ±0.40 px; undecided at H4") != std::string::npos);
}

TEST_CASE("each layer's picture stands by the table with its number, depth and what it shows") {
    ReportPictures pictures;
    pictures.layers = {"data:image/png;base64,AAAA", "data:image/png;base64,BBBB",
                       "data:image/png;base64,CCCC"};
    const std::string page = report_html(of_stack(), pictures);
    CHECK(nesting_fault(page) == "");
    for (const std::string& layer : pictures.layers)
        CHECK(count_of(page, "<img src=\"" + layer + "\"") == 1);
    const std::string text = visible(page);
    CHECK(text.find("Layer 2 of 3 seen: middle of its copper 0.345 mm below the low-z face. Narrowest "
                    "copper-free ring: H1") != std::string::npos);
    CHECK(text.find("Own copper runs on into a plane: H5") != std::string::npos);
    keep("report-stack.html", page);
    keep("report-stack-no-scale.html", page_of(of_stack(false)));
}

TEST_CASE("a report of an edge-on picture alone says nothing of screws and rings") {
    const std::string text = visible(page_of(of_edge()));
    for (const char* said : {"1.580 ±0.012 mm", "4 copper layers",
                             "Barrels of plated holes seen from the side", "X-ray work is for trained people",
                             "SHA-256", "Which net a layer carries", "Recalled parts stay out of use"})
        CHECK_MESSAGE(text.find(said) != std::string::npos, said);
    for (const char* not_here : {"Space left", "space left", "keep-out", "copper-free", "spacing", "IPC-2221",
                                 "can touch", "Gap ", "What one unit can show", "can the screw",
                                 "Sizes of the screw", "screw_major", "Meter readings", "position drawn"})
        CHECK_MESSAGE(text.find(not_here) == std::string::npos, not_here);
    keep("report-edge.html", page_of(of_edge()));
}
