// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <utility>

namespace ringwall::test {

/// Writes DICOM elements byte by byte (PS3.5 section 7), so that nothing of the reader's own helps to make
/// its tests.
class DicomMaker {
  public:
    enum class Order { explicit_little, implicit_little, explicit_big };
    explicit DicomMaker(Order order = Order::explicit_little) : order_(order) {}

    DicomMaker& us(unsigned group, unsigned element, unsigned value) {
        return raw(group, element, "US", number(value, 2));
    }
    DicomMaker& text(unsigned group, unsigned element, const char* vr, std::string value) {
        if (value.size() % 2 == 1) value += ' ';
        return raw(group, element, vr, value);
    }
    DicomMaker& raw(unsigned group, unsigned element, const std::string& vr, const std::string& value) {
        return header(group, element, vr, static_cast<std::uint32_t>(value.size())).add(value);
    }
    /// An element's head alone, for lengths that are undefined or lies.
    DicomMaker& header(unsigned group, unsigned element, const std::string& vr, std::uint32_t length) {
        add(number(group, 2) + number(element, 2));
        if (order_ == Order::implicit_little || group == 0xFFFE) return add(number(length, 4));
        const bool long_form =
            vr == "OB" || vr == "OW" || vr == "OF" || vr == "OD" || vr == "SQ" || vr == "UN";
        return long_form ? add(vr + std::string(2, '\0') + number(length, 4)) : add(vr + number(length, 2));
    }
    DicomMaker& add(const std::string& bytes) {
        bytes_ += bytes;
        return *this;
    }
    /// A pixel of a size in the data set's byte order.
    [[nodiscard]] std::string number(std::uint64_t value, int size) const {
        std::string bytes;
        for (int i = 0; i < size; ++i)
            bytes += static_cast<char>(value >> (8 * (order_ == Order::explicit_big ? size - 1 - i : i)));
        return bytes;
    }

    /// Size and kind of a grey picture.
    DicomMaker& picture(unsigned columns, unsigned rows, unsigned allocated, unsigned stored,
                        unsigned is_signed = 0, const char* photometric = "MONOCHROME2",
                        unsigned samples = 1) {
        us(0x28, 0x02, samples).text(0x28, 0x04, "CS", photometric);
        if (samples > 1) us(0x28, 0x06, 0);
        return us(0x28, 0x10, rows)
            .us(0x28, 0x11, columns)
            .us(0x28, 0x100, allocated)
            .us(0x28, 0x101, stored)
            .us(0x28, 0x102, stored - 1)
            .us(0x28, 0x103, is_signed);
    }
    DicomMaker& fragments(const std::string& data) {
        header(0x7FE0, 0x10, "OB", 0xFFFFFFFF).header(0xFFFE, 0xE000, "", 0);
        return header(0xFFFE, 0xE000, "", static_cast<std::uint32_t>(data.size()))
            .add(data)
            .header(0xFFFE, 0xE0DD, "", 0);
    }

    [[nodiscard]] const std::string& bare() const { return bytes_; }
    /// With preamble, mark and a header naming the transfer syntax.
    [[nodiscard]] std::string file(std::string syntax = {}) const {
        if (syntax.empty())
            syntax = order_ == Order::implicit_little ? "1.2.840.10008.1.2"
                     : order_ == Order::explicit_big  ? "1.2.840.10008.1.2.2"
                                                      : "1.2.840.10008.1.2.1";
        if (syntax.size() % 2 == 1) syntax += '\0';
        DicomMaker head;
        head.raw(0x02, 0x10, "UI", syntax);
        return std::string(128, '\0') + "DICM" + head.bare() + bytes_;
    }

  private:
    Order order_;
    std::string bytes_;
};

} // namespace ringwall::test
