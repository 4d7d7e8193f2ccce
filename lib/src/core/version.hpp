// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace ringwall {

/// The program's version, as CMakeLists.txt states it.
const char* version();
/// The source's revision when it was configured, "unknown" outside a checkout.
const char* revision();
/// Name and version of every outside library that can change a result, as found when configured.
std::vector<std::pair<std::string, std::string>> libraries();

} // namespace ringwall
