// SPDX-License-Identifier: Apache-2.0
#include "commands.hpp"

#include "terminal.hpp"

#include <cstdio>

namespace fs = std::filesystem;

namespace ringwall::cli {
namespace {

constexpr int interrupted_status = 130; // as shells report a program ended by Ctrl-C

int status(Fault fault) {
    return static_cast<int>(fault);
}

void print(const std::string& text) {
    std::fputs(text.c_str(), stdout);
}

void print_error(const std::string& line) {
    std::fprintf(stderr, "ringwall: %s\n", line.c_str());
}

/// The source's own name with the mark behind it; a last slash is no part of a name.
fs::path default_out(const fs::path& source) {
    const fs::path named = source.has_filename() ? source : source.parent_path();
    return named.string() + ".ringwall";
}

InspectRequest request_of(const Arguments& arguments, const fs::path& source) {
    std::error_code error;
    if (fs::is_directory(source, error) && fs::exists(source / "results.json", error))
        throw Error(Fault::usage,
                    source.string() + " is a results folder: expected the picture or case it was made from");
    if (!fs::exists(source, error)) throw Error(Fault::input, source.string() + ": no such file");
    if (source.extension() == ".toml") {
        const bool stack = arguments.has("shot") && arguments.options.shot == Shot::stack;
        return with_options(request_of_case(source, stack ? std::optional(Shot::stack) : std::nullopt),
                            arguments);
    }
    InspectRequest request;
    request.pictures = {source};
    if (!arguments.has("shot") && is_slice_stack(source)) request.shot = Shot::stack;
    return with_options(std::move(request), arguments);
}

/// A polarity given against the picture makes everything below it invented: said even when nothing else is.
void warn_of_dense(const BoardRecord& record) {
    for (const auto& source : record.sources)
        for (const auto& warning : source.warnings)
            if (warning.starts_with("Told that dense is")) print_error("warning: " + warning);
}

int write_and_tell(const BoardRecord& record, Session& session, const fs::path& out, bool quiet) {
    for (const std::string& sentence : changed_since(out, record))
        print_error("warning: " + sentence + "; they are replaced");
    write_results(record, session, out);
    warn_of_dense(record);
    if (!quiet) print(table_of(record) + "results: " + out.string() + "\n");
    if (record.why_nothing.empty()) return 0;
    print_error(record.why_nothing + "; " + out.string() + " says so");
    return status(Fault::nothing_measured);
}

int inspect_source(const Arguments& arguments) {
    const fs::path out = arguments.out.empty() ? default_out(arguments.sources.front()) : arguments.out;
    Session session(request_of(arguments, arguments.sources.front()));
    check_results_folder(out);
    std::optional<InspectOutcome> outcome;
    {
        TerminalWatch watch(arguments.quiet);
        outcome = inspect(session, watch);
    }
    if (const auto* error = std::get_if<Error>(&*outcome)) throw *error;
    if (const auto* record = std::get_if<BoardRecord>(&*outcome)) {
        return write_and_tell(*record, session, out, arguments.quiet);
    }
    print_error("stopped; nothing was written");
    return interrupted_status;
}

std::string name_of(const fs::path& source) {
    return (source.has_filename() ? source : source.parent_path()).filename().string();
}

CompareSide side_of(const Arguments& arguments, const fs::path& source) {
    CompareSide side;
    side.named = name_of(source);
    if (holds_results(source))
        side.results = source;
    else
        side.request = request_of(arguments, source);
    return side;
}

/// What is read must not be what is replaced.
void check_out(const Arguments& arguments, const fs::path& out) {
    std::error_code error;
    for (const fs::path& source : arguments.sources)
        if (fs::equivalent(source, out, error))
            throw Error(Fault::usage,
                        "--out: " + out.string() + " is one of the boards to compare: choose a new name");
}

/// Options that say how to measure have nothing to say where all is measured.
void check_options(const Arguments& arguments, const CompareRequest& request) {
    if (request.old_board.results.empty() || request.revised_board.results.empty()) return;
    for (const std::string& name : arguments.given)
        if (name != "jobs" && name != "memory-mb")
            throw Error(Fault::usage, "--" + name +
                                          ": both boards are results folders, measured already: compare the "
                                          "pictures or cases to measure them in another way");
}

int compare_sources(const Arguments& arguments) {
    const fs::path& revised = arguments.sources.back();
    const fs::path named = revised.has_filename() ? revised : revised.parent_path();
    const fs::path out =
        arguments.out.empty() ? fs::path(named.string() + ".compared.ringwall") : arguments.out;
    CompareRequest request;
    request.old_board = side_of(arguments, arguments.sources.front());
    request.revised_board = side_of(arguments, revised);
    request.options = arguments.pairs_by_hand;
    check_options(arguments, request);
    check_out(arguments, out);
    check_results_folder(out);
    std::optional<CompareOutcome> outcome;
    {
        TerminalWatch watch(arguments.quiet);
        outcome = compare(request, watch);
    }
    if (const auto* error = std::get_if<Error>(&*outcome)) throw *error;
    auto* boards = std::get_if<ComparedBoards>(&*outcome);
    if (boards == nullptr) throw Cancelled{};
    write_comparison(*boards, out);
    if (!arguments.quiet) print(boards->comparison.answer + "\nresults: " + out.string() + "\n");
    if (boards->comparison.why_nothing.empty()) return 0;
    print_error(boards->comparison.why_nothing + "; " + out.string() + " says so");
    return status(Fault::nothing_measured);
}

std::string text_of(const Description& description) {
    std::string text = description.facts.file + "\n";
    for (const auto& line : description.lines)
        text += "  " + line + "\n";
    for (const auto& concern : description.concerns)
        text += "  - " + concern + "\n";
    return text + "  " + description.verdict + "\n";
}

/// Every file is described, also after one that cannot be read; the status is that of the first failure.
int describe_sources(const Arguments& arguments) {
    int result = 0;
    for (const auto& source : arguments.sources) {
        try {
            TerminalWatch watch(arguments.quiet);
            print(text_of(describe(source, arguments.options, watch)));
        } catch (const Error& error) {
            print_error(error.what());
            if (result == 0) result = status(error.fault());
        } catch (const Cancelled&) {
            print_error("stopped");
            return interrupted_status;
        }
    }
    return result;
}

int write_demo_case(const Arguments& arguments) {
    const fs::path& folder = arguments.sources.front();
    {
        TerminalWatch watch(arguments.quiet);
        write_demo(folder, watch);
    }
    if (!arguments.quiet) {
        print("demo case written to " + folder.string() +
              " (synthetic); measure it with\n  ringwall inspect " +
              (folder / "revision-a/case.toml").string() + "\n");
    }
    return 0;
}

} // namespace

int run(const Arguments& arguments) {
    switch (arguments.command) {
    case Command::help:
        print(arguments.help);
        return 0;
    case Command::inspect:
        return inspect_source(arguments);
    case Command::compare:
        return compare_sources(arguments);
    case Command::describe:
        return describe_sources(arguments);
    case Command::plan:
        print(picture_plan());
        return 0;
    case Command::demo:
        return write_demo_case(arguments);
    }
    return status(Fault::program);
}

} // namespace ringwall::cli
