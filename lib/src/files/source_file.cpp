// SPDX-License-Identifier: Apache-2.0
#include "files/source_file.hpp"

#include "ringwall/error.hpp"

#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace ringwall::files {

std::string clean_line(const std::string& words) {
    constexpr std::size_t longest = 200;
    std::string line;
    for (const char c : words) {
        if (line.size() == longest) break;
        const auto byte = static_cast<unsigned char>(c);
        line += byte < 0x20 || byte == 0x7f ? ' ' : c;
    }
    while (!line.empty() && (line.back() == ' ' || line.back() == '.'))
        line.pop_back();
    return line;
}

namespace {

std::string named(const std::filesystem::path& path) {
    std::string name = path.string(); // never shortened: the reader must be able to tell which file
    for (char& c : name)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = '?';
    return name;
}

[[noreturn]] void fail(const std::filesystem::path& path, const std::string& why) {
    throw Error(Fault::input, named(path) + ": " + why);
}

} // namespace

SourceFile::SourceFile(const std::filesystem::path& path) : path_(path) {
    // Not blocking: a named pipe without a writer must not hang the program.
    descriptor_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor_ < 0) fail(path, std::string("cannot be opened: ") + std::strerror(errno));
    struct stat about {};
    const bool known = ::fstat(descriptor_, &about) == 0;
    std::string why;
    if (!known || S_ISDIR(about.st_mode))
        why = "is a folder, expected a picture file";
    else if (!S_ISREG(about.st_mode))
        why = "is no plain file, expected a picture file";
    else if (about.st_size == 0)
        why = "is empty";
    if (!why.empty()) {
        ::close(descriptor_);
        fail(path, why);
    }
    size_ = static_cast<std::uint64_t>(about.st_size);
    written_at_ = std::int64_t{about.st_mtim.tv_sec} * 1'000'000'000 + about.st_mtim.tv_nsec;
}

SourceFile::~SourceFile() {
    if (descriptor_ >= 0) ::close(descriptor_);
}

std::size_t SourceFile::read_some(std::uint64_t offset, void* out, std::size_t count) const noexcept {
    if (offset >= size_) return 0;
    auto* to = static_cast<char*>(out);
    std::size_t done = 0;
    while (done < count) {
        const ssize_t got = ::pread(descriptor_, to + done, count - done, static_cast<off_t>(offset + done));
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) break;
        done += static_cast<std::size_t>(got);
    }
    return done;
}

bool SourceFile::read_all(std::uint64_t offset, std::span<std::byte> out) const noexcept {
    return read_some(offset, out.data(), out.size()) == out.size();
}

void SourceFile::refuse(const std::string& why) const {
    fail(path_, why);
}

} // namespace ringwall::files
