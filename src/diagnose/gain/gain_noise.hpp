#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/gain_analysis.hpp"

namespace hushtrace {

/// Noise at the amplifier's input, 20 Hz to 20 kHz, unweighted.
struct InputNoise {
    const Take* source = nullptr;
    std::string take;
    Channel channel = Channel::left;
    Engine engine = Engine::off;
    double dbv = 0;  ///< of the noisiest of the channels asked for, the interface's own taken off
    double sd_db = 0;  ///< of the reading; the scale's own cancels in what is told of it, a gain times it
    LimitedBy limited_by = LimitedBy::nothing;  ///< interface: its own noise is all that was seen, dbv an upper limit
};

/// From the job's noise takes (no tone, normal hookup, at the amplifier's input, source not off, calibrated):
/// of one with the engine off if there is one, else of the first. Nothing when there is none; takes that
/// can't be read are passed by (the noise analysis warns of them). At most the first minute is read.
std::optional<InputNoise> noise_at_input(const OpenedJob& job, const OpenTake& open,
                                         const std::vector<Channel>& channels, const std::string& amplifier = "");
/// The noise of one take, of the noisiest of these channels; nothing where none is calibrated, or it can't be read.
std::optional<InputNoise> read_noise(const OpenedJob& job, const Take& take, const OpenTake& open,
                                     const std::vector<Channel>& channels);

}  // namespace hushtrace
