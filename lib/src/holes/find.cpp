// SPDX-License-Identifier: Apache-2.0
#include "holes/find.hpp"

#include "bridge/parallel.hpp"
#include "holes/covered_rim.hpp"
#include "holes/grey_scale.hpp"
#include "holes/judge.hpp"
#include "holes/pyramid.hpp"
#include "holes/regions.hpp"
#include "holes/rim.hpp"
#include "holes/small_core.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::holes {
namespace {

constexpr std::size_t batch_blobs = 48; // more are looked at for nothing, fewer leave threads waiting

RimSearch search_of(const Blob& blob, const GreyScale& grey) {
    RimSearch search;
    search.guess = blob.at;
    search.radius_guess = blob.radius;
    search.noise = grey.noise / Pyramid::pixel(blob.level);
    search.blur_px = std::hypot(grey.blur_px / Pyramid::pixel(blob.level), 0.3);
    search.contrast = std::max(blob.response / 0.35, grey.tolerance);
    search.least_fall = 0.3 * grey.tolerance;
    return search;
}

/// The same rim on a finer level, where a pixel is what the caller's accuracy asks for.
std::optional<Rim> on_finer_level(const Pyramid& pyramid, const Rim& rim, int from, int to,
                                  const GreyScale& grey) {
    RimSearch search;
    search.guess = Pyramid::to_level(Pyramid::to_picture(rim.centre, from), to);
    search.radius_guess = rim.radius * Pyramid::pixel(from) / Pyramid::pixel(to);
    search.noise = grey.noise / Pyramid::pixel(to);
    search.blur_px = std::hypot(grey.blur_px / Pyramid::pixel(to), 0.3);
    search.contrast = std::max(rim.contrast, grey.tolerance);
    search.least_fall = 0.3 * grey.tolerance;
    return fit_rim(pyramid.level(to), search);
}

struct Found {
    Rim rim; ///< in pixels of `level`
    int level = 0;
    double score = 0;
    [[nodiscard]] Point centre() const { return Pyramid::to_picture(rim.centre, level); }
    [[nodiscard]] double radius() const { return rim.radius * Pyramid::pixel(level); }
};

/// Small cores once more, with the blur taken out.
void look_closer(Found& f, ImageView<const float> picture, const GreyScale& grey) {
    if (f.rim.radius > 5 * grey.blur_px) return;
    const auto core = fit_small_core(picture, f.rim, grey.noise, grey.blur_px);
    if (!core || !is_small_bore(*core, grey)) {
        f.score = 0;
        return;
    }
    f.rim.radius = core->radius;
    f.rim.ring_sigmas = core->ring_sigmas;
}

/// Of rims that share their middle the best one stays.
std::vector<Found> without_doubles(std::vector<Found> found) {
    std::stable_sort(found.begin(), found.end(),
                     [](const Found& a, const Found& b) { return a.score > b.score; });
    std::vector<Found> kept;
    for (const Found& f : found) {
        const bool taken = std::any_of(kept.begin(), kept.end(), [&](const Found& k) {
            const double apart = std::hypot(f.centre().x - k.centre().x, f.centre().y - k.centre().y);
            return apart < 0.8 * std::max(f.radius(), k.radius());
        });
        if (!taken) kept.push_back(f);
    }
    return kept;
}

bool cut_by_border(const Found& f, const TransmissionMap& map) {
    const Point c = f.centre();
    const double r = f.radius() + 1;
    return c.x < r || c.y < r || c.x > map.t.width() - 1 - r || c.y > map.t.height() - 1 - r;
}

HoleCandidate candidate_of(const Found& f) {
    HoleCandidate c;
    c.centre_px = f.centre();
    c.radius_px = f.radius();
    c.dark_ring = has_dark_ring(f.rim);
    c.score = f.score;
    return c;
}

void sort_reading_order(std::vector<HoleCandidate>& candidates) {
    std::sort(candidates.begin(), candidates.end(), [](const HoleCandidate& a, const HoleCandidate& b) {
        if (a.centre_px.y != b.centre_px.y) return a.centre_px.y < b.centre_px.y;
        return a.centre_px.x < b.centre_px.x;
    });
}

/// The rim again two levels finer, where there are any.
bool sharpen(Found& f, const Pyramid& pyramid, const GreyScale& grey) {
    const int finer = std::max(0, f.level - 2);
    if (finer == f.level) return true;
    const auto again = on_finer_level(pyramid, f.rim, f.level, finer, grey);
    if (!again) return false;
    f.rim = *again;
    f.level = finer;
    return true;
}

/// A large hole that a part covers half of may show its rim on a finer level only.
constexpr int coarse_is_enough = 2;

void look_for_air(Found& f, const Pyramid& pyramid, const GreyScale& grey) {
    f.score = judge(f.rim, grey, f.level);
    const int coarse = f.level;
    if (f.score <= 0 && coarse <= coarse_is_enough) return;
    if (!sharpen(f, pyramid, grey)) {
        f.score = 0;
        return;
    }
    if (f.level < coarse) f.score = judge(f.rim, grey, f.level);
    if (f.score > 0 && f.level == 0) look_closer(f, pyramid.level(0), grey);
}

/// Cores darker than air may be bores under a part's body.
void look_for_covered(Found& f, const Pyramid& pyramid, const GreyScale& grey) {
    if (f.rim.share(RayEnd::rim) < 0.97 || !sharpen(f, pyramid, grey)) return;
    const Rim& rim = f.rim;
    f.score = judge_covered_bare(rim, grey, f.level);
    if (f.score <= 0 && has_dark_ring(rim))
        f.score = judge_covered(rim, rim.core, rim.darkest, rim.beyond, rim.ring_sigmas, grey);
    if (f.level > 0 || rim.radius > 10 * grey.blur_px) return; // as far as the blur can be taken out
    const auto core = fit_small_core(pyramid.level(0), rim, grey.noise, grey.blur_px);
    if (!core) return;
    f.rim.radius = core->radius;
    f.rim.ring_sigmas = core->ring_sigmas;
    f.score = judge_covered(rim, core->core, core->wall, core->beyond, core->ring_sigmas, grey);
}

BlobChoice bright_choice(const GreyScale& grey) {
    BlobChoice choice;
    choice.least_response = 0.15 * 2 * grey.tolerance;
    choice.noise = grey.noise;
    choice.least_core = 0.3 * grey.open;
    choice.core_leak = 0.25;
    choice.core_slack = 3;
    return choice;
}

/// A blob darker than board and void can only be a covered bore, and that has a wall far darker than its
/// core.
bool worth_a_look(const Blob& blob, const GreyScale& grey) {
    const double air = grey.open - 2 * grey.tolerance - 3 * grey.noise / (3 * Pyramid::pixel(blob.level));
    if (blob.core + 0.5 * std::max(0.0, blob.core - blob.surround) >= air) return true;
    return blob.response > 0.05 * blob.core;
}

/// A good rim of about the blob's size and place is known: another look would find the same.
bool known(const std::vector<Found>& found, const Blob& blob) {
    const Point at = Pyramid::to_picture(blob.at, blob.level);
    const double radius = blob.radius * Pyramid::pixel(blob.level);
    return std::any_of(found.begin(), found.end(), [&](const Found& f) {
        const double dx = f.centre().x - at.x, dy = f.centre().y - at.y, near = 0.4 * f.radius();
        return f.score > 0.95 && dx * dx + dy * dy < near * near && radius < 2.2 * f.radius() &&
               radius > 0.45 * f.radius();
    });
}

/// What stands at one blob, looked at by itself; nothing: score 0.
Found look_at(const Blob& blob, const Pyramid& pyramid, const GreyScale& grey, const TransmissionMap& map) {
    const auto rim = fit_rim(pyramid.level(blob.level), search_of(blob, grey));
    if (!rim) return {};
    Found f{*rim, blob.level, 0};
    look_for_air(f, pyramid, grey);
    if (f.score <= 0) {
        f = {*rim, blob.level, 0};
        look_for_covered(f, pyramid, grey);
    }
    if (f.score > 0 && cut_by_border(f, map)) f.score = 0;
    return f;
}

/// Blobs in their order, each only when none before it has found its rim. They are looked at in batches, all
/// of one at a time: what a batch's own earlier blobs make known is then left out, as if it had not been
/// looked at, so that neither the batch's size nor the number of threads changes what is found.
std::vector<Found> bright_rims(const Pyramid& pyramid, const GreyScale& grey, const TransmissionMap& map,
                               Watch& watch) {
    std::vector<Blob> blobs = find_blobs(pyramid, bright_choice(grey), watch);
    std::erase_if(blobs, [&](const Blob& blob) { return !worth_a_look(blob, grey); });
    std::vector<Found> found;
    for (std::size_t next = 0; next < blobs.size();) {
        std::vector<const Blob*> batch;
        for (; next < blobs.size() && batch.size() < batch_blobs; ++next)
            if (!known(found, blobs[next])) batch.push_back(&blobs[next]);
        std::vector<Found> seen(batch.size());
        bridge::over_each(static_cast<int>(batch.size()), watch, [&](int i) {
            const auto at = static_cast<std::size_t>(i);
            seen[at] = look_at(*batch[at], pyramid, grey, map);
        });
        for (std::size_t i = 0; i < batch.size(); ++i)
            if (seen[i].score > 0 && !known(found, *batch[i])) found.push_back(seen[i]);
    }
    return found;
}

bool inside(Point p, const HoleCandidate& c, double share) {
    return std::hypot(p.x - c.centre_px.x, p.y - c.centre_px.y) <
           share * std::max(c.radius_px, 0.5 * c.long_px);
}

HoleCandidate candidate_of(const Slot& slot) {
    HoleCandidate c;
    c.centre_px = slot.centre_px;
    c.radius_px = 0.5 * slot.width_px;
    c.elongated = true;
    c.long_px = slot.length_px;
    c.angle_deg = slot.angle_deg;
    c.score = 1;
    return c;
}

HoleCandidate candidate_of(const Disk& rim, bool filled, double score) {
    HoleCandidate c;
    c.centre_px = rim.centre_px;
    c.radius_px = rim.radius_px;
    c.filled = filled;
    c.score = score;
    return c;
}

/// Puts a candidate in place of those found inside of it.
void put_in_place(std::vector<HoleCandidate>& candidates, const HoleCandidate& c) {
    std::erase_if(candidates, [&](const HoleCandidate& old) { return inside(old.centre_px, c, 1); });
    candidates.push_back(c);
}

bool taken(const std::vector<HoleCandidate>& candidates, Point p, double share) {
    return std::any_of(candidates.begin(), candidates.end(),
                       [&](const HoleCandidate& c) { return inside(p, c, share); });
}

/// Slots, and holes whose larger part a part in front covers.
void add_from_regions(const Pyramid& pyramid, const GreyScale& grey, const std::vector<Region>& regions,
                      std::vector<HoleCandidate>& candidates, Watch& watch) {
    for (const Region& region : regions) {
        if (watch.cancelled()) throw Cancelled{};
        if (region.area_px2 < 60 * grey.blur_px * grey.blur_px) continue;
        if (const auto slot = slot_of(region)) put_in_place(candidates, candidate_of(*slot));
    }
    for (const Region& region : regions) {
        if (watch.cancelled()) throw Cancelled{};
        if (taken(candidates, region.middle_px, 1)) continue;
        const auto rim = covered_rim(pyramid, grey, region);
        if (rim && !taken(candidates, rim->centre_px, 0.8))
            candidates.push_back(candidate_of(Disk{rim->centre_px, rim->radius_px}, false, rim->on_rim));
    }
}

/// Holes that metal fills but for a ring of air.
void add_filled(const Pyramid& pyramid, const GreyScale& grey, double least_px2,
                std::vector<HoleCandidate>& candidates, Watch& watch) {
    for (const Region& region : dense_regions(pyramid, grey, least_px2)) {
        if (watch.cancelled()) throw Cancelled{};
        const auto pin = disk_of(region);
        const auto rim = pin ? rim_round_pin(pyramid, grey, *pin) : std::nullopt;
        if (rim) put_in_place(candidates, candidate_of(*rim, true, 0.8));
    }
}

} // namespace

std::vector<HoleCandidate> find_holes(const TransmissionMap& map, const MaterialMap* materials,
                                      Watch& watch) {
    if (map.t.width() < 8 || map.t.height() < 8) return {};
    const Pyramid pyramid(map.t.view(), watch);
    const GreyScale grey = read_grey_scale(map, pyramid, materials);
    std::vector<HoleCandidate> candidates;
    for (const Found& f : without_doubles(bright_rims(pyramid, grey, map, watch)))
        candidates.push_back(candidate_of(f));
    const double least_px2 = 25 * grey.blur_px * grey.blur_px;
    add_from_regions(pyramid, grey, void_regions(pyramid, grey, least_px2), candidates, watch);
    add_filled(pyramid, grey, least_px2, candidates, watch);
    sort_reading_order(candidates);
    return candidates;
}

} // namespace ringwall::holes
