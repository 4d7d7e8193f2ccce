// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "ringwall/error.hpp"

#include <csignal>
#include <doctest/doctest.h>
#include <fstream>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

using namespace ringwall;
namespace fs = std::filesystem;

namespace {

class Scratch {
  public:
    Scratch() {
        std::string name = (fs::temp_directory_path() / "ringwall-swap-XXXXXX").string();
        REQUIRE(mkdtemp(name.data()) != nullptr);
        path_ = name;
    }
    ~Scratch() { fs::remove_all(path_); }
    Scratch(const Scratch&) = delete;
    Scratch& operator=(const Scratch&) = delete;
    [[nodiscard]] fs::path operator/(const std::string& name) const { return path_ / name; }
    [[nodiscard]] std::vector<std::string> names() const {
        std::vector<std::string> list;
        for (const auto& entry : fs::directory_iterator(path_))
            list.push_back(entry.path().filename().string());
        std::sort(list.begin(), list.end());
        return list;
    }

  private:
    fs::path path_;
};

std::string always_ours(const fs::path&) {
    return "";
}
std::string never_ours(const fs::path&) {
    return "is somebody else's";
}

void fill(const fs::path& folder, const std::string& content, int files) {
    for (int i = 0; i < files; ++i)
        write_whole_file(folder / ("file" + std::to_string(i)), content);
}

} // namespace

TEST_CASE("a new name, an empty folder and a folder of ours are taken; nothing stays beside them") {
    const Scratch scratch;
    const auto write = [&](const std::string& content) {
        SwappedFolder swapped(scratch / "out", always_ours);
        fill(swapped.aside(), content, 2);
        swapped.commit();
    };
    write("one");
    CHECK(read_whole_file(scratch / "out/file1", 100) == "one");
    write("two");
    CHECK(read_whole_file(scratch / "out/file1", 100) == "two");
    fs::remove_all(scratch / "out");
    fs::create_directory(scratch / "out");
    SwappedFolder swapped(scratch / "out", never_ours); // empty: nothing to lose
    fill(swapped.aside(), "three", 1);
    swapped.commit();
    CHECK(read_whole_file(scratch / "out/file0", 100) == "three");
    CHECK(scratch.names() == std::vector<std::string>{"out"});
}

TEST_CASE("without commit nothing changes") {
    const Scratch scratch;
    {
        SwappedFolder swapped(scratch / "out", always_ours);
        fill(swapped.aside(), "lost", 1);
    }
    CHECK(scratch.names().empty());
}

TEST_CASE("somebody else's folder, a file, a place that cannot be written are refused and left alone") {
    const Scratch scratch;
    fs::create_directory(scratch / "theirs");
    write_whole_file(scratch / "theirs/letter", "dear");
    write_whole_file(scratch / "file", "plain");
    const auto fault_of = [&](const fs::path& target) {
        try {
            SwappedFolder::check(target, never_ours);
        } catch (const Error& error) {
            return error.fault();
        }
        return Fault::program;
    };
    CHECK(fault_of(scratch / "theirs") == Fault::usage);
    CHECK(fault_of(scratch / "file") == Fault::usage);
    CHECK(fault_of(scratch / "file/out") == Fault::input);
    CHECK(fault_of("/proc/out") == Fault::input);
    CHECK(fault_of("/proc/nowhere/out") == Fault::input);
    CHECK(read_whole_file(scratch / "theirs/letter", 100) == "dear");
    CHECK(scratch.names() == std::vector<std::string>{"file", "theirs"});
}

TEST_CASE("folders missing above the target are made, and stay only when something was written") {
    const Scratch scratch;
    const fs::path target = scratch / "case/results/out";
    SwappedFolder::check(target, never_ours);
    CHECK(scratch.names().empty());
    {
        SwappedFolder swapped(target, never_ours);
        fill(swapped.aside(), "lost", 1);
    }
    CHECK(scratch.names().empty());
    {
        SwappedFolder swapped(target, never_ours);
        write_whole_file(scratch / "case/letter", "somebody came between");
    }
    CHECK(scratch.names() == std::vector<std::string>{"case"});
    CHECK_FALSE(fs::exists(scratch / "case/results"));
    SwappedFolder swapped(target, never_ours);
    fill(swapped.aside(), "kept", 1);
    swapped.commit();
    CHECK(read_whole_file(target / "file0", 100) == "kept");
    CHECK(fs::exists(scratch / "case/letter"));
}

TEST_CASE("a last slash and a link mean the same folder") {
    const Scratch scratch;
    fs::create_directory(scratch / "real");
    write_whole_file(scratch / "real/file0", "old");
    fs::create_directory_symlink(scratch / "real", scratch / "link");
    SwappedFolder swapped((scratch / "link").string() + "/", always_ours);
    fill(swapped.aside(), "new", 1);
    swapped.commit();
    CHECK(fs::is_symlink(scratch / "link"));
    CHECK(read_whole_file(scratch / "real/file0", 100) == "new");
}

TEST_CASE("killed at any moment: the name holds old or new, whole, and the next run clears what is left") {
    const Scratch scratch;
    constexpr int files = 20;
    {
        SwappedFolder first(scratch / "out", always_ours);
        fill(first.aside(), "gen 0", files);
        first.commit();
    }
    for (int round = 1; round <= 25; ++round) {
        const pid_t child = fork();
        REQUIRE(child >= 0);
        if (child == 0) {
            for (int i = 0;; ++i) {
                SwappedFolder swapped(scratch / "out", always_ours);
                fill(swapped.aside(), "gen " + std::to_string(round * 1000 + i % 1000), files);
                swapped.commit();
            }
        }
        std::this_thread::sleep_for(std::chrono::microseconds(300 * round));
        kill(child, SIGKILL);
        waitpid(child, nullptr, 0);
        const std::string content = read_whole_file(scratch / "out/file0", 100);
        for (int i = 1; i < files; ++i)
            CHECK(read_whole_file(scratch / ("out/file" + std::to_string(i)), 100) == content);
    }
    SwappedFolder::check(scratch / "out", always_ours);
    CHECK(scratch.names() == std::vector<std::string>{"out"});
}

TEST_CASE("what a living run writes aside is not cleared") {
    const Scratch scratch;
    SwappedFolder one(scratch / "out", always_ours);
    fill(one.aside(), "mine", 1);
    SwappedFolder::check(scratch / "out",
                         always_ours); // a second handle: the lock knows no processes
    CHECK(fs::exists(one.aside() / "file0"));
}
