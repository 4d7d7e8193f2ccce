// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fcntl.h>
#include <fstream>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace fs = std::filesystem;

namespace ringwall {
namespace {

constexpr const char* aside_mark = ".ringwall-aside-";

[[noreturn]] void fail(const std::string& what, const fs::path& path, int error) {
    throw Error(Fault::input, what + " " + path.string() + ": " + std::strerror(error));
}

/// A last slash would make the name empty; a link is followed, so that the link stays and the folder is
/// swapped.
fs::path settled(const fs::path& target) {
    std::error_code error;
    fs::path path = fs::absolute(target, error).lexically_normal();
    if (!path.has_filename()) path = path.parent_path();
    if (fs::is_symlink(path, error)) {
        const fs::path real = fs::canonical(path, error);
        if (!error) path = real;
    }
    return path;
}

void check_target(const fs::path& target, const std::function<std::string(const fs::path&)>& replaceable) {
    std::error_code error;
    const fs::file_status status = fs::symlink_status(target, error);
    if (!fs::exists(status)) {
        if (error && error != std::errc::no_such_file_or_directory)
            fail("cannot write", target, error.value());
        return;
    }
    if (!fs::is_directory(status)) {
        throw Error(Fault::usage,
                    "output " + target.string() + " is no folder: expected a new name or a results folder");
    }
    const bool empty = fs::is_empty(target, error);
    if (error) fail("cannot look into", target, error.value());
    if (empty) return;
    const std::string why = replaceable(target);
    if (!why.empty()) throw Error(Fault::usage, "output " + target.string() + " " + why);
}

/// A folder aside whose lock is free belongs to a run that was killed.
void remove_leftovers(const fs::path& target) {
    const std::string mark = "." + target.filename().string() + aside_mark;
    std::error_code error;
    for (const auto& entry : fs::directory_iterator(target.parent_path(), error)) {
        if (entry.path().filename().string().rfind(mark, 0) != 0) continue;
        const int handle = open(entry.path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
        if (handle < 0) continue;
        if (flock(handle, LOCK_EX | LOCK_NB) == 0) fs::remove_all(entry.path(), error);
        close(handle);
    }
}

fs::path make_aside(const fs::path& target) {
    std::string name =
        (target.parent_path() / ("." + target.filename().string() + aside_mark + "XXXXXX")).string();
    if (mkdtemp(name.data()) == nullptr) fail("cannot write in", target.parent_path(), errno);
    // mkdtemp makes the folder private; results get the rights any new folder would have.
    const mode_t mask = umask(0);
    umask(mask);
    chmod(name.c_str(), 0777 & ~mask);
    return name;
}

} // namespace

MadeFolders::~MadeFolders() {
    std::error_code ignored;
    // Only when empty: another run may have begun to use it.
    std::for_each(made_.rbegin(), made_.rend(), [&](const fs::path& folder) { fs::remove(folder, ignored); });
}

void MadeFolders::make(const fs::path& folder) {
    std::error_code error;
    if (folder.empty() || fs::exists(folder, error)) return;
    make(folder.parent_path());
    if (fs::create_directory(folder, error)) made_.push_back(folder);
    if (error) fail("cannot make the folder", folder, error.value());
}

SwappedFolder::SwappedFolder(const fs::path& target,
                             const std::function<std::string(const fs::path&)>& replaceable)
    : target_(settled(target)) {
    check_target(target_, replaceable);
    parents_.make(target_.parent_path());
    remove_leftovers(target_);
    aside_ = make_aside(target_);
    lock_ = open(aside_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (lock_ >= 0) flock(lock_, LOCK_EX | LOCK_NB);
}

SwappedFolder::~SwappedFolder() {
    std::error_code ignored;
    if (!aside_.empty()) fs::remove_all(aside_, ignored);
    if (lock_ >= 0) close(lock_);
}

void SwappedFolder::commit() {
    // rename() alone takes a free name or an empty folder's; a full one needs the exchange.
    if (rename(aside_.c_str(), target_.c_str()) == 0) {
        aside_.clear();
        parents_.keep();
        return;
    }
    if (errno != ENOTEMPTY && errno != EEXIST) fail("cannot write", target_, errno);
    if (renameat2(AT_FDCWD, aside_.c_str(), AT_FDCWD, target_.c_str(), RENAME_EXCHANGE) != 0) {
        fail("this file system cannot exchange two folders; choose a new name instead of", target_, errno);
    }
}

void SwappedFolder::check(const fs::path& target,
                          const std::function<std::string(const fs::path&)>& replaceable) {
    const SwappedFolder trial(target, replaceable);
}

void write_whole_file(const fs::path& file, const std::string& bytes) {
    std::ofstream out(file, std::ios::binary);
    out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    out.close();
    if (!out) throw Error(Fault::input, "cannot write " + file.string());
}

std::string read_whole_file(const fs::path& file, std::size_t most_bytes) {
    std::error_code error;
    if (!fs::exists(file, error)) throw Error(Fault::input, file.string() + ": no such file");
    if (!fs::is_regular_file(file, error)) throw Error(Fault::input, file.string() + ": no plain file");
    std::ifstream in(file, std::ios::binary);
    std::string bytes;
    char block[1 << 16];
    while (in.read(block, sizeof block) || in.gcount() > 0) {
        bytes.append(block, static_cast<std::size_t>(in.gcount()));
        if (bytes.size() > most_bytes) {
            throw Error(Fault::input, file.string() + ": over " + std::to_string(most_bytes >> 20) + " MB");
        }
    }
    if (in.bad() || !in.eof()) throw Error(Fault::input, file.string() + ": cannot be read");
    return bytes;
}

} // namespace ringwall
