// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/watch.hpp"

#include <functional>

namespace ringwall::bridge {

/// Runs work(first, last) over [0, count) on the pool in force (see PoolSize). The work must write to places
/// of its own, so that the split changes no bit. What a piece throws is thrown again here (of several, the
/// one with the lowest `first`); pieces that have begun are finished first.
void over_rows(int count, const std::function<void(int, int)>& work);

/// The same one index at a time; throws Cancelled between two when the watch says so.
void over_each(int count, Watch& watch, const std::function<void(int)>& work);

/// While it stands, over_rows and OpenCV's own filters use no more than `jobs` threads of the process (0: as
/// many as before). OpenCV knows one such number a process: of several that stand at once the newest rules.
class PoolSize {
  public:
    explicit PoolSize(int jobs);
    ~PoolSize();
    PoolSize(const PoolSize&) = delete;
    PoolSize& operator=(const PoolSize&) = delete;

  private:
    int before_ = 0;
};

} // namespace ringwall::bridge
