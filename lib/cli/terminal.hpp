// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"

#include <chrono>
#include <string>

namespace ringwall::cli {

/// Progress on stderr, one line that is written over, from the first second on; silent unless stderr is a
/// terminal and `quiet` is false. Ctrl-C is taken as cancel.
class TerminalWatch : public InspectWatch {
  public:
    explicit TerminalWatch(bool quiet);
    TerminalWatch(const TerminalWatch&) = delete;
    TerminalWatch& operator=(const TerminalWatch&) = delete;
    ~TerminalWatch() override; ///< wipes the line
    void progress(std::string_view stage, int done, int total) override;
    bool cancelled() override;

  private:
    bool shows_;
    bool written_ = false;
    std::chrono::steady_clock::time_point start_, last_;
};

/// The holes as a table for a person: hardware holes one a line, vias counted; warnings; what U means.
std::string table_of(const BoardRecord& record);

} // namespace ringwall::cli
