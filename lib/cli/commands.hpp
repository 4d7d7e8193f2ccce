// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "arguments.hpp"

namespace ringwall::cli {

/// Runs the command, prints its answer on stdout, returns the exit status (contract.md). Throws Error.
int run(const Arguments& arguments);

} // namespace ringwall::cli
