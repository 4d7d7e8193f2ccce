// SPDX-License-Identifier: Apache-2.0
#include "casefile/case_text.hpp"

namespace ringwall {
namespace {

HandMeasured measured_of(const TomlTable& table) {
    HandMeasured measured;
    const std::string length = "a length over 0 and up to 1000 mm";
    table.choice("what", {"bore", "drill", "thickness", "screw_major", "head", "washer"}, measured.what);
    if (measured.what.empty())
        table.missing("what", R"(one of "bore", "drill", "thickness", "screw_major", "head", "washer")");
    measured.where = table.text_or_empty("where");
    const bool of_a_hole = measured.what == "bore" || measured.what == "drill";
    if (of_a_hole && measured.where.empty()) table.missing("where", "the hole's name or id");
    const auto value = table.number("value_mm", 0, 1000.001, length);
    if (!value) table.missing("value_mm", length);
    measured.value_mm = *value;
    measured.u_mm = table.number("u_mm", 0, 100, "a standard uncertainty (k = 1) over 0 mm");
    measured.with = table.text_or_empty("with");
    return measured;
}

Custody custody_of(const TomlTable& table) {
    Custody custody;
    custody.when = table.text_or_date("when");
    custody.from = table.text_or_empty("from");
    custody.to = table.text_or_empty("to");
    custody.seal_before = table.text_or_empty("seal_before");
    custody.seal_after = table.text_or_empty("seal_after");
    custody.photographs = table.texts("photographs");
    return custody;
}

std::string file_of(const TomlTable& table, const std::string& key, const std::string& expected) {
    std::string file = table.text_or_empty(key);
    if (file.empty()) table.missing(key, expected);
    return file;
}

} // namespace

PictureNotes read_picture_notes(const TomlTable& table) {
    PictureNotes notes;
    notes.file = table.text_or_empty("file");
    notes.taken_by = table.text_or_empty("taken_by");
    notes.taken_on = table.text_or_date("taken_on");
    notes.cabinet_calibrated = table.text_or_date("cabinet_calibrated");
    notes.filter = table.text_or_empty("filter");
    notes.processing = table.text_or_empty("processing");
    notes.repeat_of = table.text_or_empty("repeat_of");
    notes.fitted = table.text_or_empty("fitted");
    notes.kv = table.number("kv", 0, 1000, "a tube voltage over 0 and below 1000 kV");
    notes.ua = table.number("ua", 0, 1e6, "a tube current over 0 uA");
    notes.frames = table.number("frames", 0, 1e6, "a number of frames over 0");
    notes.cycles = table.whole("cycles", 0, "a whole number of screw cycles, 0 or more");
    return notes;
}

void read_evidence(const CaseText& text, CaseFile& read) {
    for (const TomlTable& table : text.tables("measured"))
        read.measured.push_back(measured_of(table));
    for (const TomlTable& table : text.tables("custody"))
        read.custody.push_back(custody_of(table));
    if (const auto table = text.one("continuity"))
        read.continuity = text.beside(file_of(*table, "file", "the continuity log's file name"));
    for (const TomlTable& table : text.tables("unit"))
        read.units.push_back(text.beside(file_of(table, "case", "the case file of a further unit")));
}

} // namespace ringwall
