// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <unistd.h>

namespace ringwall::test {

/// A file in a folder of its own, gone at the end.
class FileOnDisk {
  public:
    FileOnDisk(const std::string& name, const std::string& text) {
        std::string made = (std::filesystem::temp_directory_path() / "ringwall-case-XXXXXX").string();
        REQUIRE(mkdtemp(made.data()) != nullptr);
        folder_ = made;
        path_ = folder_ / name;
        std::ofstream(path_, std::ios::binary) << text;
    }
    ~FileOnDisk() { std::filesystem::remove_all(folder_); }
    FileOnDisk(const FileOnDisk&) = delete;
    FileOnDisk& operator=(const FileOnDisk&) = delete;
    [[nodiscard]] std::filesystem::path path() const { return path_; }
    [[nodiscard]] std::filesystem::path folder() const { return folder_; }
    [[nodiscard]] std::string text() const {
        std::ifstream in(path_, std::ios::binary);
        return {std::istreambuf_iterator<char>(in), {}};
    }

  private:
    std::filesystem::path folder_, path_;
};

} // namespace ringwall::test
