#pragma once
#include <optional>
#include <vector>

#include "../sources/noise_parts.hpp"
#include "hushtrace/job/job_folder.hpp"

/// Takes with a probe on the supply, as sound, and what the probe itself does to the noise.
namespace hushtrace {

bool is_supply(Channel channel);
std::optional<std::size_t> place_of(const Take& take, Channel channel);

/// A take's channels, as far as its lines are followed.
struct ProbeSound {
    double rate = 0;
    std::vector<std::vector<double>> channels;  ///< [file channels]
    bool silent(std::size_t c) const;
    bool clipped(std::size_t c) const;
};
/// The stretch that was surveyed; the take's first minute where it wasn't (null).
///   throws Error as TakeReader does; invalid_input when channels don't match
ProbeSound read_probe_sound(const OpenedJob& job, const Take& take, const TakeSurvey* survey);

/// Whether a take is the same but for the probe, and has that signal channel.
bool is_twin_of_probe(const Take& probe, const Take& other, Channel signal);
/// How well such takes repeat: 4 dB at idle, 2 dB else (common practice, no source).
double takes_repeat_db(const Take& take);

struct TakeAndSound {
    const TakeSurvey* survey = nullptr;
    const ProbeSound* sound = nullptr;  ///< null: it is read
};
/// A source's level with the probe less that without it [dB], over the lines that stand in both takes, each read along its own
/// track. Of a sweep, and where the source wasn't followed without the probe, over all that its lines pass through, noise and
/// all, the less sure the less of that is its own: then a change is told too small. Nothing where neither can be read.
std::optional<Reading> change_by_probe(const NoiseSource& source, const SourceTrace& trace, TakeAndSound with, TakeAndSound without,
                                       Channel signal, const NoiseAnalysis& analysis, const OpenedJob& job);

}  // namespace hushtrace
