// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <type_traits>

namespace ringwall {

/// A point in picture coordinates: pixel (0,0) has its centre at (0,0); x right, y down. Unit px unless the
/// name says mm.
struct Point {
    double x = 0;
    double y = 0;
    bool operator==(const Point&) const = default;
};

/// A look at pixels that somebody else owns. Rows are `stride` pixels apart; (x, y) is column, row.
template<typename T>
class ImageView {
  public:
    ImageView() = default;
    ImageView(T* pixels, int width, int height, std::ptrdiff_t stride)
        : pixels_(pixels), width_(width), height_(height), stride_(stride) {}
    /// A view of mutable pixels reads as a view of constant ones.
    operator ImageView<const T>() const { return {pixels_, width_, height_, stride_}; }

    [[nodiscard]] int width() const { return width_; }
    [[nodiscard]] int height() const { return height_; }
    [[nodiscard]] std::ptrdiff_t stride() const { return stride_; }
    [[nodiscard]] std::size_t size() const {
        return static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_);
    }
    [[nodiscard]] bool empty() const { return width_ == 0 || height_ == 0; }
    [[nodiscard]] T* row(int y) const {
        assert(y >= 0 && y < height_);
        return pixels_ + y * stride_;
    }
    T& operator()(int x, int y) const {
        assert(x >= 0 && x < width_);
        return row(y)[x];
    }
    [[nodiscard]] bool contains(int x, int y) const { return x >= 0 && y >= 0 && x < width_ && y < height_; }
    /// The part of the rectangle that lies inside, as a view with its own (0,0).
    [[nodiscard]] ImageView window(int x0, int y0, int width, int height) const {
        const int left = std::clamp(x0, 0, width_), top = std::clamp(y0, 0, height_);
        const int right = std::clamp(x0 + width, left, width_),
                  bottom = std::clamp(y0 + height, top, height_);
        return {pixels_ + top * stride_ + left, right - left, bottom - top, stride_};
    }

  private:
    T* pixels_ = nullptr;
    int width_ = 0;
    int height_ = 0;
    std::ptrdiff_t stride_ = 0;
};

namespace detail {
/// Zero-filled memory for the pixels of a picture, large pictures on large pages; throws std::bad_alloc.
void* take_pixels(std::size_t bytes);
void give_back_pixels(void* memory, std::size_t bytes) noexcept;

struct GiveBack {
    std::size_t bytes = 0;
    void operator()(void* memory) const noexcept { give_back_pixels(memory, bytes); }
};
} // namespace detail

/// Owner of a picture: contiguous rows, move-only, copied only by clone(). T is a plain number type.
template<typename T>
class Image {
  public:
    Image() = default;
    /// Zero-filled.
    Image(int width, int height) : width_(width), height_(height) {
        const std::size_t bytes = size() * sizeof(T);
        pixels_ = Pixels(static_cast<T*>(detail::take_pixels(bytes)), detail::GiveBack{bytes});
    }
    Image(Image&&) noexcept = default;
    Image& operator=(Image&&) noexcept = default;
    Image(const Image&) = delete;
    Image& operator=(const Image&) = delete;
    ~Image() = default;
    [[nodiscard]] Image clone() const {
        Image copy(width_, height_);
        std::copy_n(pixels_.get(), size(), copy.pixels_.get());
        return copy;
    }

    [[nodiscard]] int width() const { return width_; }
    [[nodiscard]] int height() const { return height_; }
    [[nodiscard]] std::size_t size() const {
        return static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_);
    }
    [[nodiscard]] bool empty() const { return size() == 0; }
    T* data() { return pixels_.get(); }
    [[nodiscard]] const T* data() const { return pixels_.get(); }
    T& operator()(int x, int y) { return view()(x, y); }
    const T& operator()(int x, int y) const { return view()(x, y); }
    ImageView<T> view() { return {pixels_.get(), width_, height_, width_}; }
    [[nodiscard]] ImageView<const T> view() const { return {pixels_.get(), width_, height_, width_}; }
    [[nodiscard]] bool contains(int x, int y) const { return x >= 0 && y >= 0 && x < width_ && y < height_; }

  private:
    static_assert(std::is_trivial_v<T>, "zero-filled memory is a T, and nothing is destroyed");
    using Pixels = std::unique_ptr<T[], detail::GiveBack>;
    Pixels pixels_;
    int width_ = 0;
    int height_ = 0;
};

} // namespace ringwall
