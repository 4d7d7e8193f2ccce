// SPDX-License-Identifier: Apache-2.0
#include "arguments.hpp"

#include "unknown_words.hpp"
#include "values.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <map>

namespace ringwall::cli {
namespace {

/// Options as text; several only where one may be repeated.
using Texts = std::map<std::string, std::vector<std::string>>;

struct OptionWords {
    const char* name;
    const char* value; ///< "" for a flag
    const char* help;
};

constexpr OptionWords options_in_use[] = {
    {"shot", "face|edge|stack",
     "how the picture was taken: beam through the flat, along the board, or a CT volume"},
    {"pixel-mm", "V or X,Y", "pixel size at the board, mm; overrides every other scale"},
    {"voxel-mm", "V or X,Y,Z", "voxel size of a slice stack, mm; overrides what the files state"},
    {"known", "X1,Y1,X2,Y2=MM",
     "two points (px) of known distance; repeat it, in x and in y, for both scales"},
    {"scale-u-percent", "P",
     "standard uncertainty (k = 1) of the scale; not given: 1, and said to be assumed"},
    {"dense", "dark|bright|auto", "how dense material (copper, steel) looks"},
    {"radiometry", "linear|log|display", "what the grey scale is, if the operator said so"},
    {"flat", "FILE", "picture of the open beam, same settings"},
    {"dark", "FILE", "picture without beam, same settings"},
    {"board-mm", "T", "board thickness, copper to copper outside, mask excluded"},
    {"foil-um", "F", "one plane's copper"},
    {"thinnest-foil-um", "F", "thinnest copper that must be assumed"},
    {"confidence", "P", "one-sided confidence of the bounds, default 0.95"},
    {"memory-mb", "N", "memory limit, default 4096"},
    {"jobs", "N", "threads; 0: one a core; changes no result"},
};
/// What a finding is made from: of inspect and compare.
constexpr OptionWords options_of_findings[] = {
    {"screw", "NAME", "the screw really used, such as M3 or UNC6-32, or one of the case's own table"},
    {"voltage-peak", "V", "peak volts between conductors (of a sine: rms x 1.414); goes with --spacing-row"},
    {"voltage-kind", "dc|ac",
     "kind of the voltage; not given: the lower limit of both holds (42.4 V, not 60 V)"},
    {"spacing-row", "B1|B2|B3|B4|A5|A6|A7",
     "row of IPC-2221 table 6-1; goes with --voltage-peak. Your choice: the table does not name a screw in a "
     "bare hole facing an inner plane"},
    {"required-mm", "V", "required spacing, mm; goes before voltage and row"},
};
void add_options(CLI::App& app, std::span<const OptionWords> options, Texts& texts) {
    for (const auto& option : options) {
        auto* added = app.add_option("--" + std::string(option.name), texts[option.name], option.help);
        added->type_name(option.value);
        if (std::string(option.name) != "known") added->expected(1); // else the help says "..." behind it
        added->take_all()->allow_extra_args(false); // a second one is refused by name, see one()
    }
}

const std::string* one(const Texts& texts, const std::string& name) {
    const auto found = texts.find(name);
    if (found == texts.end() || found->second.empty()) return nullptr;
    if (found->second.size() > 1)
        throw Error(Fault::usage, "--" + name + ": expected once, got several times");
    return &found->second.front();
}

void read_scale_options(const Texts& texts, InspectRequest& request) {
    request.scale_given = InspectRequest::ScaleGiven::by_option;
    if (const auto* text = one(texts, "pixel-mm")) request.pixel_mm = pixel_size("pixel-mm", *text);
    if (const auto* text = one(texts, "voxel-mm")) request.voxel_mm = voxel_size("voxel-mm", *text);
    if (const auto known = texts.find("known"); known != texts.end()) {
        for (const auto& text : known->second)
            request.known.push_back(known_distance("known", text));
    }
    if (const auto* text = one(texts, "scale-u-percent")) {
        request.scale_u_percent =
            number("scale-u-percent", *text, 0, 100, "a share between 0 and 100 percent");
    }
}

void read_board_options(const Texts& texts, InspectRequest& request) {
    if (const auto* text = one(texts, "board-mm"))
        request.board_mm = number("board-mm", *text, board_limits_mm);
    if (const auto* text = one(texts, "foil-um")) request.foil_um = number("foil-um", *text, foil_limits_um);
    if (const auto* text = one(texts, "thinnest-foil-um"))
        request.thinnest_foil_um = number("thinnest-foil-um", *text, foil_limits_um);
    if (const auto* text = one(texts, "confidence")) {
        request.confidence = number("confidence", *text, 0.5, 1, "a number between 0.5 and 1");
    }
}

void read_picture_options(const Texts& texts, InspectRequest& request) {
    if (const auto* text = one(texts, "shot"); text != nullptr && *text != "face") {
        if (*text != "edge" && *text != "stack")
            throw Error(Fault::usage, "--shot: expected face, edge or stack, got \"" + *text + "\"");
        request.shot = *text == "edge" ? Shot::edge : Shot::stack;
    }
    if (const auto* text = one(texts, "dense")) request.dense = dense_side(*text);
    if (const auto* text = one(texts, "radiometry")) request.radiometry = radiometry(*text);
    if (const auto* text = one(texts, "flat")) request.flat = *text;
    if (const auto* text = one(texts, "dark")) request.dark = *text;
    if (const auto* text = one(texts, "memory-mb")) {
        request.memory_bytes = static_cast<std::size_t>(whole_number("memory-mb", *text, 1, 1L << 24)) << 20;
    }
    if (const auto* text = one(texts, "jobs"))
        request.jobs = static_cast<int>(whole_number("jobs", *text, 0, 1024));
}

void read_finding_options(const Texts& texts, InspectRequest& request, std::string& screw_name) {
    if (const auto* text = one(texts, "screw")) {
        if (text->empty()) throw Error(Fault::usage, "--screw: expected a screw's name, got nothing");
        screw_name = *text;
    }
    SpacingRule& rule = request.rule;
    if (const auto* text = one(texts, "voltage-peak"))
        rule.voltage_peak_v = number("voltage-peak", *text, peak_limits_v);
    if (const auto* text = one(texts, "voltage-kind")) rule.voltage_kind = voltage_kind(*text);
    if (const auto* text = one(texts, "spacing-row")) rule.row = spacing_row(*text);
    if (const auto* text = one(texts, "required-mm"))
        rule.required_mm = number("required-mm", *text, spacing_limits_mm);
}

std::string one_line(std::string text) {
    std::replace(text.begin(), text.end(), '\n', ' ');
    while (!text.empty() && text.back() == ' ')
        text.pop_back();
    return text;
}

/// The parser with everything it writes into.
struct Parser {
    CLI::App app{"Measures the copper-free ring round every hole of a printed board from X-ray pictures.",
                 "ringwall"};
    CLI::App* inspect = app.add_subcommand("inspect", "measure one board");
    CLI::App* compare = app.add_subcommand("compare", "old and revised board side by side: what changed");
    CLI::App* view = app.add_subcommand("view", "open the window (not in this version)");
    CLI::App* demo = app.add_subcommand("demo", "write the demo case: pictures and case files, all invented");
    CLI::App* describe =
        app.add_subcommand("describe", "what a file holds, and whether it is fit to measure on");
    CLI::App* plan =
        app.add_subcommand("plan", "which pictures to ask for: a page for the cabinet's operator");
    Texts texts;
    std::vector<std::string> sources, pairs;
    std::string out;
    bool quiet = false, leave_out_private = false;

    Parser() {
        app.require_subcommand(1);
        app.set_version_flag("--version", "ringwall " RINGWALL_CLI_VERSION);
        inspect->add_option("SOURCE", sources, "a case file (*.toml), a face-on picture or a slice stack")
            ->required()
            ->expected(1);
        add_measuring(*inspect, "results folder; default: SOURCE's name + .ringwall");
        compare
            ->add_option(
                "BOARDS", sources,
                "OLD REVISED: each a results folder, a case file, a face-on picture or a slice stack")
            ->required()
            ->expected(2);
        add_measuring(*compare, "results folder; default: REVISED's name + .compared.ringwall");
        compare
            ->add_option("--pair", pairs,
                         "ids of a hole that is the same on both boards; repeat it, two or more place them")
            ->type_name("OLD=REVISED")
            ->take_all()
            ->allow_extra_args(false);
        describe->add_option("FILE", sources, "pictures")->required();
        add_options(*describe, options_in_use, texts);
        describe->add_flag("--quiet", quiet, "no progress");
        demo->add_option("FOLDER", sources, "folder to write")->required()->expected(1);
        demo->add_flag("--quiet", quiet, "no progress");
        plan->add_option("CASE", sources, "a case file (not in this version)");
        view->allow_extras();
    }

    /// What inspect takes, and compare for the sides that it must inspect first.
    void add_measuring(CLI::App& command, const std::string& help_of_out) {
        command.add_option("--out", out, help_of_out)->type_name("DIR");
        add_options(command, options_in_use, texts);
        add_options(command, options_of_findings, texts);
        command.add_flag("--leave-out-private", leave_out_private,
                         "leave serial, lot, custody, folders and all that persons worded freely out of the "
                         "results; labels and text burned into a picture stay");
        command.add_flag("--quiet", quiet, "no progress, no table");
    }

    [[nodiscard]] Command command() const {
        if (view->parsed()) throw Error(Fault::usage, "ringwall view is not in this version");
        if (inspect->parsed()) return Command::inspect;
        if (compare->parsed()) return Command::compare;
        if (describe->parsed()) return Command::describe;
        if (plan->parsed()) return Command::plan;
        return Command::demo;
    }
};

Arguments arguments_of(const Parser& parser) {
    Arguments arguments;
    arguments.command = parser.command();
    if (arguments.command == Command::plan && !parser.sources.empty()) {
        throw Error(
            Fault::usage,
            "ringwall plan with a case is not in this version; without one it prints the general page");
    }
    arguments.sources.assign(parser.sources.begin(), parser.sources.end());
    arguments.out = parser.out;
    if (parser.inspect->count("--out") + parser.compare->count("--out") > 0 && parser.out.empty()) {
        throw Error(Fault::usage, "--out: expected a folder's name, got nothing");
    }
    arguments.quiet = parser.quiet;
    read_scale_options(parser.texts, arguments.options);
    read_board_options(parser.texts, arguments.options);
    read_picture_options(parser.texts, arguments.options);
    read_finding_options(parser.texts, arguments.options, arguments.screw_name);
    arguments.options.leave_out_private = parser.leave_out_private;
    for (const std::string& pair : parser.pairs)
        arguments.pairs_by_hand.by_hand.push_back(hole_pair("pair", pair));
    for (const auto& [name, values] : parser.texts) {
        if (!values.empty()) arguments.given.push_back(name);
    }
    return arguments;
}

} // namespace

bool Arguments::has(const std::string& name) const {
    return std::find(given.begin(), given.end(), name) != given.end();
}

Arguments parse(int argc, const char* const* argv) {
    Parser parser;
    check_words(parser.app, std::vector<std::string>(argv + 1, argv + std::max(argc, 1)));
    try {
        parser.app.parse(argc, argv);
    } catch (const CLI::Success&) {
        Arguments arguments;
        const auto chosen = parser.app.get_subcommands();
        arguments.help = parser.app.count("--version") > 0 ? "ringwall " RINGWALL_CLI_VERSION "\n"
                         : chosen.empty()                  ? parser.app.help()
                                                           : chosen.front()->help("ringwall");
        return arguments;
    } catch (const CLI::ParseError& error) {
        const auto chosen = parser.app.get_subcommands();
        const std::string command = chosen.empty() ? "" : chosen.front()->get_name() + " ";
        throw Error(Fault::usage, one_line(error.what()) + "; see ringwall " + command + "--help");
    }
    return arguments_of(parser);
}

namespace {

/// What is given now goes before what the case says of the same: a spacing before voltage and row, and these
/// before a spacing.
void put_rule(const Arguments& arguments, InspectRequest& request) {
    const SpacingRule& given = arguments.options.rule;
    SpacingRule& rule = request.rule;
    const bool voltage = arguments.has("voltage-peak"), row = arguments.has("spacing-row");
    if (voltage) rule.voltage_peak_v = given.voltage_peak_v, request.case_words.voltage_peak_place.clear();
    if (arguments.has("voltage-kind"))
        rule.voltage_kind = given.voltage_kind, request.case_words.voltage_kind_place.clear();
    if (row) rule.row = given.row, request.case_words.row_place.clear();
    if (arguments.has("required-mm")) {
        rule.required_mm = given.required_mm;
    } else if (voltage || row) {
        rule.required_mm.reset();
    }
}

} // namespace

namespace {

/// A case's picture of that shot alone; a single picture is taken for what the option says.
InspectRequest of_shot(InspectRequest request, Shot shot) {
    const bool of_case = request.scale_given == InspectRequest::ScaleGiven::in_case;
    if (!of_case || request.shot == shot) {
        request.shot = shot;
        request.edge_on.clear();
        return request;
    }
    if (shot == Shot::edge && !request.edge_on.empty()) {
        InspectRequest edge_on = request.edge_on.front();
        edge_on.revision = request.revision, edge_on.name = request.name, edge_on.unit = request.unit;
        return edge_on;
    }
    const char* word = shot == Shot::edge ? "edge" : shot == Shot::stack ? "stack" : "face";
    throw Error(Fault::usage, std::string("--shot ") + word + ": the case has no such picture");
}

} // namespace

InspectRequest with_options(InspectRequest of_case, const Arguments& arguments) {
    const InspectRequest& given = arguments.options;
    if (arguments.has("shot")) of_case = of_shot(std::move(of_case), given.shot);
    if (arguments.has("pixel-mm")) of_case.pixel_mm = given.pixel_mm;
    if (arguments.has("voxel-mm")) of_case.voxel_mm = given.voxel_mm;
    if (arguments.has("pixel-mm") || arguments.has("known") || arguments.has("voxel-mm"))
        of_case.scale_given = InspectRequest::ScaleGiven::by_option;
    if (arguments.has("known")) {
        of_case.known = given.known;
        of_case.scale_holes.clear();
        if (!arguments.has("pixel-mm"))
            of_case.pixel_mm.reset(); // a scale given now replaces the case's, whichever form
    }
    if (arguments.has("scale-u-percent")) of_case.scale_u_percent = given.scale_u_percent;
    if (arguments.has("dense")) of_case.dense = given.dense;
    if (arguments.has("radiometry")) of_case.radiometry = given.radiometry;
    if (arguments.has("flat")) of_case.flat = given.flat;
    if (arguments.has("dark")) of_case.dark = given.dark;
    if (arguments.has("board-mm")) of_case.board_mm = given.board_mm;
    if (arguments.has("foil-um")) of_case.foil_um = given.foil_um;
    if (arguments.has("thinnest-foil-um")) of_case.thinnest_foil_um = given.thinnest_foil_um;
    if (arguments.has("confidence")) of_case.confidence = given.confidence;
    if (!arguments.screw_name.empty()) use_screw(of_case, arguments.screw_name);
    put_rule(arguments, of_case);
    check_rule(of_case);
    of_case.leave_out_private = given.leave_out_private;
    of_case.memory_bytes = given.memory_bytes;
    of_case.jobs = given.jobs;
    return of_case;
}

} // namespace ringwall::cli
