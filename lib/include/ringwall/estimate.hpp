// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cassert>
#include <cmath>
#include <string>
#include <utility>

namespace ringwall {

/// A measured quantity: a value with its standard uncertainty u (k = 1), or no value and the reason why.
///
/// The unit stands in the name of the variable that holds it (bore_mm, radius_px). A failed measurement
/// cannot turn into a number: value() asserts that there is one, and neither NaN nor infinity can be stored.
class Estimate {
  public:
    /// No value yet; the reason says so. Lets records be built field by field.
    Estimate() : why_("not measured") {}

    /// Both finite, u >= 0; otherwise there is no value and the reason is "the fit did not give a finite
    /// number".
    static Estimate of(double value, double u) {
        Estimate estimate;
        if (!std::isfinite(value) || !std::isfinite(u) || u < 0)
            return missing("the fit did not give a finite number");
        estimate.has_value_ = true;
        estimate.value_ = value;
        estimate.u_ = u;
        estimate.why_.clear();
        return estimate;
    }
    /// `why`: words for the reader, lower case, no full stop.
    static Estimate missing(std::string why) {
        Estimate estimate;
        estimate.why_ = std::move(why);
        return estimate;
    }

    [[nodiscard]] bool has_value() const { return has_value_; }
    explicit operator bool() const { return has_value_; }
    [[nodiscard]] double value() const {
        assert(has_value_);
        return value_;
    }
    [[nodiscard]] double u() const {
        assert(has_value_);
        return u_;
    }
    [[nodiscard]] double value_or(double other) const { return has_value_ ? value_ : other; }
    /// Empty when there is a value.
    [[nodiscard]] const std::string& why() const { return why_; }

    /// The same quantity times an exact factor; without a value the reason is kept.
    [[nodiscard]] Estimate scaled(double factor) const {
        return has_value_ ? of(value_ * factor, u_ * std::abs(factor)) : *this;
    }
    /// Times an uncertain factor, relative uncertainties in quadrature (first order, GUM 5.1.6).
    [[nodiscard]] Estimate scaled(double factor, double factor_relative_u) const {
        if (!has_value_) return *this;
        return of(value_ * factor, std::hypot(u_ * factor, value_ * factor * factor_relative_u));
    }
    bool operator==(const Estimate&) const = default;

  private:
    bool has_value_ = false;
    double value_ = 0;
    double u_ = 0;
    std::string why_;
};

/// Value and expanded uncertainty U (k = 2) for a person, without unit: two significant digits of U, the
/// value to the same place, but at most `most_decimals` (0 to 9): "3.302 ±0.034", "2.54 ±0.85", "436 ±45". A
/// U that would be 0 there is the last place's 1. Empty without a value.
std::string with_expanded_u(const Estimate& estimate, int most_decimals);

} // namespace ringwall
