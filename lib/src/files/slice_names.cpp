// SPDX-License-Identifier: Apache-2.0
#include "files/slice_names.hpp"

#include "files/source_file.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <map>

namespace ringwall::files {
namespace {

bool digit(char c) {
    return c >= '0' && c <= '9';
}

/// A name cut into words and numbers: "scan1_0012" is "scan", "1", "_", "0012".
struct Name {
    std::filesystem::path file;
    std::string stem;                 ///< the words, a mark where each number stood
    std::vector<std::string> numbers; ///< as written
    std::uint64_t slice = 0;
};

/// The name without its ending; a number behind the last point ("scan.0001") is no ending.
std::string without_ending(const std::filesystem::path& file) {
    const std::string ending = file.extension().string();
    const bool number = ending.size() > 1 && std::all_of(ending.begin() + 1, ending.end(), digit);
    return (number ? file.filename() : file.stem()).string();
}

Name cut(const std::filesystem::path& file) {
    Name name;
    name.file = file;
    bool inside = false;
    for (const char c : without_ending(file)) {
        if (digit(c)) {
            if (!inside) {
                name.numbers.emplace_back();
                name.stem += '\0';
            }
            name.numbers.back() += c;
        } else {
            name.stem += c;
        }
        inside = digit(c);
    }
    return name;
}

/// The same number however many zeros stand before it.
std::string plain(const std::string& digits) {
    const std::size_t first = digits.find_first_not_of('0');
    return first == std::string::npos ? "0" : digits.substr(first);
}

std::string shown(const Name& name) {
    return clean_line(name.file.filename().string());
}

[[noreturn]] void refuse(const std::filesystem::path& folder, const std::string& why) {
    throw Error(Fault::input, clean_line(folder.string()) + ": " + why);
}

void check_one_stem(const std::filesystem::path& folder, const std::vector<Name>& names) {
    std::map<std::string, std::size_t> counts;
    for (const Name& name : names)
        ++counts[name.stem];
    if (counts.size() == 1) return;
    const auto usual = std::max_element(counts.begin(), counts.end(), [](const auto& a, const auto& b) {
                           return a.second < b.second;
                       })->first;
    const auto is_usual = [&](const Name& name) { return name.stem == usual; };
    const auto one = std::find_if(names.begin(), names.end(), is_usual),
               other = std::find_if_not(names.begin(), names.end(), is_usual);
    refuse(folder, "holds slices of two names: " + shown(*one) + " and " + shown(*other) +
                       ", expected one name with a number");
}

/// Which of the numbers in the names counts the slices: the one that differs.
std::size_t counting_number(const std::filesystem::path& folder, const std::vector<Name>& names) {
    const Name& first = names.front();
    std::size_t counting = first.numbers.size();
    for (std::size_t i = 0; i < first.numbers.size(); ++i) {
        const auto other = std::find_if(names.begin(), names.end(), [&](const Name& name) {
            return plain(name.numbers[i]) != plain(first.numbers[i]);
        });
        if (other == names.end()) continue;
        if (counting < first.numbers.size()) {
            // The last one counts; an earlier one that differs too tells scans apart.
            const auto unlike = std::find_if(names.begin(), names.end(), [&](const Name& name) {
                return plain(name.numbers[counting]) != plain(first.numbers[counting]);
            });
            refuse(folder, "holds slices of two scans: " + shown(first) + " and " + shown(*unlike) +
                               " differ in more than one number");
        }
        counting = i;
    }
    if (counting == first.numbers.size())
        refuse(folder, "holds a slice twice: " + shown(names[0]) + " and " + shown(names[1]));
    return counting;
}

std::string padded(std::uint64_t slice, std::size_t digits) {
    std::string text = std::to_string(slice);
    return text.size() < digits ? std::string(digits - text.size(), '0') + text : text;
}

void check_numbering(const std::filesystem::path& folder, const std::vector<Name>& names,
                     std::size_t counting, std::vector<std::string>& notes) {
    for (std::size_t i = 1; i < names.size(); ++i)
        if (names[i].slice == names[i - 1].slice)
            refuse(folder, "holds slice " + names[i].numbers[counting] + " twice: " + shown(names[i - 1]) +
                               " and " + shown(names[i]));
    const std::uint64_t step = names[1].slice - names[0].slice;
    const auto uneven = [&](std::size_t i) { return names[i].slice - names[i - 1].slice != step; };
    bool even = names.size() > 2;
    for (std::size_t i = 1; i < names.size(); ++i)
        even = even && !uneven(i);
    if (even && step > 1) {
        notes.push_back("the numbers in the slices' names go in steps of " + std::to_string(step));
        return;
    }
    for (std::size_t i = 1; i < names.size(); ++i) {
        const std::uint64_t low = names[i - 1].slice + 1, high = names[i].slice - 1;
        if (low > high) continue;
        const std::size_t digits = names[i - 1].numbers[counting].size();
        const std::string which =
            low == high ? "slice " + padded(low, digits) + " is missing"
                        : "slices " + padded(low, digits) + " to " + padded(high, digits) + " are missing";
        refuse(folder, which + " between " + shown(names[i - 1]) + " and " + shown(names[i]));
    }
}

} // namespace

bool numbered(const std::filesystem::path& file) {
    const std::string stem = without_ending(file);
    return std::any_of(stem.begin(), stem.end(), digit);
}

std::vector<std::filesystem::path> in_natural_order(const std::filesystem::path& folder,
                                                    std::vector<std::filesystem::path> files,
                                                    std::vector<std::string>& notes) {
    std::sort(files.begin(), files.end()); // the folder's own order is the file system's chance
    std::vector<Name> names;
    names.reserve(files.size());
    for (const auto& file : files)
        names.push_back(cut(file));
    check_one_stem(folder, names);
    const std::size_t counting = counting_number(folder, names);
    for (Name& name : names) {
        const std::string& digits = name.numbers[counting];
        const auto parsed = std::from_chars(digits.data(), digits.data() + digits.size(), name.slice);
        if (parsed.ec != std::errc())
            refuse(folder, "holds a slice number too large to count: " + shown(name));
    }
    std::stable_sort(names.begin(), names.end(),
                     [](const Name& a, const Name& b) { return a.slice < b.slice; });
    check_numbering(folder, names, counting, notes);
    std::vector<std::filesystem::path> ordered;
    ordered.reserve(names.size());
    for (Name& name : names)
        ordered.push_back(std::move(name.file));
    return ordered;
}

} // namespace ringwall::files
