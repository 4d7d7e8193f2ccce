// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

namespace ringwall {

/// Sets beside each finding what it would be without one decision of a person: `without` is the record of the
/// same picture with all decisions of `whole` but this one. A hole that the decision is about, or whose
/// finding or space left hangs on it, gets a line among its alternatives; a hole that only `without` has (a
/// person struck it out), or that is judged only there, is named in a sentence among the first source's
/// warnings.
void add_without_decision(BoardRecord& whole, const Decision& decision, const BoardRecord& without);

} // namespace ringwall
