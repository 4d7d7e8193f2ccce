// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "inspection/session.hpp"

#include <span>

namespace ringwall {

/// Everything that may tell the scale of the request's picture, but bores that wait for their fits.
ScaleSources scale_sources(const Session::Products& products, std::span<const Decision> decisions);

} // namespace ringwall
