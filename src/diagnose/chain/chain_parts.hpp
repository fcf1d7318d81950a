#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/measure/channel_comparison.hpp"

/// The parts of the chain analysis: a take to its channels' paths, paths to channels.
namespace hushtrace {

/// How a captured channel's levels stand to those at the probe.
struct AtProbe {
    Job::Referred referred;
    double pad_db = 0;
    std::size_t input = 0;              ///< the file's channel
    std::optional<double> scale_sd_db;  ///< where calibrated, and known
};
AtProbe at_probe(const Job& job, const Take& take, Channel channel);
/// What to add to the difference of two levels in dBFS for that at the probe [dB], with the scales' uncertainty (an input's own
/// drops out). Nothing where only one of the two is calibrated.
std::optional<Reading> difference_at_probe(const AtProbe& one, const AtProbe& other);
/// The same where it need only be about right, or drops out: by the pads where only one is calibrated.
double rough_difference_at_probe_db(const AtProbe& one, const AtProbe& other);
std::optional<Reading> plus(const std::optional<Reading>& a, const Reading& b);
Transfer louder_by(Transfer transfer, double by_db);

/// One signal channel of a take as the path from what was played.
struct TakePath {
    Channel channel = Channel::left;
    AtProbe probe;
    Transfer transfer;  ///< of the samples, neither pad nor scale in it
    double around_s = 0;
    std::optional<SweepResponse> sweep;
};
struct PathsOfTake {
    const Take* take = nullptr;
    ChainTake placed;
    std::vector<TakePath> paths;
    bool cut_short = false;
};

bool is_chain_take(const Take& take);
/// Finds the tone, reads each signal channel. `probe` is left to the caller.
///   throws Error as the reader and the measurements; invalid_input when the tone isn't in the take
PathsOfTake read_paths(const Take& take, const OpenChainTake& open);

/// A take that was read, with what each channel does in it.
struct ReadTake {
    PathsOfTake of;
    ChannelRoles roles;
    int rank = 0;  ///< sweeps tell more than noise, that more than pulses; both outputs more than one

    const TakePath* path(Channel channel) const;  ///< nullptr where it isn't there or doesn't carry the tone
    bool both() const { return !of.take->tone->only; }
};
/// nullptr where the chain has no such channel
ChainChannel* channel_of(ChainAnalysis& chain, Channel channel);
const ChainChannel* channel_of(const ChainAnalysis& chain, Channel channel);

/// Level of the played tone where it is a sine's at each instant, or noise's rms; pulses have none.
std::optional<double> played_level_dbfs(const Waveform& waveform);

/// Whether two takes state the same tone, but for its level, under the same conditions.
bool alike_but_level(const Take& a, const Take& b);
/// Says once that two channels can't be held against each other, one of them not being calibrated.
void warn_of_scales(ChainAnalysis& out, const TakePath& one, const TakePath& other);
/// Delay and balance of each channel against the first, through takes that hold both, or a third one with each.
void link_channels(ChainAnalysis& out, const std::vector<ReadTake>& takes);
/// What each response is made of, its band, its all-passes (which tell polarity and delay anew).
void see_shapes(ChainAnalysis& out, const std::vector<ReadTake>& takes);
/// Channels of one take added up; channels that share the band.
void add_sums(ChainAnalysis& out, const std::vector<ReadTake>& takes);
/// Warns of takes that can't both be true.
void find_contradictions(ChainAnalysis& out, const std::vector<ReadTake>& takes);
void add_volume_dependence(const Job& job, ChainAnalysis& out, const std::vector<ReadTake>& takes, const GainAnalysis* gain);
void add_level_dependence(ChainAnalysis& out, const std::vector<ReadTake>& takes);
/// THD 20 dB below full scale and at the ceiling, noise.
void add_distortion(const OpenedJob& job, ChainAnalysis& out, const std::vector<ReadTake>& takes, const OpenChainTake& open,
                    const GainAnalysis* gain);
void add_noise(const OpenedJob& job, ChainAnalysis& out, const OpenChainTake& open);
void judge_limits(const Job& job, ChainAnalysis& out);

bool is_two_tone_take(const Take& take);
/// Reads each signal channel in the longest stretch at one level. Which method it is follows from the tones as stated.
///   throws  Error as the reader; invalid_input when the stated pair belongs to no method, or no channel can be read
std::vector<ChainIntermodulation> read_two_tones(const OpenedJob& job, const Take& take, const OpenChainTake& open,
                                                 std::vector<Warning>& warnings);

}  // namespace hushtrace
