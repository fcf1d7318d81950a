#pragma once
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

/// Test sounds with known truth: noise, tones along a wandering speed, clicks. Made from closed forms only.
namespace wandering {

inline constexpr double kRate = 48000.0;

inline std::vector<double> noise(double seconds, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> samples(static_cast<std::size_t>(seconds * kRate));
    for (double& sample : samples) sample = normal(engine);
    return samples;
}

/// Relative speed over time: 1 plus slow sines whose rms is `share` (three of them, periods 1.3 to 7 s).
inline double speed(double t, double share) {
    constexpr double pi2 = 2.0 * std::numbers::pi;
    return 1.0 +
           share * std::sqrt(2.0 / 3.0) *
               (std::sin(pi2 * t / 7.0) + std::sin(pi2 * t / 2.9 + 1.0) + std::sin(pi2 * t / 1.3 + 2.0));
}

/// Where a tone of `frequency_hz` times the speed lies, every 10 ms.
inline hushtrace::Track true_track(double frequency_hz, double share, double seconds) {
    hushtrace::Track track;
    for (double t = 0; t <= seconds; t += 0.01) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(frequency_hz * speed(t, share));
    }
    return track;
}

/// Adds a tone of `frequency_hz` times the speed.
inline void add_tone(std::vector<double>& into, double frequency_hz, double amplitude, double share) {
    double turns = 0;
    for (std::size_t n = 0; n < into.size(); ++n) {
        into[n] += amplitude * std::sin(2.0 * std::numbers::pi * turns);
        turns = std::fmod(turns + frequency_hz * speed(static_cast<double>(n) / kRate, share) / kRate, 1.0);
    }
}

/// Adds decaying clicks at `rate_hz` times the speed; returns how many.
inline std::size_t add_clicks(std::vector<double>& into, double rate_hz, double amplitude, double share,
                              unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> scatter(1.0, 0.15);
    double turns = 0;
    std::size_t count = 0;
    for (std::size_t n = 0; n < into.size(); ++n) {
        turns += rate_hz * speed(static_cast<double>(n) / kRate, share) / kRate;
        if (turns < 1.0) continue;
        turns -= 1.0;
        ++count;
        const double size = amplitude * scatter(engine);
        for (std::size_t k = 0; k < 90 && n + k < into.size(); ++k)
            into[n + k] +=
                size * std::exp(-static_cast<double>(k) / 14.0) * std::cos(0.8 * static_cast<double>(k));
    }
    return count;
}

}  // namespace wandering
