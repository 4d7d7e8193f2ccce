// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>

namespace ringwall {

/// Why the folder may not be replaced, as the end of a sentence that starts with its name; "" when it may.
///
/// ringwall made it when it holds a file of ours that begins with our schema and program name (results.json,
/// comparison.json) or is the demo (its README.txt says so). A file that ringwall does not write keeps the
/// folder too: somebody put it there and would lose it.
std::string why_not_replaceable(const std::filesystem::path& folder);

/// True for a folder whose results.json (or comparison.json) is ours.
bool is_results_folder(const std::filesystem::path& folder);

} // namespace ringwall
