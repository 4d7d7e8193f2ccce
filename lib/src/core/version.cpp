// SPDX-License-Identifier: Apache-2.0
#include "core/version.hpp"

namespace ringwall {

const char* version() {
    return "0.1.0";
}

} // namespace ringwall
