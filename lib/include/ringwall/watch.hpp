// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace ringwall {

struct Hole;

/// How long work reports to whoever waits for it. Passed in; the library never prints.
///
/// Calls may come from any thread, one at a time; their order is free. cancelled() is asked at least every 20
/// ms of work.
class Watch {
  public:
    virtual ~Watch() = default;
    /// `done` of `total` parts of the named stage; total 0: not known.
    virtual void progress(std::string_view /*stage*/, int /*done*/, int /*total*/) {}
    /// True: stop as soon as possible. The outcome is then "cancelled", which is no error.
    virtual bool cancelled() { return false; }
};

/// Thrown inside the library when the watch said stop; caught by the inspection entry, which returns it as an
/// outcome.
struct Cancelled {};

} // namespace ringwall
