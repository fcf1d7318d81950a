#pragma once
#include <cstddef>
#include <filesystem>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/tone.hpp"

namespace hushtrace {

/// The markers that open and close a tone file, so that a capture of it can be lined up with what was played and
/// the two clocks compared. Both are exponential chirps with soft edges: the opening one rises, the closing one
/// falls, so they can't be taken for each other. They start low, so that a channel behind a subwoofer's crossover
/// still passes part of them.
struct Marker {
    enum class End { opening, closing };
    static constexpr double from_hz = 40.0, to_hz = 8000.0, duration_s = 0.6, level_dbfs = -12.0;
};
/// The marker's samples at any rate; index 0 is its first sample.
std::vector<double> marker_samples(Marker::End end, double sample_rate_hz);

/// The tone's own soft start and end: raised cosines of this length [s].
inline constexpr double programme_ramp_s = 0.01;

/// Where things are in a tone file [s from its start].
struct ProgrammeTimes {
    double opening_marker_s = 0;   ///< start of the opening marker
    double tone_start_s = 0, tone_end_s = 0;
    double closing_marker_s = 0;   ///< start of the closing marker
    double total_s = 0;
};
/// Lead-in of near-silence, opening marker, gap, tone, gap, closing marker, lead-out. Gaps hold near-silence.
ProgrammeTimes programme_times(double tone_duration_s);

/// The whole file's samples, one channel. `tone_duration_s` of 0 takes the waveform's natural duration.
///   throws Error invalid_request as ToneGenerator does, or when no duration is known
std::vector<double> render_programme(const Waveform& waveform, double tone_duration_s, double sample_rate_hz);

}  // namespace hushtrace
