// SPDX-License-Identifier: Apache-2.0
#include "inspection/inspect_stack.hpp"

#include "bridge/parallel.hpp"
#include "inspection/board_record.hpp"
#include "inspection/case_facts.hpp"
#include "inspection/decisions.hpp"
#include "inspection/edge_on.hpp"
#include "inspection/findings.hpp"
#include "inspection/finished.hpp"
#include "inspection/shown_by_stack.hpp"
#include "inspection/wall_breaks.hpp"
#include "inspection/watched.hpp"
#include "record/from_hole.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr const char* decisions_note =
    "decisions of a person are shown and not followed: in slice stacks they are not in this version";

constexpr const char* other_scale_note =
    "pixel_mm and lengths that set a scale are not used in a slice stack: its voxel size is";

class StackRun {
  public:
    StackRun(Session::Products& products, std::span<const Decision> decisions, InspectWatch& watch)
        : products_(products), request_(products.request), decisions_(decisions), watch_(watch) {}

    BoardRecord measure() {
        open();
        try {
            lay_flat();
            find();
            judge();
        } catch (const Error& error) {
            if (error.fault() != Fault::nothing_measured) throw;
            products_.why_nothing = error.what();
        }
        return record();
    }

    [[nodiscard]] BoardRecord record() const {
        BoardRecord record = board_record(products_, voxel_.in_slice, decisions_);
        if (!record.sources.empty()) complete(record.sources.front());
        if (stack_ && stack_->flat.thickness_px) {
            record.thickness_mm = voxel_.depth_mm(stack_->flat.thickness_px);
            record.layers = layer_records();
            record.copper_layers = copper_layers(*record.layers);
        } else {
            record.copper_layers.why = "no board was measured in this stack";
            record.thickness_mm = Estimate::missing("no board was measured in this stack");
        }
        record.holes = holes_;
        record.not_proven = not_proven_stack();
        record.why_nothing = why_nothing();
        return record;
    }

  private:
    void open() {
        if (request_.pictures.size() != 1)
            throw Error(Fault::usage,
                        "expected exactly one slice stack, got " + std::to_string(request_.pictures.size()));
        LoadLimits limits;
        limits.memory_bytes = request_.memory_bytes;
        watch_.progress("reading", 0, 1);
        source_.emplace(open_stack(request_.pictures.front(), limits));
        SourceFacts facts = source_->facts().source;
        facts.sha256 = source_->sha256(watch_);
        check_expected(request_, facts);
        products_.facts = facts;
        voxel_ = voxel_scale(request_, source_->facts());
        volume_ = volume_of(*source_, voxel_.pitch_px);
    }

    void lay_flat() {
        auto stack = std::make_shared<StackProducts>();
        stack->flat = flatten(volume_, {request_.dense}, watch_);
        stack->maps = layers::layer_maps(stack->flat);
        stack->between = layers::between_sight(stack->flat, layers::copper_ratio(stack->flat).value(),
                                               1000 * voxel_.pitch_mm);
        stack_ = stack;
        products_.stack = stack;
        ExposureFacts exposure;
        exposure.radiometry = Radiometry::linear;
        exposure.t_is_physical = true;
        exposure.dense = stack_->flat.dense;
        if (!stack_->maps.empty()) exposure.blur_sigma_px = stack_->maps.front().map.blur_sigma_px;
        exposure.warnings = stack_->flat.warnings;
        if (layers::unevenness_of_laminate(stack_->maps) > layers::most_uneven)
            exposure.warnings.emplace_back("streaks cross the board: no copper-free ring is measured, and "
                                           "what is found as a hole may be a "
                                           "dark streak; ask for a scan with fewer streaks (harder beam, "
                                           "more projections, board tilted)");
        products_.exposure = exposure;
        if (stack_->maps.empty())
            throw Error(Fault::nothing_measured,
                        "no copper shows in this stack: a board was found, and no layer in it");
    }

    void find() {
        std::vector<layers::LayeredHole> found =
            layers::fit_layers(stack_->flat, stack_->maps, voxel_.pitch_px, watch_);
        layers::read_walls(volume_, stack_->flat, found, watch_);
        order(std::move(found));
        layers::LayerOptions options;
        options.confidence = request_.confidence;
        options.seed = seed_of(products_.facts->sha256);
        layers::measure_layer_rings(stack_->flat, stack_->maps, voxel_.pitch_px, stack_->holes, options,
                                    watch_);
    }

    /// Reading order, and kinds for the whole and every layer alike.
    void order(std::vector<layers::LayeredHole> found) {
        std::vector<HoleInWork> work;
        for (std::size_t i = 0; i < found.size(); ++i)
            work.push_back({found[i].whole, static_cast<int>(i), std::nullopt, false});
        put_in_reading_order(work);
        set_kinds(work, voxel_.in_slice);
        for (const HoleInWork& each : work) {
            layers::LayeredHole& hole = found[static_cast<std::size_t>(each.number)];
            hole.whole.kind = each.hole.kind;
            for (Hole& layer : hole.by_layer)
                layer.kind = each.hole.kind;
            stack_->holes.push_back(std::move(hole));
        }
    }

    void judge() {
        for (std::size_t i = 0; i < stack_->holes.size(); ++i) {
            holes_.push_back(recorded(stack_->holes[i], "H" + std::to_string(i + 1)));
            watch_.hole_finished(holes_.back());
        }
    }

    [[nodiscard]] HoleRecord recorded(const layers::LayeredHole& hole, const std::string& id) const {
        HoleRecord record = record_of(hole.whole, voxel_.in_slice, request_.confidence, id);
        for (std::size_t k = 0; k < record.keepout.planes.size(); ++k) {
            PlaneRecord& plane = record.keepout.planes[k];
            plane.layer = static_cast<int>(k) + 1;
            if (const Estimate z = voxel_.depth_mm(stack_->flat.layers[k].depth_px)) plane.z_mm = z.value();
        }
        record.stack.emplace();
        record.stack->wander_mm = voxel_.in_slice.diameter_mm(hole.wander_px);
        for (auto [from, to] : wall_breaks(hole.wall_map))
            record.stack->breaks.push_back({from, to, depth_mm(from), depth_mm(to)});
        if (hole.whole.kind == HoleKind::hole || hole.whole.kind == HoleKind::via)
            record.stack->wall_map = "wall-" + id + ".png";
        for (std::size_t k = 0; k < hole.joined.size(); ++k)
            if (hole.joined[k] != 0) record.stack->joined_layers.push_back(static_cast<int>(k) + 1);
        add_case_words(record, request_);
        if (screw_in(record, request_) != nullptr)
            judge_screw(record, hole.whole, voxel_.in_slice, request_,
                        shown_by_stack(*stack_, voxel_, request_, hole));
        return record;
    }

    [[nodiscard]] std::optional<double> depth_mm(double slices) const {
        if (voxel_.pitch_mm <= 0) return std::nullopt;
        return slices * voxel_.pitch_mm;
    }

    /// Of several statements one that does not say ground with evidence.
    void take_statement(LayerRecord& layer) const {
        for (const CaseLayer& stated : request_.layers) {
            const bool live = stated.role != "ground" || stated.evidence.empty();
            if (stated.number != layer.number || (!layer.stated_role.empty() && !live)) continue;
            layer.stated_role = stated.role, layer.evidence = stated.evidence;
            layer.treated_as_live = live;
        }
    }

    [[nodiscard]] std::vector<LayerRecord> layer_records() const {
        std::vector<LayerRecord> records;
        for (std::size_t k = 0; k < stack_->flat.layers.size(); ++k) {
            const FlatLayer& layer = stack_->flat.layers[k];
            LayerRecord record;
            record.number = static_cast<int>(k) + 1;
            if (const Estimate z = voxel_.depth_mm(layer.depth_px)) record.z_mm = z.value();
            record.thickness_um = voxel_.depth_mm(layer.thickness_px).scaled(1000);
            record.z_slices = layer.depth_px;
            record.thickness_slices = layer.thickness_px;
            record.picture = "layer-" + std::to_string(record.number) + ".png";
            take_statement(record);
            records.push_back(std::move(record));
        }
        return records;
    }

    /// A count is given as such only where nothing seen speaks for more.
    [[nodiscard]] CopperLayersRecord copper_layers(const std::vector<LayerRecord>& layers) const {
        const int count = static_cast<int>(layers.size());
        CopperLayersRecord copper{count, count, stack_->flat.layers_why, {}};
        if (!copper.why.empty()) copper.value.reset();
        for (const LayerRecord& layer : layers)
            if (layer.z_mm) copper.layers_z_mm.push_back(*layer.z_mm);
        return copper;
    }

    void complete(SourceRecord& source) const {
        source.shot = Shot::stack;
        source.slices = products_.facts->pages;
        if (!decisions_.empty()) source.warnings.emplace_back(decisions_note);
        if (request_.pixel_mm || !request_.known.empty() || !request_.scale_holes.empty())
            source.warnings.emplace_back(other_scale_note);
        if (stack_) {
            const SizeDoubts doubts = size_doubts(*stack_, voxel_, request_);
            source.warnings.insert(source.warnings.end(), doubts.grave.begin(), doubts.grave.end());
            source.warnings.insert(source.warnings.end(), doubts.told.begin(), doubts.told.end());
        }
        if (stack_ && !stack_->flat.layers_why.empty())
            source.warnings.push_back("at least " + std::to_string(stack_->flat.layers.size()) +
                                      " copper layers: " + stack_->flat.layers_why);
        for (const CaseLayer& stated : request_.layers)
            if (stack_ && stated.number > static_cast<int>(stack_->flat.layers.size()))
                source.warnings.push_back("the case speaks of layer " + std::to_string(stated.number) + " (" +
                                          stated.role + "), which was not seen in this stack");
        for (std::size_t i = 0; stack_ && i < stack_->holes.size() && i < holes_.size(); ++i)
            if (const auto um = thinnest_in_stack_um(*stack_, voxel_, request_, stack_->holes[i]))
                source.smallest_foil_seen_um = std::max(source.smallest_foil_seen_um.value_or(0), *um);
    }

    [[nodiscard]] std::string why_nothing() const {
        if (!products_.why_nothing.empty()) return products_.why_nothing;
        if (holes_.empty()) return "no hole was found in this stack";
        if (!voxel_.in_slice.known()) return voxel_.in_slice.why();
        return {};
    }

    Session::Products& products_;
    const InspectRequest& request_;
    std::span<const Decision> decisions_;
    InspectWatch& watch_;
    std::optional<SliceStack> source_;
    Volume volume_;
    VoxelScale voxel_;
    std::shared_ptr<StackProducts> stack_;
    std::vector<HoleRecord> holes_;
};

} // namespace

Volume volume_of(const SliceStack& stack, double pitch_px) {
    Volume volume;
    volume.width_px = stack.width(), volume.height_px = stack.height(), volume.slices = stack.slices();
    volume.read_slice = [&stack](int z, ImageView<float> out) { stack.read_slice(z, out); };
    volume.pitch_px = pitch_px;
    return volume;
}

InspectOutcome inspect_stack(Session& session, std::span<const Decision> decisions, InspectWatch& outer) {
    Session::Products& products = session.products();
    std::optional<InspectOutcome> outcome;
    products.why_nothing.clear();
    const bridge::PoolSize pool(products.request.jobs);
    run_watched(outer, [&](InspectWatch& watch) {
        StackRun run(products, decisions, watch);
        try {
            BoardRecord whole = run.measure();
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
    return std::move(*outcome);
}

bool is_slice_stack(const std::filesystem::path& source) {
    std::error_code error;
    if (std::filesystem::is_directory(source, error))
        return !std::filesystem::exists(source / "results.json", error);
    try {
        return describe_file(source, {}).pages > 1;
    } catch (const Error&) {
        return false;
    }
}

} // namespace ringwall
