#pragma once
#include <span>
#include <vector>

namespace hushtrace {

/// Power of a whitened band over time, less its mean.
struct WhitenedPower {
    double rate_hz = 0, low_hz = 0, high_hz = 0;
    double from_s = 0;           ///< of its first sample
    std::vector<double> power;   ///< 1 on the mean of each quarter of a second, cut off at 8; empty where there is too little
};

/// The band from 1 kHz up (to some 12 kHz), each bin of some three hertz brought to the same level; the square of the
/// analytic signal's size.
WhitenedPower whitened_power(std::span<const double> samples, double sample_rate_hz);

}  // namespace hushtrace
