// SPDX-License-Identifier: Apache-2.0
#include "record/private.hpp"

#include <algorithm>
#include <array>
#include <initializer_list>

namespace ringwall {
namespace {

using Texts = std::vector<std::string*>;

template<auto List, auto Member>
Texts each(BoardRecord& record) {
    Texts texts;
    for (auto& item : record.*List)
        texts.push_back(&(item.*Member));
    return texts;
}

template<auto Member>
Texts intake(BoardRecord& record) {
    return {&(record.intake.*Member)};
}

Texts screw_source(BoardRecord& record) {
    return record.screw ? Texts{&record.screw->source} : Texts{};
}

Texts layer_evidence(BoardRecord& record) {
    Texts texts;
    if (record.layers)
        for (LayerRecord& layer : *record.layers)
            texts.push_back(&layer.evidence);
    return texts;
}

/// What of a text may stay.
using Stays = std::string (*)(const BoardRecord&, const std::string&);

std::string nothing(const BoardRecord& /*record*/, const std::string& /*text*/) {
    return {};
}

std::string date(const BoardRecord& /*record*/, const std::string& text) {
    constexpr std::size_t longest = 25; // "2026-03-01T10:30:00+01:00"
    const bool figures = text.find_first_not_of("0123456789-:. T+Z") == std::string::npos;
    return figures && text.size() <= longest ? text : "";
}

std::string own_name(const BoardRecord& /*record*/, const std::string& file) {
    return std::filesystem::path(file).filename().string();
}

std::string one_of(const std::string& text, std::initializer_list<const char*> words,
                   const std::string& otherwise = {}) {
    const bool known =
        std::any_of(words.begin(), words.end(), [&](const char* word) { return text == word; });
    return known ? text : otherwise;
}

std::string fitted_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"screw", "bracket", "none"});
}
std::string none_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"none"});
}
std::string gauge_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"pin gauge", "micrometer", "calliper", "caliper", "gauge block"});
}
std::string board_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"bare board", "assembled unpowered"});
}
std::string polarity_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"both", "normal", "reversed", "+", "-"});
}
/// Else the statement about other units would say that nobody told.
std::string chosen_word(const BoardRecord& /*record*/, const std::string& text) {
    return one_of(text, {"random", "at random", "returned"}, "chosen");
}

/// A length of a hole that is in the results is of that hole; any other place is in the person's own words.
std::string hole_called(const BoardRecord& record, const std::string& text) {
    const bool there = std::any_of(record.holes.begin(), record.holes.end(), [&](const HoleRecord& hole) {
        return hole.id == text || hole.name == text;
    });
    return there ? text : "(left out)";
}

/// The built-in table's; a person's own table has a source in that person's words.
std::string built_in_source(const BoardRecord& /*record*/, const std::string& text) {
    const std::string sizes = "sizes of the case file";
    if (text == sizes) return text;
    for (const std::string& name : screw_names())
        if (const std::string source = screw_named(name).source;
            !source.empty() && (text == source || text == source + "; " + sizes))
            return text;
    return text.ends_with(sizes) ? sizes : "";
}

struct PrivateText {
    const char* key; ///< in the results file
    Texts (*in)(BoardRecord&);
    Stays stays;
};

/// Every text of a record that a person words freely. Labels are not here: see the header.
constexpr std::array private_texts{
    PrivateText{"evidence.intake.serial", intake<&Intake::serial>, nothing},
    PrivateText{"evidence.intake.lot", intake<&Intake::lot>, nothing},
    PrivateText{"evidence.intake.chosen", intake<&Intake::chosen>, chosen_word},
    PrivateText{"sources.file (folders)", each<&BoardRecord::sources, &SourceRecord::file>, own_name},
    PrivateText{"evidence.pictures.file (folders)", each<&BoardRecord::picture_notes, &PictureNotes::file>,
                own_name},
    PrivateText{"evidence.pictures.taken_by", each<&BoardRecord::picture_notes, &PictureNotes::taken_by>,
                nothing},
    PrivateText{"evidence.pictures.taken_on", each<&BoardRecord::picture_notes, &PictureNotes::taken_on>,
                date},
    PrivateText{"evidence.pictures.cabinet_calibrated",
                each<&BoardRecord::picture_notes, &PictureNotes::cabinet_calibrated>, date},
    PrivateText{"evidence.pictures.filter", each<&BoardRecord::picture_notes, &PictureNotes::filter>,
                none_word},
    PrivateText{"evidence.pictures.processing", each<&BoardRecord::picture_notes, &PictureNotes::processing>,
                none_word},
    PrivateText{"evidence.pictures.repeat_of (folders)",
                each<&BoardRecord::picture_notes, &PictureNotes::repeat_of>, own_name},
    PrivateText{"evidence.pictures.fitted", each<&BoardRecord::picture_notes, &PictureNotes::fitted>,
                fitted_word},
    PrivateText{"measured.where", each<&BoardRecord::measured, &HandMeasured::where>, hole_called},
    PrivateText{"measured.with", each<&BoardRecord::measured, &HandMeasured::with>, gauge_word},
    PrivateText{"continuity.setup", each<&BoardRecord::continuity, &ContinuityReading::setup>, board_word},
    PrivateText{"continuity.polarity", each<&BoardRecord::continuity, &ContinuityReading::polarity>,
                polarity_word},
    PrivateText{"continuity.meter", each<&BoardRecord::continuity, &ContinuityReading::meter>, nothing},
    PrivateText{"continuity.calibrated_on", each<&BoardRecord::continuity, &ContinuityReading::calibrated_on>,
                date},
    PrivateText{"continuity.when", each<&BoardRecord::continuity, &ContinuityReading::when>, date},
    PrivateText{"continuity.by", each<&BoardRecord::continuity, &ContinuityReading::by>, nothing},
    PrivateText{"continuity.note", each<&BoardRecord::continuity, &ContinuityReading::note>, nothing},
    PrivateText{"decisions.who", each<&BoardRecord::decisions, &Decision::who>, nothing},
    PrivateText{"decisions.when", each<&BoardRecord::decisions, &Decision::when>, date},
    PrivateText{"decisions.why", each<&BoardRecord::decisions, &Decision::why>, nothing},
    PrivateText{"layers.stated.evidence", layer_evidence, nothing},
    PrivateText{"screw.source", screw_source, built_in_source}};

/// Whether any of them changed.
bool leave_out(const PrivateText& what, BoardRecord& record) {
    bool changed = false;
    for (std::string* text : what.in(record)) {
        if (text->empty()) continue;
        std::string left = what.stays(record, *text);
        changed = changed || left != *text;
        *text = std::move(left);
    }
    return changed;
}

} // namespace

void leave_out_private(BoardRecord& record) {
    if (!record.custody.empty()) record.left_out.emplace_back("evidence.custody");
    record.custody.clear();
    for (const PrivateText& what : private_texts)
        if (leave_out(what, record)) record.left_out.emplace_back(what.key);
    if (record.sources.empty()) return;
    record.sources.front().warnings.emplace_back(
        "what persons worded freely was left out, folders too; labels stay (board, revision, unit, holes, "
        "points of the meter log, screw, file names), and text burned into a picture: look at them and at "
        "overlay.png before you publish them");
}

} // namespace ringwall
