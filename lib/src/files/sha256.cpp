// SPDX-License-Identifier: Apache-2.0
// OpenSSL's digest: several times faster than plain code, and 16.8 Mpx of 16 bit are hashed at every load.
#include "files/source_file.hpp"

#include "ringwall/error.hpp"

#include <array>
#include <memory>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <vector>

namespace ringwall {
namespace {

class Sha256 {
  public:
    Sha256() : context_(start()) {
        if (!context_ || EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) != 1) fail();
    }
    void add(const void* bytes, std::size_t size) {
        if (EVP_DigestUpdate(context_.get(), bytes, size) != 1) fail();
    }
    std::string hex() {
        std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
        unsigned size = 0;
        if (EVP_DigestFinal_ex(context_.get(), digest.data(), &size) != 1) fail();
        static constexpr char digits[] = "0123456789abcdef";
        std::string text;
        for (unsigned i = 0; i < size; ++i) {
            text += digits[digest[i] >> 4];
            text += digits[digest[i] & 15];
        }
        return text;
    }

  private:
    struct Free {
        void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
    };
    static EVP_MD_CTX* start() {
        // The machine's OpenSSL settings file has no say in what a file's hash is.
        OPENSSL_init_crypto(OPENSSL_INIT_NO_LOAD_CONFIG, nullptr);
        return EVP_MD_CTX_new();
    }
    [[noreturn]] static void fail() {
        throw Error(Fault::program, "the SHA-256 of the crypto library does not work");
    }
    std::unique_ptr<EVP_MD_CTX, Free> context_;
};

template<typename Told>
void add_file(Sha256& sha, const files::SourceFile& file, Told told) {
    std::vector<std::byte> block(std::size_t{1} << 18);
    for (std::uint64_t at = 0; at < file.size();) {
        const std::size_t got = file.read_some(at, block.data(), block.size());
        if (got == 0) file.refuse("cannot be read to its end");
        sha.add(block.data(), got);
        at += got;
        told(got);
    }
}

void add_file(Sha256& sha, const files::SourceFile& file) {
    add_file(sha, file, [](std::size_t) {});
}

} // namespace

std::string sha256_hex(const void* bytes, std::size_t size) {
    Sha256 sha;
    sha.add(bytes, size);
    return sha.hex();
}

namespace files {

std::string sha256_of(const SourceFile& file) {
    Sha256 sha;
    add_file(sha, file);
    return sha.hex();
}

std::string sha256_of(const SourceFile& first, const SourceFile& second) {
    Sha256 sha;
    add_file(sha, first);
    add_file(sha, second);
    return sha.hex();
}

std::string sha256_of(std::span<const std::filesystem::path> files, Watch& watch) {
    constexpr int megabyte = 20; // as a power of 2
    std::uint64_t all = 0, done = 0, told = 0;
    for (const auto& file : files) {
        std::error_code unknown; // the file's own opening says what is wrong with it
        const auto size = std::filesystem::file_size(file, unknown);
        all += unknown ? 0 : size;
    }
    const int total = static_cast<int>(all >> megabyte);
    Sha256 sha;
    for (const auto& file : files)
        add_file(sha, SourceFile(file), [&](std::size_t bytes) {
            if (watch.cancelled()) throw Cancelled{};
            done += bytes;
            if (done >> megabyte == told) return;
            told = done >> megabyte;
            watch.progress("hashing", static_cast<int>(told), total);
        });
    return sha.hex();
}

} // namespace files
} // namespace ringwall
