// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "inspection/session.hpp"

#include <atomic>
#include <chrono>
#include <cmath>
#include <mutex>
#include <thread>

namespace ringwall::test {

/// Stages that measure nothing but depend on exactly what the real ones may depend on, so that the glue's
/// promises can be proved: a fit on its candidate, a ring on its fit, wall, kind, seed and neighbours' fits.
struct FakeStages {
    std::atomic<int> loads{0}, exposures{0}, fits{0}, rings{0};
    std::atomic<bool> file_changes{false};
    int columns = 6, rows = 4;
    double spacing_px = 100;
    std::chrono::milliseconds per_hole{0}, per_stage{0};
    std::optional<Error> exposure_fails;

    Stages stages() {
        Stages s = real_stages();
        s.describe_file = [this](const std::filesystem::path& file, const LoadLimits&) {
            return load(file).facts;
        };
        s.load = [this](const std::filesystem::path& file, const LoadLimits&) { return load(file); };
        s.to_transmission = [this](Radiograph picture, const ExposureOptions&, Watch&) {
            return expose(picture);
        };
        s.classify = [](const TransmissionMap& map, Watch&) {
            MaterialMap materials;
            materials.classes = Image<std::uint8_t>(map.t.width(), map.t.height());
            return materials;
        };
        s.find_holes = [this](const TransmissionMap&, const MaterialMap&, Watch&) { return candidates(); };
        s.thinnest_copper_um = [](auto&&...) { return std::optional<double>(); };
        s.learn = [](auto&&...) { return std::make_shared<int>(7); };
        s.fit = [this](const TransmissionMap&, const MaterialMap&, const SharedPriors&,
                       const HoleCandidate& c) { return fit(c); };
        s.reach_px = [](const Hole&) { return 120.0; };
        s.ring = [this](const TransmissionMap&, const MaterialMap&, Hole& hole, std::span<const Hole> near,
                        const RingRequest& request) { ring(hole, near, request); };
        return s;
    }

  private:
    Radiograph load(const std::filesystem::path& file) {
        ++loads;
        std::this_thread::sleep_for(per_stage);
        Radiograph picture;
        picture.facts.file = file.string();
        picture.facts.format = "TIFF";
        picture.facts.sha256 = file_changes && loads > 1 ? "ffff000011112222" : "00112233445566778899";
        picture.facts.width_px = 700, picture.facts.height_px = 500, picture.facts.bits = 16;
        picture.values = Image<float>(700, 500);
        return picture;
    }
    TransmissionMap expose(const Radiograph& picture) {
        ++exposures;
        std::this_thread::sleep_for(per_stage);
        if (exposure_fails) throw *exposure_fails;
        TransmissionMap map;
        map.t = picture.values.clone();
        map.dense = DenseSide::dark;
        map.radiometry = Radiometry::linear;
        map.t_is_physical = true;
        map.blur_sigma_px = Estimate::of(1, 0.01);
        return map;
    }
    [[nodiscard]] std::vector<HoleCandidate> candidates() const {
        std::vector<HoleCandidate> list;
        for (int i = columns * rows - 1; i >= 0; --i) { // not in reading order
            HoleCandidate c;
            c.centre_px = {60 + spacing_px * (i % columns),
                           60 + spacing_px * (i / columns) + 0.5 * ((i * 7) % 3)};
            c.radius_px = 20 + i % 5;
            c.score = 1;
            list.push_back(c);
        }
        return list;
    }
    Hole fit(const HoleCandidate& c) {
        ++fits;
        std::this_thread::sleep_for(per_hole);
        Hole hole;
        hole.seed = c;
        hole.centre_px = {c.centre_px.x + 0.1 * std::sin(c.centre_px.x), c.centre_px.y + 0.01 * c.radius_px};
        hole.bore_px = Estimate::of(2 * c.radius_px + 0.3, 0.05);
        hole.drill_px = hole.bore_px;
        hole.wall.state = static_cast<int>(c.radius_px) % 2 == 0 ? WallState::plated : WallState::bare;
        return hole;
    }
    void ring(Hole& hole, std::span<const Hole> near, const RingRequest& request) {
        ++rings;
        std::this_thread::sleep_for(per_hole);
        double sum = static_cast<double>(request.seed % 1000) / 1000 + static_cast<int>(hole.wall.state);
        for (const auto& other : near) {
            sum += 1 / std::hypot(other.centre_px.x - hole.centre_px.x, other.centre_px.y - hole.centre_px.y);
        }
        hole.keepout.state = KeepOutState::ring_seen;
        hole.keepout.min_px = Estimate::of(10 + sum, 0.1);
        hole.keepout.p_low_px = 9 + sum;
    }
};

inline InspectRequest fake_request() {
    InspectRequest request;
    request.pictures = {"made-up.tif"};
    request.pixel_mm = {0.025, 0.025};
    request.jobs = 1;
    return request;
}

/// Keeps everything it is told.
struct RecordingWatch : InspectWatch {
    std::vector<HoleRecord> holes;
    std::vector<std::string> stages;
    std::vector<std::chrono::steady_clock::time_point> asked;
    std::atomic<int> inside{0};
    bool overlapped = false;
    int stop_after_holes = -1;

    void progress(std::string_view stage, int, int) override {
        const Visit visit(*this);
        if (stages.empty() || stages.back() != stage) stages.emplace_back(stage);
    }
    void hole_finished(const HoleRecord& hole) override {
        const Visit visit(*this);
        holes.push_back(hole);
    }
    bool cancelled() override {
        const Visit visit(*this);
        asked.push_back(std::chrono::steady_clock::now());
        return stop_after_holes >= 0 && static_cast<int>(holes.size()) >= stop_after_holes;
    }

  private:
    struct Visit {
        explicit Visit(RecordingWatch& w) : watch(w) { watch.overlapped |= watch.inside++ > 0; }
        ~Visit() { --watch.inside; }
        Visit(const Visit&) = delete;
        Visit& operator=(const Visit&) = delete;
        RecordingWatch& watch;
    };
};

inline BoardRecord record_of_outcome(InspectOutcome outcome) {
    if (const auto* error = std::get_if<Error>(&outcome)) throw *error;
    return std::get<BoardRecord>(std::move(outcome));
}

} // namespace ringwall::test
