// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/phantom.hpp"

namespace ringwall {

void write_demo(const std::filesystem::path& folder, Watch& watch) {
    SwappedFolder swapped(folder, why_not_replaceable);
    watch.progress("drawing the demo", 0, 1);
    phantom::write_demo(swapped.aside());
    if (watch.cancelled()) throw Cancelled{};
    swapped.commit();
}

} // namespace ringwall
