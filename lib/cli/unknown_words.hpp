// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace ringwall::cli {

/// Looks for words that no command knows before they are parsed: a mistyped option would else be taken for a
/// file, and the parser would complain of the number of files. `words`: the command line without the
/// program's name. Throws Error(usage) naming the word, the likely one where there is one, and the help to
/// read.
void check_words(const CLI::App& app, const std::vector<std::string>& words);

} // namespace ringwall::cli
