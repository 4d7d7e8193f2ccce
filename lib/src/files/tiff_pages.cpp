// SPDX-License-Identifier: Apache-2.0
#include "files/tiff_pages.hpp"

#include <array>
#include <unordered_set>

namespace ringwall::files {
namespace {

class PageWalker {
  public:
    explicit PageWalker(const SourceFile& file) : file_(file) {
        std::array<std::byte, 8> header{};
        if (!file.read_all(0, header)) file.refuse("is cut off within the TIFF header");
        big_endian_ = header[0] == std::byte{'M'};
        wide_ = number(2, 2) == 43;
        next_ = wide_ ? number(8, 8) : number(4, 4);
    }
    [[nodiscard]] bool more() const { return next_ != 0; }
    [[nodiscard]] std::uint64_t offset() const { return next_; }

    /// Reads the page at offset() and moves on; true when it is only a copy of another page.
    bool step() {
        const int count_size = wide_ ? 8 : 2, entry_size = wide_ ? 20 : 12;
        const std::uint64_t count = number(next_, count_size);
        if (count == 0 || count > 65535)
            file_.refuse("is damaged: a TIFF page holds " + std::to_string(count) + " tags");
        const std::uint64_t first = next_ + static_cast<std::uint64_t>(count_size);
        next_ = number(first + count * static_cast<std::uint64_t>(entry_size), wide_ ? 8 : 4);
        // Tags are in ascending order, and the one that marks copies is the smallest number in use.
        constexpr std::uint64_t new_subfile_type = 254, reduced_or_mask = 1 | 4;
        return number(first, 2) == new_subfile_type &&
               (number(first + (wide_ ? 12 : 8), 4) & reduced_or_mask) != 0;
    }

  private:
    std::uint64_t number(std::uint64_t offset, int size) const {
        std::array<std::byte, 8> bytes{};
        if (offset > file_.size() ||
            !file_.read_all(offset, std::span(bytes.data(), static_cast<std::size_t>(size))))
            file_.refuse("is cut off: a TIFF page lies at byte " + std::to_string(offset) + " of " +
                         std::to_string(file_.size()));
        std::uint64_t value = 0;
        for (int i = 0; i < size; ++i)
            value = value << 8 | std::to_integer<std::uint64_t>(
                                     bytes[static_cast<std::size_t>(big_endian_ ? i : size - 1 - i)]);
        return value;
    }

    const SourceFile& file_;
    bool big_endian_ = false;
    bool wide_ = false;
    std::uint64_t next_ = 0;
};

} // namespace

TiffPages find_tiff_pages(const SourceFile& file) {
    constexpr std::size_t most_pages = 1U << 20;
    PageWalker walker(file);
    std::unordered_set<std::uint64_t> seen;
    TiffPages found;
    while (walker.more()) {
        if (!seen.insert(walker.offset()).second)
            file.refuse("is damaged: its list of pages runs in a circle");
        if (seen.size() > most_pages) file.refuse("holds over a million pages");
        const bool first = seen.size() == 1;
        const std::uint64_t offset = walker.offset();
        if (walker.step() && !first)
            ++found.copies;
        else
            found.full.push_back(offset);
    }
    if (found.full.empty()) file.refuse("is a TIFF without a page");
    return found;
}

} // namespace ringwall::files
