// SPDX-License-Identifier: Apache-2.0
#include "inspection/scale_sources.hpp"

namespace ringwall {
namespace {

std::string given_words(InspectRequest::ScaleGiven given) {
    switch (given) {
    case InspectRequest::ScaleGiven::by_option:
        return "given by option";
    case InspectRequest::ScaleGiven::in_case:
        return "stated in the case file";
    case InspectRequest::ScaleGiven::by_caller:
        break;
    }
    return "given by the user";
}

} // namespace

ScaleSources scale_sources(const Session::Products& products, std::span<const Decision> decisions) {
    ScaleSources sources;
    for (const auto& decision : decisions) {
        if (decision.act != Decision::Act::set_scale) continue;
        sources.by_person.push_back({decision.at_px, decision.to_px, decision.value, std::nullopt});
    }
    sources.given_mm = products.request.pixel_mm;
    sources.known = products.request.known;
    if (products.facts) sources.stated = products.facts->scale;
    if (products.request.geometry_scale) sources.stated = products.request.geometry_scale;
    sources.u_percent = products.request.scale_u_percent;
    sources.given = given_words(products.request.scale_given);
    return sources;
}

} // namespace ringwall
