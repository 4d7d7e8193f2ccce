// SPDX-License-Identifier: Apache-2.0
#include "inspection/results_folder.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {

void write_demo(const std::filesystem::path& /*folder*/, Watch& /*watch*/) {
    throw Error(Fault::usage, "ringwall demo is not in this version");
}

} // namespace ringwall
