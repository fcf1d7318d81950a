#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/measure/channel_comparison.hpp"

/// The parts of the chain analysis: a take to its channels' paths, paths to channels.
namespace hushtrace {

/// One signal channel of a take as the path from what was played.
struct TakePath {
    Channel channel = Channel::left;
    Transfer transfer;
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
/// Finds the tone, reads each signal channel.
///   throws Error as the reader and the measurements; invalid_input when the tone isn't in the take
PathsOfTake read_paths(const Take& take, const OpenChainTake& open);

bool is_two_tone_take(const Take& take);
/// Reads each signal channel in the longest stretch at one level. Which method it is follows from the tones as stated.
///   throws  Error as the reader; invalid_input when the stated pair belongs to no method, or no channel can be read
std::vector<ChainIntermodulation> read_two_tones(const OpenedJob& job, const Take& take, const OpenChainTake& open,
                                                 std::vector<Warning>& warnings);

}  // namespace hushtrace
