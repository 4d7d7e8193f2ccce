// SPDX-License-Identifier: Apache-2.0
#include "terminal.hpp"

#include <csignal>
#include <cstdio>
#include <unistd.h>

namespace ringwall::cli {
namespace {

volatile std::sig_atomic_t interrupted = 0;

void on_interrupt(int /*signal*/) {
    interrupted = 1;
}

} // namespace

TerminalWatch::TerminalWatch(bool quiet)
    : shows_(!quiet && isatty(STDERR_FILENO) != 0), start_(std::chrono::steady_clock::now()), last_(start_) {
    std::signal(SIGINT, on_interrupt);
}

TerminalWatch::~TerminalWatch() {
    if (written_) std::fputs("\r\033[K", stderr);
}

void TerminalWatch::progress(std::string_view stage, int done, int total) {
    const auto now = std::chrono::steady_clock::now();
    if (!shows_ || now - start_ < std::chrono::seconds(1) || now - last_ < std::chrono::milliseconds(100))
        return;
    last_ = now;
    written_ = true;
    const std::string name(stage);
    if (total > 1)
        std::fprintf(stderr, "\r\033[K%s: %d of %d", name.c_str(), done, total);
    else
        std::fprintf(stderr, "\r\033[K%s ...", name.c_str());
    std::fflush(stderr);
}

bool TerminalWatch::cancelled() {
    return interrupted != 0;
}

} // namespace ringwall::cli
