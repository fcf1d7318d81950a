#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/floor_record.hpp"

/// The parts of the noise-floor record: a channel against its ceiling, an amplifier, the limits, what is missing.
namespace hushtrace {

/// All that is known while one channel of one condition is worked out.
struct FloorCase {
    const Job& job;
    const NoiseAnalysis& noise;
    const GainAnalysis* gain = nullptr;
    const Take& take;              ///< the condition's
    std::size_t file_channel = 0;  ///< the channel's place in it
};

const Take* take_of(const Job& job, const std::string& file);
/// The channel's place in the take's file; nothing where it isn't in it.
std::optional<std::size_t> file_place_of(const Take& take, Channel channel);

/// One level of the floor as it is held against something: in volts where calibrated, else as captured with the pad added.
struct HeldLevel {
    double db = 0;         ///< dBV, or dBFS at the probe
    double sd_db = 0;      ///< of the reading alone
    LimitedBy limited_by = LimitedBy::nothing;
};
std::optional<HeldLevel> held(const FloorCase& the, const std::optional<Reading>& dbfs, const std::optional<Reading>& dbv);
inline std::optional<HeldLevel> held(const FloorCase& the, const FloorFigure& figure) { return held(the, figure.dbfs, figure.dbv); }
/// The scale's own uncertainty [dB]; 0 where nobody said.
double scale_sd_db(const FloorCase& the);

/// The channel's noise without its lines, A-weighted. Where it lies far over what the analysis found to be hiss, the foot of something
/// that wanders and was not followed is in it: it is then limited by noise, and the hiss is that at most.
std::optional<HeldLevel> held_hiss(const FloorCase& the, const FloorReading& floor);

/// The loudest clean signal of a channel, and what lies between it and the floor; names the lines.
void hold_to_ceiling(const FloorCase& the, ChannelFloor& channel);
/// The amplifiers that the channel feeds.
void hold_to_amplifiers(const FloorCase& the, ChannelFloor& channel);
/// Whether a channel of the source feeds an amplifier: by what the gain analysis found, what the job states, or its name.
bool feeds(const Job& job, const GainAnalysis* gain, const AmplifierData& amplifier, Channel channel);

/// Holds all conditions against the limits, written or proposed.
void judge_floor(const Job& job, FloorRecord& record);
/// What the record lacks.
void tell_gaps(const OpenedJob& opened, const GainAnalysis* gain, FloorRecord& record);

}  // namespace hushtrace
