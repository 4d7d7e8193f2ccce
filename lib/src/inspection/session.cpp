// SPDX-License-Identifier: Apache-2.0
#include "inspection/session.hpp"

namespace ringwall {
namespace {

std::optional<Radiograph> load_beside(const std::optional<std::filesystem::path>& file,
                                      const Session::Products& products) {
    if (!file) return std::nullopt;
    LoadLimits limits;
    limits.memory_bytes = products.request.memory_bytes;
    return products.stages.load(*file, limits);
}

/// A file with several pages is no bad file: it waits for a stage that is not there yet.
Radiograph load_one(const Session::Products& products, const LoadLimits& limits) {
    const std::filesystem::path& file = products.request.pictures.front();
    try {
        return products.stages.load(file, limits);
    } catch (const Error& error) {
        int pages = 1;
        try {
            pages = products.stages.describe_file(file, limits).pages;
        } catch (const Error&) {
            throw error;
        }
        if (pages <= 1) throw;
        throw Error(Fault::usage, file.string() + ": " + std::to_string(pages) +
                                      " pages or slices: a slice stack; --shot stack measures it");
    }
}

ExposureFacts facts_of(const TransmissionMap& map) {
    return {map.radiometry,    map.t_is_physical,      map.dense,   map.noise,
            map.blur_sigma_px, map.saturated_fraction, map.warnings};
}

void check_request(const InspectRequest& request) {
    if (request.pictures.size() != 1) {
        throw Error(Fault::usage, "expected exactly one picture, got " +
                                      std::to_string(request.pictures.size()) +
                                      ": several pictures of one board are not in this version");
    }
    if (!(request.confidence > 0.5 && request.confidence < 1)) {
        throw Error(Fault::usage, "confidence: expected a number between 0.5 and 1");
    }
}

} // namespace

void check_expected(const InspectRequest& request, const SourceFacts& facts) {
    if (request.picture_sha256.empty() || request.picture_sha256 == facts.sha256) return;
    throw Error(Fault::input, request.pictures.front().string() +
                                  ": the file has changed since the case was written: expected SHA-256 " +
                                  request.picture_sha256 + ", got " + facts.sha256);
}

const Hole* HoleCache::find(const std::string& key) {
    const auto found = entries_.find(key);
    if (found == entries_.end()) return nullptr;
    found->second.last_run = run_;
    return &found->second.hole;
}

void HoleCache::put(const std::string& key, Hole hole) {
    entries_.insert_or_assign(key, Entry{std::move(hole), run_});
}

void HoleCache::start_run() {
    ++run_;
    std::erase_if(entries_, [this](const auto& entry) { return entry.second.last_run < run_ - 2; });
}

void Session::Products::prepare_map(Watch& watch) {
    if (map) return;
    check_request(request);
    LoadLimits limits;
    limits.memory_bytes = request.memory_bytes;
    watch.progress("reading", 0, 1);
    Radiograph picture = load_one(*this, limits);
    if (watch.cancelled()) throw Cancelled{};
    if (facts && facts->sha256 != picture.facts.sha256) {
        throw Error(Fault::input,
                    request.pictures.front().string() + ": the file changed while it was being measured");
    }
    check_expected(request, picture.facts);
    facts = picture.facts;
    const auto flat = load_beside(request.flat, *this), dark = load_beside(request.dark, *this);
    ExposureOptions options;
    options.dense = request.dense;
    options.radiometry = request.radiometry;
    options.flat = flat ? &*flat : nullptr;
    options.dark = dark ? &*dark : nullptr;
    watch.progress("exposure", 0, 1);
    map = std::make_shared<const TransmissionMap>(stages.to_transmission(std::move(picture), options, watch));
    exposure = facts_of(*map);
}

void Session::Products::prepare(InspectWatch& watch) {
    prepare_map(watch);
    if (!materials) {
        watch.progress("materials", 0, 1);
        materials = std::make_shared<const MaterialMap>(stages.classify(*map, watch));
    }
    if (!found) {
        watch.progress("finding holes", 0, 1);
        found = stages.find_holes(*map, *materials, watch);
    }
    if (!priors) priors = stages.learn(*map, *materials, *found, {request.board_mm, request.foil_um}, watch);
    if (watch.cancelled()) throw Cancelled{};
}

void Session::Products::drop_large(bool always) {
    std::size_t bytes = 0;
    if (map) bytes += map->t.size() * sizeof(float);
    if (materials) bytes += materials->classes.size();
    if (!always && bytes <= request.memory_bytes) return;
    map.reset();
    materials.reset();
}

Session::Session(InspectRequest request) : products_(std::make_unique<Products>()) {
    products_->request = std::move(request);
    products_->stages = real_stages();
}
Session::Session(Session&&) noexcept = default;
Session& Session::operator=(Session&&) noexcept = default;
Session::~Session() = default;

const InspectRequest& Session::request() const {
    return products_->request;
}
Session::Products& Session::products() {
    return *products_;
}

Session session_with(InspectRequest request, Stages stages) {
    Session session(std::move(request));
    session.products().stages = std::move(stages);
    return session;
}

} // namespace ringwall
