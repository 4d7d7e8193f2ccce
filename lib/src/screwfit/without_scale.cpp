// SPDX-License-Identifier: Apache-2.0
#include "screwfit/without_scale.hpp"

#include "screwfit/paths.hpp"
#include "screwfit/words.hpp"

namespace ringwall::screwfit {
namespace {

std::vector<std::string> none_judged(const Screw& screw) {
    std::vector<std::string> list{"thread: no scale"};
    if (screw.head_mm) list.emplace_back("head: no scale");
    if (screw.washer_mm && screw.washer_bore_mm) list.emplace_back("washer: no scale");
    if (screw.far_side_mm) list.emplace_back("far side: no scale");
    for (std::string& path : paths_not_judged(screw))
        list.push_back(std::move(path));
    return list;
}

} // namespace

ScrewFit without_scale(const Judging& with, const std::string& why) {
    ScrewFit fit;
    fit.name = name_of(with.screw);
    fit.engagement = with.screw.engagement;
    fit.required_mm = required_spacing_mm(with.rule);
    for (Estimate* margin : {&fit.contact_margin_mm, &fit.margin_mm, &fit.cutting_margin_mm})
        *margin = Estimate::missing(why);
    fit.finding = Finding::undecided;
    fit.why = why;
    fit.would_decide = "The size of the picture's pixels at the board, or two points in the picture whose "
                       "distance is known.";
    fit.forbids_gap = {"Without a scale no length is known in millimetres."};
    fit.not_judged = none_judged(with.screw);
    return fit;
}

} // namespace ringwall::screwfit
