// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <stdexcept>
#include <string>

namespace ringwall {

/// Who is at fault when a call cannot go on. The values are the exit statuses of the command line
/// (contract.md).
enum class Fault {
    usage = 2,            ///< the call's words are wrong
    input = 3,            ///< a file cannot be read or trusted; nothing was written
    nothing_measured = 4, ///< read well, but nothing could be measured
    program = 5,          ///< a fault of ours
};

/// The only exception that leaves the library: a bad file or argument, found at the edge.
///
/// what() is one line, without a full stop: what, which file, expected, got. A measurement that cannot be
/// made is no Error but an Estimate without a value; a bug is an assertion.
class Error : public std::runtime_error {
  public:
    Error(Fault fault, const std::string& line) : std::runtime_error(line), fault_(fault) {}
    [[nodiscard]] Fault fault() const { return fault_; }

  private:
    Fault fault_;
};

} // namespace ringwall
