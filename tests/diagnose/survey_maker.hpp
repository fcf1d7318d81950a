#pragma once
#include <string>
#include <vector>

#include "../../src/diagnose/noise_sources.hpp"

/// What a take holds, set by hand, for the tests of what it means.
namespace survey_maker {

using namespace hushtrace;

/// A track that keeps its frequency, or strays by a sine of this share of it.
inline Track track(double hz, double share = 0, double seconds = 10) {
    Track out;
    for (double t = 0; t <= seconds; t += 0.05) {
        out.time_s.push_back(t);
        out.frequency_hz.push_back(hz * (1 + share * std::sin(1.9 * t)));
    }
    return out;
}

/// A take of some seconds, its channels left and right (as many as are asked for) with flat noise of density 1e-9 up to 24 kHz, 1 Hz a bin.
struct Made {
    Take take;
    TakeSurvey survey;

    explicit Made(std::size_t channels = 1, Engine engine = Engine::off, const std::string& file = "takes/a.wav", double seconds = 10) {
        take.file = file;
        take.conditions.engine = engine;
        survey.take = &take;
        survey.duration_s = seconds;
        survey.sample_rate_hz = 48000;
        survey.channels.resize(channels);
        for (std::size_t c = 0; c < channels; ++c) {
            ChannelSurvey& channel = survey.channels[c];
            channel.channel = c == 0 ? Channel::left : Channel::right;
            channel.bursts.duration_s = seconds;
            channel.bursts.expected_by_chance = 0.18;
            channel.bursts.usual_mean_square = 1e-6;
            channel.spectrum.sample_rate_hz = 48000;
            channel.spectrum.length = 48000;
            channel.spectrum.effective_averages = 10;
            channel.spectrum.density.assign(24001, 1e-9);
            channel.floor_density = channel.spectrum.density;
        }
    }
    Made(const Made&) = delete;
    Made& operator=(const Made&) = delete;

    ChannelSurvey& channel(std::size_t c = 0) { return survey.channels[c]; }
    MovingFamily& add_family(double hz, double wander = 0.02, std::size_t lines = 1) {
        MovingFamily& out = survey.families.emplace_back();
        out.mean_hz = hz;
        out.wander = wander;
        out.ridge.track = track(hz, wander * 1.4);
        for (std::size_t n = 1; n <= lines; ++n) out.lines.push_back({static_cast<double>(n), 0.0001, {1e-8}, 20, 0});
        return out;
    }
};

inline Hump hump(double hz, double width_hz, double mean_square, double surprise = 20, std::optional<double> evenness = 0.95) {
    return {hz, hz - 0.5 * width_hz, hz + 0.5 * width_hz, mean_square, 9.0, surprise, evenness};
}
inline HuntingPulses pulses(double rate_hz, double share = 0.5, double width_hz = 20, double recurrence_sd = 10) {
    HuntingPulses out;
    out.rate_hz = rate_hz;
    out.rate_sd_hz = 2;
    out.width_hz = width_hz;
    out.recurrence_sd = recurrence_sd;
    out.share = share;
    out.low_hz = 2000;
    out.high_hz = 12000;
    return out;
}
inline ImpulseTrain train(double rate_hz, double mean_square = 1e-8, double significance = 30, double wander = 0.01, double contrast_db = 8) {
    ImpulseTrain out;
    out.rate = track(rate_hz, 1.4 * wander);
    out.mean_square = mean_square;
    out.significance = significance;
    out.contrast_db = contrast_db;
    return out;
}
inline Burst burst(double time_s, double energy = 1e-8, double surprise = 40) { return {time_s, surprise, energy, 0.9, 0.003}; }

/// Whether a piece of evidence holds these words.
inline const Evidence* evidence(const NoiseSource& source, const std::string& words) {
    for (const Evidence& one : source.evidence)
        if (one.text.find(words) != std::string::npos) return &one;
    return nullptr;
}

}  // namespace survey_maker
