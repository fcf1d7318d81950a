#pragma once
#include <complex>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// The sound turned back by the phase of a track: what runs along it stands still. At a lower rate: each value is the mean
/// of two steps under a triangle, centred step * (i + 1) samples from the start; what lies k rates away is down by the
/// square of the distance (62 dB at one 36th of the rate off).
struct TurnedBack {
    std::vector<std::complex<double>> values;
    double rate_hz = 0;

    /// Gain of the triangle at so many hertz off the track.
    double gain(double offset_hz) const;
};

/// Within each step the frequency runs straight.
///   ratio  of the line looked at to the line followed
TurnedBack turned_back(std::span<const double> samples, double sample_rate_hz, const Track& track, double ratio,
                       std::size_t step);

}  // namespace hushtrace
