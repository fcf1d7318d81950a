#pragma once
#include <numbers>
#include <span>
#include <vector>

#include "hushtrace/measure/tone_reading.hpp"
#include "phasor.hpp"

namespace hushtrace {

/// The highest share of half the rate that is counted: above it lies the converter's own filter.
inline constexpr double kBandShare = 0.95;

/// What is left of a span when a tone read in it, and dc, are taken off.
inline std::vector<double> tone_taken_off(std::span<const double> samples, double rate_hz, const ToneReading& tone) {
    std::vector<double> rest(samples.size());
    const double omega = 2.0 * std::numbers::pi * tone.frequency_hz / rate_hz;
    for_each_phasor(rest.size(), omega, tone.phase_rad, [&](std::size_t n, double c, double) {
        rest[n] = samples[n] - tone.mean - tone.amplitude * c;
    });
    return rest;
}

}  // namespace hushtrace
