#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace hushtrace {

/// Power of the Hann-windowed span, padded with zeros to `padding` times its length or a little more.
struct HannPower {
    std::vector<double> power;  ///< |X|^2, bins 0..half the padded length
    double bin_hz = 0;
};
HannPower hann_power(std::span<const double> samples, double mean, double rate, std::size_t padding);

/// The strongest local maximum in a range, between bins by a parabola; unset where the power never rises and falls.
std::optional<double> strongest_peak_hz(const HannPower& t, double from_hz, double to_hz);

/// Where the strongest tone of a span lies, within about a quarter of a bin.
std::optional<double> place_of_tone_hz(std::span<const double> samples, double mean, double rate, double from_hz,
                                       double to_hz);

}  // namespace hushtrace
