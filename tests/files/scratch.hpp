// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/error.hpp"
#include "ringwall/files.hpp"

#include <cstdint>
#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <string>
#include <unistd.h>
#include <vector>

namespace ringwall::test {

/// A folder of its own that goes away with the test.
class Scratch {
  public:
    Scratch() {
        static int count = 0;
        folder_ = std::filesystem::temp_directory_path() /
                  ("ringwall_test_" + std::to_string(::getpid()) + "_" + std::to_string(count++));
        std::filesystem::create_directories(folder_);
    }
    Scratch(const Scratch&) = delete;
    Scratch& operator=(const Scratch&) = delete;
    ~Scratch() {
        std::error_code ignored;
        std::filesystem::remove_all(folder_, ignored);
    }
    [[nodiscard]] std::filesystem::path operator/(const std::string& name) const { return folder_ / name; }

  private:
    std::filesystem::path folder_;
};

inline std::vector<unsigned char> bytes_of(const std::filesystem::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

inline void put_bytes(const std::filesystem::path& file, const std::vector<unsigned char>& bytes) {
    std::ofstream out(file, std::ios::binary);
    out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

inline void put_text(const std::filesystem::path& file, const std::string& text) {
    put_bytes(file, {text.begin(), text.end()});
}

/// The line with which a file is refused; "" when it is not.
inline std::string refusal(const std::filesystem::path& file, const LoadLimits& limits = {}) {
    try {
        load_radiograph(file, limits);
        return {};
    } catch (const Error& error) {
        CHECK(error.fault() == Fault::input);
        return error.what();
    }
}

inline bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

/// Every value different over 65536 pixels, so that neither a shifted nor a swapped region can pass.
inline Image<std::uint16_t> all_different(int width, int height) {
    Image<std::uint16_t> picture(width, height);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            picture(x, y) = static_cast<std::uint16_t>((y * width + x) * 40503U);
    return picture;
}

} // namespace ringwall::test
