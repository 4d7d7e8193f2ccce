// SPDX-License-Identifier: Apache-2.0
#include "files/readers.hpp"
#include "files/samples.hpp"

#include <png.h>

namespace ringwall::files {
namespace {

/// What libpng's callbacks work on. Kept apart from everything that owns memory: an error leaves by longjmp.
struct PngState {
    const SourceFile* file = nullptr;
    std::uint64_t position = 0;
    std::array<char, 200> message{};
};

void keep_message(PngState& state, const char* message) {
    std::size_t i = 0;
    for (; message[i] != '\0' && i + 1 < state.message.size(); ++i)
        state.message[i] = message[i];
    state.message[i] = '\0';
}

[[noreturn]] void on_error(png_structp png, png_const_charp message) {
    keep_message(*static_cast<PngState*>(png_get_error_ptr(png)), message);
    png_longjmp(png, 1);
}

void on_warning(png_structp, png_const_charp) {} // of chunks that do not touch the pixels

void on_read(png_structp png, png_bytep out, std::size_t count) {
    PngState& state = *static_cast<PngState*>(png_get_io_ptr(png));
    const std::size_t got = state.file->read_some(state.position, out, count);
    state.position += got;
    if (got != count) png_error(png, "the file is cut off");
}

struct PngHeader {
    png_uint_32 width = 0, height = 0;
    int bits = 0, colour_type = 0, interlace = 0;
    png_uint_32 per_m_x = 0, per_m_y = 0;
    int unit = PNG_RESOLUTION_UNKNOWN;
    bool has_resolution = false;
    int significant_bits = 0;
    bool has_transparency = false;
    int palette_size = 0;
    std::array<png_color, 256> palette{};
};

/// libpng's handle. Each member that calls the library sets the jump itself and holds nothing that needs
/// destroying.
class PngFile {
  public:
    PngFile(const SourceFile& file, const LoadLimits& limits) : file_(file) {
        state_.file = &file;
        png_ = png_create_read_struct(PNG_LIBPNG_VER_STRING, &state_, on_error, on_warning);
        info_ = png_ != nullptr ? png_create_info_struct(png_) : nullptr;
        if (info_ == nullptr) file.refuse("needs more memory than this machine gives");
        png_set_read_fn(png_, &state_, on_read);
        png_set_user_limits(png_, PNG_UINT_31_MAX, PNG_UINT_31_MAX);
        png_set_chunk_cache_max(png_, 1000);
        png_set_chunk_malloc_max(png_, std::min<std::size_t>(limits.memory_bytes, std::size_t{8} << 20));
        png_set_crc_action(png_, PNG_CRC_ERROR_QUIT, PNG_CRC_WARN_DISCARD);
        // Colour profiles say nothing that is used here and are a place where damage hides.
        png_set_keep_unknown_chunks(png_, PNG_HANDLE_CHUNK_NEVER, nullptr, 0);
    }
    PngFile(const PngFile&) = delete;
    PngFile& operator=(const PngFile&) = delete;
    ~PngFile() { png_destroy_read_struct(&png_, &info_, nullptr); }

    PngHeader header() {
        PngHeader header;
        if (!read_header(header)) fail();
        return header;
    }
    /// Sets up what the pixels are turned into; returns the bytes of a row.
    std::size_t start() {
        if (!start_rows()) fail();
        return png_get_rowbytes(png_, info_);
    }
    void row(std::byte* out) {
        if (!read_row(out)) fail();
    }
    /// Reads on to the end mark; a file that stops before it is cut off.
    void finish() {
        if (!read_end()) fail();
    }

  private:
    bool read_header(PngHeader& header) {
        if (setjmp(png_jmpbuf(png_)) != 0) return false;
        png_read_info(png_, info_);
        png_get_IHDR(png_, info_, &header.width, &header.height, &header.bits, &header.colour_type,
                     &header.interlace, nullptr, nullptr);
        header.has_resolution =
            png_get_pHYs(png_, info_, &header.per_m_x, &header.per_m_y, &header.unit) != 0;
        header.has_transparency = png_get_valid(png_, info_, PNG_INFO_tRNS) != 0;
        png_color_8p significant = nullptr;
        if (png_get_sBIT(png_, info_, &significant) != 0)
            header.significant_bits =
                (header.colour_type & PNG_COLOR_MASK_COLOR) != 0 ? significant->green : significant->gray;
        png_colorp colours = nullptr;
        if (png_get_PLTE(png_, info_, &colours, &header.palette_size) != 0)
            std::copy_n(colours, header.palette_size, header.palette.begin());
        return true;
    }
    bool start_rows() {
        if (setjmp(png_jmpbuf(png_)) != 0) return false;
        png_set_swap(png_); // the machine's byte order
        png_set_packing(png_);
        png_set_interlace_handling(png_);
        png_read_update_info(png_, info_);
        return true;
    }
    bool read_row(std::byte* out) {
        if (setjmp(png_jmpbuf(png_)) != 0) return false;
        png_read_row(png_, reinterpret_cast<png_bytep>(out), nullptr);
        return true;
    }
    bool read_end() {
        if (setjmp(png_jmpbuf(png_)) != 0) return false;
        png_read_end(png_, nullptr);
        return true;
    }
    [[noreturn]] void fail() const {
        file_.refuse("is a damaged or cut-off PNG: " + clean_line(state_.message.data()));
    }

    const SourceFile& file_;
    PngState state_;
    png_structp png_ = nullptr;
    png_infop info_ = nullptr;
};

int channels_in(const PngHeader& header) {
    if (header.colour_type == PNG_COLOR_TYPE_PALETTE) return 1;
    const int colours = (header.colour_type & PNG_COLOR_MASK_COLOR) != 0 ? 3 : 1;
    return colours + ((header.colour_type & PNG_COLOR_MASK_ALPHA) != 0 ? 1 : 0);
}

ColourModel model_of(const PngHeader& header) {
    if (header.colour_type == PNG_COLOR_TYPE_PALETTE) return ColourModel::palette;
    return (header.colour_type & PNG_COLOR_MASK_COLOR) != 0 ? ColourModel::rgb : ColourModel::grey;
}

SourceFacts read_facts(const PngHeader& header) {
    SourceFacts facts;
    facts.format = "PNG";
    facts.width_px = static_cast<int>(header.width);
    facts.height_px = static_cast<int>(header.height);
    const bool palette = header.colour_type == PNG_COLOR_TYPE_PALETTE;
    facts.bits = palette ? 8 : header.bits;
    facts.full_scale = highest_of({SampleKind::unsigned_integer, facts.bits});
    if (!palette && header.significant_bits > 0 && header.significant_bits < header.bits)
        facts.bits = header.significant_bits;
    facts.colour = model_of(header) != ColourModel::grey;
    if (header.has_transparency || (header.colour_type & PNG_COLOR_MASK_ALPHA) != 0)
        facts.notes.emplace_back("transparency ignored");
    if (!header.has_resolution) return facts;
    const std::string value =
        std::to_string(header.per_m_x) +
        (header.per_m_x == header.per_m_y ? "" : " x " + std::to_string(header.per_m_y));
    if (header.unit == PNG_RESOLUTION_METER)
        take_resolution(facts, {header.per_m_x / 1000.0, header.per_m_y / 1000.0},
                        "PNG resolution, " + value + " per m");
    else
        facts.notes.push_back("PNG resolution, " + value + " ignored: no unit of length");
    return facts;
}

RowConverter converter(const PngHeader& header) {
    // libpng unpacks indices and grey of less than 8 bits to a byte each, without scaling.
    RowConverter rows({SampleKind::unsigned_integer, std::max(header.bits, 8)}, model_of(header),
                      channels_in(header));
    if (header.colour_type == PNG_COLOR_TYPE_PALETTE) {
        std::vector<std::array<float, 3>> colours;
        for (int i = 0; i < header.palette_size; ++i) {
            const png_color& colour = header.palette[static_cast<std::size_t>(i)];
            colours.push_back({static_cast<float>(colour.red), static_cast<float>(colour.green),
                               static_cast<float>(colour.blue)});
        }
        rows.set_palette(colours);
    }
    return rows;
}

/// Interlaced pictures come in seven passes over the same rows, so all rows are held until the last.
void decode(PngFile& png, const PngHeader& header, RowConverter& rows, Image<float>& picture) {
    const std::size_t row_bytes = png.start();
    const bool interlaced = header.interlace != PNG_INTERLACE_NONE;
    const auto height = static_cast<std::size_t>(picture.height());
    std::vector<std::byte> buffer(row_bytes * (interlaced ? height : 1));
    constexpr int passes = 7;
    for (int pass = 0; interlaced && pass + 1 < passes; ++pass)
        for (std::size_t y = 0; y < height; ++y)
            png.row(buffer.data() + y * row_bytes);
    for (std::size_t y = 0; y < height; ++y) {
        std::byte* row = buffer.data() + (interlaced ? y * row_bytes : 0);
        png.row(row);
        rows.interleaved(row, picture.width(), picture.view().row(static_cast<int>(y)));
    }
    png.finish();
}

} // namespace

Radiograph read_png(const SourceFile& file, const LoadLimits& limits, Want want) {
    PngFile png(file, limits);
    const PngHeader header = png.header();
    const std::uint64_t row_bytes = std::uint64_t{header.width} *
                                    static_cast<std::uint64_t>(channels_in(header)) *
                                    (header.bits > 8 ? 2 : 1);
    check_size(file, header.width, header.height, limits);
    check_size(file, header.width, header.height, limits,
               header.interlace != PNG_INTERLACE_NONE ? row_bytes * header.height : 3 * row_bytes);
    Radiograph radiograph;
    radiograph.facts = read_facts(header);
    if (want == Want::facts) return radiograph;
    radiograph.values = make_picture(file, radiograph.facts);
    RowConverter rows = converter(header);
    decode(png, header, rows, radiograph.values);
    finish_rows(file, radiograph, rows);
    return radiograph;
}

} // namespace ringwall::files
