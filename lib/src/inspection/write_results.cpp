// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "inspection/session.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {

void check_results_folder(const std::filesystem::path& folder) {
    SwappedFolder::check(folder, why_not_replaceable);
}

void write_results(const BoardRecord& record, Session& session, const std::filesystem::path& folder) {
    (void)session;
    SwappedFolder swapped(folder, why_not_replaceable);
    write_whole_file(swapped.aside() / "results.json", to_json(record, folder));
    write_whole_file(swapped.aside() / "holes.csv", to_csv(record));
    swapped.commit();
}

} // namespace ringwall
