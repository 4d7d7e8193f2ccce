// SPDX-License-Identifier: Apache-2.0
#include "inspection/watched.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <exception>
#include <mutex>
#include <thread>

namespace ringwall {
namespace {

using Report = std::function<void(InspectWatch&)>;

/// The work's side of the watch: a mailbox.
class Mailbox : public InspectWatch {
  public:
    void progress(std::string_view stage, int done, int total) override {
        post([name = std::string(stage), done, total](InspectWatch& outer) {
            outer.progress(name, done, total);
        });
    }
    void hole_finished(const HoleRecord& hole) override {
        post([hole](InspectWatch& outer) { outer.hole_finished(hole); });
    }
    bool cancelled() override { return stop_.load(std::memory_order_relaxed); }

    void stop() { stop_.store(true, std::memory_order_relaxed); }
    void end() {
        const std::lock_guard lock(mutex_);
        ended_ = true;
        news_.notify_one();
    }
    /// Waits up to 10 ms for news; true when the work has ended and nothing is left to hand on.
    bool collect(std::deque<Report>& reports) {
        std::unique_lock lock(mutex_);
        news_.wait_for(lock, std::chrono::milliseconds(10), [this] { return ended_ || !reports_.empty(); });
        reports.swap(reports_);
        return ended_ && reports.empty();
    }

  private:
    void post(Report report) {
        const std::lock_guard lock(mutex_);
        reports_.push_back(std::move(report));
        news_.notify_one();
    }
    std::atomic<bool> stop_ = false;
    std::mutex mutex_;
    std::condition_variable news_;
    std::deque<Report> reports_;
    bool ended_ = false;
};

/// The waiting side; `outer` may throw, and the work must be stopped before that leaves.
void wait_for(Mailbox& mailbox, InspectWatch& outer) {
    std::deque<Report> reports;
    while (!mailbox.collect(reports)) {
        for (const auto& report : reports)
            report(outer);
        reports.clear();
        if (outer.cancelled()) mailbox.stop();
    }
}

} // namespace

void run_watched(InspectWatch& outer, const std::function<void(InspectWatch&)>& work) {
    Mailbox mailbox;
    if (outer.cancelled()) mailbox.stop();
    std::exception_ptr from_work, from_outer;
    std::thread worker([&] {
        try {
            work(mailbox);
        } catch (...) {
            from_work = std::current_exception();
        }
        mailbox.end();
    });
    try {
        wait_for(mailbox, outer);
    } catch (...) {
        from_outer = std::current_exception();
        mailbox.stop();
    }
    worker.join();
    if (from_outer) std::rethrow_exception(from_outer);
    if (from_work) std::rethrow_exception(from_work);
}

void for_each_index(int jobs, int count, InspectWatch& watch, const std::function<void(int)>& body) {
    const int wanted = jobs > 0 ? jobs : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
    std::atomic<int> next = 0;
    std::mutex mutex;
    std::exception_ptr first;
    int first_index = count;
    const auto take = [&] {
        for (int i = next++; i < count && !watch.cancelled(); i = next++) {
            try {
                body(i);
            } catch (...) {
                const std::lock_guard lock(mutex);
                if (i < first_index) first = std::current_exception(), first_index = i;
                next = count;
            }
        }
    };
    std::vector<std::thread> helpers;
    for (int i = 1; i < std::min(wanted, count); ++i)
        helpers.emplace_back(take);
    take();
    for (auto& helper : helpers)
        helper.join();
    if (first) std::rethrow_exception(first);
    if (watch.cancelled()) throw Cancelled{};
}

} // namespace ringwall
