// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// The program's version, as CMakeLists.txt states it.
const char* version();

} // namespace ringwall
