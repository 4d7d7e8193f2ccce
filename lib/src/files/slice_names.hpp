// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace ringwall::files {

/// Puts slices in the order of the number in their names (slice2 before slice10) and checks the numbering.
///
/// All names without their endings must be the same but for one number. Returns the files in order; `notes`
/// gets what the reader should know. Throws Error(input) that begins with the folder: a slice missing or
/// doubled, names of two stems or two scans, with the names of both.
std::vector<std::filesystem::path> in_natural_order(const std::filesystem::path& folder,
                                                    std::vector<std::filesystem::path> files,
                                                    std::vector<std::string>& notes);

/// Whether a name without its ending holds a number.
bool numbered(const std::filesystem::path& file);

} // namespace ringwall::files
