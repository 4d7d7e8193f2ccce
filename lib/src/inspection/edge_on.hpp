// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "inspection/session.hpp"

#include <span>

namespace ringwall {

/// The record of a request whose picture is edge-on. Throws Error, Cancelled.
BoardRecord measure_edge_on(Session::Products& products, std::span<const Decision> decisions,
                            InspectWatch& watch);

/// Measures the request's further, edge-on pictures and puts what they show of the board into its record; of
/// several the first that shows a board. A thickness that contradicts the one stated is told. Throws Error,
/// Cancelled.
void add_edge_on_pictures(BoardRecord& record, Session::Products& products, InspectWatch& watch);

/// What an edge-on picture cannot show.
std::vector<std::string> not_proven_edge_on();

} // namespace ringwall
