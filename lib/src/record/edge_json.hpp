// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "record/json_node.hpp"
#include "record/json_values.hpp"
#include "ringwall/record.hpp"

namespace ringwall {

Json edge_json(const std::optional<EdgeRecord>& edge);
Json barrels_json(const std::vector<BarrelRecord>& barrels);
/// Copper layers, edge and barrels of a results file; one of before they were measured has none.
void read_edge(const Node& root, BoardRecord& record);

} // namespace ringwall
