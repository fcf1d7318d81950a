#pragma once
#include <algorithm>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

/// Takes of a chain in memory that are quick to read: sweeps of 0.8 s at 4 kHz, as an interface plays them itself.
namespace quick_chain {

using namespace hushtrace;

/// Over five octaves, the one round 1 kHz among them.
inline sweep_maker::Capture sweep_capture(double rate_hz, double level_dbfs = -20) {
    sweep_maker::Capture out;
    out.rate_hz = rate_hz;
    out.from_hz = 0.0125 * rate_hz;
    out.to_hz = 0.44 * rate_hz;
    out.duration_s = 0.8;
    out.level_dbfs = level_dbfs;
    out.ramp_s = 0.05;
    out.start_s = 0.6;
    out.tail_s = 0.7;
    return out;
}

struct Path {
    Channel channel = Channel::left;
    double gain = 1, delay_s = 0;
    double second = 0;  ///< harmonic's amplitude over the tone's
};

struct Job {
    double rate_hz = 4000;
    OpenedJob opened;
    std::map<std::string, Block> sound;
    std::uint64_t seed = 1;

    Take& put(const std::string& file, const Waveform& waveform, const std::vector<Channel>& channels,
              const std::vector<std::vector<double>>& samples, ToneVia via) {
        Take take;
        take.file = file;
        take.channels = channels;
        take.tone = PlayedTone{waveform, via};
        Block block(samples.size(), samples.front().size());
        for (std::size_t c = 0; c < samples.size(); ++c) std::copy(samples[c].begin(), samples[c].end(), block.channel(c).begin());
        sound[file] = std::move(block);
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
    /// Each channel's noise 60 dB below a sweep of -20 dBFS.
    Take& add(const std::string& file, const std::vector<Path>& paths, std::optional<Channel> only = {}, double level_dbfs = -20) {
        std::vector<Channel> channels;
        std::vector<std::vector<double>> samples;
        for (const Path& path : paths) {
            sweep_maker::Capture capture = sweep_capture(rate_hz, level_dbfs);
            capture.harmonics = {1.0, path.second};
            channels.push_back(path.channel);
            samples.push_back(capture.samples(path.delay_s));
            for (double& x : samples.back()) x *= path.gain;
            sweep_maker::add_noise(samples.back(), 7e-5, seed++);
        }
        const sweep_maker::Capture played = sweep_capture(rate_hz, level_dbfs);
        Take& take = put(file, Sweep{played.from_hz, played.to_hz, played.duration_s, level_dbfs}, channels, samples, ToneVia::interface_output);
        take.tone->only = only;
        return take;
    }
    std::unique_ptr<BlockReader> open(const Take& take) const { return std::make_unique<MemoryReader>(sound.at(take.file), rate_hz); }
    ChainAnalysis analyse(const GainAnalysis* gain = nullptr) const {
        return analyse_chain(opened, [this](const Take& take) { return open(take); }, gain);
    }
};

inline const Warning* warning(const ChainAnalysis& chain, const std::string& code) {
    for (const Warning& one : chain.warnings)
        if (one.code == code) return &one;
    return nullptr;
}
inline const ChainChannel& channel(const ChainAnalysis& chain, Channel wanted) {
    for (const ChainChannel& one : chain.channels)
        if (one.channel == wanted) return one;
    throw Error(ErrorKind::invalid_input, "channel not there");
}

}  // namespace quick_chain
