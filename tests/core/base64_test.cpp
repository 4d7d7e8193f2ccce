// SPDX-License-Identifier: Apache-2.0
#include "core/base64.hpp"

#include <doctest/doctest.h>

using ringwall::base64;

// RFC 4648, section 10.
TEST_CASE("base64: the test vectors of RFC 4648") {
    CHECK(base64("").empty());
    CHECK(base64("f") == "Zg==");
    CHECK(base64("fo") == "Zm8=");
    CHECK(base64("foo") == "Zm9v");
    CHECK(base64("foob") == "Zm9vYg==");
    CHECK(base64("fooba") == "Zm9vYmE=");
    CHECK(base64("foobar") == "Zm9vYmFy");
}

TEST_CASE("base64: bytes above 127 are no negative numbers") {
    CHECK(base64("\xFF\xFE\xFD") == "//79");
}
