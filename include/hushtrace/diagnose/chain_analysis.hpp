#pragma once
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/chain_findings.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/measure/all_pass.hpp"
#include "hushtrace/measure/channel_sum.hpp"
#include "hushtrace/measure/intermodulation.hpp"
#include "hushtrace/measure/response_shape.hpp"
#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/measure/transfer.hpp"
#include "hushtrace/signal/block.hpp"

/// What the path from the source's file to the amplifier's input does to sound, from takes of sweeps, pink noise,
/// polarity pulses and two tones. Figures and methods: docs/chain.md, docs/measurements.md.
namespace hushtrace {

/// One channel of the chain. What no take tells is unset.
struct ChainChannel {
    Channel channel = Channel::left;
    std::string take;                ///< that its figures stem from
    std::optional<double> volume;    ///< of that take
    bool silent = false;             ///< nothing of the tone came through in any take that should have it
    /// Where it lay 12 dB or more below `quiet_against` in a take that should have it, and no take tells more of it.
    std::optional<Reading> quiet_db;
    Channel quiet_against = Channel::left;
    std::string polarity = "unknown";  ///< "normal", "inverted", "unknown"
    std::optional<Reading> delay_ms;             ///< against the first channel, positive when later
    std::optional<Reading> delay_after_tone_ms;  ///< against the played file; needs its markers
    std::optional<Reading> gain_db;              ///< captured dBFS less played dBFS
    double gain_hz = 0;                          ///< middle of the octave in which gain_db was read
    std::optional<Reading> level_dbfs, level_dbv;  ///< of the tone as captured there; dBV where calibrated
    std::optional<Reading> balance_db;           ///< level above the first channel's, at the probe; unset where one alone is calibrated
    double balance_hz = 0;
    std::optional<Reading> thd_percent;  ///< harmonics of a sweep, a third of an octave round thd_hz
    double thd_hz = 0;
    /// What of the other output's tone is heard here, against the channel that carries it.
    std::optional<Reading> crosstalk_db, crosstalk_10khz_db;
    Transfer crosstalk;
    Transfer response;
    std::vector<HarmonicResponse> harmonics;
    /// Outputs of the source that arrive here, from takes in which one played alone; empty: neither is known to.
    std::vector<Channel> hears;
    std::optional<ResponseShape> shape;  ///< what the response is made of
    std::optional<PassedBand> band;
    std::optional<AllPassFit> phase;     ///< with the all-passes, where there are some
    ChainDistortion minus_20, at_ceiling;
    std::optional<ChainNoise> noise;
};

/// Intermodulation of one channel of a take of two tones.
struct ChainIntermodulation {
    std::string take;
    Channel channel = Channel::left;
    TwoToneMethod method = TwoToneMethod::difference_frequency;
    Intermodulation reading;
    std::optional<double> volts_full_scale, scale_sd_db;
};

/// How a take's tone was found.
struct ChainTake {
    std::string file, kind;  ///< kind of tone
    std::string placed_by;   ///< "markers", or "sweep" where the sweep itself told its place
    TonePlace place;
};

struct ChainAnalysis {
    std::vector<ChainChannel> channels;
    std::vector<ChainTake> placed;
    std::vector<ChainIntermodulation> intermodulation;
    std::vector<ChainSum> sums;
    std::vector<ChainCrossing> crossings;
    std::vector<VolumeDependence> volume_dependence;
    std::vector<LevelDependence> level_dependence;
    std::vector<LimitLine> limits;
    std::optional<double> ceiling_volume;  ///< of the source, where the job's takes tell it; the highest one played
    bool never_clips = false;              ///< where it never clipped
    std::vector<std::string> takes;
    std::vector<Warning> warnings;  ///< channel_silent, channels_swapped, polarity_differs, channel_quiet, ...
};

/// Whether a job has a take that speaks of the chain.
bool has_chain_take(const Job& job);

/// Takes that can't be read, or hold nothing of their tone, are left out with a warning of their own.
///   gain    of the same job where it is known already; else it is made here, if the job has takes for it
///   throws  Error invalid_input when the job has no take with a sweep, pink noise, polarity pulses or two tones, or none
///                 can be read
ChainAnalysis analyse_chain(const OpenedJob& job, const GainAnalysis* gain = nullptr);

/// The same, of takes opened by `open`, which is called up to three times a take.
using OpenChainTake = std::function<std::unique_ptr<BlockReader>(const Take&)>;
ChainAnalysis analyse_chain(const OpenedJob& job, const OpenChainTake& open, const GainAnalysis* gain = nullptr);

/// Whether something measured fails a limit that is written in job.json.
bool fails_limit(const ChainAnalysis& analysis);

}  // namespace hushtrace
