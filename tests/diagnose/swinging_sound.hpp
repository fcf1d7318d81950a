#pragma once
#include <cmath>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include "../../src/diagnose/takes/take_survey.hpp"
#include "hushtrace/measure/thinned_sound.hpp"

/// Sound of 12 kHz with lines that swing, and its survey as far as a search for lines needs it.
struct SwingingSound {
    static constexpr double kRate = 12000;
    static constexpr double kNoise = 0.01;   // rms: a density of 1e-4 / 6000 Hz
    hushtrace::Take take;
    hushtrace::TakeSurvey survey;
    std::vector<std::vector<double>> channels;
    std::vector<std::span<const double>> stretches;
    std::vector<hushtrace::ThinnedSound> sounds;

    explicit SwingingSound(double seconds, std::size_t count = 2) {
        survey.take = &take;
        survey.sample_rate_hz = kRate;
        survey.duration_s = seconds;
        std::mt19937_64 engine(3);
        std::normal_distribution<double> noise(0, kNoise);
        for (std::size_t c = 0; c < count; ++c) {
            channels.emplace_back(static_cast<std::size_t>(seconds * kRate));
            for (double& one : channels.back()) one = noise(engine);
            hushtrace::ChannelSurvey& channel = survey.channels.emplace_back();
            channel.channel = c == 0 ? hushtrace::Channel::left : hushtrace::Channel::right;
            channel.file_channel = c;
        }
    }
    SwingingSound(const SwingingSound&) = delete;
    SwingingSound& operator=(const SwingingSound&) = delete;

    /// Relative speed: so far either way, so many times a second.
    static double speed(double t, double share, double swings_hz = 0.7) { return 1 + share * std::sin(2 * std::numbers::pi * swings_hz * t); }
    /// A line in each channel, at its amplitude there; `aside_hz` off what swings.
    void add(double frequency_hz, double share, const std::vector<double>& amplitudes, double swings_hz = 0.7, double aside_hz = 0) {
        double turns = 0;
        for (std::size_t n = 0; n < channels[0].size(); ++n) {
            for (std::size_t c = 0; c < channels.size(); ++c) channels[c][n] += amplitudes[c] * std::sin(2 * std::numbers::pi * turns);
            turns += (frequency_hz * speed((static_cast<double>(n) + 0.5) / kRate, share, swings_hz) + aside_hz) / kRate;
        }
    }
    /// Spectra of 1 Hz, the noise under the lines and the lines, of each channel.
    void read() {
        stretches.assign(channels.begin(), channels.end());
        sounds.clear();
        for (std::size_t c = 0; c < channels.size(); ++c) {
            sounds.push_back({channels[c], kRate});
            hushtrace::SpectrumAccumulator spectrum(kRate, 12000);
            spectrum.add(channels[c]);
            hushtrace::ChannelSurvey& channel = survey.channels[c];
            channel.spectrum = spectrum.result();
            channel.floor_density = hushtrace::noise_under_lines(channel.spectrum);
            channel.lines = hushtrace::find_lines(channel.spectrum, channel.floor_density, 20, 6000);
        }
    }
    /// A log of the engine's speed that swings alike.
    void log(double from_s, double to_s, double rpm, double share) {
        survey.rpm_log.emplace();
        for (double t = from_s; t <= to_s + 1e-9; t += 0.1) {
            survey.rpm_log->time_s.push_back(t);
            survey.rpm_log->rpm.push_back(rpm * speed(t, share));
        }
        survey.rpm_log->known = {{from_s, to_s}};
    }
};
