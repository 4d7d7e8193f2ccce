// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "geometry/scale.hpp"
#include "inspection/stages.hpp"
#include "plan/plan.hpp"
#include "record/names.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/slice_stack.hpp"

#include <cmath>
#include <optional>

namespace ringwall {
namespace {

std::string percent(double share) {
    return fixed(share * 100, share < 0.001 ? 3 : 1) + " %";
}

std::string grey_words(const SourceFacts& facts) {
    std::string words =
        facts.is_float ? std::to_string(facts.bits) + "-bit float" : std::to_string(facts.bits) + " bit";
    if (facts.colour) words += ", colour";
    if (facts.lossy) words += ", lossy compression";
    if (facts.inverted_scale) words += ", minimum is white";
    return words;
}

void tell_facts(Description& d) {
    const SourceFacts& facts = d.facts;
    d.lines.push_back("format: " + facts.format);
    d.lines.push_back("size: " + std::to_string(facts.width_px) + " x " + std::to_string(facts.height_px) +
                      " px" + (facts.pages > 1 ? ", " + std::to_string(facts.pages) + " slices" : ""));
    d.lines.push_back("grey values: " + grey_words(facts));
    d.lines.push_back("sha256: " + facts.sha256);
}

void tell_scale(Description& d, const InspectRequest& options) {
    ScaleSources sources;
    sources.given_mm = options.pixel_mm;
    sources.known = options.known;
    sources.stated = d.facts.scale;
    sources.u_percent = options.scale_u_percent;
    check_inside(sources.known, d.facts, Fault::usage);
    const Scale scale = find_scale(sources);
    if (const auto note = overridden_scale(sources)) d.concerns.push_back(*note);
    if (scale.known()) {
        const auto [x, y] = scale.pixel_xy_mm();
        d.lines.push_back("pixel: " + shortest(rounded(x, 5)) + " x " + shortest(rounded(y, 5)) + " mm (" +
                          scale.from() + ")");
        return;
    }
    d.lines.push_back("pixel: unknown");
    d.concerns.push_back(
        "no scale in the file: nothing can be given in mm. Ask for the pixel size at the board's plane, or "
        "for a picture with a scale object in that plane; then use --pixel-mm or --known");
}

std::string noise_words(const NoiseModel& noise) {
    if (noise.photons <= 0 && noise.readout <= 0) return "could not be told";
    return fixed(noise.sigma(1) * 100, 2) + " % of the open beam a pixel" +
           (noise.photons > 0 ? " (as of " + shortest(rounded(noise.photons, 2)) + " photons)" : "");
}

void tell_exposure(Description& d, const TransmissionMap& map) {
    d.lines.push_back("dense material is: " + word(map.dense) + (map.dense_given ? " (given)" : " (found)"));
    d.lines.push_back("grey scale: " + word(map.radiometry));
    d.lines.push_back("blur: " + (map.blur_sigma_px ? fixed(map.blur_sigma_px.value(), 2) + " px (sigma, U " +
                                                          fixed(2 * map.blur_sigma_px.u(), 2) + ", k = 2)"
                                                    : map.blur_sigma_px.why()));
    d.lines.push_back("noise: " + noise_words(map.noise));
    d.lines.push_back("saturated: " + percent(map.saturated_fraction) +
                      ", clipped shadows: " + percent(map.clipped_fraction));
    d.lines.push_back("halo at edges: " + percent(map.halo) + " of the step");
}

void add_file_concerns(Description& d) {
    const SourceFacts& facts = d.facts;
    if (facts.bits <= 8 && !facts.is_float) {
        d.concerns.push_back("8 bits or fewer: thin copper may vanish between two grey values, and noise "
                             "finer than one does not show. "
                             "Ask for the raw 16-bit picture");
    }
    if (facts.lossy) {
        d.concerns.push_back("lossy compression: edges ring and fine copper is smeared; positions stay good, "
                             "gaps near the blur "
                             "do not. Ask for TIFF or DICOM without compression");
    }
    if (facts.colour) {
        d.concerns.push_back("colour: the grey scale is not the detector's, and marks drawn in colour look "
                             "like parts. Ask for "
                             "the grey picture without annotation");
    }
    for (const auto& note : facts.notes)
        d.concerns.push_back(note);
}

void add_radiometry_concern(Description& d, const TransmissionMap& map) {
    if (map.t_is_physical) return;
    const std::string known = map.radiometry == Radiometry::display
                                  ? "the grey scale is made for looking at"
                                  : "nobody says whether the grey scale is linear";
    d.concerns.push_back(
        known + ": holes, rings and walls are measured with a wider uncertainty; plating thickness, foil "
                "counts and transmission are not given. Ask for raw linear values with flat and dark, or "
                "have the operator state it (then use --radiometry)");
}

void add_exposure_concerns(Description& d, const TransmissionMap& map) {
    if (map.dense_doubted) d.concerns.push_back(map.warnings.front());
    add_radiometry_concern(d, map);
    if (map.saturated_fraction > 0.001) {
        d.concerns.push_back(
            "saturated pixels (" + percent(map.saturated_fraction) +
            "): where the open beam is cut off, a "
            "hole's edge can move outward and its bore read too wide. Ask for less current or time");
    }
    if (map.clipped_fraction > 0.001) {
        d.concerns.push_back("clipped shadows (" + percent(map.clipped_fraction) +
                             "): copper and steel there look alike, and "
                             "plating cannot be measured. Ask for more current, time or voltage");
    }
    if (map.halo > 0.05) {
        d.concerns.push_back(
            "sharpening halo of " + percent(map.halo) +
            " of the step: a bare hole may show a false dark rim "
            "that looks like plating, so walls stay undecided. Ask for the picture without edge enhancement");
    }
    if (map.blur_sigma_px && map.blur_sigma_px.value() > 2.5) {
        d.concerns.push_back("blur of " + fixed(map.blur_sigma_px.value(), 1) + " px: gaps below " +
                             fixed(2.4 * map.blur_sigma_px.value(), 1) +
                             " px merge with the hole's edge. Ask for a smaller "
                             "focal spot or less magnification");
    }
    if (map.noise.sigma(1) > 0.05) {
        d.concerns.push_back("noise of " + percent(map.noise.sigma(1)) +
                             " a pixel: thin foils cannot be seen. Ask for more "
                             "frames to be averaged");
    }
}

/// What it is fit for, in one line: the reader may look at nothing else.
std::string verdict_of(const Description& d, const TransmissionMap& map) {
    const bool eight_bits = d.facts.bits <= 8 && !d.facts.is_float;
    const bool no_thickness = !map.t_is_physical || eight_bits || d.facts.lossy;
    std::string words =
        no_thickness ? "fit for positions, bores and rings; not for copper thickness" : "fit to measure on";
    if (map.saturated_fraction > 0.05)
        words += "; " + percent(map.saturated_fraction) + " is saturated: bores may read too wide";
    return words + (d.concerns.empty() ? "" : "; see above");
}

void tell_voxel(Description& d, const std::optional<StatedVoxel>& voxel) {
    if (!voxel) {
        d.lines.emplace_back("voxel: unknown");
        d.concerns.emplace_back(
            "no voxel size that holds in all three directions: nothing can be given in mm "
            "from this stack as it is. Ask for the voxel size of the reconstruction");
        return;
    }
    const auto [x, y, z] = voxel->voxel_mm;
    d.lines.push_back("voxel: " + shortest(rounded(x, 5)) + " x " + shortest(rounded(y, 5)) + " x " +
                      shortest(rounded(z, 5)) + " mm (" + voxel->from + ")");
}

void describe_stack(Description& d, const SliceStack& stack, Watch& watch) {
    d.facts = stack.facts().source;
    d.facts.sha256 = stack.sha256(watch);
    tell_facts(d);
    tell_voxel(d, stack.facts().voxel);
    add_file_concerns(d);
    d.verdict = std::string("a slice stack, measured layer by layer by inspect; how well its layers show is "
                            "seen only there") +
                (d.concerns.empty() ? "" : "; see above");
}

/// Nothing when the source is one picture.
std::optional<SliceStack> as_stack(const std::filesystem::path& source, const LoadLimits& limits) {
    try {
        return open_stack(source, limits);
    } catch (const Error& error) {
        if (error.fault() != Fault::usage) throw;
        return std::nullopt;
    }
}

} // namespace

Description describe(const std::filesystem::path& file, const InspectRequest& options, Watch& watch) {
    const Stages& stages = real_stages();
    LoadLimits limits;
    limits.memory_bytes = options.memory_bytes;
    Description d;
    if (const auto stack = as_stack(file, limits)) {
        describe_stack(d, *stack, watch);
        return d;
    }
    d.facts = stages.describe_file(file, limits);
    d.verdict = "not fit to measure on; see above";
    tell_facts(d);
    tell_scale(d, options);
    add_file_concerns(d);
    try {
        ExposureOptions exposure;
        exposure.dense = options.dense;
        exposure.radiometry = options.radiometry;
        const TransmissionMap map = stages.to_transmission(stages.load(file, limits), exposure, watch);
        tell_exposure(d, map);
        add_exposure_concerns(d, map);
        d.fit_to_measure = true;
        d.verdict = verdict_of(d, map);
    } catch (const Error& error) {
        if (error.fault() != Fault::nothing_measured) throw;
        d.concerns.push_back(std::string(error.what()) + ": nothing can be measured on this picture");
    }
    return d;
}

std::string picture_plan() {
    return general_plan();
}

} // namespace ringwall
