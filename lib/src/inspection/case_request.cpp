// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"
#include "ringwall/inspection.hpp"

namespace ringwall {
namespace {

/// The first face-on picture; the others are left out with a word, until there are stages for them.
std::size_t face_on_picture(const CaseFile& read, const std::filesystem::path& file,
                            std::vector<std::string>& notes) {
    std::optional<std::size_t> chosen;
    for (std::size_t i = 0; i < read.pictures.size(); ++i) {
        const CasePicture& picture = read.pictures[i];
        if (picture.shot == Shot::face && !chosen) {
            chosen = i;
            continue;
        }
        notes.push_back("picture " + picture.file.filename().string() + " of the case is left out: " +
                        (picture.shot == Shot::face ? "several face-on pictures of one board are"
                                                    : "edge-on pictures and stacks are") +
                        " not in this version");
    }
    if (!chosen) {
        throw Error(Fault::usage,
                    file.string() +
                        ": no [[picture]] with shot = \"face\"; other shots are not in this version");
    }
    return *chosen;
}

} // namespace

InspectRequest request_of_case(const std::filesystem::path& case_file) {
    const CaseFile read = read_case(case_file);
    InspectRequest request;
    request.notes = read.warnings;
    const std::size_t chosen = face_on_picture(read, case_file, request.notes);
    const CasePicture& picture = read.pictures[chosen];
    request.pictures = {picture.file};
    request.pixel_mm = picture.pixel_mm;
    request.scale_u_percent = picture.scale_u_percent;
    request.dense = picture.dense;
    request.radiometry = picture.radiometry;
    request.flat = picture.flat;
    request.dark = picture.dark;
    request.side_to_source = picture.side_to_source;
    for (const auto& scale : read.scales) {
        if (scale.picture == static_cast<int>(chosen))
            request.known.push_back({scale.from_px, scale.to_px, scale.mm});
    }
    request.board_mm = read.board.thickness_mm;
    request.foil_um = read.board.foil_um;
    request.thinnest_foil_um = read.board.thinnest_foil_um;
    request.confidence = read.confidence.value_or(request.confidence);
    request.name = read.board.name;
    request.revision = read.board.revision;
    request.unit = read.board.unit;
    return request;
}

} // namespace ringwall
