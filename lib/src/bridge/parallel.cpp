// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"

#include <opencv2/core.hpp>

#include <exception>
#include <mutex>

namespace ringwall::bridge {

void over_rows(int count, const std::function<void(int, int)>& work) {
    std::mutex mutex;
    std::exception_ptr first; // OpenCV would put an exception of its own in its place
    int first_at = count;
    cv::parallel_for_(cv::Range(0, count), [&](const cv::Range& range) {
        try {
            work(range.start, range.end);
        } catch (...) {
            const std::lock_guard lock(mutex);
            if (range.start < first_at) first = std::current_exception(), first_at = range.start;
        }
    });
    if (first) std::rethrow_exception(first);
}

void over_each(int count, Watch& watch, const std::function<void(int)>& work) {
    std::mutex mutex;
    const auto cancelled = [&] { // a watch is asked by one thread at a time
        const std::lock_guard lock(mutex);
        return watch.cancelled();
    };
    over_rows(count, [&](int from, int to) {
        for (int i = from; i < to; ++i) {
            if (cancelled()) throw Cancelled{};
            work(i);
        }
    });
}

PoolSize::PoolSize(int jobs) {
    if (jobs <= 0) return;
    before_ = cv::getNumThreads();
    cv::setNumThreads(jobs);
}

PoolSize::~PoolSize() {
    if (before_ > 0) cv::setNumThreads(before_);
}

} // namespace ringwall::bridge
