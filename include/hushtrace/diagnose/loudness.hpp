#pragma once
#include <optional>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job.hpp"

namespace hushtrace {

/// Completes each source's loudness: from its lines at the amplifier's input, through the amplifier's gain, to the ear,
/// against the threshold of hearing and the noise of a typical cabin, parked (idling where the take was made with the engine
/// running) and driving (vehicle/hearing.hpp). Each line is held against the noise in the ear's filter round it; hiss and
/// clicks are spread over their band.
///
/// The gain is, in this order: that of `gain`, to which the amplifier must be set; what takes the source's stated preout_v
/// to full power; the range that the amplifier's sensitivity leaves open. A range gives a verdict where both of its ends
/// give the same. Where none is known, or no speaker's sensitivity, the text says what is missing.
///   gain  of the same job, or null
void judge_loudness(const Job& job, NoiseAnalysis& analysis, const GainAnalysis* gain = nullptr);

/// Sound pressure at the ear [dB SPL] of what an amplifier puts out, from the loudest of its speakers whose sensitivity is
/// known: falls with the distance from 1 m (taken for 1 m where it isn't known). A cabin's reflections raise it by a few dB
/// again; over a speaker's band it strays by as much (kSpeakerSd_db: common practice, no source).
std::optional<double> at_ear_db_spl(const Job& job, const AmplifierData& amplifier, double output_dbv);
inline constexpr double kSpeakerSd_db = 4.0;

}  // namespace hushtrace
