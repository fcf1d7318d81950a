#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

/// Takes lines out of sound: those of a followed family along its track, or steady ones. What is taken out and what is
/// left add up to the sound.
namespace hushtrace {

/// One line to take out, and how far it may stray from its place.
struct LineBand {
    double ratio = 1;          ///< to the track
    double half_width_hz = 5;  ///< above 0; passes half of the amplitude there, all below half of it, none from 1.5 times on
};

/// How far to reach for a line that was followed: what the track's own error and the line's quick modulation leave open.
/// 0.4 % of its frequency, 3 to 25 Hz: a track is good to some 0.1 %, and 50 Hz away nothing may be touched.
double followed_half_width_hz(double frequency_hz);
/// The same of a line that holds still: 0.1 %, 1 to 4 Hz.
double steady_half_width_hz(double frequency_hz);

/// Keeps bands from reaching into each other, where the lines stand close: at most 0.45 of the way to the next one.
///   lines    sorted by ratio on return
///   mean_hz  of the track
void keep_apart(std::vector<LineBand>& lines, double mean_hz);

/// Moves lines from one sound to another: each is turned down to 0 Hz by the track's phase times its ratio, low-passed
/// and turned up again, with the phase and the amplitude that it has at each moment (complex demodulation).
///
///   left      [frames] what is left of the sound; the lines are taken off
///   alone     [frames] the lines are added
///   track     its time 0 is the first frame; held beyond its ends
///   lines     taken in this order, each from what those before have left. One whose band reaches below 0 Hz or beyond
///             0.49 of the rate is left in
///   throws    Error invalid_request for spans of unequal length, no track, a frequency, ratio or width that is not above 0
///   accuracy  a line in the middle of its band comes out within 0.01 dB; where the sound begins and ends the low-pass
///             reads its own inner half alone. A low-pass is a Kaiser-windowed sine cardinal, 60 dB down (Oppenheim and
///             Schafer, Discrete-Time Signal Processing, section 7.6), at a rate 16 times the half width
void take_out_lines(std::span<double> left, std::span<double> alone, double sample_rate_hz, const Track& track,
                    std::span<const LineBand> lines);

/// A track without its quick jitter: each point the mean of those within `seconds` / 2 under a Hann window. A search in
/// noise jitters by a few hertz from reading to reading; taken out along such a track, a line brings noise along from
/// further away than its band (0.4 dB at 15 dB over the noise in the band). What the smooth track misses of the wander
/// stays well inside of the band: at 1 Hz, 5 % of it for 0.3 s.
Track smoothed(const Track& track, double seconds = 0.3);

/// A track that holds still.
Track steady_track(double frequency_hz);

}  // namespace hushtrace
