// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace ringwall::cli {

enum class Command { help, inspect, compare, describe, plan, demo };

/// What the command line asks for. Values are checked; sources are not yet looked at.
struct Arguments {
    Command command = Command::help;
    std::string help; ///< text to print, of `help`
    std::vector<std::filesystem::path> sources;
    std::filesystem::path out; ///< empty: not given
    bool quiet = false;
    CompareOptions pairs_by_hand;   ///< --pair, of compare
    InspectRequest options;         ///< of inspect, compare and describe; pictures are left empty
    std::string screw_name;         ///< --screw: looked up with the case's own table; empty: not given
    std::vector<std::string> given; ///< names of the options that were given, "pixel-mm"

    [[nodiscard]] bool has(const std::string& name) const;
};

/// Throws Error(usage), one line. Commands and options of later versions: "... is not in this version".
Arguments parse(int argc, const char* const* argv);

/// The case's request (or one with nothing but a picture) with every option that was given on the command
/// line put over it. Throws Error(usage) for a screw that no table knows, and for half a spacing rule.
InspectRequest with_options(InspectRequest of_case, const Arguments& arguments);

} // namespace ringwall::cli
