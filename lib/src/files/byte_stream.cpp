// SPDX-License-Identifier: Apache-2.0
#include "files/byte_stream.hpp"

#include <array>
#include <bzlib.h>
#include <charconv>
#include <cstring>
#include <vector>
#include <zlib.h>

namespace ringwall::files {
namespace {

class PlainStream : public ByteStream {
  public:
    PlainStream(const SourceFile& file, std::uint64_t offset) : file_(file), at_(offset) {}
    std::size_t read(std::span<std::byte> out) override {
        const std::size_t got = file_.read_some(at_, out.data(), out.size());
        at_ += got;
        return got;
    }

  private:
    const SourceFile& file_;
    std::uint64_t at_;
};

/// What the two decompressors share: packed bytes in blocks, and the loop that asks for more.
class UnpackingStream : public ByteStream {
  public:
    UnpackingStream(const SourceFile& file, std::uint64_t offset) : packed_(file, offset), file_(file) {}
    std::size_t read(std::span<std::byte> out) override {
        constexpr std::size_t most = std::size_t{1} << 30; // both libraries count in 32 bits
        std::size_t done = 0;
        while (done < out.size() && !ended_) {
            if (left_ == 0) {
                left_ = packed_.read(block_);
                next_ = block_.data();
                if (left_ == 0) file_.refuse("is cut off within its compressed pixels");
            }
            const std::size_t before = left_,
                              made = unpack(out.subspan(done, std::min(most, out.size() - done)));
            done += made;
            if (made == 0 && before == left_ && !ended_) damaged();
        }
        return done;
    }

  protected:
    /// Moves next_ and left_ on, returns the bytes made; sets ended_ at the end of the data.
    virtual std::size_t unpack(std::span<std::byte> out) = 0;
    [[noreturn]] void damaged() const { file_.refuse("is damaged within its compressed pixels"); }
    std::byte* next_ = nullptr;
    std::size_t left_ = 0;
    bool ended_ = false;

  private:
    PlainStream packed_;
    const SourceFile& file_;
    std::vector<std::byte> block_ = std::vector<std::byte>(1U << 16);
};

class InflateStream : public UnpackingStream {
  public:
    InflateStream(const SourceFile& file, std::uint64_t offset) : UnpackingStream(file, offset) {
        constexpr int largest_window = 15, either_wrapping = 32;
        if (inflateInit2(&zlib_, largest_window + either_wrapping) != Z_OK) throw std::bad_alloc();
    }
    ~InflateStream() override { inflateEnd(&zlib_); }

  private:
    std::size_t unpack(std::span<std::byte> out) override {
        zlib_.next_in = reinterpret_cast<Bytef*>(next_);
        zlib_.avail_in = static_cast<uInt>(left_);
        zlib_.next_out = reinterpret_cast<Bytef*>(out.data());
        zlib_.avail_out = static_cast<uInt>(out.size());
        const int status = inflate(&zlib_, Z_NO_FLUSH);
        if (status != Z_OK && status != Z_STREAM_END && status != Z_BUF_ERROR) damaged();
        next_ += left_ - zlib_.avail_in;
        left_ = zlib_.avail_in;
        ended_ = status == Z_STREAM_END;
        return out.size() - zlib_.avail_out;
    }
    z_stream zlib_{};
};

class Bunzip2Stream : public UnpackingStream {
  public:
    Bunzip2Stream(const SourceFile& file, std::uint64_t offset) : UnpackingStream(file, offset) {
        if (BZ2_bzDecompressInit(&bzip2_, 0, 0) != BZ_OK) throw std::bad_alloc();
    }
    ~Bunzip2Stream() override { BZ2_bzDecompressEnd(&bzip2_); }

  private:
    std::size_t unpack(std::span<std::byte> out) override {
        bzip2_.next_in = reinterpret_cast<char*>(next_);
        bzip2_.avail_in = static_cast<unsigned>(left_);
        bzip2_.next_out = reinterpret_cast<char*>(out.data());
        bzip2_.avail_out = static_cast<unsigned>(out.size());
        const int status = BZ2_bzDecompress(&bzip2_);
        if (status != BZ_OK && status != BZ_STREAM_END) damaged();
        next_ += left_ - bzip2_.avail_in;
        left_ = bzip2_.avail_in;
        ended_ = status == BZ_STREAM_END;
        return out.size() - bzip2_.avail_out;
    }
    bz_stream bzip2_{};
};

class TextStream : public ByteStream {
  public:
    TextStream(const SourceFile& file, std::uint64_t offset) : text_(file, offset), file_(file) {}
    std::size_t read(std::span<std::byte> out) override {
        std::size_t done = 0;
        double value = 0;
        for (; done + sizeof value <= out.size() && next(value); done += sizeof value)
            std::memcpy(out.data() + done, &value, sizeof value);
        return done;
    }

  private:
    static bool blank(char c) {
        return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == ',' || c == '\v' || c == '\f';
    }
    /// The next character, '\0' at the end of the file.
    char peek() {
        if (at_ == known_) {
            known_ = text_.read(std::as_writable_bytes(std::span(block_)));
            at_ = 0;
        }
        return at_ < known_ ? block_[at_] : '\0';
    }
    bool next(double& value) {
        while (blank(peek()))
            ++at_;
        std::array<char, 64> word{};
        std::size_t size = 0;
        for (; known_ != 0 && !blank(peek()) && known_ != 0 && size < word.size(); ++at_)
            word[size++] = peek();
        if (size == 0) return false;
        const std::size_t plus = word[0] == '+' ? 1 : 0;
        const auto parsed = std::from_chars(word.data() + plus, word.data() + size, value);
        if (parsed.ec != std::errc() || parsed.ptr != word.data() + size)
            file_.refuse("is damaged: expected a number among its pixels, got '" +
                         clean_line({word.data(), size}) + "'");
        return true;
    }

    PlainStream text_;
    const SourceFile& file_;
    std::array<char, 4096> block_{};
    std::size_t at_ = 0, known_ = 0;
};

} // namespace

std::unique_ptr<ByteStream> open_stream(const SourceFile& file, std::uint64_t offset, Packing packing) {
    if (packing == Packing::gzip) return std::make_unique<InflateStream>(file, offset);
    if (packing == Packing::bzip2) return std::make_unique<Bunzip2Stream>(file, offset);
    return std::make_unique<PlainStream>(file, offset);
}

std::unique_ptr<ByteStream> open_text(const SourceFile& file, std::uint64_t offset) {
    return std::make_unique<TextStream>(file, offset);
}

} // namespace ringwall::files
