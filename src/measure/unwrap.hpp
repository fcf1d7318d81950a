#pragma once
#include <span>
#include <vector>

namespace hushtrace {

/// The angle within half a turn of 0 that it is alike to [rad].
double nearest_turn(double angle_rad);

/// Phase without its jumps [rad], the first within half a turn of 0. A delay still in it turns the highest points by more than
/// half a turn from one to the next, from 1.2 ms on where points lie a 24th of an octave apart up to 15 kHz: one of up to 4 ms is
/// found first, by what lines the steps up best, and taken along.
///   frequency_hz   rising; as many as phases
std::vector<double> unwrapped(std::span<const double> frequency_hz, std::span<const double> phase_rad);

}  // namespace hushtrace
