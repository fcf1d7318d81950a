#pragma once
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// Powers at the multiples of a tone's frequency, in what is left of a span after dc and the fundamental were
/// taken off. Mean squares, full scale squared.
struct HarmonicPowers {
    std::vector<double> with_noise;  ///< [count], harmonic 2 first
    std::vector<double> noise;       ///< [count] noise that stands in each
    std::vector<double> noise_sd;    ///< [count] standard uncertainty of that noise
    double rest_in_band =
        0;  ///< everything from lowest to highest_hz, the fundamental's place filled with noise
    double rest_sd = 0;  ///< its standard uncertainty
};

struct HarmonicTask {
    std::span<const double> rest;
    double sample_rate_hz = 0, tone_hz = 0;
    std::size_t count = 0;  ///< harmonics 2..count+1
    double lowest_hz = 20, highest_hz = 20000;
};

/// By one windowed transform; 10 cycles or more.
HarmonicPowers harmonics_by_transform(const HarmonicTask& task);
/// By a joint least-squares fit; for few cycles. count 60 or less.
HarmonicPowers harmonics_by_fit(const HarmonicTask& task);

}  // namespace hushtrace
