// SPDX-License-Identifier: Apache-2.0
#include "core/swapped_folder.hpp"
#include "inspection/results_folder.hpp"
#include "inspection/session.hpp"
#include "pictures/side_by_side.hpp"
#include "ringwall/inspection.hpp"

namespace fs = std::filesystem;

namespace ringwall {
namespace {

BoardRecord read_results(const fs::path& folder) {
    constexpr std::size_t most_bytes = std::size_t{1} << 30;
    const fs::path file = folder / "results.json";
    try {
        return from_json(read_whole_file(file, most_bytes));
    } catch (const Error& error) {
        throw Error(error.fault(), file.string() + ": " + error.what());
    }
}

/// A session to draw from, where the picture that the results name is still there with the same bytes.
std::optional<Session> session_of_results(const fs::path& folder, const BoardRecord& record) {
    if (record.sources.empty() || record.sources.front().shot != Shot::face) return std::nullopt;
    const SourceRecord& source = record.sources.front();
    InspectRequest request;
    const fs::path file(source.file);
    request.pictures = {file.is_absolute() ? file : folder / file};
    request.picture_sha256 = source.sha256;
    request.dense = source.dense;
    request.radiometry = source.radiometry;
    std::error_code error;
    if (!fs::is_regular_file(request.pictures.front(), error)) return std::nullopt;
    return Session(std::move(request));
}

struct Side {
    BoardRecord record;
    std::optional<Session> session;
    std::optional<InspectOutcome> stopped; ///< an error, or cancelled
};

Side side_of(const CompareSide& asked, InspectWatch& watch) {
    Side side;
    if (!asked.results.empty()) {
        side.record = read_results(asked.results);
        side.session = session_of_results(asked.results, side.record);
        return side;
    }
    side.session.emplace(asked.request);
    InspectOutcome outcome = inspect(*side.session, watch);
    if (auto* record = std::get_if<BoardRecord>(&outcome))
        side.record = std::move(*record);
    else
        side.stopped = std::move(outcome);
    return side;
}

CompareOutcome stopped_outcome(InspectOutcome&& outcome) {
    if (auto* error = std::get_if<Error>(&outcome)) return std::move(*error);
    return std::get<CancelledOutcome>(std::move(outcome));
}

/// The picture as transmission; nothing where it cannot be had (moved, changed, no exposure, a stack).
std::shared_ptr<const TransmissionMap> map_of(std::optional<Session>& session) {
    if (!session || session->request().shot != Shot::face) return nullptr;
    Session::Products& products = session->products();
    Watch silent;
    try {
        products.prepare_map(silent);
        if (products.facts) check_expected(products.request, *products.facts);
    } catch (const Error&) {
        return nullptr; // the drawing then shows the holes alone, and says so
    }
    auto map = products.map;
    products.drop_large(true);
    return map;
}

} // namespace

CompareOutcome compare(const CompareRequest& request, InspectWatch& watch) {
    try {
        Side old_side = side_of(request.old_board, watch);
        if (old_side.stopped) return stopped_outcome(std::move(*old_side.stopped));
        Side revised_side = side_of(request.revised_board, watch);
        if (revised_side.stopped) return stopped_outcome(std::move(*revised_side.stopped));
        watch.progress("comparing", 0, 1);
        ComparedBoards boards;
        boards.comparison = compare_boards(old_side.record, revised_side.record, request.options);
        boards.comparison.old_board.results = request.old_board.named;
        boards.comparison.revised_board.results = request.revised_board.named;
        boards.old_record = std::move(old_side.record), boards.old_session = std::move(old_side.session);
        boards.revised_record = std::move(revised_side.record);
        boards.revised_session = std::move(revised_side.session);
        return boards;
    } catch (const Error& error) {
        return error;
    } catch (const Cancelled&) {
        return CancelledOutcome{};
    }
}

void write_comparison(ComparedBoards& boards, const fs::path& folder) {
    SwappedFolder swapped(folder, why_not_replaceable);
    write_whole_file(swapped.aside() / "comparison.json",
                     to_json(boards.comparison, boards.old_record, boards.revised_record));
    write_whole_file(swapped.aside() / "changes.csv",
                     to_csv(boards.comparison, boards.old_record, boards.revised_record));
    if (boards.comparison.alignment.fit) {
        const auto old_map = map_of(boards.old_session), revised_map = map_of(boards.revised_session);
        const auto view = [](const std::shared_ptr<const TransmissionMap>& map) {
            return map ? ImageView<const float>(map->t.view()) : ImageView<const float>();
        };
        draw_side_by_side({view(old_map), &boards.old_record}, {view(revised_map), &boards.revised_record},
                          boards.comparison)
            ->write_png(swapped.aside() / "side-by-side.png");
    }
    swapped.commit();
}

} // namespace ringwall
