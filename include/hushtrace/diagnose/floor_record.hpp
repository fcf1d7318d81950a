#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/conditions.hpp"

/// How quiet the system is, on paper: the noise floor in each condition and channel, what lies between it and the loudest clean
/// signal, and how it stands against the job's limits. Method, figures and limits: docs/noise-floor.md.
namespace hushtrace {

/// A difference of two levels, or a level against a reference [dB]. Its sd holds the scale's own (interface.volts_full_scale_sd_db)
/// only where that doesn't cancel.
struct FloorRatio {
    Reading db;
    bool bound = false;               ///< the interface's own noise, or a source that never clipped, hides more: a distance is this at
                                      ///< least, a noise this at most
};

/// A line of the floor, with the name of the noise source that makes it.
struct FloorLine {
    double frequency_hz = 0;          ///< its mean, where it wanders
    bool wanders = false;
    Reading dbfs;
    std::optional<Reading> dbv;       ///< with the scale's sd
    std::string source_id;            ///< of NoiseAnalysis::noise_sources; empty: none of them
    std::string name;                 ///< "alternator whine", "mains hum, 3 times 50 Hz"; "not named"
    std::optional<FloorRatio> below_ceiling_db;   ///< positive
};

/// The loudest clean signal of a channel, to which its floor is held.
struct FloorCeiling {
    std::string take;
    std::optional<double> volume;
    double tone_hz = 0, tone_dbfs = 0;            ///< as played: at 0 the source's full scale
    double level_dbfs = 0, level_sd_db = 0;       ///< as captured
    std::optional<double> level_v;                ///< rms; unset when not calibrated
    bool never_clips = false;                     ///< the loudest that was played; the ceiling lies above it
};

/// A channel's floor as one amplifier makes it heard.
struct AmplifierFloor {
    std::string amplifier;
    /// Where its gain is known from: "found" (read at its output), "dial_end" (the dial goes no further), "required" (gain
    /// analysis), "stated" (set for the source's preout_v, a guess to 3 dB), "unknown".
    std::string gain_from = "unknown";
    std::optional<Reading> gain_db;
    std::optional<double> full_power_v;           ///< rms at its input that brings its rated power into its load
    std::optional<double> one_watt_v;             ///< the same for 1 W
    std::optional<double> load_ohm;
    bool bass_only = false;                       ///< a subwoofer's: lines above kBassTop_hz don't count
    std::optional<FloorRatio> signal_to_noise_1w_db, signal_to_noise_1w_a_db;   ///< against 1 W: unweighted, A-weighted
    std::optional<FloorRatio> hiss_re_full_power_db;      ///< the noise without its lines, A-weighted; negative
    std::optional<FloorRatio> line_re_full_power_db;      ///< the loudest line that counts; negative
    std::optional<std::size_t> loudest_line;              ///< index into ChannelFloor::lines
    std::optional<FloorRatio> line_at_ear_db_spl;         ///< of the line that stands highest over the threshold of hearing
    std::optional<std::size_t> line_at_ear;               ///< index into ChannelFloor::lines
    std::optional<double> line_over_threshold_db;         ///< of that line, against the threshold of hearing in quiet
    std::optional<FloorRatio> hiss_at_ear_db_spl;         ///< A-weighted, without its lines
    std::vector<std::string> notes;                       ///< what a figure stands on, or why it is missing
};
/// What a subwoofer still plays [Hz]: common practice, no source.
inline constexpr double kBassTop_hz = 250.0;

struct ChannelFloor {
    Channel channel = Channel::left;
    FloorReading floor;                           ///< unweighted, A, C, BS.468, third octaves, each with sd and limit
    std::optional<FloorCeiling> ceiling;
    std::optional<FloorRatio> signal_to_noise_db;         ///< the ceiling over the unweighted floor, lines and all
    std::optional<FloorRatio> signal_to_noise_a_db;       ///< the ceiling over the A-weighted floor, lines and all
    /// The ceiling over the A-weighted floor without its lines: what is left between the two once every tone is cured.
    std::optional<FloorRatio> dynamic_range_a_db;
    std::vector<FloorLine> lines;                 ///< strongest first
    std::vector<AmplifierFloor> amplifiers;       ///< those that this channel feeds
    std::vector<std::string> notes;
};

/// One condition: the engine's state and the loads that were on, at the amplifier's input, normal hookup, source on, no tone.
struct ConditionFloor {
    std::string name;                             ///< "engine off", "idle", "raised, headlights, blower"
    Engine engine = Engine::off;
    std::vector<std::string> loads;               ///< sorted
    std::optional<std::string> at_amplifier;      ///< where the takes name one
    std::string take;                             ///< the one that counts
    std::optional<double> volume, rpm;
    std::optional<std::string> after_change;      ///< of the take that counts
    std::vector<std::string> other_takes;         ///< of the same condition: older states, repeats
    std::vector<ChannelFloor> channels;           ///< as in the take
    std::vector<std::string> notes;
};

/// One line of the acceptance table: a condition, channel and amplifier against one limit.
struct FloorVerdict {
    std::string what;                 ///< job.json's field: "line_below_full_power_db", "hiss_below_full_power_db", "at_ear_off_db_spl",
                                      ///< "at_ear_running_db_spl"
    std::string condition;            ///< ConditionFloor::name; empty where no take tells
    std::string take;                 ///< likewise
    std::optional<Channel> channel;
    std::string amplifier;            ///< empty where the job names none
    std::optional<FloorRatio> found;
    std::string found_text;           ///< "alternator whine at 312 Hz", or what is missing
    double limit = 0;                 ///< at most
    std::optional<double> judge_to;   ///< of a proposal: between `limit` and this the ear judges, above it fails
    std::string unit;                 ///< "dB", "dB SPL"
    bool written = false;             ///< in job.json; else a proposal
    std::string origin;               ///< "job.json", "proposal, no source"
    std::string verdict;              ///< "pass", "judge", "fail", "undecided", "not_measured"
};

/// What the record still lacks, and what would fill it.
struct FloorGap {
    std::string what;                 ///< stable word: "condition_off", "condition_idle", "condition_raised", "condition_ready",
                                      ///< "condition_loads", "calibration", "own_noise", "ceiling", "amplifier", "gain"
    std::string text;                 ///< one sentence
    std::string command;              ///< to be typed; empty where there is none
};

struct FloorRecord {
    /// Engine off first, then accessory, key on, ready, idle, raised, sweep, cranking; fewer loads first.
    std::vector<ConditionFloor> conditions;
    std::vector<FloorReading> interface;          ///< of the last take with the inputs shorted, by channel: what the set-up makes by itself
    std::vector<FloorVerdict> acceptance;
    std::vector<FloorGap> gaps;                   ///< in the order in which one would fill them
};

/// From what was analysed; no sound is read.
///   noise   of the same job
///   gain    of the same job, or null: then nothing is told against the ceiling
FloorRecord floor_record(const OpenedJob& opened, const NoiseAnalysis& noise, const GainAnalysis* gain);

/// Whether a condition fails a limit that job.json writes. A proposal never fails.
bool fails_limit(const FloorRecord& record);

}  // namespace hushtrace
