#pragma once
#include <list>

#include "noise_parts.hpp"

namespace hushtrace {

/// Noise that pulses at a rate which hunts, as a converter's at light load; else, with the engine at rest, narrow humps of the
/// noise. Humps about multiples of one rate are one source. Humps that a followed line or a steady comb makes are left to it.
void add_converter_hash(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<SteadyComb>& combs);

/// Whether a frequency lies in a hump that hunting pulses make: what stands there is no line of its own.
bool is_of_pulses(const TakeSurvey& survey, double frequency_hz);
/// Whether what was followed as a line is but the noise of such a hump, or of one that stands by itself.
bool is_noise_of_a_hump(const TakeSurvey& survey, const MovingFamily& family);
/// Whether a followed family is a lone line that strays further or lies higher than a motor's does, as the beat of two
/// converters.
bool is_beat(const TakeSurvey& survey, const MovingFamily& family);

/// High lines that sweep farther and faster than what turns: the beat of two converters, unless the engine's own lines move alike.
void add_beats(std::list<NoiseSource>& sources, const TakeSurvey& survey);

/// The proposal that tells a beat or an alias, and what takes at different rates say of it.
void say_sample_rates(NoiseSource& source, const std::list<TakeSurvey>& surveys);

}  // namespace hushtrace
