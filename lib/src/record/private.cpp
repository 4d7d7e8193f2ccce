// SPDX-License-Identifier: Apache-2.0
#include "record/private.hpp"

namespace ringwall {
namespace {

class LeftOut {
  public:
    explicit LeftOut(std::vector<std::string>& keys) : keys_(keys) {}
    void clear(const std::string& key, std::string& text) {
        if (text.empty()) return;
        text.clear();
        note(key);
    }
    /// Only the file's own name stays.
    void without_folders(const std::string& key, std::string& file) {
        const std::string name = std::filesystem::path(file).filename().string();
        if (name == file) return;
        file = name;
        note(key + " (folders)");
    }
    void note(const std::string& key) {
        if (keys_.empty() || keys_.back() != key) keys_.push_back(key);
    }

  private:
    std::vector<std::string>& keys_;
};

void leave_out_of_pictures(BoardRecord& record, LeftOut& left_out) {
    for (auto& source : record.sources)
        left_out.without_folders("sources.file", source.file);
    for (auto& notes : record.picture_notes)
        left_out.clear("evidence.pictures.taken_by", notes.taken_by);
    for (auto& notes : record.picture_notes)
        left_out.without_folders("evidence.pictures.file", notes.file);
    for (auto& notes : record.picture_notes)
        left_out.without_folders("evidence.pictures.repeat_of", notes.repeat_of);
}

} // namespace

void leave_out_private(BoardRecord& record) {
    LeftOut left_out(record.left_out);
    left_out.clear("evidence.intake.serial", record.intake.serial);
    left_out.clear("evidence.intake.lot", record.intake.lot);
    if (!record.custody.empty()) left_out.note("evidence.custody");
    record.custody.clear();
    leave_out_of_pictures(record, left_out);
    for (auto& reading : record.continuity)
        left_out.clear("continuity.by", reading.by);
    for (auto& decision : record.decisions)
        left_out.clear("decisions.who", decision.who);
    if (record.sources.empty()) return;
    record.sources.front().warnings.emplace_back(
        "names, serials and folders were left out; text burned into a picture is not removed, nor are names "
        "in "
        "free text (notes, reasons): look at overlay.png and the notes before you publish them");
}

} // namespace ringwall
