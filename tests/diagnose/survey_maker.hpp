#pragma once
#include <string>
#include <vector>

#include "../../src/diagnose/sources/noise_sources.hpp"
#include "diagnose/even_survey.hpp"

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
struct Made : even_survey::MadeTake {
    explicit Made(std::size_t channels = 1, Engine engine = Engine::off, const std::string& file = "takes/a.wav", double seconds = 10)
        : MadeTake(file, engine, channels, 1e-9, 48000, 10, seconds) {
        for (ChannelSurvey& one : survey.channels) {
            one.bursts.duration_s = seconds;
            one.bursts.expected_by_chance = 0.18;
            one.bursts.usual_mean_square = 1e-6;
        }
    }

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
