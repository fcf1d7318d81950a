#pragma once
#include <array>
#include <cstddef>
#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/signal/conditions.hpp"
#include "hushtrace/signal/tone.hpp"

/// The job folder's content as types: one vehicle's work order. Names and units are those of job.json, schema
/// hushtrace.job/1. Unset optionals are unknown (null or left out in the file).
namespace hushtrace {

struct AlternatorData {
    std::optional<double> pole_pairs, pulley_ratio, rated_a;
};
struct VehicleData {
    std::string description;
    Drive drive = Drive::combustion;
    std::optional<double> supply_v;
    std::optional<int> cylinders, strokes;
    std::optional<double> mains_hz;
    AlternatorData alternator;
};
struct SourceData {
    std::string description;
    std::optional<double> preout_v, volume_top;
    std::optional<bool> factory;
    std::optional<OutputKind> output;
};
/// Brings a source's speaker level down to a line input, or lifts a line: a box of its own in the lead.
struct ConverterData {
    std::optional<double> loss_db;                    ///< from its input to its output; negative: it lifts
    std::optional<double> max_input_v, max_output_v;  ///< sines [V] above which it clips
    std::optional<bool> isolating;                    ///< no wire of its input is joined to its output's shell
};
/// Most that may be allowed for recordings below full scale [dB]: 100 times the power asked of the amplifier.
inline constexpr double kMostAllowance_db = 20.0;
struct AmplifierData {
    std::string name;
    std::optional<double> power_w, load_ohm;
    std::optional<std::array<double, 2>> sensitivity_v;  ///< [lowest, highest] [V]
    std::optional<double> max_current_a;
    std::optional<bool> bridged_output;
    std::optional<OutputKind> input;
    std::vector<Channel> channels;                        ///< of the source that feed it; empty: by its name
    std::optional<DialLaw> dial_law;                      ///< unset: logarithmic is assumed
    std::optional<std::array<double, 2>> dial_marks;      ///< the dial's own numbers, at least gain and at most
    std::optional<double> dial_turn_deg;                  ///< unset: 300 is assumed
    std::optional<double> allowance_db;                   ///< for recordings that stay below full scale
    std::optional<double> input_noise_dbv;                ///< its own, as if at its input, 20 Hz..20 kHz
    std::optional<ConverterData> converter;
};
struct SpeakerData {
    std::string amplifier;
    std::optional<double> power_w, sensitivity_db_2v83_1m, distance_m;
    std::optional<double> impedance_ohm;                  ///< its own; unset: the amplifier's load counts
    std::optional<SpeakerKind> kind;
};
struct CableData {
    std::optional<double> signal_m, separation_m, parallel_m, crossing_deg, above_metal_m;
};
struct SupplyBranch {
    std::string name;
    std::optional<double> length_m, area_mm2, current_a;
};
struct SupplyData {
    std::optional<double> length_m, area_mm2;
    std::optional<Conductor> conductor;
    std::optional<double> temperature_c, allowed_drop_v;
    std::vector<SupplyBranch> branches;
};
struct InterfaceData {
    std::vector<std::optional<double>> volts_full_scale;  ///< volts at sample value 1.0, one per file channel
    /// Standard uncertainty of volts_full_scale [dB]: the meter's and the reading's; unset where nobody said.
    std::vector<std::optional<double>> volts_full_scale_sd_db;
    std::vector<std::optional<double>> own_noise_dbv;     ///< 20 Hz..20 kHz unweighted, inputs shorted
    std::vector<std::optional<double>> own_noise_a_dbv, own_noise_c_dbv;  ///< the same, weighted
    std::vector<std::optional<double>> own_noise_itu468_dbv, own_noise_itu468_quasi_peak_dbv;
    std::optional<InterfaceInput> input;
    std::optional<double> amps_per_volt;
};
/// The interface's own floors: the field's name in job.json, and where it lies.
struct OwnNoiseField {
    std::string_view name;
    std::vector<std::optional<double>> InterfaceData::*values;
};
inline constexpr std::array<OwnNoiseField, 5> kOwnNoiseFields = {
    {{"own_noise_dbv", &InterfaceData::own_noise_dbv},
     {"own_noise_a_dbv", &InterfaceData::own_noise_a_dbv},
     {"own_noise_c_dbv", &InterfaceData::own_noise_c_dbv},
     {"own_noise_itu468_dbv", &InterfaceData::own_noise_itu468_dbv},
     {"own_noise_itu468_quasi_peak_dbv", &InterfaceData::own_noise_itu468_quasi_peak_dbv}}};
struct Limits {
    std::optional<double> ceiling_thd_percent;  ///< unset: 1 %, common practice, no source
    // What the chain is held against; unset ones are proposed by the program (diagnose/chain_findings.hpp), and only tell.
    std::optional<double> minus_20_thd_percent;  ///< of a tone 20 dB below full scale
    std::optional<double> balance_db;            ///< between the sides, either way
    std::optional<double> delay_difference_ms;   ///< between the sides, either way
    std::optional<double> crosstalk_1khz_db, crosstalk_10khz_db;  ///< against the channel that carries the tone: -60
    std::optional<double> response_from_hz, response_to_hz;       ///< band in which response_tolerance_db holds
    std::optional<double> response_tolerance_db;                  ///< against the level round 1 kHz, either way
    std::optional<double> noise_dbv_a;           ///< at the amplifier's input, 20 Hz..20 kHz, A-weighted
    std::optional<bool> same_polarity;           ///< whether all channels must have one
    // What the noise floor is held against; unset ones are proposed by the program (diagnose/floor_record.hpp), and only tell.
    std::optional<double> line_below_full_power_db;   ///< a tonal line against the input voltage that gives full power: -90
    std::optional<double> hiss_below_full_power_db;   ///< the noise without its lines, A-weighted, likewise: -85
    std::optional<double> at_ear_off_db_spl;          ///< a line at the ear, engine off
    std::optional<double> at_ear_running_db_spl;      ///< the same with the engine running, or a hybrid awake
};
/// A limit that is a number: the field's name in job.json, where it lies, and what it may be.
struct LimitField {
    std::string_view name;
    std::optional<double> Limits::*value;
    double lowest = 0, highest = 0;
    bool lowest_itself = false;
    bool of_floor = false;  ///< asked of the noise floor, not of the chain
};
inline constexpr std::array<LimitField, 14> kLimitFields = {
    {{"ceiling_thd_percent", &Limits::ceiling_thd_percent, 0, 100, false},
     {"minus_20_thd_percent", &Limits::minus_20_thd_percent, 0, 100, false},
     {"balance_db", &Limits::balance_db, 0, 60, false},
     {"delay_difference_ms", &Limits::delay_difference_ms, 0, 1000, false},
     {"crosstalk_1khz_db", &Limits::crosstalk_1khz_db, -200, 0, true},
     {"crosstalk_10khz_db", &Limits::crosstalk_10khz_db, -200, 0, true},
     {"response_from_hz", &Limits::response_from_hz, 1, 100000, true},
     {"response_to_hz", &Limits::response_to_hz, 1, 100000, true},
     {"response_tolerance_db", &Limits::response_tolerance_db, 0, 60, false},
     {"noise_dbv_a", &Limits::noise_dbv_a, -200, 20, true},
     {"line_below_full_power_db", &Limits::line_below_full_power_db, -200, 0, true, true},
     {"hiss_below_full_power_db", &Limits::hiss_below_full_power_db, -200, 0, true, true},
     {"at_ear_off_db_spl", &Limits::at_ear_off_db_spl, -50, 140, true, true},
     {"at_ear_running_db_spl", &Limits::at_ear_running_db_spl, -50, 140, true, true}}};
struct PlayedTone {
    Waveform waveform;
    std::optional<ToneVia> via;
    std::optional<Channel> only = std::nullopt;  ///< left or right: the one output that plays it; unset: both
    std::optional<double> burst_s = std::nullopt;  ///< it sounds so long, then stays 40 dB down as long; unset: without pauses
};
struct Mark {
    double time_s = 0;
    std::string text;
};
struct Take {
    std::string file;  ///< relative to the job folder: "takes/idle.flac"
    std::vector<Channel> channels;
    Conditions conditions;
    std::optional<std::string> rpm_log;
    std::vector<double> attenuation_db;  ///< one per channel, or empty for none
    std::optional<PlayedTone> tone;
    std::vector<double> volume_steps;
    std::vector<Mark> marks;
    std::optional<std::string> recorded_at, after_change;
    std::vector<TakeFault> faults;

    bool has(TakeFault fault) const;
};
struct Observation {
    std::string what;                   ///< "ground_drop", "noise_heard", ...
    std::optional<double> value;        ///< a meter's reading
    std::optional<std::string> heard;   ///< what ear or eye said: one of heard_words(what)
    std::string unit;                   ///< "V", "ohm" or empty
    bool declined = false;              ///< asked for and not given; value is unset then
    std::optional<std::string> reason;  ///< why it was declined
    Conditions conditions;
    std::optional<std::string> after_change;
    std::optional<PlayedTone> tone;                 ///< what played, of amplifier_output
    std::optional<double> meter_good_to_hz;         ///< up to where the meter reads right, of amplifier_output
    std::optional<std::string> after_take;          ///< the job's last take then, of removed (temporary_items.hpp)
};
/// What can be observed: "shell_to_case" "shell_to_amplifier_ground" "ground_drop" "supply_drop"
/// "charging_voltage" "ripple" "noise_heard" "amplifier_wakes" "amplifier_output" (volts rms across its speaker terminals)
/// "removed" (a temporary item that came out again).
std::span<const std::string_view> observation_words();
/// "V", "ohm", empty for what the ear judges; nothing for a word that isn't an observation.
std::optional<std::string_view> observation_unit(std::string_view what);
/// What the ear or the eye may say of it: "same" "quieter" "louder" "gone"; of amplifier_wakes "by_itself" "only_with_lead";
/// of removed the words of temporary_items.hpp.
std::span<const std::string_view> heard_words(std::string_view what);

struct Job {
    std::string title;
    std::optional<std::string> date, complaint;
    VehicleData vehicle;
    SourceData source;
    std::vector<AmplifierData> amplifiers;
    std::vector<SpeakerData> speakers;
    CableData cables;
    SupplyData supply;
    InterfaceData interface;
    Limits limits;
    std::map<std::string, double> labour_min;   ///< minutes of a test, by its word, where this shop needs others than usual; "reach_source"
    std::vector<Take> takes;
    std::vector<Observation> observations;

    /// Volts at sample value 1.0 of a take's channel with its pad's loss added back; unset when not
    /// calibrated.
    std::optional<double> volts_full_scale(const Take& take, std::size_t channel_index) const;
    /// What to add to a level in dBFS so that it can be held against another channel's or take's [dB]: where calibrated the scale
    /// re 1 V, pad and all (levels are dBV then), else the pad alone. Two levels compare where both are calibrated, or neither.
    struct Referred {
        double offset_db = 0;
        bool calibrated = false;
    };
    Referred referred_to_probe(const Take& take, std::size_t channel_index) const;
    /// Standard uncertainty of a channel's scale [dB]. It is common to all dBV figures of that channel: part of each,
    /// no part of their differences. Unset where unknown.
    std::optional<double> volts_full_scale_sd_db(std::size_t channel_index) const;
    /// One of the interface's own floors as it looks from the probe [dBV], a pad's loss added; unset when not known.
    std::optional<double> own_noise_at_probe_dbv(const OwnNoiseField& field, const Take& take,
                                                 std::size_t channel_index) const;
    /// Limit for the source's ceiling [percent THD].
    double ceiling_thd_percent() const { return limits.ceiling_thd_percent.value_or(1.0); }
};

struct Warning {
    std::string code;  ///< stable word: "unknown_field", "take_unreadable"
    std::string text;  ///< one sentence for the user
    std::optional<std::string> take;
};

}  // namespace hushtrace
