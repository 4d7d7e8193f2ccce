// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "inspection/session.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {
namespace {

/// A picture that could not be turned into transmission is shown as it is stored.
std::unique_ptr<Canvas> draw(const BoardRecord& record, Session& session) {
    Session::Products& products = session.products();
    Watch silent;
    try {
        products.prepare_map(silent);
    } catch (const Error& error) {
        if (error.fault() != Fault::nothing_measured) throw;
        LoadLimits limits;
        limits.memory_bytes = products.request.memory_bytes;
        const Radiograph stored = products.stages.load(products.request.pictures.front(), limits);
        return draw_overlay(stored.values.view(), record);
    }
    auto canvas = draw_overlay(products.map->t.view(), record);
    products.drop_large();
    return canvas;
}

} // namespace

void check_results_folder(const std::filesystem::path& folder) {
    SwappedFolder::check(folder, why_not_replaceable);
}

void write_results(const BoardRecord& record, Session& session, const std::filesystem::path& folder) {
    SwappedFolder swapped(folder, why_not_replaceable);
    write_whole_file(swapped.aside() / "results.json", to_json(record, folder));
    write_whole_file(swapped.aside() / "holes.csv", to_csv(record));
    draw(record, session)->write_png(swapped.aside() / "overlay.png");
    swapped.commit();
}

} // namespace ringwall
