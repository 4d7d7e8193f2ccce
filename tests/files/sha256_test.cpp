// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

using namespace ringwall;
using namespace ringwall::test;

// Vectors: NIST, "Secure Hash Standard" examples for FIPS 180-4 (one block, two blocks, a million letters),
// and the empty message of the CAVP short-message set. Written from memory; sha256sum of coreutils gives the
// same digests.
TEST_CASE("SHA-256 gives the digests of the standard") {
    CHECK(sha256_hex("", 0) == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    CHECK(sha256_hex("abc", 3) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    const std::string two = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    CHECK(sha256_hex(two.data(), two.size()) ==
          "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    const std::string million(1000000, 'a');
    CHECK(sha256_hex(million.data(), million.size()) ==
          "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("a file's hash is that of its bytes, over block borders") {
    const Scratch scratch;
    write_tiff16(scratch / "a.tif", all_different(700, 600).view()); // over three blocks of 256 KiB
    const auto bytes = bytes_of(scratch / "a.tif");
    CHECK(load_radiograph(scratch / "a.tif").facts.sha256 == sha256_hex(bytes.data(), bytes.size()));
    CHECK(describe_file(scratch / "a.tif").sha256 == sha256_hex(bytes.data(), bytes.size()));
}
