#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/conditions.hpp"

/// What the gain analysis says of the amplifiers, as plain data (docs/amplifier-gain.md). Volts are rms of a sine.
namespace hushtrace {

/// Where on an amplifier's marked dial a sensitivity lies, by an assumed law: a first guess, to be confirmed by voltage.
struct DialPlace {
    double travel = 0;                 ///< 0 at the end of least gain, 1 at that of most
    DialLaw law = DialLaw::logarithmic;
    bool law_assumed = true;           ///< the job doesn't say
    double clock_hours = 12;           ///< for a dial that turns the same way to either side of 12 o'clock
    double turn_deg = 300;
    bool turn_assumed = true;
    std::optional<double> mark;        ///< in the dial's own numbers
};

/// What a passage at full scale meets where the gain stands higher for recordings that stay below.
struct FullScalePassage {
    double over_rails_db = 0;          ///< over the amplifier's rated output, taken for its rails; 0 where it fits
    double thd_percent = 0;            ///< of a sine cut off there at both sides
    double power_asked_w = 0;          ///< by the uncut sine
    double power_out_w = 0;            ///< of the cut one, into a resistor
};

/// A reading at an amplifier's output, held against what it should be there.
struct OutputReading {
    std::optional<std::string> take;            ///< its sound, or
    std::optional<std::size_t> observation;     ///< the meter's reading: index into the job's observations
    std::optional<Channel> channel;
    std::optional<double> volume, tone_hz, tone_dbfs;
    std::optional<double> measured_v, expected_v;
    std::optional<double> measured_sd_db;       ///< with the scale's, or the meter's
    std::optional<double> thd_percent;
    std::optional<double> gain_now_db, gain_sd_db;
    std::optional<double> turn_db;              ///< by how much the gain must change: negative is down
    std::optional<double> clips_from_v;         ///< the lowest of its steps that is distorted while the input is clean
    std::string verdict;                        ///< at_target, turn_up, turn_down, clips_below_target, unknown
    std::string text;                           ///< for people
};
/// Within this much of the target it counts as met [dB]: common practice, no source.
inline constexpr double kOutputTolerance_db = 0.5;

/// A figure of which the takes may tell no more than its range [dBV, or dB].
struct Range_db {
    double low = 0, high = 0;
};

/// The noise at the amplifier's input, by where it comes from; dBV, 20 Hz to 20 kHz, with the source at `volume`.
/// What can't be told apart stands as a range whose low end may be -infinity.
struct NoiseParts {
    std::optional<double> volume;
    Engine engine = Engine::off;
    double total_dbv = 0, sd_db = 0;
    Range_db before_volume;                     ///< the source's, ahead of its volume control: goes with the volume
    Range_db after_volume;                      ///< the source's, behind it
    Range_db lead;                              ///< picked up on the way
    std::optional<double> amplifier_dbv;        ///< the amplifier's own; not in the total
    LimitedBy limited_by = LimitedBy::nothing;
    std::vector<std::string> takes;
    std::vector<std::string> notes;             ///< how it was told, and which take would tell more
};

/// One way to share the work between source and amplifier, and its noise, the music paused.
struct GainSplit {
    std::string way;                            ///< as_set, as_found, lower_volume, line_driver, more_source, less_gain
    std::optional<double> volume;               ///< of full output
    double source_change_db = 0, gain_change_db = 0;   ///< against as_set
    std::optional<double> source_v, gain_db;    ///< at full output
    double output_change_db = 0;                ///< of the loudest clean output: negative is less
    Range_db noise_at_output_dbv, change_db;
    std::optional<Range_db> noise_at_ear_db_spl;
    std::string text;                           ///< for people: "the source at volume 33, more gain"
};

/// "3.1 dB louder", "0.4 to 2.0 dB quieter", "no change".
std::string change_words(const Range_db& change_db);

struct AmplifierSetting {
    std::string name;
    std::optional<double> target_output_v;        ///< V = sqrt(P R), of the amplifier or of what its speaker takes
    std::optional<double> input_v_at_ceiling;
    std::optional<double> sensitivity_v;          ///< input that must bring the target output
    std::optional<double> gain_db;
    std::optional<double> noise_at_output_dbv, noise_at_ear_db_spl;
    std::vector<std::string> notes;               ///< "outside the amplifier's range 0.2 to 6 V", cautions
    std::optional<double> input_v_at_ceiling_sd = std::nullopt;  ///< unset where the calibration's is not known
    std::optional<double> sensitivity_v_sd = std::nullopt, gain_sd_db = std::nullopt;
    std::optional<double> noise_sd_db = std::nullopt;            ///< of both noise figures
    LimitedBy noise_limited_by = LimitedBy::nothing;
    std::optional<double> rated_output_v = std::nullopt;         ///< the amplifier's own
    std::string target_limited_by = {};           ///< amplifier, speaker; empty where there is no target
    std::optional<double> dial_sensitivity_v = std::nullopt;     ///< what its dial must say: input that brings the rated output
    std::optional<DialPlace> dial = std::nullopt; ///< unset where the dial's ends aren't known, or it lies beyond them
    std::optional<double> reached_output_v = std::nullopt, reached_power_w = std::nullopt;  ///< with the dial as far as it goes
    std::optional<double> gain_reached_db = std::nullopt;        ///< the gain at the dial's end, where gain_db lies beyond it
    double allowance_db = 0;                      ///< the gain stands so much higher than full scale asks for
    std::string allowance_from = {};              ///< job, option, tone (its level below full scale), or empty for none
    std::optional<FullScalePassage> full_scale = std::nullopt;   ///< set where there is an allowance
    /// The tone with which the output must read the target: one that the amplifier passes and a plain meter reads.
    std::optional<double> confirm_tone_dbfs = std::nullopt, confirm_tone_hz = std::nullopt;
    std::optional<double> tone_hz = std::nullopt, tone_dbfs = std::nullopt;   ///< as played: the one that asks most of it at full scale
    std::optional<double> volume = std::nullopt;                 ///< the source's, for which all this holds
    std::vector<Channel> channels = {};           ///< of the source, that were found to feed it
    std::optional<double> own_ceiling_volume = std::nullopt;     ///< how far those alone would go
    std::optional<double> converter_input_v = std::nullopt;      ///< at the line converter's input, a full-scale tone
    std::optional<std::string> refused = std::nullopt;           ///< why no gain is given, and the way out
    std::vector<OutputReading> output_readings = {};
    std::optional<NoiseParts> noise_parts = std::nullopt;
    std::vector<GainSplit> splits = {};           ///< as_set first
    std::string best_split = {};                  ///< one or two sentences; empty without splits
};

}  // namespace hushtrace
