// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "report/model.hpp"

#include <optional>

namespace ringwall::report {

/// Thickness and copper layers as an edge-on picture shows them; nothing without such a picture.
std::optional<Section> edge_section(const BoardRecord& record);
/// The first sentence of a report about an edge-on picture alone.
std::string edge_lead(const BoardRecord& record);

} // namespace ringwall::report
