#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "hushtrace/diagnose/amplifier_findings.hpp"
#include "hushtrace/diagnose/entry_findings.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/order_map.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/ridge.hpp"
#include "hushtrace/signal/conditions.hpp"

/// What the analysis says, as plain data. Names and units are those of the JSON contract (hushtrace.noise/1,
/// hushtrace.gain/1); the report layer only spells them out.
namespace hushtrace {

enum class NoiseKind {
    alternator_whine, ignition_tick, mains_hum, switched_load, motor_whine, phone_burst, bus_tone, converter_hash,
    periodic_tick, crackle, hiss, clipping, unexplained_tone, heard_only
};
std::string_view to_word(NoiseKind kind);          ///< as in the contract: "alternator_whine"
std::string_view plain_name(NoiseKind kind);       ///< for people: "alternator whine"

/// A noise source's level in one channel of one take.
struct LevelInTake {
    std::string take;
    Channel channel = Channel::left;
    std::optional<double> level_dbfs, level_dbv;   ///< unset for digital silence; dBV also where not calibrated
    double sd_db = 0;                              ///< of the reading: what counts between takes of one set-up
    std::optional<double> dbv_sd_db;               ///< of level_dbv: the reading's and the calibration's together
    LimitedBy limited_by = LimitedBy::nothing;     ///< both levels
};
struct Harmonic {
    double number = 1;                 ///< against frequency_hz; a fraction for lines below it (1/6)
    double frequency_hz = 0, level_dbfs = 0;
    std::optional<double> level_dbv;
    std::optional<double> sd_db = std::nullopt, dbv_sd_db = std::nullopt;  ///< of the two levels
    LimitedBy limited_by = LimitedBy::nothing;
};
/// How loud a source is, from the amplifier's input to the ear.
struct Loudness {
    std::string take;                              ///< its loudest
    Channel channel = Channel::left;
    Engine engine = Engine::off;                   ///< in that take
    std::optional<double> level_dbv;               ///< of its lines together, at the amplifier's input
    double sd_db = 0;
    LimitedBy limited_by = LimitedBy::nothing;
    std::vector<std::pair<double, double>> lines;  ///< (frequency_hz, dB against the whole); empty: spread over its band
    std::optional<double> over_floor_db;           ///< its clearest line over the noise in the ear's filter round it
    std::optional<double> ear_db_spl, ear_sd_db;   ///< where the amplifier's gain and a speaker are known
    std::optional<double> over_threshold_db;       ///< its clearest part over the threshold of hearing
    std::string audible = "unknown";               ///< inaudible, audible_parked, audible_driving
    std::string text;                              ///< for people, one clause
};
struct NoiseSource {
    std::string id;                    ///< "whine-1"
    NoiseKind kind = NoiseKind::unexplained_tone;
    std::optional<double> frequency_hz, frequency_sd_hz;
    std::optional<double> engine_order;            ///< lines per crankshaft turn
    std::optional<double> engine_order_sd;
    std::optional<std::pair<double, double>> band_hz;   ///< where the level is that of a band (hiss)
    std::optional<double> level_dbfs, level_dbv;   ///< in its loudest take
    std::vector<LevelInTake> levels;
    double confidence = 0;             ///< 0..1
    std::string rests_on;              ///< which evidence the confidence is the share right of; empty where it is judged
    std::vector<Channel> channels;
    std::vector<std::string> takes;
    std::vector<Harmonic> harmonics;
    std::vector<Evidence> evidence;
    std::optional<double> clipped_share, clip_level_dbfs;   ///< kind clipping alone
    LimitedBy frequency_limited_by = LimitedBy::nothing;
    std::optional<Loudness> loudness = std::nullopt;   ///< unset for what has no sound of its own (clipping, heard_only)
};
/// The level that stands for a source: that of its loudest take. Nothing where it has none.
const LevelInTake* loudest_level(const NoiseSource& source);
struct HealthFinding {
    std::string fault, why;
    double confidence = 0;
};
struct Action {
    std::string action, why, source_id;
    std::optional<double> expected_change_db, sd_db;   ///< negative is quieter; unset: not known from the takes at hand
};
/// One figure of a noise floor. dBFS: what the take holds. dBV: the same in volts with the interface's own noise taken
/// off in power where it is known and lies 3 dB or more below; where it lies nearer, nothing is taken off and the
/// reading is limited by the interface.
struct FloorFigure {
    std::optional<Reading> dbfs, dbv;              ///< unset: not measured, silent, not calibrated
    bool interface_taken_off = false;
};
struct FloorTone {
    double frequency_hz = 0;
    Reading dbfs;
    std::optional<Reading> dbv;
    bool wanders = false;                          ///< read along its track, frequency_hz is its mean
    double frequency_sd_hz = 0;                    ///< of one that wanders: how far it strays
};
/// A band of a third of an octave (measure/third_octaves.hpp).
struct FloorBand {
    double nominal_hz = 0, mid_hz = 0;
    FloorFigure level;                             ///< the interface's own taken off where InterfaceKnown is by_band
    bool few_bins = false;                         ///< narrower than the window's main lobe: what lies beside it spills in
};
/// What is known of the interface's own noise in a take's channel.
enum class InterfaceKnown {
    nothing,
    whole,      ///< over all frequencies only (job.json's own_noise_dbv): in a band it may be all that is seen
    by_band     ///< from a take with the inputs shorted, at the same scale and pad
};
std::string_view to_word(InterfaceKnown known);    ///< "nothing" "whole" "by_band"
struct FloorReading {
    std::string take;
    Channel channel = Channel::left;
    double from_hz = 20, to_hz = 20000;            ///< the band; a low rate ends it at half the rate
    FloorFigure unweighted, a_weighted, c_weighted;
    FloorFigure itu468;                            ///< rms, 0 dB at 1 kHz
    FloorFigure itu468_quasi_peak;                 ///< mean indication; needs 3 s
    bool quasi_peak_wants_length = false;          ///< the take is too short for it
    FloorFigure broadband, broadband_a_weighted;   ///< without the tones
    std::vector<FloorTone> tones;                  ///< the strongest, loudest first
    std::vector<FloorBand> third_octaves;          ///< 20 Hz to 20 kHz, as far as the rate reaches; empty for digital silence
    InterfaceKnown bands_interface = InterfaceKnown::nothing;   ///< for third_octaves
    bool limited_by_interface = false;             ///< the unweighted figure is
};

/// Where a noise source lies in one take over its time: to draw it, and to take it out.
struct SourceTrace {
    std::string source_id, take;
    Channel channel = Channel::left;              ///< where it is loudest in this take
    double from_s = 0;                            ///< where in the take the track's time 0 lies
    Track track;                                  ///< its leading line, or clicks a second; two points where it holds still
    bool steady = false;                          ///< holds still
    std::vector<double> ratios;                   ///< of all its lines to the track, ascending; none for clicks
    std::vector<double> click_profile;            ///< of clicks: as in ImpulseTrain
    std::optional<std::size_t> family;            ///< of the take's followed families, where it is one of theirs
    double family_ratio = 1;                      ///< its leading line to the followed one
};

/// A line of a take as seen from a followed source.
struct OrderSpectrumLine {
    double ratio = 1;                             ///< to the source's leading line (of a fixed line: to its mean)
    std::optional<double> order;                  ///< per crankshaft turn, where the source's is known
    double frequency_hz = 0;                      ///< at the source's mean frequency
    double level_dbfs = 0;
    std::optional<double> level_dbv;
    double sharpening_db = 0;                     ///< prominence over the source's cycles less that over time
    std::optional<bool> follows;                  ///< unset where the source strayed too little to tell
};
/// A take over the cycles of a source that was followed in it.
struct OrderSpectrumReading {
    std::string take;
    Channel channel = Channel::left;
    std::string reference;                        ///< the source's id
    double reference_hz = 0;                      ///< mean of its leading line
    std::optional<double> reference_order;
    std::vector<OrderSpectrumLine> lines;         ///< ascending ratio
};

/// A sound file that was written so that a noise source can be heard.
struct HeardFile {
    std::string file;                             ///< relative to the folder that was asked for
    std::string what;                             ///< "take", "alone", "without"
    std::string source_id;                        ///< empty for the take itself
    std::string take;
    bool exact = false;                           ///< at the take's own level: alone and without add up to the take
    double gain_db = 0;                           ///< against the take
    double from_s = 0, duration_s = 0;            ///< the part of the take that it holds
};

/// For the pictures: what a take looks like, with the findings' places in it.
struct MarkedLine {
    double frequency_hz = 0, level_dbfs = 0;
    std::string source_id, label;
};
/// A finding's track over a take, drawn with its further lines.
struct PictureTrack {
    std::string source_id, label;                 ///< label: "alternator whine"
    bool clicks = false;                          ///< a rate, not a line
    std::vector<std::pair<double, double>> points;   ///< (time_s, frequency_hz)
    std::vector<double> ratios;                   ///< of the lines to draw, 1 among them
};
/// A take over the cycles of a finding.
struct PictureOrders {
    std::string source_id, label;
    double reference_ratio = 1;                   ///< the finding's leading line to the map's followed one
    std::optional<double> reference_order;        ///< per crankshaft turn
    double wander = 0;                            ///< relative rms of the track
    OrderMap map;
};
struct TakePicture {
    std::string take;
    Channel channel = Channel::left;
    std::optional<double> volts_full_scale;
    double bin_hz = 0;
    std::vector<float> line_dbfs;                 ///< [bins] each bin read as a tone
    std::vector<MarkedLine> lines;
    double column_s = 0, spectrogram_bin_hz = 0;
    std::vector<std::vector<float>> spectrogram_dbfs;   ///< [columns][bins]
    std::vector<std::pair<double, double>> track; ///< (time_s, frequency_hz) of the engine's leading line, if followed
    std::vector<PictureTrack> tracks;             ///< of all findings that have a place over time
    std::optional<PictureOrders> orders;          ///< over the cycles of the most telling of them
};

/// The engine's speed in one take, and what shows it.
struct EngineInTake {
    std::string take;
    std::optional<double> rpm, rpm_sd;
    std::string rpm_from;                          ///< log, firing, typed, whine, told; empty where not known
    std::optional<double> typed_rpm, firing_hz, whine_hz;
    std::optional<double> log_lag_s;               ///< the log's clock less the take's, where it can be told
};
/// A pole-pair count and the pulley ratio that would give the whine constant with it.
struct PulleyFit {
    int pole_pairs = 0;
    double pulley_ratio = 0, pulley_ratio_sd = 0;
    bool usual = false;
};
/// What all takes together say of the engine and its alternator.
struct EngineFindings {
    std::optional<double> hz_per_rpm, hz_per_rpm_sd;   ///< of whine
    std::optional<int> sets;                           ///< of windings: 1 or 2; unset where it can't be told
    std::string from;                                  ///< log, firing, typed, told; empty without a constant
    std::vector<EngineInTake> takes;                   ///< those with the engine running
    std::vector<PulleyFit> fits;                       ///< usual ones first
    std::string fits_text;                             ///< one or two sentences; empty without a constant
};

struct NoiseAnalysis {
    EngineFindings engine;
    std::vector<NoiseSource> noise_sources;       ///< loudest first
    std::vector<NoiseSource> unsure;              ///< less likely to be sources than not: chance, or part of another
    std::vector<EntryPath> entry_paths;           ///< likeliest first; of each source they sum to 1
    std::optional<NextTest> next_test;            ///< nothing where enough is known, or no test would tell more
    std::optional<DummyTest> dummy_test;          ///< of the loudest source that gets in somewhere
    std::vector<TestMade> tests_made;             ///< by source, in the order of the takes
    std::vector<SupplyTransfer> supply_transfers;
    std::vector<FeedImpedance> feed_impedances;
    std::vector<Cure> cures;
    std::vector<ChangeMade> changes;               ///< by source, in the order of the takes
    std::vector<HealthFinding> health;
    std::vector<Action> actions;                  ///< most useful first
    std::vector<FloorReading> floor;
    std::vector<TakePicture> pictures;
    std::vector<OrderSpectrumReading> order_spectra;
    std::vector<SourceTrace> traces;              ///< one a source and take in which it has a place
    std::vector<HeardFile> heard;                 ///< in playing order; empty where none were asked for
    std::string heard_folder;
    std::vector<std::string> takes;               ///< those analysed
    std::vector<Warning> warnings;
};

// ---- gain ----

/// Where a channel's source begins to bend the tone, and how.
struct Knee {
    std::string kind;                             ///< hard, soft, slew, limiter, other
    std::string sides = "none";                   ///< of hard and soft: both, upper, lower, unequal
    std::optional<Reading> dbfs, v;               ///< unset for kind other; v where calibrated (sd with the scale's)
    std::size_t step = 0;                         ///< it was read in
    std::optional<double> volume;                 ///< of that step
};

/// One plateau of a stepped take: a stretch at constant volume.
struct VolumeStep {
    std::size_t number = 0;                       ///< from 1, in order of time
    std::optional<double> volume;                 ///< from volume_steps where these match the plateaus
    double start_s = 0, end_s = 0;
    double level_dbfs = 0;
    double level_sd_db = 0;                       ///< of the reading alone
    std::optional<double> level_v, level_v_sd;    ///< sd with the calibration's; unset where that is not known
    double thd_percent = 0, thd_noise_percent = 0;
    double thd_sd_percent = 0, thd_noise_sd_percent = 0;
    std::size_t harmonics_counted = 0;            ///< in THD: the 2nd and those that follow it, up to 20 kHz
    std::size_t harmonics_missing = 0;            ///< up to 20 kHz, but above the capture's band, or too few cycles
    bool input_overload = false;
    /// How far its level lags behind the volume law, as carried on from the clean steps below it, or, where that is
    /// surer, as the other channel shows it; negative where it rises more. Unset where neither is known.
    std::optional<double> compression_db, compression_sd_db;
    double frequency_hz = 0, frequency_sd_hz = 0; ///< of the tone as captured
    LimitedBy thd_limited_by = LimitedBy::nothing;   ///< noise: THD is below thd_percent + 2 thd_sd_percent
    /// What limits its level and THD+N: the interface where that overloads.
    LimitedBy limited_by() const { return input_overload ? LimitedBy::interface : LimitedBy::nothing; }
};
struct Ceiling {
    std::optional<double> volume;
    std::size_t step = 0;
    std::optional<double> level_v;                ///< unset when not calibrated
    double level_dbfs = 0;
    double thd_percent = 0;
    std::optional<double> next_volume_thd_percent;
    Channel channel = Channel::left;
    double tone_hz = 0;
    std::string take;
    std::optional<double> level_v_sd = std::nullopt;             ///< with the calibration's; unset where that is not known
    double level_sd_db = 0, thd_sd_percent = 0, next_volume_thd_sd_percent = 0;
    LimitedBy thd_limited_by = LimitedBy::nothing, next_volume_thd_limited_by = LimitedBy::nothing;
    std::optional<Knee> knee = std::nullopt;
};
struct StepCurve {
    std::string take;
    Channel channel = Channel::left;
    double tone_hz = 0;
    std::vector<VolumeStep> steps;
    std::optional<Ceiling> ceiling;
    std::string ceiling_reason;                   ///< empty, or never_clips always_distorted input_overloaded no_plateau
                                                  ///< wrong_tone too_noisy
    std::optional<Knee> knee = std::nullopt;      ///< unset: nothing clips, or it can't be told
};
/// What a step of the volume is worth, from one channel's clean steps. Where volumes aren't known, "volume" counts the
/// settings in rising order of level.
struct VolumeLaw {
    struct Step {
        std::optional<double> volume;
        std::size_t step = 0;                     ///< VolumeStep::number
        double gain_db = 0;                       ///< against the highest clean step
        std::optional<double> rise_db;            ///< a volume number, from the setting below; unset for the lowest
    };
    struct Run {                                  ///< settings between which a volume number is worth much the same
        double from = 0, to = 0;                  ///< volumes, or settings
        double rise_db = 0;                       ///< a volume number, mean
    };
    std::string take;
    Channel channel = Channel::left;
    double tone_hz = 0;
    bool volumes_known = false;
    std::vector<Step> steps;                      ///< rising
    double rise_db = 0;                           ///< a volume number, median
    bool even = false;                            ///< one run holds all
    std::vector<Run> runs;
};
/// One channel against another over the steps of a take, at the probe: pads added, in volts where both are calibrated.
struct ChannelBalance {
    struct Step {
        std::size_t step = 0;
        std::optional<double> volume;
        double balance_db = 0;                    ///< first less second
        bool clean = true;                        ///< both channels are: only these count below
    };
    std::string take;
    double tone_hz = 0;
    Channel first = Channel::left, second = Channel::right;
    std::vector<Step> steps;
    std::optional<double> balance_db;             ///< median
    std::optional<double> tracking_db;            ///< largest departure from it
};
struct GainAnalysis {
    /// Whether a gain can be set by it: a ceiling, or clean up to the highest volume that was played.
    bool ceiling_usable() const { return ceiling || ceiling_reason == "never_clips"; }

    std::optional<Ceiling> ceiling;               ///< the lowest of all
    std::string ceiling_reason, ceiling_text;     ///< text: one or two sentences for the user, always set
    std::vector<StepCurve> curves;
    std::optional<VolumeLaw> volume_law;          ///< unset with fewer than three clean settings
    std::vector<ChannelBalance> balances;         ///< one for each take with a left and a right channel, both calibrated or neither
    std::vector<AmplifierSetting> amplifiers;
    double limit_thd_percent = 1.0;
    std::vector<std::string> takes;
    std::vector<Warning> warnings;
};

}  // namespace hushtrace
