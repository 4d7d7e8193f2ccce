// SPDX-License-Identifier: Apache-2.0
#include "files/readers.hpp"

#include <csetjmp>
#include <cstdio> // jpeglib.h needs it before itself
#include <jpeglib.h>

namespace ringwall::files {
namespace {

/// What the library's callbacks work on. It leaves errors by longjmp, so nothing here owns memory.
struct JpegState {
    jpeg_error_mgr errors{}; // first: the library hands out its address
    jpeg_source_mgr source{};
    jpeg_progress_mgr progress{};
    std::jmp_buf jump{};
    const SourceFile* file = nullptr;
    std::uint64_t position = 0;
    std::array<char, JMSG_LENGTH_MAX> message{};
    std::array<JOCTET, 1U << 16> buffer{};
};

JpegState& state_of(j_common_ptr jpeg) {
    return *static_cast<JpegState*>(jpeg->client_data);
}

[[noreturn]] void on_error(j_common_ptr jpeg) {
    JpegState& state = state_of(jpeg);
    jpeg->err->format_message(jpeg, state.message.data());
    std::longjmp(state.jump, 1);
}

/// The library only warns of data that ended early or made no sense, and fills in grey: an error here.
void on_message(j_common_ptr jpeg, int level) {
    if (level < 0) on_error(jpeg);
}

void print_nothing(j_common_ptr) {}
void on_start(j_decompress_ptr) {}
void on_end(j_decompress_ptr) {}

boolean on_fill(j_decompress_ptr jpeg) {
    JpegState& state = state_of(reinterpret_cast<j_common_ptr>(jpeg));
    const std::size_t got = state.file->read_some(state.position, state.buffer.data(), state.buffer.size());
    state.position += got;
    if (got == 0) {
        std::snprintf(state.message.data(), state.message.size(), "the file ends within the picture");
        std::longjmp(state.jump, 1);
    }
    state.source.next_input_byte = state.buffer.data();
    state.source.bytes_in_buffer = got;
    return TRUE;
}

void on_skip(j_decompress_ptr jpeg, long count) {
    JpegState& state = state_of(reinterpret_cast<j_common_ptr>(jpeg));
    if (count <= 0) return;
    const auto wanted = static_cast<std::size_t>(count);
    if (wanted <= state.source.bytes_in_buffer) {
        state.source.next_input_byte += wanted;
        state.source.bytes_in_buffer -= wanted;
        return;
    }
    state.position += wanted - state.source.bytes_in_buffer;
    state.source.bytes_in_buffer = 0;
}

/// A small progressive file can ask for thousands of scans over a large picture.
void on_progress(j_common_ptr jpeg) {
    constexpr int most_scans = 200;
    const auto* decoder = reinterpret_cast<j_decompress_ptr>(jpeg);
    if (decoder->input_scan_number <= most_scans) return;
    std::snprintf(state_of(jpeg).message.data(), JMSG_LENGTH_MAX, "more than %d scans", most_scans);
    std::longjmp(state_of(jpeg).jump, 1);
}

class JpegFile {
  public:
    explicit JpegFile(const SourceFile& file) : file_(file) {
        state_.file = &file;
        jpeg_.err = jpeg_std_error(&state_.errors);
        state_.errors.error_exit = on_error;
        state_.errors.emit_message = on_message;
        state_.errors.output_message = print_nothing;
        state_.source.init_source = on_start;
        state_.source.fill_input_buffer = on_fill;
        state_.source.skip_input_data = on_skip;
        state_.source.resync_to_restart = jpeg_resync_to_restart;
        state_.source.term_source = on_end;
        state_.progress.progress_monitor = on_progress;
        jpeg_.client_data = &state_;
    }
    JpegFile(const JpegFile&) = delete;
    JpegFile& operator=(const JpegFile&) = delete;
    ~JpegFile() { jpeg_destroy_decompress(&jpeg_); }

    const jpeg_decompress_struct& header() {
        if (!read_header()) fail();
        return jpeg_;
    }
    void start(J_COLOR_SPACE space) {
        jpeg_.out_color_space = space;
        if (!start_rows()) fail();
    }
    void row(std::byte* out) {
        if (!read_row(reinterpret_cast<JSAMPROW>(out))) fail();
    }
    void finish() {
        if (!read_end()) fail();
    }

  private:
    bool read_header() {
        if (setjmp(state_.jump) != 0) return false;
        jpeg_create_decompress(&jpeg_);
        jpeg_.client_data = &state_; // creating cleared it
        jpeg_.src = &state_.source;
        jpeg_.progress = &state_.progress;
        jpeg_read_header(&jpeg_, TRUE);
        return true;
    }
    bool start_rows() {
        if (setjmp(state_.jump) != 0) return false;
        jpeg_.dct_method = JDCT_ISLOW;
        return jpeg_start_decompress(&jpeg_) == TRUE;
    }
    bool read_row(JSAMPROW out) {
        if (setjmp(state_.jump) != 0) return false;
        return jpeg_read_scanlines(&jpeg_, &out, 1) == 1;
    }
    bool read_end() {
        if (setjmp(state_.jump) != 0) return false;
        return jpeg_finish_decompress(&jpeg_) == TRUE;
    }
    [[noreturn]] void fail() const {
        file_.refuse("is a damaged or cut-off JPEG: " + clean_line(state_.message.data()));
    }

    const SourceFile& file_;
    JpegState state_;
    jpeg_decompress_struct jpeg_{};
};

SourceFacts read_facts(const jpeg_decompress_struct& jpeg) {
    SourceFacts facts;
    facts.format = "JPEG";
    facts.width_px = static_cast<int>(jpeg.image_width);
    facts.height_px = static_cast<int>(jpeg.image_height);
    facts.bits = 8;
    facts.full_scale = 255;
    facts.lossy = true;
    facts.colour = jpeg.num_components > 1;
    if (jpeg.saw_JFIF_marker == FALSE) return facts;
    const double x = jpeg.X_density, y = jpeg.Y_density;
    const std::string value = number(x) + (x == y ? "" : " x " + number(y));
    if (jpeg.density_unit == 1)
        take_resolution(facts, {x / 25.4, y / 25.4}, "JPEG resolution, " + value + " per inch");
    if (jpeg.density_unit == 2)
        take_resolution(facts, {x / 10, y / 10}, "JPEG resolution, " + value + " per cm");
    return facts;
}

/// Progressive files, and those whose channels come one after the other, are held whole as 16-bit
/// coefficients.
std::uint64_t working_bytes(jpeg_decompress_struct& jpeg) {
    const std::uint64_t pixels = std::uint64_t{jpeg.image_width} * jpeg.image_height;
    const bool whole = jpeg_has_multiple_scans(&jpeg) == TRUE;
    return whole ? pixels * static_cast<std::uint64_t>(jpeg.num_components) * 2
                 : std::uint64_t{jpeg.image_width} * 200;
}

} // namespace

Radiograph read_jpeg(const SourceFile& file, const LoadLimits& limits, Want want) {
    const auto jpeg = std::make_unique<JpegFile>(file); // 64 KiB of buffer: not on the stack
    jpeg_decompress_struct header = jpeg->header();
    check_size(file, header.image_width, header.image_height, limits, working_bytes(header));
    const bool grey = header.jpeg_color_space == JCS_GRAYSCALE;
    if (!grey && header.jpeg_color_space != JCS_YCbCr && header.jpeg_color_space != JCS_RGB)
        file.refuse("is a JPEG of " + std::to_string(header.num_components) +
                    " channels that are neither grey nor RGB");
    Radiograph radiograph;
    radiograph.facts = read_facts(header);
    if (want == Want::facts) return radiograph;
    radiograph.values = make_picture(file, radiograph.facts);
    jpeg->start(grey ? JCS_GRAYSCALE : JCS_RGB);
    RowConverter rows({SampleKind::unsigned_integer, 8}, grey ? ColourModel::grey : ColourModel::rgb,
                      grey ? 1 : 3);
    std::vector<std::byte> line(static_cast<std::size_t>(radiograph.values.width()) * 3);
    for (int y = 0; y < radiograph.values.height(); ++y) {
        jpeg->row(line.data());
        rows.interleaved(line.data(), radiograph.values.width(), radiograph.values.view().row(y));
    }
    jpeg->finish();
    finish_rows(file, radiograph, rows);
    return radiograph;
}

} // namespace ringwall::files
