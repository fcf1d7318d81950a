#pragma once
#include <optional>

#include "hushtrace/job/job.hpp"

namespace hushtrace {

/// Sound pressure at the ear [dB SPL] of what an amplifier puts out, from the loudest of its speakers whose sensitivity is
/// known: falls with the distance from 1 m (taken for 1 m where it isn't known). A cabin's reflections raise it by a few dB
/// again; over a speaker's band it strays by as much (kSpeakerSd_db: common practice, no source).
std::optional<double> at_ear_db_spl(const Job& job, const AmplifierData& amplifier, double output_dbv);
inline constexpr double kSpeakerSd_db = 4.0;

/// The sine voltage of an amplifier's rated power [V], V = sqrt(P R); nothing where either isn't known.
std::optional<double> full_output_v(const AmplifierData& amplifier);

}  // namespace hushtrace
