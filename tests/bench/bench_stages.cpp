// SPDX-License-Identifier: Apache-2.0
// The share of each stage in one measurement, as a markdown table: bench_stages PICTURE PIXEL_MM [JOBS]
//
// Told from the progress that the library reports: the time between two reports belongs to the stage of the
// first. With several jobs the stages of different holes run at once and the shares blur; JOBS 1 (the
// default) keeps them apart.
#include "ringwall/inspection.hpp"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <utility>
#include <vector>

namespace {

class StageClock : public ringwall::InspectWatch {
  public:
    void progress(std::string_view stage, int /*done*/, int /*total*/) override {
        add_time_to(current_);
        current_ = stage;
    }
    void finish() { add_time_to(current_); }
    [[nodiscard]] const std::vector<std::pair<std::string, double>>& seconds() const { return seconds_; }

  private:
    void add_time_to(const std::string& stage) {
        const auto now = std::chrono::steady_clock::now();
        const double passed = std::chrono::duration<double>(now - last_).count();
        last_ = now;
        for (auto& [name, sum] : seconds_)
            if (name == stage) return void(sum += passed);
        seconds_.emplace_back(stage, passed);
    }

    std::chrono::steady_clock::time_point last_ = std::chrono::steady_clock::now();
    std::string current_ = "before the first report";
    std::vector<std::pair<std::string, double>> seconds_;
};

void print(const StageClock& clock, std::size_t holes) {
    double all = 0;
    for (const auto& [name, seconds] : clock.seconds())
        all += seconds;
    std::printf("| stage | s | share |\n|---|---|---|\n");
    for (const auto& [name, seconds] : clock.seconds())
        std::printf("| %s | %.3f | %.0f %% |\n", name.c_str(), seconds, 100 * seconds / all);
    std::printf("| all, %zu holes | %.3f | 100 %% |\n", holes, all);
}

} // namespace

int main(int argc, char** argv) {
    if (argc < 3) {
        std::fprintf(stderr, "usage: bench_stages PICTURE PIXEL_MM [JOBS]\n");
        return 2;
    }
    ringwall::InspectRequest request;
    request.pictures = {argv[1]};
    request.pixel_mm = {{std::atof(argv[2]), std::atof(argv[2])}};
    request.jobs = argc > 3 ? std::atoi(argv[3]) : 1;
    StageClock clock;
    const ringwall::InspectOutcome outcome = ringwall::inspect(request, clock);
    clock.finish();
    if (const auto* error = std::get_if<ringwall::Error>(&outcome)) {
        std::fprintf(stderr, "bench_stages: %s\n", error->what());
        return static_cast<int>(error->fault());
    }
    const auto* record = std::get_if<ringwall::BoardRecord>(&outcome);
    print(clock, record != nullptr ? record->holes.size() : 0);
}
