// SPDX-License-Identifier: Apache-2.0
#include "record/case_json.hpp"

#include "record/names.hpp"

namespace ringwall {
namespace {

Json path_json(const MetalPath& path) {
    return {{"part", path.part},
            {"side", text_json(path.side)},
            {"layer", json_of(path.layer)},
            {"plane", json_of(path.plane)},
            {"reach_mm", path.reach_mm},
            {"contact_margin_mm", json_of(path.contact_margin_mm)},
            {"margin_mm", json_of(path.margin_mm)},
            {"cutting_margin_mm", json_of(path.cutting_margin_mm)},
            {"finding", word(path.finding)},
            {"why", text_json(path.why)}};
}

MetalPath read_path(const Node& node) {
    MetalPath path;
    path.part = node["part"].text();
    path.side = node["side"].text_or_empty();
    path.layer = node["layer"].maybe_whole();
    path.plane = node["plane"].maybe_whole();
    path.reach_mm = node["reach_mm"].number();
    path.contact_margin_mm = read_estimate(node["contact_margin_mm"]);
    path.margin_mm = read_estimate(node["margin_mm"]);
    path.cutting_margin_mm = read_estimate(node["cutting_margin_mm"]);
    path.finding = node["finding"].state<Finding>();
    path.why = node["why"].text_or_empty();
    return path;
}

Json alternative_json(const Alternative& alternative) {
    return {{"what", alternative.what},
            {"margin_mm", json_of(alternative.margin_mm)},
            {"finding", word(alternative.finding)}};
}

Alternative read_alternative(const Node& node) {
    return {node["what"].text(), read_estimate(node["margin_mm"]), node["finding"].state<Finding>()};
}

Json screw_json(const Screw& screw) {
    return {{"name", text_json(screw.name)},
            {"major_mm", screw.major_mm},
            {"minor_mm", screw.minor_mm},
            {"major_min_mm", json_of(screw.major_min_mm)},
            {"major_max_mm", json_of(screw.major_max_mm)},
            {"head_mm", json_of(screw.head_mm)},
            {"washer_mm", json_of(screw.washer_mm)},
            {"washer_bore_mm", json_of(screw.washer_bore_mm)},
            {"far_side_mm", json_of(screw.far_side_mm)},
            {"tilt_deg", screw.tilt_deg},
            {"engagement", word_json(screw.engagement)},
            {"source", text_json(screw.source)}};
}

Screw read_screw(const Node& node) {
    Screw screw;
    screw.name = node["name"].text_or_empty();
    screw.major_mm = node["major_mm"].number();
    screw.minor_mm = node["minor_mm"].number();
    screw.major_min_mm = node["major_min_mm"].maybe_number();
    screw.major_max_mm = node["major_max_mm"].maybe_number();
    screw.head_mm = node["head_mm"].maybe_number();
    screw.washer_mm = node["washer_mm"].maybe_number();
    screw.washer_bore_mm = node["washer_bore_mm"].maybe_number();
    screw.far_side_mm = node["far_side_mm"].maybe_number();
    screw.tilt_deg = node["tilt_deg"].number();
    screw.engagement = node["engagement"].maybe_state<Engagement>();
    screw.source = node["source"].text_or_empty();
    return screw;
}

Json rule_json(const SpacingRule& rule) {
    return {{"voltage_peak_v", json_of(rule.voltage_peak_v)},
            {"voltage_kind", word(rule.voltage_kind)},
            {"spacing_row", text_json(rule.row)},
            {"required_mm", json_of(rule.required_mm)}};
}

SpacingRule read_rule(const Node& node) {
    return {node["voltage_peak_v"].maybe_number(), node["voltage_kind"].state<VoltageKind>(),
            node["spacing_row"].text_or_empty(), node["required_mm"].maybe_number()};
}

Json reading_json(const ContinuityReading& reading) {
    return {{"line", reading.line},
            {"a", reading.a},
            {"b", reading.b},
            {"expect", word_json(reading.expect)},
            {"reading", word(reading.reading)},
            {"ohms", json_of(reading.ohms)},
            {"behaviour", word(reading.behaviour)},
            {"setup", text_json(reading.setup)},
            {"polarity", text_json(reading.polarity)},
            {"lead_ohms", json_of(reading.lead_ohms)},
            {"meter", text_json(reading.meter)},
            {"calibrated_on", text_json(reading.calibrated_on)},
            {"when", text_json(reading.when)},
            {"by", text_json(reading.by)},
            {"note", text_json(reading.note)}};
}

ContinuityReading read_reading(const Node& node) {
    ContinuityReading reading;
    reading.line = node["line"].whole();
    reading.a = node["a"].text();
    reading.b = node["b"].text();
    reading.expect = node["expect"].maybe_state<Joint>();
    reading.reading = node["reading"].state<Joint>();
    reading.ohms = node["ohms"].maybe_number();
    reading.behaviour = node["behaviour"].state<ReadingBehaviour>();
    reading.setup = node["setup"].text_or_empty();
    reading.polarity = node["polarity"].text_or_empty();
    reading.lead_ohms = node["lead_ohms"].maybe_number();
    reading.meter = node["meter"].text_or_empty();
    reading.calibrated_on = node["calibrated_on"].text_or_empty();
    reading.when = node["when"].text_or_empty();
    reading.by = node["by"].text_or_empty();
    reading.note = node["note"].text_or_empty();
    return reading;
}

/// `agrees` is true, false, or null where the readings prove nothing.
Json agreement_json(const MeterAgreement& agreement) {
    using Says = MeterAgreement::Says;
    const Json agrees =
        agreement.says == Says::proves_nothing ? Json(nullptr) : Json(agreement.says == Says::agrees);
    return {{"hole", agreement.hole},
            {"agrees", agrees},
            {"why", agreement.why},
            {"lines", agreement.lines},
            {"contact_proven", agreement.contact_proven}};
}

MeterAgreement read_agreement(const Node& node) {
    using Says = MeterAgreement::Says;
    const auto agrees = node["agrees"].maybe_truth();
    MeterAgreement agreement;
    agreement.hole = node["hole"].text();
    agreement.says = !agrees ? Says::proves_nothing : *agrees ? Says::agrees : Says::contradicts;
    agreement.why = node["why"].text();
    agreement.lines = node["lines"].list([](const Node& line) { return line.whole(); });
    agreement.contact_proven = node["contact_proven"].truth();
    return agreement;
}

Json measured_json(const HandMeasured& measured) {
    return {{"what", measured.what},
            {"where", text_json(measured.where)},
            {"value_mm", measured.value_mm},
            {"u_mm", json_of(measured.u_mm)},
            {"with", text_json(measured.with)},
            {"picture_mm", json_of(measured.picture_mm)},
            {"picture_u_mm", json_of(measured.picture_u_mm)},
            {"agrees", json_of(measured.agrees)},
            {"why", text_json(measured.why)}};
}

HandMeasured read_measured(const Node& node) {
    HandMeasured measured;
    measured.what = node["what"].text();
    measured.where = node["where"].text_or_empty();
    measured.value_mm = node["value_mm"].number();
    measured.u_mm = node["u_mm"].maybe_number();
    measured.with = node["with"].text_or_empty();
    measured.picture_mm = node["picture_mm"].maybe_number();
    measured.picture_u_mm = node["picture_u_mm"].maybe_number();
    measured.agrees = node["agrees"].maybe_truth();
    measured.why = node["why"].text_or_empty();
    return measured;
}

Json notes_json(const PictureNotes& notes) {
    return {{"file", notes.file},
            {"taken_by", text_json(notes.taken_by)},
            {"taken_on", text_json(notes.taken_on)},
            {"cabinet_calibrated", text_json(notes.cabinet_calibrated)},
            {"kv", json_of(notes.kv)},
            {"ua", json_of(notes.ua)},
            {"filter", text_json(notes.filter)},
            {"frames", json_of(notes.frames)},
            {"processing", text_json(notes.processing)},
            {"repeat_of", text_json(notes.repeat_of)},
            {"fitted", text_json(notes.fitted)},
            {"cycles", json_of(notes.cycles)}};
}

PictureNotes read_notes(const Node& node) {
    PictureNotes notes;
    notes.file = node["file"].text();
    notes.taken_by = node["taken_by"].text_or_empty();
    notes.taken_on = node["taken_on"].text_or_empty();
    notes.cabinet_calibrated = node["cabinet_calibrated"].text_or_empty();
    notes.kv = node["kv"].maybe_number();
    notes.ua = node["ua"].maybe_number();
    notes.filter = node["filter"].text_or_empty();
    notes.frames = node["frames"].maybe_number();
    notes.processing = node["processing"].text_or_empty();
    notes.repeat_of = node["repeat_of"].text_or_empty();
    notes.fitted = node["fitted"].text_or_empty();
    notes.cycles = node["cycles"].maybe_whole();
    return notes;
}

Json custody_json(const Custody& custody) {
    return {{"when", text_json(custody.when)},
            {"from", text_json(custody.from)},
            {"to", text_json(custody.to)},
            {"seal_before", text_json(custody.seal_before)},
            {"seal_after", text_json(custody.seal_after)},
            {"photographs", text_json(custody.photographs)}};
}

Custody read_custody(const Node& node) {
    return {node["when"].text_or_empty(),       node["from"].text_or_empty(),
            node["to"].text_or_empty(),         node["seal_before"].text_or_empty(),
            node["seal_after"].text_or_empty(), node["photographs"].text_or_empty()};
}

Json evidence_json(const BoardRecord& record) {
    const Json intake = {{"serial", text_json(record.intake.serial)},
                         {"lot", text_json(record.intake.lot)},
                         {"lot_size", json_of(record.intake.lot_size)},
                         {"chosen", text_json(record.intake.chosen)}};
    return {{"intake", intake},
            {"pictures", list_json(record.picture_notes, notes_json)},
            {"custody", list_json(record.custody, custody_json)}};
}

void read_evidence(const Node& node, BoardRecord& record) {
    const Node intake = node["intake"];
    record.intake = {intake["serial"].text_or_empty(), intake["lot"].text_or_empty(),
                     intake["lot_size"].maybe_whole(), intake["chosen"].text_or_empty()};
    record.picture_notes = node["pictures"].list(read_notes);
    record.custody = node["custody"].list(read_custody);
}

Json decision_json(const Decision& decision) {
    Json json = {{"who", decision.who},
                 {"when", decision.when},
                 {"what", word(decision.act)},
                 {"why", decision.why},
                 {"after_result", decision.after_result},
                 {"at_px", json_of(decision.at_px)}};
    if (decision.act == Decision::Act::set_scale) json["to_px"] = json_of(decision.to_px);
    if (decision.act == Decision::Act::set_scale) json["mm"] = decision.value;
    if (decision.act == Decision::Act::add_hole) json["radius_px"] = decision.value;
    if (decision.act == Decision::Act::set_wall) json["wall"] = word(decision.wall);
    json["picture_sha256"] = text_json(decision.picture_sha256);
    return json;
}

Decision read_decision(const Node& node) {
    Decision decision;
    decision.who = node["who"].text();
    decision.when = node["when"].text();
    decision.act = node["what"].state<Decision::Act>();
    decision.why = node["why"].text();
    decision.after_result = node["after_result"].truth();
    decision.at_px = read_point(node["at_px"]);
    if (decision.act == Decision::Act::set_scale) {
        decision.to_px = read_point(node["to_px"]);
        decision.value = node["mm"].number();
    }
    if (decision.act == Decision::Act::add_hole) decision.value = node["radius_px"].number();
    if (decision.act == Decision::Act::set_wall) decision.wall = node["wall"].state<WallState>();
    decision.picture_sha256 = node["picture_sha256"].text_or_empty();
    return decision;
}

} // namespace

Json screw_fit_json(const ScrewFit& fit) {
    return {{"name", text_json(fit.name)},
            {"engagement", word_json(fit.engagement)},
            {"resting_reach_mm", json_of(fit.resting_reach_mm)},
            {"cutting_reach_mm", json_of(fit.cutting_reach_mm)},
            {"required_mm", json_of(fit.required_mm)},
            {"contact_margin_mm", json_of(fit.contact_margin_mm)},
            {"contact_margin_high_mm", json_of(fit.contact_margin_high_mm)},
            {"margin_mm", json_of(fit.margin_mm)},
            {"margin_low_mm", json_of(fit.margin_low_mm)},
            {"margin_high_mm", json_of(fit.margin_high_mm)},
            {"cutting_margin_mm", json_of(fit.cutting_margin_mm)},
            {"finding", word(fit.finding)},
            {"why", text_json(fit.why)},
            {"would_decide", text_json(fit.would_decide)},
            {"forbids_gap", json_of(fit.forbids_gap)},
            {"paths", list_json(fit.paths, path_json)},
            {"not_judged", json_of(fit.not_judged)},
            {"alternatives", list_json(fit.alternatives, alternative_json)}};
}

ScrewFit read_screw_fit(const Node& node) {
    ScrewFit fit;
    fit.name = node["name"].text_or_empty();
    fit.engagement = node["engagement"].maybe_state<Engagement>();
    fit.resting_reach_mm = node["resting_reach_mm"].maybe_number();
    fit.cutting_reach_mm = node["cutting_reach_mm"].maybe_number();
    fit.required_mm = node["required_mm"].maybe_number();
    fit.contact_margin_mm = read_estimate(node["contact_margin_mm"]);
    fit.contact_margin_high_mm = node["contact_margin_high_mm"].maybe_number();
    fit.margin_mm = read_estimate(node["margin_mm"]);
    fit.margin_low_mm = node["margin_low_mm"].maybe_number();
    fit.margin_high_mm = node["margin_high_mm"].maybe_number();
    fit.cutting_margin_mm = read_estimate(node["cutting_margin_mm"]);
    fit.finding = node["finding"].state<Finding>();
    fit.why = node["why"].text_or_empty();
    fit.would_decide = node["would_decide"].text_or_empty();
    fit.forbids_gap = node["forbids_gap"].list(read_text);
    fit.paths = node["paths"].list(read_path);
    fit.not_judged = node["not_judged"].list(read_text);
    fit.alternatives = node["alternatives"].list(read_alternative);
    return fit;
}

Json geometry_json(const std::optional<PictureGeometry>& geometry) {
    if (!geometry) return nullptr;
    return {{"source_to_board_mm", geometry->source_to_board_mm},
            {"centre_px", geometry->centre_px ? json_of(*geometry->centre_px) : Json(nullptr)},
            {"board_depth_mm", json_of(geometry->board_depth_mm)}};
}

std::optional<PictureGeometry> read_geometry(const Node& node) {
    if (node.is_null()) return std::nullopt;
    PictureGeometry geometry{node["source_to_board_mm"].number(), std::nullopt, std::nullopt};
    if (node.has("board_depth_mm")) geometry.board_depth_mm = node["board_depth_mm"].maybe_number();
    if (!node["centre_px"].is_null()) geometry.centre_px = read_point(node["centre_px"]);
    return geometry;
}

void add_case_facts_json(const BoardRecord& record, Json& json) {
    json["continuity"] = list_json(record.continuity, reading_json);
    json["meter"] = list_json(record.meter, agreement_json);
    json["meter_notes"] = json_of(record.meter_notes);
    json["measured"] = list_json(record.measured, measured_json);
    json["evidence"] = evidence_json(record);
    json["screw"] = record.screw ? screw_json(*record.screw) : Json(nullptr);
    json["rule"] = rule_json(record.rule);
    json["holes_not_found"] = json_of(record.holes_not_found);
    json["left_out"] = json_of(record.left_out);
    json["decisions"] = list_json(record.decisions, decision_json);
}

void read_case_facts(const Node& root, BoardRecord& record) {
    record.continuity = root["continuity"].list(read_reading);
    record.meter = root["meter"].list(read_agreement);
    record.meter_notes = root["meter_notes"].list(read_text);
    record.measured = root["measured"].list(read_measured);
    read_evidence(root["evidence"], record);
    if (!root["screw"].is_null()) record.screw = read_screw(root["screw"]);
    record.rule = read_rule(root["rule"]);
    record.holes_not_found = root["holes_not_found"].list(read_text);
    record.left_out = root["left_out"].list(read_text);
    record.decisions = root["decisions"].list(read_decision);
}

} // namespace ringwall
