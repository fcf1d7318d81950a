#pragma once
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/sweep_response.hpp"

/// The parts of the sweep's measurement.
namespace hushtrace {

/// A sweep as far as a capture of this rate can hold it: its way through time is unchanged, its end may come sooner.
struct HeldSweep {
    PlayedSweep played;       ///< shortened
    double rate_constant_s = 0;   ///< L = T / ln(f2/f1)
    double duration_s() const { return played.sweep.duration_s; }
    double reached_at_s(double frequency_hz) const;
};
/// Shortened to 0.49 of the rate, and to `longest_s` of its own time.
///   throws Error invalid_request, too_short
HeldSweep held_sweep(const PlayedSweep& played, double sample_rate_hz, double longest_s = 1e9);

/// The sweep's samples at the capture's rate as the player's clock makes it appear, soft ends included.
std::vector<double> sweep_samples(const HeldSweep& sweep, double sample_rate_hz, double clock_ppm);

/// An impulse response whose harmonics stand before it: index 0 is time 0, times below 0 at the end.
struct ImpulseResponse {
    std::vector<double> samples;
    double sample_rate_hz = 0;
    double peak_s = 0;  ///< of the strongest arrival from -50 to 150 ms
};
ImpulseResponse deconvolve(std::span<const double> samples, double sample_rate_hz, const HeldSweep& sweep,
                           const TonePlace& place);

/// A window that is 1 over the inner half of either side and falls to 0 over the outer, slope and
/// curvature without a step (the quintic that does so).
struct Window2 {
    double centre_s, before_s, after_s;
};
/// The windowed response at one frequency.
std::complex<double> at_frequency(const ImpulseResponse& response, const Window2& window, double frequency_hz);

}  // namespace hushtrace
