// SPDX-License-Identifier: Apache-2.0
#include "inspection/edge_on.hpp"

#include "core/text.hpp"
#include "geometry/edge_in_mm.hpp"
#include "inspection/board_record.hpp"
#include "inspection/findings.hpp"
#include "inspection/scale_sources.hpp"

#include <cmath>

namespace ringwall {
namespace {

/// The decisions about this very picture.
std::vector<Decision> of_this_picture(const Session::Products& products,
                                      std::span<const Decision> decisions) {
    std::vector<Decision> in_force;
    for (const Decision& decision : decisions)
        if (decision.picture_sha256.empty() || !products.facts ||
            decision.picture_sha256 == products.facts->sha256)
            in_force.push_back(decision);
    return in_force;
}

/// The same view again for the same question: a decision about the scale asks another one.
const EdgeView& view_of(Session::Products& products, const EdgeOptions& options, Watch& watch) {
    if (!products.edge_view || products.edge_view->first != options) {
        products.prepare_map(watch);
        watch.progress("board seen edge-on", 0, 1);
        products.edge_view.emplace(options, products.stages.measure_edge_on(*products.map, options, watch));
    }
    return products.edge_view->second;
}

void put_layers(const EdgeView& view, const EdgeInMm& mm, BoardRecord& record) {
    record.copper_layers = {view.copper_layers, view.at_least, view.layers_why, {}};
    for (std::size_t i = 0; i < view.layers.size(); ++i) {
        const EdgeLayer& layer = view.layers[i];
        record.edge->layers.push_back({layer.number, mm.layers_z_mm[i], layer.z_px, layer.width_px,
                                       layer.darkness, layer.saturated, layer.outer});
        if (mm.layers_z_mm[i]) record.copper_layers.layers_z_mm.push_back(mm.layers_z_mm[i].value());
    }
}

void put_view(const EdgeView& view, const EdgeInMm& mm, BoardRecord& record) {
    record.thickness_mm = mm.thickness_mm;
    record.barrels_why = view.found ? view.barrels_why : view.why;
    record.copper_layers.why = view.layers_why;
    if (!view.found) return;
    record.edge.emplace();
    record.edge->angle_deg = view.angle_deg;
    record.edge->faces_px = view.faces_px;
    record.edge->thickness_px = view.thickness_px;
    record.edge->smear_px = view.smear_px;
    record.edge->budget = mm.budget;
    put_layers(view, mm, record);
    for (std::size_t i = 0; i < view.barrels.size(); ++i) {
        const EdgeBarrel& barrel = view.barrels[i];
        record.barrels.push_back({0, barrel.at_px.x, barrel.at_px.y, mm.barrels_mm[i], barrel.width_px});
    }
}

std::optional<std::string> contradiction(const std::optional<double>& stated_mm, const Estimate& measured) {
    if (!stated_mm || !measured || std::abs(*stated_mm - measured.value()) <= 2 * measured.u())
        return std::nullopt;
    return "the board's thickness stated, " + shortest(*stated_mm) +
           " mm, is not the one measured edge-on, " + with_expanded_u(measured, 3) +
           " mm (U, k = 2); nominal thicknesses hold to about 10 %, and where a "
           "thickness was needed the stated one was used";
}

/// What an option changed after the case was read holds for every picture.
InspectRequest with_common(InspectRequest request, const InspectRequest& first) {
    request.board_mm = first.board_mm;
    request.foil_um = first.foil_um;
    request.thinnest_foil_um = first.thinnest_foil_um;
    request.memory_bytes = first.memory_bytes;
    request.jobs = first.jobs;
    return request;
}

/// Moves what the edge-on record says of the board over.
void take_over(BoardRecord& record, BoardRecord&& edge_on) {
    const int number = static_cast<int>(record.sources.size());
    for (SourceRecord& source : edge_on.sources)
        record.sources.push_back(std::move(source));
    if (record.edge) return;
    if (!record.layers) { // a stack has counted and measured them one by one
        record.thickness_mm = edge_on.thickness_mm;
        record.copper_layers = std::move(edge_on.copper_layers);
    }
    record.edge = std::move(edge_on.edge);
    record.barrels = std::move(edge_on.barrels);
    record.barrels_why = std::move(edge_on.barrels_why);
    if (record.edge) record.edge->source = number;
    for (BarrelRecord& barrel : record.barrels)
        barrel.source = number;
    if (!edge_on.why_nothing.empty() && !record.edge)
        record.sources[static_cast<std::size_t>(number)].warnings.push_back(edge_on.why_nothing);
}

} // namespace

std::vector<std::string> not_proven_edge_on() {
    return {
        "An edge-on picture adds up all copper along the beam: a layer's line does not show how far its "
        "copper "
        "reaches, nor which net it carries.",
        "Copper layers nearer to each other than the blur, or with almost no copper in the beam, may not "
        "show: "
        "check the count against the board's drawing or a cut.",
        "Plated holes behind each other along the beam show as one, and filled or unplated ones not at all.",
        "This is an aid to inspection and no certification. Recalled parts stay out of use whatever it says. "
        "Local rules, the authority and licensed practice come first.",
    };
}

BoardRecord measure_edge_on(Session::Products& products, std::span<const Decision> decisions,
                            InspectWatch& watch) {
    EdgeView view;
    try {
        if (products.why_nothing.empty()) products.prepare_map(watch);
    } catch (const Error& error) {
        if (error.fault() != Fault::nothing_measured || !products.facts) throw;
        products.why_nothing = error.what();
    }
    const InspectRequest& request = products.request;
    const auto in_force = of_this_picture(products, decisions);
    const ScaleSources sources = scale_sources(products, in_force);
    if (products.facts) {
        const bool by_case = request.scale_given == InspectRequest::ScaleGiven::in_case;
        check_inside(sources.known, *products.facts, by_case ? Fault::input : Fault::usage);
        check_inside(sources.by_person, *products.facts, Fault::input);
    }
    const Scale scale = find_scale(sources);
    if (products.why_nothing.empty())
        view = view_of(
            products,
            edge_options(scale, request.geometry, request.foil_um, thinnest_foil_assumed_um(request)), watch);
    else
        view.why = view.layers_why = products.why_nothing;
    BoardRecord record = board_record(products, scale, decisions);
    record.not_proven = not_proven_edge_on();
    const EdgeInMm mm = edge_in_mm(view, scale, request.geometry);
    put_view(view, mm, record);
    if (!view.found) record.thickness_mm = Estimate::missing(view.why);
    auto& warnings = record.sources.front().warnings;
    if (const auto note = overridden_scale(sources)) warnings.push_back(*note);
    for (const auto& list : {view.warnings, mm.notes})
        warnings.insert(warnings.end(), list.begin(), list.end());
    if (const auto told = contradiction(request.board_mm, record.thickness_mm)) warnings.push_back(*told);
    record.why_nothing = !view.found ? view.why : scale.known() ? "" : scale.why();
    return record;
}

void add_edge_on_pictures(BoardRecord& record, Session::Products& products, InspectWatch& watch) {
    if (products.edge_on.empty())
        for (const InspectRequest& request : products.request.edge_on)
            products.edge_on.push_back(session_with(with_common(request, products.request), products.stages));
    for (Session& session : products.edge_on) {
        take_over(record, measure_edge_on(session.products(), {}, watch));
        session.products().drop_large();
    }
}

} // namespace ringwall
