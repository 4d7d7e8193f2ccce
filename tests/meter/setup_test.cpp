// SPDX-License-Identifier: Apache-2.0
#include "meter/setup.hpp"

#include <doctest/doctest.h>
#include <string>

using namespace ringwall;

namespace {

char letter(Told told) {
    return told == Told::yes ? 'y' : (told == Told::no ? 'n' : '-');
}

/// Connected? cables, chassis, battery: "nn-".
std::string connections(const char* words) {
    const SetUp setup = setup_in(words);
    return {letter(setup.cables), letter(setup.chassis), letter(setup.battery)};
}

} // namespace

TEST_CASE("cables, chassis and battery, as people write it") {
    CHECK(connections("") == "---");
    CHECK(connections("cables, chassis and battery disconnected") == "nnn");
    CHECK(connections("Cables, chassis, battery disconnected; screw fitted") == "nnn");
    CHECK(connections("disconnected: cables, chassis, battery") == "nnn");
    CHECK(connections("no cables; chassis off; battery out") == "nnn");
    CHECK(connections("cables disconnected, chassis connected") == "ny-");
    CHECK(connections("battery connected") == "--y");
    CHECK(connections("all disconnected") == "nnn");
    CHECK(connections("nothing connected") == "nnn");
    CHECK(connections("cables, screw fitted") == "---"); // the screw's word is not the cables'
    CHECK(connections("battery") == "---");              // named, state not said
}

TEST_CASE("board, screw, torque, side and power") {
    using Board = SetUp::Board;
    CHECK(setup_in("bare board").board == Board::bare);
    CHECK(setup_in("Bare").board == Board::bare);
    CHECK(setup_in("unpopulated").board == Board::bare);
    CHECK(setup_in("assembled unpowered").board == Board::assembled);
    CHECK(setup_in("not assembled").board == Board::bare);
    CHECK(setup_in("on the bench").board == Board::not_told);
    CHECK(setup_in("screw none").screw == Told::no);
    CHECK(setup_in("no screw").screw == Told::no);
    CHECK(setup_in("screws removed").screw == Told::no);
    CHECK(setup_in("screw not fitted").screw == Told::no);
    CHECK(setup_in("empty hole").screw == Told::no);
    CHECK(setup_in("screw fitted not torqued").screw == Told::yes);
    CHECK(setup_in("cables and battery disconnected; no screw fitted").screw == Told::no);
    CHECK(setup_in("without any screw fitted").screw == Told::no);
    CHECK(setup_in("cables off screw fitted").screw == Told::yes);
    CHECK(setup_in("screw M3 0.5 Nm").screw == Told::yes);
    CHECK(setup_in("assembled").screw == Told::not_told);
    CHECK(setup_in("screw fitted, 0.5Nm").torque);
    CHECK(setup_in("screw hand tight").torque);
    CHECK_FALSE(setup_in("screw fitted").torque);
    CHECK(setup_in("screw pushed toward the edge").side);
    CHECK_FALSE(setup_in("screw fitted").side);
    CHECK(setup_in("assembled, powered").powered);
    CHECK(setup_in("power on").powered);
    for (const char* off :
         {"unpowered", "not powered", "un-powered", "power off", "pushed toward the live plane"})
        CHECK_FALSE_MESSAGE(setup_in(off).powered, off);
}
