#pragma once
#include <list>
#include <string>

#include "noise_parts.hpp"

/// Takes in which something plays: music or a tone. They say nothing of noise, but may clip.
namespace hushtrace {

/// Whether music, speech or the like plays in a take: it is loud (-40 dBFS and more), and most of its bands change by
/// many decibels from moment to moment, which neither hiss, whine nor ignition does.
bool holds_programme(const TakeSurvey& survey);

/// A clipping finding for a take of music (tone unset) or of one steady tone that was played at one volume; nothing is
/// added where none is found. Streams the take.
///   throws Error as TakeReader does
void add_clipping(std::list<NoiseSource>& sources, const OpenedJob& job, const Take& take);

/// Whether a take was made to hear a steady tone at one volume. (Where the volume is stepped, the tone is meant to clip.)
bool is_held_tone(const Take& take);

}  // namespace hushtrace
