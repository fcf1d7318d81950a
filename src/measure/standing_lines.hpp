#pragma once
#include <span>
#include <vector>

namespace hushtrace {

struct StandingLine {
    double frequency_hz = 0, mean_square = 0;
};

/// Lines below `to_hz` that hold still through all of some seconds of sound: found in its averaged spectrum (0.7 s), and there in
/// four of five short windows (0.34 s) too, which one that wanders by a third of a percent is not.
std::vector<StandingLine> standing_lines(std::span<const double> samples, double sample_rate_hz, double to_hz);

}  // namespace hushtrace
