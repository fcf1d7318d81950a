#pragma once
#include <optional>
#include <string>
#include <vector>

#include "gain_parts.hpp"

/// The parts of an amplifier's setting: what feeds it, what it must put out, its dial, what is known of its output, and
/// what its gain costs in noise.
namespace hushtrace {

/// The source's level at one volume in one curve, as played.
struct FeedLevel {
    double v = 0;
    double sd_db = 0;                  ///< of the reading alone
    std::optional<double> v_sd;        ///< with the scale's
    bool between_steps = false;        ///< interpolated in decibels between two volumes that were played
    bool volume_unknown = false;       ///< a volume was asked for, but the curve has none: that of its highest clean step
};

/// What a curve's channel delivers at a volume; without one, or in a curve whose volumes aren't known, at its highest clean
/// step. Nothing where the volume lies outside those that were played, or the curve isn't calibrated.
std::optional<FeedLevel> level_at(const GainCurve& curve, std::optional<double> volume);
/// The same in decibels of full scale, which needs no calibration: for the ratio of two volumes.
std::optional<double> level_dbfs_at(const GainCurve& curve, double volume);

/// The curves that feed an amplifier. Takes that name another amplifier are left out, those that name it come first; then its
/// stated channels count, else an amplifier with "sub" in its name takes the sub channel where one was captured and the others
/// take the rest; where that leaves nothing, all.
std::vector<const GainCurve*> curves_for(const AmplifierData& amplifier, const std::vector<GainCurve>& curves,
                                         std::vector<std::string>& notes);

/// The highest volume of a curve whose level, as played, is at most this; nothing where none is, or volumes aren't known.
std::optional<double> highest_volume_below(const GainCurve& curve, double most_v);

/// All that is known of one amplifier while its setting is worked out.
struct AmplifierCase {
    const OpenedJob& job;
    const AmplifierData& amplifier;
    const GainRequest& request;
    std::vector<const GainCurve*> feeding;
    const GainCurve* loudest = nullptr;  ///< of them, the one with most volts at the job's volume, were its tone at full scale; unset: none
                                         ///< is calibrated
    std::optional<FeedLevel> feed;       ///< its level at that volume, at the amplifier's input (behind its converter)
    double tone_dbfs = 0;                ///< with which it was played
    std::optional<double> highest_tone_dbfs = std::nullopt;   ///< of the tones that feed it: what was seen clean needs no allowance
    const SpeakerData* weakest = nullptr;                     ///< of its speakers, the one that stands the fewest volts; unset: none is rated
    double to_input = 1;                 ///< from the curves' volts to the amplifier's input: a converter that lies between
};

inline constexpr double kHighestForSub_hz = 80.0;   ///< a tone that a sub's low-pass surely leaves (common practice, no source)

bool above_zero(const std::optional<double>& value);
/// Whether its name tells of a subwoofer.
bool named_sub(const AmplifierData& amplifier);
/// Whether it plays bass alone, and so stands behind a low-pass: by its speakers' kind where stated, else by its channel or its name.
bool plays_bass_alone(const AmplifierCase& the);
/// Whether all of its speakers are tweeters, which stand no low tone.
bool plays_treble_alone(const AmplifierCase& the);

/// Target output: the amplifier's rated power into its load, or what the weakest of its speakers takes.
void set_target(AmplifierCase& the, AmplifierSetting& setting);
/// Brings the level from where the probe was to the amplifier's input, and says where a converter clips or a speaker-level
/// source has no way in: then setting.refused is set and there is no feed.
void pass_converter(AmplifierCase& the, AmplifierSetting& setting);
/// The tone with which its output is to be read: the one that was captured where the amplifier passes it and a plain meter reads it.
void choose_confirming_tone(const AmplifierCase& the, double captured_hz, AmplifierSetting& setting);
/// Sensitivity, gain, allowance and its price.
void set_gain(AmplifierCase& the, AmplifierSetting& setting);
/// Where on the dial that is, and what comes out where the dial doesn't reach so far.
void place_on_dial(AmplifierCase& the, AmplifierSetting& setting);

/// The amplifier's outputs as read in takes at amp_output; read once for all amplifiers.
std::vector<GainCurve> read_output_takes(const OpenedJob& job, const OpenTake& open, std::vector<Warning>& warnings);
/// Holds what was read at this amplifier's output against what it should be.
void check_output(const AmplifierCase& the, const std::vector<GainCurve>& outputs, double limit_thd_percent,
                  AmplifierSetting& setting);

/// The noise at the amplifier's input, and what it is made of.
void set_noise(const AmplifierCase& the, const OpenTake& open, AmplifierSetting& setting);
/// Noise at the output and at the ear for this gain, and what the alternatives would cost; after set_noise, and after check_output, whose
/// readings may tell the amplifier's own.
void set_splits(const AmplifierCase& the, const OpenTake& open, AmplifierSetting& setting);

}  // namespace hushtrace
