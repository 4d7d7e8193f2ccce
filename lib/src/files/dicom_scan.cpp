// SPDX-License-Identifier: Apache-2.0
// Encoding: DICOM PS3.5, sections 7 (elements, sequences) and A.4 (pixels in fragments).
#include "files/dicom_scan.hpp"

#include "files/bytes.hpp"
#include "files/raw_volume.hpp"

#include <algorithm>
#include <array>
#include <cstdio>
#include <string_view>

namespace ringwall::files {
namespace {

constexpr std::uint64_t undefined = 0xFFFFFFFF;
constexpr DicomTag item = 0xFFFEE000, item_end = 0xFFFEE00D, sequence_end = 0xFFFEE0DD;

bool capital(std::byte byte) {
    return byte >= std::byte{'A'} && byte <= std::byte{'Z'};
}

/// Representations whose length takes two bytes; all others, those of the future too, have four behind two of
/// padding.
bool short_length(std::string_view vr) {
    constexpr std::array<std::string_view, 20> kinds = {"AE", "AS", "AT", "CS", "DA", "DS", "DT",
                                                        "FL", "FD", "IS", "LO", "LT", "PN", "SH",
                                                        "SL", "SS", "ST", "TM", "UI", "UL"};
    return vr == "US" || std::find(kinds.begin(), kinds.end(), vr) != kinds.end();
}

/// How elements are written: byte order, and whether their representation is.
struct Encoding {
    bool big_endian = false;
    bool with_vr = true;
};

/// From the first element of a data set whose header does not say.
Encoding guessed_encoding(std::span<const std::byte> head) {
    Encoding encoding;
    encoding.big_endian = head[0] == std::byte{0} && head[1] != std::byte{0};
    encoding.with_vr = capital(head[4]) && capital(head[5]);
    return encoding;
}

bool holds_pixels(DicomTag tag) {
    return tag == dicom::pixels || tag == dicom::float_pixels || tag == dicom::double_pixels;
}

std::string tag_words(DicomTag tag) {
    std::array<char, 16> words{};
    std::snprintf(words.data(), words.size(), "(%04X,%04X)", static_cast<unsigned>(tag >> 16),
                  static_cast<unsigned>(tag & 0xFFFF));
    return words.data();
}

} // namespace

bool has_dicom_mark(std::span<const std::byte> head) {
    constexpr std::string_view mark = "DICM";
    constexpr std::size_t preamble = 128;
    return head.size() >= preamble + mark.size() &&
           std::equal(mark.begin(), mark.end(), head.begin() + preamble,
                      [](char a, std::byte b) { return static_cast<std::byte>(a) == b; });
}

bool looks_like_dicom(std::span<const std::byte> head) {
    if (has_dicom_mark(head)) return true;
    if (head.size() < 16) return false;
    // Without a preamble: group 2 or 8, a small even element, and a representation or a short length.
    const Encoding encoding = guessed_encoding(head);
    const std::uint64_t group = number_at(head, 0, 2, encoding.big_endian),
                        element = number_at(head, 2, 2, encoding.big_endian);
    if ((group != 2 && group != 8) || element > 0x100) return false;
    if (encoding.with_vr) {
        const std::string vr = {static_cast<char>(head[4]), static_cast<char>(head[5])};
        return short_length(vr) || vr == "OB" || vr == "SQ";
    }
    return number_at(head, 4, 4, encoding.big_endian) <= 128;
}

/// One pass over the elements.
class DicomScan::Walk {
  public:
    Walk(DicomScan& scan, const SourceFile& file) : scan_(scan), file_(file) {}

    void run(Pixels wanted) {
        std::array<std::byte, 132> head{};
        const std::size_t known = file_.read_some(0, head.data(), head.size());
        at_ = has_dicom_mark(std::span(head).first(known)) ? head.size() : 0;
        file_header();
        choose_encoding();
        while (at_ + 8 <= file_.size())
            if (element()) return;
        const bool whole = levels_.empty() && at_ == file_.size();
        if (whole && wanted == Pixels::optional) return;
        if (whole) file_.refuse("is a DICOM file without a picture");
        file_.refuse("is a cut-off DICOM file: it ends before its pixels");
    }

  private:
    struct Header {
        DicomTag tag = 0;
        std::string vr;
        std::uint64_t length = 0;
    };
    /// An open sequence or item of undefined length.
    struct Level {
        bool with_vr;
    };

    std::uint64_t number(std::uint64_t offset, std::size_t size) {
        // Elements are small and lie beside each other: one read serves many.
        if (offset < window_at_ || offset + size > window_at_ + window_size_) {
            window_at_ = offset;
            window_size_ = file_.read_some(offset, window_.data(), window_.size());
        }
        if (size > window_size_ - (offset - window_at_))
            file_.refuse("is a cut-off DICOM file: it ends within an element");
        return number_at(window_, static_cast<std::size_t>(offset - window_at_), size, encoding_.big_endian);
    }

    Header header() {
        Header found;
        found.tag = static_cast<DicomTag>(number(at_, 2) << 16 | number(at_ + 2, 2));
        const bool mark = found.tag >> 16 == 0xFFFE; // items and ends never have a representation
        if (mark || !encoding_.with_vr) {
            found.length = number(at_ + 4, 4);
            at_ += 8;
            return found;
        }
        found.vr = {static_cast<char>(number(at_ + 4, 1)), static_cast<char>(number(at_ + 5, 1))};
        const bool is_short = short_length(found.vr);
        found.length = is_short ? number(at_ + 6, 2) : number(at_ + 8, 4);
        at_ += is_short ? 8 : 12;
        return found;
    }

    /// Group 2, always with representations and least byte first.
    void file_header() {
        encoding_ = {};
        while (at_ + 8 <= file_.size() && number(at_, 2) == 2) {
            const Header found = header();
            keep(found);
            pass(found);
        }
        scan_.transfer_syntax_ = scan_.text(dicom::transfer_syntax);
    }

    void choose_encoding() {
        const std::string& syntax = scan_.transfer_syntax_;
        if (syntax == "1.2.840.10008.1.2.1.99")
            file_.refuse("is a DICOM file compressed as a whole (deflated transfer syntax), expected one "
                         "with plain elements");
        std::array<std::byte, 8> head{};
        if (!file_.read_all(at_, head)) file_.refuse("is a DICOM file without a picture");
        encoding_ = guessed_encoding(head);
        if (syntax == "1.2.840.10008.1.2")
            encoding_ = {false, false};
        else if (syntax == "1.2.840.10008.1.2.2")
            encoding_ = {true, true};
        else if (!syntax.empty())
            encoding_ = {false, true};
        scan_.big_endian_ = encoding_.big_endian;
    }

    void keep(const Header& found) {
        constexpr std::uint64_t longest = 1U << 16; // of the values that are ever asked for
        if (found.length <= longest && levels_.empty())
            scan_.elements_.try_emplace(found.tag, DicomElement{at_, found.length, found.vr});
    }

    void pass(const Header& found) {
        if (found.length > file_.size() - at_)
            file_.refuse("is a cut-off DICOM file: element " + tag_words(found.tag) + " takes " +
                         std::to_string(found.length) + " bytes, got " + std::to_string(file_.size() - at_));
        at_ += found.length;
    }

    /// One element or mark; true when it was the pixels.
    bool element() {
        const Header found = header();
        if (found.tag == item_end || found.tag == sequence_end) {
            if (levels_.empty()) file_.refuse("is a damaged DICOM file: a sequence ends that never began");
            encoding_.with_vr = levels_.back().with_vr;
            levels_.pop_back();
            return false;
        }
        if (levels_.empty() && holds_pixels(found.tag)) {
            pixels(found);
            return true;
        }
        if (found.length == undefined) {
            levels_.push_back({encoding_.with_vr});
            if (found.vr == "UN") encoding_.with_vr = false; // PS3.5, 6.2.2: what is inside has none
            return false;
        }
        keep(found);
        pass(found);
        return false;
    }

    void pixels(const Header& found) {
        scan_.pixel_tag_ = found.tag;
        scan_.elements_[found.tag] = DicomElement{at_, found.length, found.vr};
        if (found.length != undefined) {
            pass(found);
            return;
        }
        scan_.in_fragments_ = true;
        bool offset_table = true;
        while (true) {
            if (at_ + 8 > file_.size()) file_.refuse("is a cut-off DICOM file: it ends within its pixels");
            const Header fragment = header();
            if (fragment.tag == sequence_end) return;
            if (fragment.tag != item)
                file_.refuse("is a damaged DICOM file: expected a fragment of its pixels, got element " +
                             tag_words(fragment.tag));
            if (!offset_table) scan_.fragments_.push_back({at_, fragment.length, {}});
            offset_table = false;
            pass(fragment);
        }
    }

    DicomScan& scan_;
    const SourceFile& file_;
    Encoding encoding_;
    std::uint64_t at_ = 0;
    std::vector<Level> levels_;
    std::array<std::byte, 8192> window_{};
    std::uint64_t window_at_ = 0;
    std::size_t window_size_ = 0;
};

DicomScan::DicomScan(const SourceFile& file, Pixels pixels) : file_(file) {
    Walk(*this, file).run(pixels);
}

std::optional<int> DicomScan::small_number(DicomTag tag) const {
    const auto found = elements_.find(tag);
    std::array<std::byte, 2> bytes{};
    if (found == elements_.end() || found->second.length < 2 || !file_.read_all(found->second.offset, bytes))
        return std::nullopt;
    return static_cast<int>(number_at(bytes, 0, 2, big_endian_));
}

std::string DicomScan::text(DicomTag tag) const {
    const auto found = elements_.find(tag);
    if (found == elements_.end()) return {};
    std::string words(static_cast<std::size_t>(found->second.length), '\0');
    words.resize(file_.read_some(found->second.offset, words.data(), words.size()));
    while (!words.empty() && words.back() == '\0')
        words.pop_back();
    return std::string(trim(words));
}

std::vector<double> DicomScan::numbers(DicomTag tag) const {
    std::vector<double> values;
    std::string words = text(tag);
    while (!words.empty()) {
        const std::size_t end = std::min(words.find('\\'), words.size());
        std::string_view word = trim(std::string_view(words).substr(0, end));
        if (!word.empty() && word.front() == '+') word.remove_prefix(1);
        const auto value = decimal_number(word);
        if (!value) return {};
        values.push_back(*value);
        words.erase(0, end + 1);
    }
    return values;
}

} // namespace ringwall::files
