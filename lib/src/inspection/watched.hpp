// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"

#include <functional>

namespace ringwall {

/// Runs `work` on a thread of its own and stays behind to wait: asks `outer` for cancel every 10 ms whatever
/// the work is doing, and hands its reports on, one at a time, from the calling thread. The watch that `work`
/// gets answers cancelled() from memory. Returns when the work has ended; what it threw (Cancelled too) is
/// thrown again here.
void run_watched(InspectWatch& outer, const std::function<void(InspectWatch&)>& work);

/// Calls body(0) ... body(count - 1) on up to `jobs` threads (0: one a core), the calling one among them. The
/// order is free; the bodies must not share what they write. Stops between two bodies when the watch says so
/// and throws Cancelled; what a body threw is thrown again (of several, the one with the lowest index).
void for_each_index(int jobs, int count, InspectWatch& watch, const std::function<void(int)>& body);

} // namespace ringwall
