// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "inspection/session.hpp"
#include "inspection/watched.hpp"
#include "inspection/write_report.hpp"
#include "inspection/write_stack.hpp"
#include "pictures/edge_overlay.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {
namespace {

/// The same for a slice stack: the mean over the board's depth. Nothing where no board was found.
template<typename Use>
void with_stack(const Session::Products& products, const Use& use) {
    if (!products.stack) {
        const Image<float> nothing(products.facts ? products.facts->width_px : 1,
                                   products.facts ? products.facts->height_px : 1);
        use(nothing.view());
        return;
    }
    const TransmissionMap map = layers::through_map(products.stack->flat);
    use(map.t.view());
}

/// Calls `use` with the picture as transmission; one that could not be turned into it, as it is stored.
template<typename Use>
void with_picture(Session& session, const Use& use) {
    Session::Products& products = session.products();
    Watch silent;
    if (session.request().shot == Shot::stack) return with_stack(products, use);
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

bool is_edge_on(const BoardRecord& record) {
    return !record.sources.empty() && record.sources.front().shot == Shot::edge;
}

std::unique_ptr<Canvas> draw_main(ImageView<const float> picture, const BoardRecord& record) {
    return is_edge_on(record) ? draw_edge_overlay(picture, record)
                              : draw_overlay(picture, record, overlay_caption(record));
}

/// The one whose picture the record's edge comes from, when it is not the record's first.
Session* edge_on_session(const BoardRecord& record, Session& session) {
    if (!record.edge || record.edge->source == 0) return nullptr;
    auto& sessions = session.products().edge_on;
    const auto i = static_cast<std::size_t>(record.edge->source) - 1;
    return i < sessions.size() ? &sessions[i] : nullptr;
}

std::shared_ptr<const TransmissionMap> edge_on_map(Session& session) {
    Watch silent;
    session.products().prepare_map(silent);
    auto map = session.products().map;
    session.products().drop_large();
    return map;
}

void do_all(const std::vector<std::function<void()>>& work, int jobs) {
    InspectWatch silent;
    for_each_index(jobs, static_cast<int>(work.size()), silent,
                   [&](int i) { work[static_cast<std::size_t>(i)](); });
}

} // namespace

void check_results_folder(const std::filesystem::path& folder) {
    SwappedFolder::check(folder, why_not_replaceable);
}

void write_results(const BoardRecord& record, Session& session, const std::filesystem::path& folder) {
    SwappedFolder swapped(folder, why_not_replaceable);
    const bridge::PoolSize pool(session.request().jobs);
    with_picture(session, [&](ImageView<const float> picture) {
        ReportPictures pictures;
        auto work = report_picture_work(record, picture, pictures);
        work.insert(work.begin(), // the longest first, so that no thread is left with it
                    [&] { draw_main(picture, record)->write_png(swapped.aside() / "overlay.png"); });
        if (const auto& stack = session.products().stack)
            for (auto& piece : stack_picture_work(record, *stack, swapped.aside(), pictures))
                work.push_back(std::move(piece));
        work.emplace_back([&] {
            write_whole_file(swapped.aside() / "results.json", to_json(record, folder));
            write_whole_file(swapped.aside() / "holes.csv", to_csv(record));
        });
        std::shared_ptr<const TransmissionMap> edge_on; // stands until all is drawn
        if (Session* other = edge_on_session(record, session)) {
            edge_on = edge_on_map(*other);
            work.emplace_back([&] {
                if (edge_on)
                    draw_edge_overlay(edge_on->t.view(), record)
                        ->write_png(swapped.aside() / "overlay-edge.png");
            });
            work.emplace_back([&] {
                if (edge_on) pictures.edge_overlay = edge_overlay_address(edge_on->t.view(), record);
            });
        }
        do_all(work, session.request().jobs);
        if (const auto& stack = session.products().stack) add_wall_maps(record, *stack, pictures);
        write_whole_file(swapped.aside() / "report.html", report_html(record, pictures));
    });
    swapped.commit();
}

} // namespace ringwall
