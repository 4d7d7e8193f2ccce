// SPDX-License-Identifier: Apache-2.0
#include "files/tiff_handle.hpp"

#include <algorithm>
#include <array>
#include <cstdarg>
#include <cstdio>
#include <limits>

namespace ringwall::files {

/// What libtiff calls back. Free functions by its interface; the client handle is the TiffHandle.
struct TiffCalls {
    static TiffHandle& self(thandle_t client) { return *static_cast<TiffHandle*>(client); }

    static tmsize_t read(thandle_t client, void* out, tmsize_t count) {
        TiffHandle& handle = self(client);
        if (count <= 0) return 0;
        const std::size_t got =
            handle.file_.read_some(handle.position_, out, static_cast<std::size_t>(count));
        handle.position_ += got;
        return static_cast<tmsize_t>(got);
    }
    static tmsize_t write(thandle_t, void*, tmsize_t) { return 0; }
    static toff_t seek(thandle_t client, toff_t offset, int whence) {
        TiffHandle& handle = self(client);
        const std::uint64_t from = whence == SEEK_CUR   ? handle.position_
                                   : whence == SEEK_END ? handle.file_.size()
                                                        : 0;
        handle.position_ = from + offset;
        return handle.position_;
    }
    static int close(thandle_t) { return 0; }
    static toff_t size(thandle_t client) { return self(client).file_.size(); }

    static std::string text(const char* format, va_list arguments) {
        std::array<char, 400> line{};
        std::vsnprintf(line.data(), line.size(), format, arguments);
        return line.data();
    }
    static int error(TIFF*, void* client, const char*, const char* format, va_list arguments) {
        TiffHandle& handle = self(client);
        if (handle.first_message_.empty()) handle.first_message_ = text(format, arguments);
        return 1; // handled: nothing is printed
    }
    static int warning(TIFF*, void* client, const char*, const char* format, va_list arguments) {
        TiffHandle& handle = self(client);
        if (!handle.decoding_ || !handle.first_message_.empty()) return 1;
        const std::string line = text(format, arguments);
        // An old bit order that the library decodes in full.
        if (line.find("Old-style LZW") == std::string::npos) handle.first_message_ = line;
        return 1;
    }
};

TiffHandle::TiffHandle(const SourceFile& file, std::size_t memory_bytes) : file_(file) {
    const std::unique_ptr<TIFFOpenOptions, void (*)(TIFFOpenOptions*)> options(TIFFOpenOptionsAlloc(),
                                                                               TIFFOpenOptionsFree);
    constexpr auto most = static_cast<std::size_t>(std::numeric_limits<tmsize_t>::max());
    TIFFOpenOptionsSetMaxSingleMemAlloc(options.get(), static_cast<tmsize_t>(std::min(memory_bytes, most)));
    TIFFOpenOptionsSetErrorHandlerExtR(options.get(), TiffCalls::error, this);
    TIFFOpenOptionsSetWarningHandlerExtR(options.get(), TiffCalls::warning, this);
    // "m": never map; "c" would deliver bits in file order, so it stays off.
    tiff_ = TIFFClientOpenExt("picture", "rm", this, TiffCalls::read, TiffCalls::write, TiffCalls::seek,
                              TiffCalls::close, TiffCalls::size, nullptr, nullptr, options.get());
    if (tiff_ == nullptr) check(false);
}

TiffHandle::~TiffHandle() {
    if (tiff_ != nullptr) TIFFClose(tiff_);
}

void TiffHandle::next_page() {
    decoding_ = false; // directories hold harmless oddities that the library warns of
    check(TIFFReadDirectory(tiff_) == 1);
}

void TiffHandle::go_to_page(std::uint64_t offset) {
    decoding_ = false;
    check(TIFFSetSubDirectory(tiff_, offset) == 1);
}

void TiffHandle::check(bool worked) const {
    if (worked && first_message_.empty()) return;
    file_.refuse("is a damaged or cut-off TIFF" +
                 (first_message_.empty() ? "" : ": " + clean_line(first_message_)));
}

} // namespace ringwall::files
