// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "casefile/casefile.hpp"
#include "casefile/toml_table.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace ringwall {

/// A key that a case file has and nobody knows.
struct UnknownKey {
    std::string key;   ///< "[board] colour"
    std::string place; ///< as of place_in_words
    int line = 0;
};

/// A case file's text on its way into a CaseFile.
class CaseText {
  public:
    /// Throws Error(input).
    explicit CaseText(const std::filesystem::path& file);

    /// The tables of a [[name]] list; a single [name] counts as a list of one.
    [[nodiscard]] std::vector<TomlTable> tables(const std::string& name) const;
    /// The one table of that name. Throws Error(input) for several.
    [[nodiscard]] std::optional<TomlTable> one(const std::string& name) const;
    [[nodiscard]] std::filesystem::path beside(const std::string& file) const;
    /// "case.toml, line 7: ": warnings go into the results, which hold no absolute path.
    [[nodiscard]] std::string place_in_words(const toml::node& node) const;
    [[nodiscard]] const std::string& name() const { return name_; }
    /// Throws Error(input) for a value where a table belongs.
    [[nodiscard]] std::vector<UnknownKey> unknown_keys() const;

  private:
    void check_keys(const toml::table& table, const std::string& name,
                    std::vector<UnknownKey>& unknown) const;
    void check_table_kind(const toml::node& node, const std::string& name,
                          std::vector<UnknownKey>& unknown) const;
    std::filesystem::path path_;
    std::string name_;
    toml::table root_;
};

/// A picture is named by its file, or by its number in the case, counted from 1; not named: the first.
int picture_index(const CaseText& text, const TomlTable& table, const CaseFile& read);

/// Screw, far side, rule, holes and layers: what a finding is made from.
void read_assembly(const CaseText& text, CaseFile& read);
/// Hand measurements, custody, continuity log, further units.
void read_evidence(const CaseText& text, CaseFile& read);
/// What the operator signed for, of one [[picture]].
PictureNotes read_picture_notes(const TomlTable& table);

} // namespace ringwall
