// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/one_ring.hpp"

#include <string>

namespace ringwall::screwfit {

/// Sentences for the page. They never say safe, fixed, enough or clear.
std::string name_of(const Screw& screw);
/// "Layer 3: the ..." of "The ..."; face-on the sentence as it is.
std::string on_layer(const RingInMm& ring, std::string sentence);
std::string why_no_margin(const RingInMm& ring);
std::string why_of(const RingInMm& ring, const Judging& with, const OneRing& judged);
/// What would turn `undecided` into a finding.
std::string would_decide(const RingInMm& ring, const Judging& with, const OneRing& judged);

} // namespace ringwall::screwfit
