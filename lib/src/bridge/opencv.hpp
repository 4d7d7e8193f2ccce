// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <opencv2/core.hpp>

namespace ringwall::bridge {

/// The same pixels as a cv::Mat, without a copy. The view must outlive the Mat; a Mat of a constant view must
/// not be written to (OpenCV has no constant Mat).
template<typename T>
cv::Mat as_mat(ImageView<T> view) {
    using Pixel = std::remove_const_t<T>;
    return cv::Mat(view.height(), view.width(), cv::traits::Type<Pixel>::value,
                   const_cast<Pixel*>(view.row(0)), static_cast<std::size_t>(view.stride()) * sizeof(Pixel));
}

} // namespace ringwall::bridge
