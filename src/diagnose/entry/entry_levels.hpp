#pragma once
#include <optional>
#include <span>
#include <vector>

#include "../takes/take_survey.hpp"
#include "hushtrace/diagnose/findings.hpp"

/// A noise source's level in one take's channel: what was read there, or what it lies below.
namespace hushtrace {

struct LevelHere {
    const TakeSurvey* survey = nullptr;
    double level_db = 0, sd_db = 0;   ///< dBV where calibrated, else dBFS
    bool at_most = false;             ///< it isn't found: it lies below `level_db`
};

/// Where the source isn't found in a take it lies below where it would be found, three dB and more added; or, where something else was found
/// or stands out in its place, below that. Nothing where the channel isn't in the take or is silent.
///   others  all findings of the job, told or not
std::optional<LevelHere> level_in(const NoiseSource& source, const TakeSurvey& survey, Channel channel,
                                  const std::vector<const NoiseSource*>& others = {});
/// The channel in which it is loudest in any take.
Channel loudest_channel(const NoiseSource& source);

/// How far a source's level wanders within a take [dB, standard deviation]: that of its louder channel against the other one's where both show it,
/// so that what the engine does drops out. Nothing where its lines don't stand out of the spectrogram long enough.
struct Wander {
    double sd_db = 0;
    bool against_other_side = false;
};
std::optional<Wander> wander_in(const SourceTrace& trace, const TakeSurvey& survey);

}  // namespace hushtrace
