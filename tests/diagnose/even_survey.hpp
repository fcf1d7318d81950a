#pragma once
#include <cmath>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "../../src/diagnose/takes/take_survey.hpp"

/// Surveys of takes as they would be read, made by hand: what they mean can be worked out on paper.
namespace even_survey {

/// A spectrum of 1 Hz bins up to half the rate with even noise, averaged so many times over so many seconds.
inline hushtrace::PowerSpectrum even_spectrum(double density, std::size_t rate_hz = 24000, std::size_t averages = 100, double seconds = 10) {
    hushtrace::PowerSpectrum spectrum;
    spectrum.sample_rate_hz = static_cast<double>(rate_hz);
    spectrum.length = rate_hz;
    spectrum.noise_bandwidth_hz = 1.5;   // a Hann window's
    spectrum.segments = averages;
    spectrum.effective_averages = static_cast<double>(averages);
    spectrum.effective_duration_s = seconds;
    spectrum.density.assign(rate_hz / 2 + 1, density);
    return spectrum;
}

/// A take of 10 s (unless asked otherwise) and its survey, which points at it.
struct MadeTake {
    hushtrace::Take take;
    hushtrace::TakeSurvey survey;
    explicit MadeTake(const std::string& file, hushtrace::Engine engine = hushtrace::Engine::off, std::size_t channels = 1,
                      double density = 1e-14, std::size_t rate_hz = 24000, std::size_t averages = 100, double seconds = 10) {
        take.file = file;
        take.conditions.engine = engine;
        survey.take = &take;
        survey.duration_s = seconds;
        survey.sample_rate_hz = static_cast<double>(rate_hz);
        for (std::size_t c = 0; c < channels; ++c) {
            hushtrace::ChannelSurvey& channel = survey.channels.emplace_back();
            channel.channel = c == 0 ? hushtrace::Channel::left : hushtrace::Channel::right;
            channel.file_channel = c;
            channel.spectrum = even_spectrum(density, rate_hz, averages, seconds);
            channel.floor_density = channel.spectrum.density;
            take.channels.push_back(channel.channel);
        }
    }
    MadeTake(const MadeTake&) = delete;
    MadeTake& operator=(const MadeTake&) = delete;
};

/// A track of 10 s, 20 points a second, that swings by a sine: so far either way, so many times a second.
inline hushtrace::Track swinging(double mean_hz, double share, double swings_hz = 0.3, double phase = 0.0) {
    hushtrace::Track track;
    for (int i = 0; i <= 200; ++i) {
        track.time_s.push_back(0.05 * i);
        track.frequency_hz.push_back(mean_hz * (1.0 + share * std::sin(2.0 * std::numbers::pi * (swings_hz * 0.05 * i + phase))));
    }
    return track;
}

/// A followed line and what turns with it: (ratio, mean square in every channel).
inline hushtrace::MovingFamily family_of(double mean_hz, double wander, const std::vector<std::pair<double, double>>& lines,
                                         std::size_t channels = 1) {
    hushtrace::MovingFamily family;
    family.mean_hz = mean_hz;
    family.wander = wander;
    family.significance = 30;
    family.ridge.track = swinging(mean_hz, std::numbers::sqrt2 * wander);
    family.ridge.log_evidence = 60;
    for (const auto& [ratio, mean_square] : lines) {
        hushtrace::OrderLine line;
        line.ratio = ratio;
        line.mean_square.assign(channels, mean_square);
        family.lines.push_back(line);
    }
    return family;
}

}  // namespace even_survey
