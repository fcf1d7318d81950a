#pragma once
#include <algorithm>
#include <cmath>
#include <deque>
#include <functional>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "../../src/diagnose/chain/chain_parts.hpp"

/// Channels and limits of a chain set by hand, for the tests of what is made of them.
namespace chain_maker {

using namespace hushtrace;

/// Of gain 1 from one frequency to another; noise 60 dB down, and loud enough to hide all from hidden_from_hz to hidden_to_hz.
inline Transfer flat(double from_hz, double to_hz, double hidden_from_hz = 0, double hidden_to_hz = 0) {
    Transfer out;
    for (const double hz : transfer_frequencies(from_hz, to_hz)) {
        TransferPoint point;
        point.frequency_hz = hz;
        point.gain = 1;
        point.noise_power = hz > hidden_from_hz && hz < hidden_to_hz ? 1.0 : 1e-6;
        out.push_back(point);
    }
    return out;
}

inline ChainChannel read_channel(Channel channel, Transfer response) {
    ChainChannel out;
    out.channel = channel;
    out.take = "takes/sweep.flac";
    out.polarity = "normal";
    out.gain_db = Reading{0, 0.01};
    out.gain_hz = 1000;
    out.response = std::move(response);
    return out;
}

inline Job job_of(std::vector<Channel> channels) {
    Job out;
    out.takes.emplace_back();
    out.takes.back().file = "takes/sweep.flac";
    out.takes.back().channels = std::move(channels);
    return out;
}

inline const LimitLine* line(const ChainAnalysis& chain, const std::string& what, std::optional<Channel> of = {}) {
    for (const LimitLine& one : chain.limits)
        if (one.what == what && (!of || one.channel == of)) return &one;
    return nullptr;
}
inline std::string verdict(const ChainAnalysis& chain, const std::string& what, std::optional<Channel> of = {}) {
    const LimitLine* found = line(chain, what, of);
    return found ? found->verdict : "no line";
}
inline bool tells(const LimitLine& found, const std::string& part) { return found.found_text.find(part) != std::string::npos; }
inline bool tells(const LimitLine* found, const std::string& part) { return found && tells(*found, part); }

inline ChainAnalysis judged(const Job& job, std::vector<ChainChannel> channels) {
    ChainAnalysis out;
    out.channels = std::move(channels);
    judge_limits(job, out);
    return out;
}


/// A path of this level and delay, all that lies 60 dB over its noise; where `shape_db` is given, so many dB more at a frequency.
inline Transfer path(double level_db = 0, double delay_s = 0, bool inverted = false, const std::function<double(double)>& shape_db = {},
                     double from_hz = 20, double to_hz = 20000) {
    Transfer out;
    for (const double hz : transfer_frequencies(from_hz, to_hz)) {
        TransferPoint point;
        point.frequency_hz = hz;
        const double db = level_db + (shape_db ? shape_db(hz) : 0.0);
        point.gain = std::polar(std::pow(10.0, db / 20) * (inverted ? -1 : 1), -2 * std::numbers::pi * hz * delay_s);
        point.noise_power = 1e-6 * std::norm(point.gain);
        out.push_back(point);
    }
    return out;
}

/// Steps of a stepped take, each a volume and its level [dBFS].
inline StepCurve curve(const std::string& take, Channel channel, double tone_hz, const std::vector<std::pair<double, double>>& volumes_and_levels) {
    StepCurve out;
    out.take = take;
    out.channel = channel;
    out.tone_hz = tone_hz;
    for (const auto& [volume, level_dbfs] : volumes_and_levels) {
        VolumeStep& step = out.steps.emplace_back();
        step.number = out.steps.size();
        step.volume = volume;
        step.level_dbfs = level_dbfs;
        step.level_sd_db = 0.03;
        step.thd_percent = 0.1;
    }
    return out;
}

/// A sweep with a second harmonic of so many percent everywhere.
inline SweepResponse with_thd(const Transfer& transfer, double percent) {
    SweepResponse out;
    out.transfer = transfer;
    HarmonicResponse second;
    for (const TransferPoint& point : transfer) second.points.push_back({point.frequency_hz, {}, 1e-4 * percent * percent, 1e-12});
    out.harmonics = {second};
    return out;
}

/// Takes as they are after reading, without sound: their paths are put in.
struct ReadTakes {
    std::deque<Take> takes;
    std::vector<ReadTake> read;
    ChainAnalysis chain;

    struct Path {
        Channel channel;
        Transfer transfer;
        double around_s = 0;
        AtProbe probe = {};
    };
    Take& add(const std::string& file, const std::vector<Path>& paths, std::optional<double> volume = 20.0, double level_dbfs = -20, int rank = 5) {
        Take& take = takes.emplace_back();
        take.file = file;
        take.conditions.volume = volume;
        take.tone = PlayedTone{Sweep{20, 20000, 5, level_dbfs}, ToneVia::stick};
        ReadTake& one = read.emplace_back();
        one.of.take = &take;
        one.rank = rank;
        std::vector<ChannelPath> for_roles;
        for (std::size_t i = 0; i < paths.size(); ++i) {
            take.channels.push_back(paths[i].channel);
            TakePath at{paths[i].channel, paths[i].probe, paths[i].transfer, paths[i].around_s, std::nullopt};
            at.probe.input = i;
            one.of.paths.push_back(at);
        }
        for (const TakePath& at : one.of.paths) for_roles.push_back({at.transfer, at.around_s});
        one.roles = roles_of(for_roles);
        return take;
    }
    /// A channel whose figures stem from a take.
    ChainChannel& channel(Channel wanted, const std::string& file) {
        chain.channels.emplace_back();
        ChainChannel& out = chain.channels.back();
        out.channel = wanted;
        out.take = file;
        for (const ReadTake& one : read)
            if (one.of.take->file == file)
                if (const TakePath* at = one.path(wanted)) {
                    const auto level = passband_level(at->transfer);
                    out.gain_db = level->level_db;
                    out.gain_hz = level->centre_hz;
                    out.response = at->transfer;
                }
        return out;
    }
};

}  // namespace chain_maker
