// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <doctest/doctest.h>
#include <string>
#include <zlib.h>

namespace ringwall::test {

/// As gzip or as zlib packs it.
inline std::string zipped(const std::string& bytes, bool gzip) {
    z_stream zlib{};
    REQUIRE(deflateInit2(&zlib, 9, Z_DEFLATED, 15 + (gzip ? 16 : 0), 8, Z_DEFAULT_STRATEGY) == Z_OK);
    std::string packed(bytes.size() + 1000, '\0'), from = bytes;
    zlib.next_in = reinterpret_cast<Bytef*>(from.data());
    zlib.avail_in = static_cast<uInt>(from.size());
    zlib.next_out = reinterpret_cast<Bytef*>(packed.data());
    zlib.avail_out = static_cast<uInt>(packed.size());
    REQUIRE(deflate(&zlib, Z_FINISH) == Z_STREAM_END);
    packed.resize(packed.size() - zlib.avail_out);
    deflateEnd(&zlib);
    return packed;
}

} // namespace ringwall::test
