// SPDX-License-Identifier: Apache-2.0
#include "files/dicom_scan.hpp"
#include "files/readers.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <exception>
#include <initializer_list>
#include <new>

namespace ringwall {
namespace files {
namespace {

using Reader = Radiograph (*)(const SourceFile&, const LoadLimits&, Want);

bool starts_with(std::span<const std::byte> head, std::initializer_list<int> bytes) {
    return head.size() >= bytes.size() &&
           std::equal(bytes.begin(), bytes.end(), head.begin(),
                      [](int a, std::byte b) { return a == std::to_integer<int>(b); });
}

/// A first line "Key = value" with one of the keys that such headers begin with.
bool starts_like_meta_image(std::span<const std::byte> head) {
    const std::string_view text(reinterpret_cast<const char*>(head.data()), head.size());
    const auto begins_with = [&](std::string_view key) {
        if (!text.starts_with(key)) return false;
        const std::size_t sign = text.find_first_not_of(' ', key.size());
        return sign != std::string_view::npos && text[sign] == '=';
    };
    return begins_with("ObjectType") || begins_with("ObjectSubType") || begins_with("NDims") ||
           begins_with("Comment");
}

/// By content: the name's ending is what people type, the first bytes are what the file is.
Reader reader_for(std::span<const std::byte> head) {
    if (has_dicom_mark(head)) return read_dicom; // its preamble may hold a TIFF header for other programs
    const bool tiff = starts_with(head, {'I', 'I', 42, 0}) || starts_with(head, {'M', 'M', 0, 42}) ||
                      starts_with(head, {'I', 'I', 43, 0}) || starts_with(head, {'M', 'M', 0, 43});
    if (tiff) return read_tiff;
    if (starts_with(head, {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'})) return read_png;
    if (starts_with(head, {0xff, 0xd8, 0xff})) return read_jpeg;
    if (starts_with(head, {'B', 'M'})) return read_bmp;
    if (starts_with(head, {'N', 'R', 'R', 'D', '0', '0', '0'})) return read_nrrd;
    if (starts_like_meta_image(head)) return read_meta_image;
    if (looks_like_dicom(head)) return read_dicom;
    return nullptr;
}

Radiograph read(const std::filesystem::path& path, const LoadLimits& limits, Want want) {
    const SourceFile file(path);
    std::array<std::byte, 256> head{};
    const std::size_t known = file.read_some(0, head.data(), head.size());
    const Reader reader = reader_for(std::span(head.data(), known));
    if (reader == nullptr)
        file.refuse("is no picture of a known kind, expected TIFF, PNG, JPEG, BMP, MetaImage, NRRD or DICOM");
    try {
        Radiograph radiograph = reader(file, limits, want);
        radiograph.facts.file = path.string();
        if (radiograph.facts.sha256.empty()) radiograph.facts.sha256 = sha256_of(file);
        return radiograph;
    } catch (const Error&) {
        throw;
    } catch (const std::bad_alloc&) {
        file.refuse("needs more memory than this machine gives");
    } catch (const std::exception& other) {
        // Whatever a decoder throws is the file's fault until shown otherwise.
        file.refuse("cannot be decoded: " + clean_line(other.what()));
    }
}

} // namespace
} // namespace files

Radiograph load_radiograph(const std::filesystem::path& file, const LoadLimits& limits) {
    return files::read(file, limits, files::Want::picture);
}

SourceFacts describe_file(const std::filesystem::path& file, const LoadLimits& limits) {
    return files::read(file, limits, files::Want::facts).facts;
}

} // namespace ringwall
