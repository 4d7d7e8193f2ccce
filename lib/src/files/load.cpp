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

} // namespace

FileKind kind_of(const SourceFile& file) {
    std::array<std::byte, 256> bytes{};
    const auto head = std::span(bytes.data(), file.read_some(0, bytes.data(), bytes.size()));
    if (has_dicom_mark(head))
        return FileKind::dicom; // its preamble may hold a TIFF header for other programs
    const bool tiff = starts_with(head, {'I', 'I', 42, 0}) || starts_with(head, {'M', 'M', 0, 42}) ||
                      starts_with(head, {'I', 'I', 43, 0}) || starts_with(head, {'M', 'M', 0, 43});
    if (tiff) return FileKind::tiff;
    if (starts_with(head, {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'})) return FileKind::png;
    if (starts_with(head, {0xff, 0xd8, 0xff})) return FileKind::jpeg;
    if (starts_with(head, {'B', 'M'})) return FileKind::bmp;
    if (starts_with(head, {'N', 'R', 'R', 'D', '0', '0', '0'})) return FileKind::nrrd;
    if (starts_like_meta_image(head)) return FileKind::meta_image;
    return looks_like_dicom(head) ? FileKind::dicom : FileKind::unknown;
}

PictureReader reader_of(FileKind kind) {
    switch (kind) {
    case FileKind::tiff:
        return read_tiff;
    case FileKind::png:
        return read_png;
    case FileKind::jpeg:
        return read_jpeg;
    case FileKind::bmp:
        return read_bmp;
    case FileKind::nrrd:
        return read_nrrd;
    case FileKind::meta_image:
        return read_meta_image;
    case FileKind::dicom:
        return read_dicom;
    case FileKind::unknown:
        break;
    }
    return nullptr;
}

void refuse_unknown(const SourceFile& file) {
    file.refuse("is no picture of a known kind, expected TIFF, PNG, JPEG, BMP, MetaImage, NRRD or DICOM");
}

namespace {

Radiograph read(const std::filesystem::path& path, const LoadLimits& limits, Want want) {
    const SourceFile file(path);
    const PictureReader reader = reader_of(kind_of(file));
    if (reader == nullptr) refuse_unknown(file);
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
