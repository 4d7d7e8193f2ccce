// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "record/json_node.hpp"
#include "record/json_values.hpp"
#include "ringwall/record.hpp"

namespace ringwall {

/// The parts of results.json that rest on what a person states: screw, rule, readings, evidence, decisions.
/// Each is written and read here, so that both sides stand beside each other.
Json screw_fit_json(const ScrewFit& fit);
ScrewFit read_screw_fit(const Node& node);

Json geometry_json(const std::optional<PictureGeometry>& geometry);
std::optional<PictureGeometry> read_geometry(const Node& node);

/// continuity, meter, measured, evidence, screw, rule, left_out, decisions.
void add_case_facts_json(const BoardRecord& record, Json& json);
void read_case_facts(const Node& root, BoardRecord& record);

} // namespace ringwall
