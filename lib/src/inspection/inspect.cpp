// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"
#include "inspection/board_record.hpp"
#include "inspection/case_facts.hpp"
#include "inspection/decisions.hpp"
#include "inspection/edge_on.hpp"
#include "inspection/findings.hpp"
#include "inspection/finished.hpp"
#include "inspection/inspect_stack.hpp"
#include "inspection/scale_sources.hpp"
#include "inspection/session.hpp"
#include "inspection/watched.hpp"
#include "inspection/without_decisions.hpp"
#include "record/from_hole.hpp"

#include <atomic>
#include <cmath>
#include <cstring>

namespace ringwall {
namespace {

/// The bytes of numbers as they are: equal keys mean equal bits.
class Key {
  public:
    void add(double value) { text_.append(reinterpret_cast<const char*>(&value), sizeof value); }
    void add(const HoleCandidate& c) {
        for (const double value :
             {c.centre_px.x, c.centre_px.y, c.radius_px, c.long_px, c.angle_deg, c.score})
            add(value);
        for (const bool flag : {c.dark_ring, c.elongated, c.filled, c.added_by_person})
            text_ += flag ? '1' : '0';
    }
    [[nodiscard]] const std::string& text() const { return text_; }

  private:
    std::string text_;
};

/// Said when copper that must be assumed is thinner than what this picture shows (design: default 0.7 of the
/// stated foil, else 11 um).
std::optional<std::string> thin_copper_warning(const InspectRequest& request,
                                               std::optional<double> shown_um) {
    const double assumed = thinnest_foil_assumed_um(request);
    if (!shown_um || *shown_um <= assumed) return std::nullopt;
    return "copper down to " + std::to_string(std::lround(assumed)) +
           " µm must be assumed, but the end of a trace (0.15 x " + "0.30 mm) is sure to show here from " +
           std::to_string(std::lround(*shown_um)) + " µm on: a finer tip may reach into a ring unseen";
}

/// Results name a file without its folders.
std::string without_folders(std::string text, const std::string& file) {
    if (const auto at = text.find(file); !file.empty() && at != std::string::npos)
        text.replace(at, file.size(), std::filesystem::path(file).filename().string());
    return text;
}

/// One run over all holes of a prepared session.
class Run {
  public:
    Run(Session::Products& products, std::span<const Decision> decisions, InspectWatch& watch)
        : products_(products), decisions_(decisions), watch_(watch) {
        products_.holes_fitted = products_.holes_ringed = 0;
    }

    /// What is known so far; complete unless the run was cancelled.
    [[nodiscard]] BoardRecord record() const {
        BoardRecord record = board_record(products_, scale_, decisions_);
        if (!record.sources.empty()) {
            auto& warnings = record.sources.front().warnings;
            warnings.insert(warnings.end(), notes_.begin(), notes_.end());
            record.sources.front().smallest_foil_seen_um = thinnest_um_;
            if (const auto warning = thin_copper_warning(products_.request, thinnest_um_))
                warnings.push_back(*warning);
        }
        for (const auto& hole : records_) {
            if (hole) record.holes.push_back(*hole);
        }
        return record;
    }

    /// Throws Error, Cancelled; record() then holds the holes that were finished.
    BoardRecord measure() {
        prepare();
        if (products_.why_nothing.empty()) {
            fit_all();
            ring_all();
        }
        BoardRecord whole = record();
        whole.why_nothing = why_nothing();
        return whole;
    }

  private:
    /// A picture that was read well but cannot be measured is a result, not an error.
    void prepare() {
        try {
            if (products_.why_nothing.empty()) products_.prepare(watch_);
        } catch (const Error& error) {
            if (error.fault() != Fault::nothing_measured || !products_.facts) throw;
            products_.why_nothing = without_folders(error.what(), products_.facts->file);
        }
        keep_those_of_this_picture();
        const ScaleSources sources = scale_sources(products_, in_force_);
        if (products_.facts) {
            const bool by_case = products_.request.scale_given == InspectRequest::ScaleGiven::in_case;
            check_inside(sources.known, *products_.facts, by_case ? Fault::input : Fault::usage);
            check_inside(sources.by_person, *products_.facts, Fault::input);
        }
        if (const auto note = overridden_scale(sources)) notes_.push_back(*note);
        if (products_.request.scale_holes.empty()) scale_ = find_scale(sources);
    }

    /// Where holes of known bore set it, the scale waits for their fits.
    void find_scale_by_holes() {
        if (products_.request.scale_holes.empty()) return;
        ScaleSources sources = scale_sources(products_, in_force_);
        std::string missing;
        for (const ScaleHole& said : products_.request.scale_holes) {
            const auto there = hole_at(said.at_px, holes_);
            if (there && holes_[*there].hole.bore_px)
                sources.bores.push_back({holes_[*there].hole.bore_px, said.mm, said.u_mm});
            else
                missing =
                    "the bore of hole \"" + said.name + "\", which is to set the scale, was not measured";
        }
        scale_ = find_scale(sources);
        if (missing.empty()) return;
        if (scale_.known())
            notes_.push_back(missing);
        else
            scale_ = Scale::unknown("no scale: " + missing);
    }

    /// A decision made on other pixels may meet another hole: it is shown, and not followed.
    void keep_those_of_this_picture() {
        for (const Decision& decision : decisions_) {
            const bool other = products_.facts && !decision.picture_sha256.empty() &&
                               decision.picture_sha256 != products_.facts->sha256;
            if (!other) {
                in_force_.push_back(decision);
                continue;
            }
            notes_.push_back(in_words(decision) + " was left out: it was made on a picture with SHA-256 " +
                             decision.picture_sha256 + ", and the file has changed since");
        }
    }

    Hole fitted(const HoleCandidate& candidate) {
        return products_.stages.fit(*products_.map, *products_.materials, products_.priors, candidate);
    }

    void fit_all() {
        const auto& found = *products_.found;
        const int count = static_cast<int>(found.size());
        std::vector<std::optional<Hole>> fits(found.size());
        std::vector<int> open;
        for (int i = 0; i < count; ++i) {
            if (const Hole* known = products_.fits.find(fit_key(at(found, i))))
                at(fits, i) = *known;
            else
                open.push_back(i);
        }
        std::atomic<int> done = 0;
        const int total = static_cast<int>(open.size());
        for_each_index(products_.request.jobs, total, watch_, [&](int k) {
            at(fits, at(open, k)) = fitted(at(found, at(open, k)));
            watch_.progress("fitting holes", ++done, total);
        });
        for (const int i : open)
            products_.fits.put(fit_key(at(found, i)), *at(fits, i));
        products_.holes_fitted += total;
        number(fits);
    }

    void number(std::vector<std::optional<Hole>>& fits) {
        for (auto& fit : fits)
            holes_.push_back({std::move(*fit), 0, std::nullopt, false});
        put_in_reading_order(holes_);
        for (std::size_t i = 0; i < holes_.size(); ++i)
            holes_[i].number = static_cast<int>(i) + 1;
        apply_decisions(
            in_force_, [this](const HoleCandidate& c) { return fitted_by_person(c); }, holes_, notes_);
        find_scale_by_holes();
        set_kinds(holes_, scale_);
        for (auto& each : holes_) {
            if (!each.wall_by_person) continue;
            each.hole.wall.state = *each.wall_by_person;
            each.hole.wall.why = each.hole.wall.state == WallState::undecided ? "set by a person" : "";
            if (each.hole.wall.state == WallState::bare) each.hole.drill_px = each.hole.bore_px;
        }
    }

    Hole fitted_by_person(const HoleCandidate& candidate) {
        const std::string key = fit_key(candidate);
        if (const Hole* known = products_.fits.find(key)) return *known;
        ++products_.holes_fitted;
        Hole hole = fitted(candidate);
        products_.fits.put(key, hole);
        return hole;
    }

    void ring_all() {
        fits_.reserve(holes_.size());
        for (const auto& each : holes_)
            fits_.push_back(each.hole);
        records_.resize(holes_.size());
        const int total = static_cast<int>(holes_.size());
        std::vector<std::optional<Hole>> rings(holes_.size());
        std::vector<std::string> keys(holes_.size());
        std::vector<int> open;
        for (int i = 0; i < total; ++i) {
            at(keys, i) = ring_key(i);
            if (const Hole* known = products_.rings.find(at(keys, i)))
                at(records_, i) = recorded(*known, i);
            else
                open.push_back(i);
        }
        if (!open.empty())
            least_copper_share_ = products_.stages
                                      .darkening_share(*products_.map, *products_.materials, board_facts(),
                                                       thinnest_foil_assumed_um(products_.request))
                                      .value_or(0);
        ring_open(open, keys, rings);
        ask_thinnest_copper(keys);
        judge_screws(keys);
    }

    [[nodiscard]] BoardFacts board_facts() const {
        return {products_.request.board_mm, products_.request.foil_um};
    }

    void ask_thinnest_copper(const std::vector<std::string>& keys) {
        std::vector<Hole> ringed_holes;
        for (const std::string& key : keys)
            if (const Hole* hole = products_.rings.find(key)) ringed_holes.push_back(*hole);
        thinnest_um_ = thinnest_beside(ringed_holes);
    }

    /// Each by what the picture would have shown beside this very hole.
    void judge_screws(const std::vector<std::string>& keys) {
        for (std::size_t i = 0; i < keys.size(); ++i) {
            const Hole* hole = products_.rings.find(keys[i]);
            if (hole == nullptr || screw_in(*records_[i], products_.request) == nullptr) continue;
            judge_screw(*records_[i], *hole, scale_, products_.request, {thinnest_beside({hole, 1}), {}});
        }
    }

    [[nodiscard]] std::optional<double> thinnest_beside(std::span<const Hole> holes) const {
        if (!scale_.known()) return std::nullopt;
        return products_.stages.thinnest_copper_um(*products_.map, *products_.materials, holes, board_facts(),
                                                   scale_.pixel_mm().value());
    }

    void ring_open(const std::vector<int>& open, const std::vector<std::string>& keys,
                   std::vector<std::optional<Hole>>& rings) {
        std::atomic<int> done = 0;
        const int total = static_cast<int>(open.size());
        const auto keep = [&] {
            for (const int i : open) {
                if (at(rings, i)) products_.rings.put(at(keys, i), *at(rings, i)), ++products_.holes_ringed;
            }
        };
        try {
            for_each_index(products_.request.jobs, total, watch_, [&](int k) {
                const int i = at(open, k);
                at(rings, i) = ringed(i);
                at(records_, i) = recorded(*at(rings, i), i);
                watch_.hole_finished(*at(records_, i));
                watch_.progress("measuring rings", ++done, total);
            });
        } catch (...) {
            keep();
            throw;
        }
        keep();
    }

    [[nodiscard]] std::vector<Hole> neighbours_of(int index) const {
        const Hole& own = at(fits_, index);
        std::vector<Hole> near;
        for (const auto& other : fits_) {
            const double distance =
                std::hypot(other.centre_px.x - own.centre_px.x, other.centre_px.y - own.centre_px.y);
            if (&other != &own && distance < products_.stages.reach_px(own) + radius_of(other))
                near.push_back(other);
        }
        return near;
    }

    static double radius_of(const Hole& hole) {
        return std::max(hole.drill_px.value_or(0),
                        std::max(hole.bore_px.value_or(0), 2 * hole.seed.radius_px)) /
               2;
    }

    Hole ringed(int index) {
        Hole hole = at(fits_, index);
        RingRequest request;
        request.seed = seed_of(products_.facts->sha256);
        request.confidence = products_.request.confidence;
        request.least_copper_share = least_copper_share_;
        products_.stages.ring(*products_.map, *products_.materials, hole, neighbours_of(index), request);
        return hole;
    }

    [[nodiscard]] HoleRecord recorded(const Hole& hole, int index) const {
        HoleRecord record = record_of(hole, scale_, products_.request.confidence,
                                      "H" + std::to_string(at(holes_, index).number));
        add_case_words(record, products_.request);
        return record;
    }

    static std::string fit_key(const HoleCandidate& candidate) {
        Key key;
        key.add(candidate);
        return key.text();
    }

    /// Everything a ring depends on: the hole's fit, its kind and wall as decided, and its neighbours' fits.
    [[nodiscard]] std::string ring_key(int index) const {
        Key key;
        const auto add = [&key](const Hole& hole) {
            key.add(hole.seed);
            key.add(static_cast<double>(hole.kind));
            key.add(static_cast<double>(hole.wall.state));
        };
        add(at(fits_, index));
        for (const auto& near : neighbours_of(index))
            add(near);
        return key.text();
    }

    [[nodiscard]] std::string why_nothing() const {
        if (!products_.why_nothing.empty()) return products_.why_nothing;
        if (holes_.empty()) return "no hole was found in this picture";
        if (!scale_.known()) return scale_.why();
        return {};
    }

    template<typename T>
    static T& at(std::vector<T>& list, int i) {
        return list[static_cast<std::size_t>(i)];
    }
    template<typename T>
    static const T& at(const std::vector<T>& list, int i) {
        return list[static_cast<std::size_t>(i)];
    }

    Session::Products& products_;
    std::span<const Decision> decisions_; ///< all of them, for the record
    std::vector<Decision> in_force_;
    InspectWatch& watch_;
    Scale scale_ = Scale::unknown("no scale: measuring stopped before it was looked for");
    std::vector<HoleInWork> holes_;
    std::vector<Hole> fits_; ///< finished fits; rings read these and never another hole's ring
    std::vector<std::optional<HoleRecord>> records_;
    std::vector<std::string> notes_;
    std::optional<double> thinnest_um_;
    double least_copper_share_ = 0;
};

/// Hears only whether to stop: what is measured again without a decision is no news to the reader.
class QuietWatch : public InspectWatch {
  public:
    explicit QuietWatch(InspectWatch& outer) : outer_(outer) {}
    bool cancelled() override { return outer_.cancelled(); }

  private:
    InspectWatch& outer_;
};

/// The record with other decisions; one that cannot be made says why and has no hole.
BoardRecord measured_with(Session::Products& products, const std::vector<Decision>& decisions,
                          InspectWatch& watch) {
    try {
        return Run(products, decisions, watch).measure();
    } catch (const Error& error) {
        BoardRecord none;
        none.why_nothing = error.what();
        return none;
    }
}

/// The finding "without each human decision". Every hole that a decision does not touch comes from the cache.
void add_without_each(BoardRecord& record, Session::Products& products, std::span<const Decision> decisions,
                      InspectWatch& watch) {
    const int fitted = products.holes_fitted, ringed = products.holes_ringed;
    const int total = static_cast<int>(decisions.size());
    QuietWatch quiet(watch);
    for (int i = 0; i < total; ++i) {
        watch.progress("weighing decisions", i, total);
        std::vector<Decision> others(decisions.begin(), decisions.end());
        others.erase(others.begin() + i);
        add_without_decision(record, decisions[static_cast<std::size_t>(i)],
                             measured_with(products, others, quiet));
    }
    products.holes_fitted = fitted, products.holes_ringed = ringed;
}

InspectOutcome run(Session& session, std::span<const Decision> decisions, InspectWatch& outer) {
    if (session.request().shot == Shot::stack) return inspect_stack(session, decisions, outer);
    Session::Products& products = session.products();
    std::optional<InspectOutcome> outcome;
    products.fits.start_run();
    products.rings.start_run();
    const bridge::PoolSize pool(products.request.jobs);
    run_watched(outer, [&](InspectWatch& watch) {
        Run run(products, decisions, watch);
        try {
            const bool edge_on = products.request.shot == Shot::edge;
            BoardRecord whole = edge_on ? measure_edge_on(products, decisions, watch) : run.measure();
            if (!edge_on) add_without_each(whole, products, decisions, watch);
            add_edge_on_pictures(whole, products, watch);
            outcome = finished_record(std::move(whole), products.request);
        } catch (const Error& error) {
            outcome = Error(error.fault(), error.what() + products.request.case_words.unknown_keys);
        } catch (const Cancelled&) {
            BoardRecord partial = run.record();
            partial.partial = true;
            outcome = CancelledOutcome{finished_record(std::move(partial), products.request)};
        }
    });
    products.drop_large();
    return std::move(*outcome);
}

} // namespace

InspectOutcome inspect(const InspectRequest& request, InspectWatch& watch) {
    Session session(request);
    return inspect(session, watch);
}

InspectOutcome inspect(Session& session, InspectWatch& watch) {
    const std::vector<Decision> decisions = session.request().decisions;
    return run(session, decisions, watch);
}

InspectOutcome remeasure(Session& session, std::vector<Decision> decisions, InspectWatch& watch) {
    session.products().request.decisions = std::move(decisions);
    return inspect(session, watch);
}

} // namespace ringwall
