#pragma once
#include <span>
#include <vector>

#include "hushtrace/measure/impulse_train.hpp"
#include "hushtrace/measure/sound_span.hpp"

/// Takes clicks and crackle out of sound, by time: where they sound, the sound is moved over, faded in and out.
namespace hushtrace {

/// The clicks of a train, one or none for each of its turns: where the power above 2 kHz stands above four times its
/// median of a second, near the phase at which the train's profile peaks. When fewer than half of the turns show such
/// a click, it lies below the noise: then each turn's loud phases of the profile, the same for all turns.
///   train   its time 0 is the first frame
std::vector<SoundSpan> clicks_of_train(std::span<const double> samples, double sample_rate_hz, const ImpulseTrain& train);

/// Bursts that come as they please: where the power above 2 kHz stands above `times` its median of a second. Bursts
/// nearer than 10 ms are one.
std::vector<SoundSpan> bursts_in(std::span<const double> samples, double sample_rate_hz, double times = 12.0);

/// Moves the stretches from one sound to another, with fades of 0.3 ms outside of them (raised cosine).
///   throws Error invalid_request for spans of unequal length
void take_out_bursts(std::span<double> left, std::span<double> alone, double sample_rate_hz,
                     std::span<const SoundSpan> bursts);

}  // namespace hushtrace
