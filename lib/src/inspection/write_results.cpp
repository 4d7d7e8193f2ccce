// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "inspection/session.hpp"
#include "inspection/write_report.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {
namespace {

/// Calls `use` with the picture as transmission; one that could not be turned into it, as it is stored.
template<typename Use>
void with_picture(Session& session, const Use& use) {
    Session::Products& products = session.products();
    Watch silent;
    try {
        products.prepare_map(silent);
    } catch (const Error& error) {
        if (error.fault() != Fault::nothing_measured) throw;
        LoadLimits limits;
        limits.memory_bytes = products.request.memory_bytes;
        const Radiograph stored = products.stages.load(products.request.pictures.front(), limits);
        use(stored.values.view());
        return;
    }
    use(products.map->t.view());
    products.drop_large();
}

} // namespace

void check_results_folder(const std::filesystem::path& folder) {
    SwappedFolder::check(folder, why_not_replaceable);
}

void write_results(const BoardRecord& record, Session& session, const std::filesystem::path& folder) {
    SwappedFolder swapped(folder, why_not_replaceable);
    write_whole_file(swapped.aside() / "results.json", to_json(record, folder));
    write_whole_file(swapped.aside() / "holes.csv", to_csv(record));
    with_picture(session, [&](ImageView<const float> picture) {
        draw_overlay(picture, record)->write_png(swapped.aside() / "overlay.png");
        write_whole_file(swapped.aside() / "report.html",
                         report_html(record, report_pictures(record, picture)));
    });
    swapped.commit();
}

} // namespace ringwall
