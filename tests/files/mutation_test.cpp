// SPDX-License-Identifier: Apache-2.0
#include "files/dicom_maker.hpp"
#include "files/mutations.hpp"
#include "files/scratch.hpp"

#include <cstdio> // jpeglib.h needs it before itself
#include <cstdlib>
#include <fcntl.h>
#include <jpeglib.h>
#include <map>
#include <memory>
#include <tiffio.h>
#include <zlib.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

using Bytes = std::vector<unsigned char>;

constexpr int side = 24;

/// A JPEG in memory.
std::string jpeg(bool colour, bool progressive) {
    jpeg_compress_struct jpeg{};
    jpeg_error_mgr errors{};
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    unsigned char* bytes = nullptr;
    unsigned long size = 0;
    jpeg_mem_dest(&jpeg, &bytes, &size);
    jpeg.image_width = jpeg.image_height = side;
    jpeg.input_components = colour ? 3 : 1;
    jpeg.in_color_space = colour ? JCS_RGB : JCS_GRAYSCALE;
    jpeg_set_defaults(&jpeg);
    if (progressive) jpeg_simple_progression(&jpeg);
    jpeg_start_compress(&jpeg, TRUE);
    for (int y = 0; y < side; ++y) {
        std::vector<JSAMPLE> row;
        for (int i = 0; i < side * jpeg.input_components; ++i)
            row.push_back(static_cast<JSAMPLE>(i * 7 + y * 13));
        JSAMPROW start = row.data();
        jpeg_write_scanlines(&jpeg, &start, 1);
    }
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    std::string result(reinterpret_cast<char*>(bytes), size);
    std::free(bytes);
    return result;
}

Bytes tiff(const std::filesystem::path& file, int compression, int bits, bool tiled, const char* mode,
           int samples = 1) {
    {
        const std::unique_ptr<TIFF, void (*)(TIFF*)> out(TIFFOpen(file.c_str(), mode), TIFFClose);
        REQUIRE(out);
        TIFFSetField(out.get(), TIFFTAG_IMAGEWIDTH, side);
        TIFFSetField(out.get(), TIFFTAG_IMAGELENGTH, side);
        TIFFSetField(out.get(), TIFFTAG_BITSPERSAMPLE, bits);
        TIFFSetField(out.get(), TIFFTAG_SAMPLESPERPIXEL, samples);
        TIFFSetField(out.get(), TIFFTAG_PHOTOMETRIC, samples == 3 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK);
        TIFFSetField(out.get(), TIFFTAG_PLANARCONFIG, tiled ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
        TIFFSetField(out.get(), TIFFTAG_COMPRESSION, compression);
        TIFFSetField(out.get(), TIFFTAG_XRESOLUTION, 508.0);
        TIFFSetField(out.get(), TIFFTAG_YRESOLUTION, 508.0);
        TIFFSetField(out.get(), TIFFTAG_RESOLUTIONUNIT, RESUNIT_CENTIMETER);
        Bytes block(static_cast<std::size_t>(32 * 32 * 8 * samples));
        for (std::size_t i = 0; i < block.size(); ++i)
            block[i] = static_cast<unsigned char>(i * 29 >> 2);
        if (tiled) {
            TIFFSetField(out.get(), TIFFTAG_TILEWIDTH, 16);
            TIFFSetField(out.get(), TIFFTAG_TILELENGTH, 16);
            for (std::uint32_t tile = 0; tile < TIFFNumberOfTiles(out.get()); ++tile)
                TIFFWriteEncodedTile(out.get(), tile, block.data(), TIFFTileSize(out.get()));
        } else {
            TIFFSetField(out.get(), TIFFTAG_ROWSPERSTRIP, 8);
            for (std::uint32_t y = 0; y < side; ++y)
                TIFFWriteScanline(out.get(), block.data() + y, y, 0);
        }
    }
    return bytes_of(file);
}

Bytes bytes(const std::string& text) {
    return {text.begin(), text.end()};
}

std::string zipped(std::string from) {
    std::string packed(compressBound(from.size()), '\0');
    uLongf size = packed.size();
    REQUIRE(compress(reinterpret_cast<Bytef*>(packed.data()), &size,
                     reinterpret_cast<const Bytef*>(from.data()), from.size()) == Z_OK);
    packed.resize(size);
    return packed;
}

std::string raw_pixels() {
    std::string pixels;
    for (int i = 0; i < side * side * 2; ++i)
        pixels += static_cast<char>(i * 37 >> 1);
    return pixels;
}

void add_pictures(const Scratch& scratch, std::map<std::string, Bytes>& kinds) {
    const auto picture = all_different(side, side);
    write_png16(scratch / "a.png", picture.view());
    kinds["PNG"] = bytes_of(scratch / "a.png");
    write_tiff16(scratch / "a.tif", picture.view(), 0.02);
    kinds["TIFF"] = bytes_of(scratch / "a.tif");
    kinds["TIFF LZW tiles"] = tiff(scratch / "b.tif", COMPRESSION_LZW, 16, true, "wb8");
    kinds["TIFF deflate colour planes"] =
        tiff(scratch / "c.tif", COMPRESSION_ADOBE_DEFLATE, 8, true, "wl", 3);
    kinds["TIFF packed bits"] = tiff(scratch / "d.tif", COMPRESSION_PACKBITS, 12, false, "wl");
    kinds["TIFF fax"] = tiff(scratch / "e.tif", COMPRESSION_CCITTFAX4, 1, false, "wl");
    kinds["TIFF JPEG"] = tiff(scratch / "f.tif", COMPRESSION_JPEG, 8, false, "wb");
    kinds["JPEG"] = bytes(jpeg(false, false));
    kinds["JPEG colour progressive"] = bytes(jpeg(true, true));
    Bytes bmp = {'B', 'M', 0, 0,    0, 0, 0, 0,    0, 0, 54, 0, 0, 0,  40,
                 0,   0,   0, side, 0, 0, 0, side, 0, 0, 0,  1, 0, 24, 0};
    bmp.resize(54);
    bmp.resize(54 + side * side * 3, 77);
    kinds["BMP"] = bmp;
}

void add_volumes(std::map<std::string, Bytes>& kinds) {
    const std::string meta = "ObjectType = Image\nNDims = 2\nBinaryData = True\nElementSpacing = 0.02 "
                             "0.02\nDimSize = 24 24\nElementType = MET_USHORT\n";
    kinds["MetaImage"] = bytes(meta + "ElementDataFile = LOCAL\n" + raw_pixels());
    kinds["MetaImage packed"] =
        bytes(meta + "CompressedData = True\nElementDataFile = LOCAL\n" + zipped(raw_pixels()));
    const std::string nrrd = "NRRD0004\ntype: uint16\ndimension: 2\nsizes: 24 24\nendian: little\nspacings: "
                             "0.02 0.02\nunits: \"mm\" \"mm\"\n";
    kinds["NRRD"] = bytes(nrrd + "encoding: raw\n\n" + raw_pixels());
    kinds["NRRD packed"] = bytes(nrrd + "encoding: gzip\n\n" + zipped(raw_pixels()));
    std::string text;
    for (int i = 0; i < side * side; ++i)
        text += std::to_string(i * 101 % 65536) + (i % side + 1 < side ? " " : "\n");
    kinds["NRRD text"] = bytes(nrrd + "encoding: text\n\n" + text);
}

void add_dicom(std::map<std::string, Bytes>& kinds) {
    for (const auto order : {DicomMaker::Order::explicit_little, DicomMaker::Order::implicit_little,
                             DicomMaker::Order::explicit_big}) {
        DicomMaker maker(order);
        maker.header(0x08, 0x1115, "SQ", 0xFFFFFFFF).header(0xFFFE, 0xE000, "", 0xFFFFFFFF).us(0x28, 0x10, 3);
        maker.header(0xFFFE, 0xE00D, "", 0)
            .header(0xFFFE, 0xE0DD, "", 0)
            .text(0x18, 0x1164, "DS", "0.1\\0.1");
        maker.picture(side, side, 16, 12)
            .text(0x28, 0x1053, "DS", "0.5")
            .raw(0x7FE0, 0x10, "OW", raw_pixels());
        kinds["DICOM " + std::to_string(static_cast<int>(order))] = bytes(maker.file());
    }
    DicomMaker packed, runs;
    kinds["DICOM JPEG"] =
        bytes(packed.picture(side, side, 8, 8).fragments(jpeg(false, false)).file("1.2.840.10008.1.2.4.50"));
    std::string head = runs.number(1, 4) + runs.number(64, 4), segment;
    head.resize(64);
    for (int y = 0; y < side; ++y)
        segment += std::string(1, static_cast<char>(1 - side)) + static_cast<char>(y); // repeated runs
    kinds["DICOM runs"] =
        bytes(runs.picture(side, side, 8, 8).fragments(head + segment).file("1.2.840.10008.1.2.5"));
}

/// Everything that reaches the two output streams while it lives, from whatever library.
class Listening {
  public:
    explicit Listening(const std::filesystem::path& file) : file_(file) {
        std::fflush(nullptr);
        const int to = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
        for (int stream : {1, 2}) {
            kept_[stream - 1] = ::dup(stream);
            ::dup2(to, stream);
        }
        ::close(to);
    }
    Listening(const Listening&) = delete;
    Listening& operator=(const Listening&) = delete;
    ~Listening() { stop(); }
    std::string stop() {
        if (kept_[0] < 0) return {};
        std::fflush(nullptr);
        for (int stream : {1, 2}) {
            ::dup2(kept_[stream - 1], stream);
            ::close(kept_[stream - 1]);
            kept_[stream - 1] = -1;
        }
        const auto heard = bytes_of(file_);
        return {heard.begin(), heard.end()};
    }

  private:
    std::filesystem::path file_;
    int kept_[2] = {-1, -1};
};

struct Outcome {
    int read = 0, refused = 0;
    std::string wrong; ///< what went wrong first
};

Outcome try_damaged(const std::filesystem::path& place, const Bytes& whole, std::uint64_t copies) {
    Outcome outcome;
    LoadLimits limits;
    limits.memory_bytes = std::size_t{64} << 20;
    for (std::uint64_t seed = 1; seed <= copies; ++seed) {
        put_bytes(place, mutated(whole, seed));
        try {
            const Radiograph read = load_radiograph(place, limits);
            ++outcome.read;
            const bool sound = read.values.width() == read.facts.width_px &&
                               read.values.height() == read.facts.height_px && read.facts.pages == 1;
            if (!sound) outcome.wrong = "seed " + std::to_string(seed) + ": facts and picture differ";
        } catch (const Error& error) {
            ++outcome.refused;
            const bool one_line = error.fault() == Fault::input && !has(error.what(), "\n");
            if (!one_line) outcome.wrong = "seed " + std::to_string(seed) + ": " + error.what();
        } // anything else ends the test
    }
    return outcome;
}

} // namespace

TEST_CASE("damaged files load or are refused, without a word on the output") {
    const Scratch scratch;
    std::map<std::string, Bytes> kinds;
    add_pictures(scratch, kinds);
    add_volumes(kinds);
    add_dicom(kinds);
    for (const auto& [kind, whole] : kinds) {
        CAPTURE(kind);
        put_bytes(scratch / "whole.any", whole);
        CHECK(refusal(scratch / "whole.any") == "");
        Listening listening(scratch / "heard.txt");
        const Outcome outcome = try_damaged(scratch / "damaged.any", whole, 400);
        const std::string heard = listening.stop();
        CHECK(heard == "");
        CHECK(outcome.wrong == "");
        CHECK(outcome.refused > 40); // the damage is real: it does not all miss
    }
}
