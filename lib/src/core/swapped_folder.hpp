// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace ringwall {

/// Folders made on the way to a target; taken away again, as far as they are empty, unless kept.
class MadeFolders {
  public:
    MadeFolders() = default;
    MadeFolders(const MadeFolders&) = delete;
    MadeFolders& operator=(const MadeFolders&) = delete;
    ~MadeFolders();
    /// Makes `folder` and what is missing above it. Throws Error(input).
    void make(const std::filesystem::path& folder);
    void keep() { made_.clear(); }

  private:
    std::vector<std::filesystem::path> made_; ///< outermost first
};

/// A folder that is written aside and then takes its name by one exchange, so that after a kill the name
/// holds either the old or the new content, whole.
///
/// The folder aside stands beside the target (same file system) and is locked while in use; what a killed run
/// left there is removed by the next one. The target may be absent, empty, or a folder that `replaceable`
/// accepts; folders missing above it are made, and stay only after commit().
class SwappedFolder {
  public:
    /// `replaceable`: for a target that is not empty; returns why it must stay, or "" when it may be
    /// replaced. Throws Error(usage): the target must stay. Error(input): there is no place to write, or no
    /// right to.
    SwappedFolder(const std::filesystem::path& target,
                  const std::function<std::string(const std::filesystem::path&)>& replaceable);
    SwappedFolder(const SwappedFolder&) = delete;
    SwappedFolder& operator=(const SwappedFolder&) = delete;
    /// Removes the folder aside: the new content if commit() was not reached, else the old.
    ~SwappedFolder();

    [[nodiscard]] const std::filesystem::path& aside() const { return aside_; }
    /// Throws Error(input) when the name cannot be taken; the target is then as it was.
    void commit();

    /// The target's checks alone, for asking before long work. Throws like the constructor; leaves nothing
    /// behind.
    static void check(const std::filesystem::path& target,
                      const std::function<std::string(const std::filesystem::path&)>& replaceable);

  private:
    std::filesystem::path target_;
    MadeFolders parents_;
    std::filesystem::path aside_;
    int lock_ = -1;
};

/// Writes all bytes or throws Error(input) naming the file.
void write_whole_file(const std::filesystem::path& file, const std::string& bytes);
/// Reads all bytes or throws Error(input); refuses more than `most_bytes`.
std::string read_whole_file(const std::filesystem::path& file, std::size_t most_bytes);

} // namespace ringwall
