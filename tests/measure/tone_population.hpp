#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/error.hpp"
#include "tone_maker.hpp"

/// Many takes of a tone in white noise, and how its readings spread. The noise and the tone share nothing with the
/// code under test.
struct TonePopulation {
    std::size_t samples = 4800;
    double rate_hz = 48000, snr_db = 20, amplitude = 0.5;  ///< tone power over noise power, 0..fs/2
    double least_cycles = 10, highest_share = 0.45;        ///< of the sample rate
    int takes = 800;
    std::uint64_t seed = 1;
};

/// Spreads against the Cramer-Rao bounds of tests/reference/README.md section 5:
///   sd(f) = fs/(2 pi) sqrt(12/(s N (N^2-1))), sd(A)/A = sqrt(1/(s N)).
struct ToneSpread {
    double frequency_over_bound = 0, level_over_bound = 0;  ///< rmse over bound, all takes
    int outliers = 0;             ///< frequency off by more than a bin: noise took the tone's place
    int outliers_recognised = 0;  ///< outliers whose stated 95 % interval holds the truth
    int refused = 0;              ///< for "too few cycles", by a noise peak; they count nowhere else
    double frequency_covered_percent = 0, level_covered_percent = 0;  ///< truth within 1.96 standard uncertainties
};

inline double frequency_bound_hz(double snr, double samples, double rate_hz) {
    return rate_hz / (2.0 * std::numbers::pi) * std::sqrt(12.0 / (snr * samples * (samples * samples - 1)));
}

inline ToneSpread read_population(const TonePopulation& p) {
    std::mt19937_64 draw(p.seed);
    std::uniform_real_distribution<double> unit(0.0, 1.0);
    const double n = static_cast<double>(p.samples), snr = std::pow(10.0, p.snr_db / 10.0);
    const double lowest_hz = p.least_cycles * p.rate_hz / n, highest_hz = p.highest_share * p.rate_hz;
    ToneSpread out;
    double squares_hz = 0, squares = 0;
    int frequency_covered = 0, level_covered = 0;
    for (int take = 0; take < p.takes; ++take) {
        const double frequency_hz = lowest_hz + unit(draw) * (highest_hz - lowest_hz);
        auto samples = tone_maker::sine(frequency_hz, p.amplitude, p.samples, p.rate_hz,
                                        2.0 * std::numbers::pi * unit(draw));
        tone_maker::add_noise(samples, p.amplitude / std::sqrt(2.0 * snr), static_cast<unsigned>(draw()));
        hushtrace::ToneReading tone;
        try {
            tone = hushtrace::read_tone(samples, p.rate_hz);
        } catch (const hushtrace::Error&) {
            ++out.refused;
            continue;
        }
        const double off_hz = tone.frequency_hz - frequency_hz, off = tone.amplitude / p.amplitude - 1.0;
        squares_hz += off_hz * off_hz;
        squares += off * off;
        const bool covered = std::abs(off_hz) < 1.96 * tone.frequency_sd_hz;
        frequency_covered += covered;
        level_covered += std::abs(off) < 1.96 * tone.amplitude_sd / p.amplitude;
        if (std::abs(off_hz) > p.rate_hz / n) {
            ++out.outliers;
            out.outliers_recognised += covered;
        }
    }
    const double takes = p.takes - out.refused;
    out.frequency_over_bound = std::sqrt(squares_hz / takes) / frequency_bound_hz(snr, n, p.rate_hz);
    out.level_over_bound = std::sqrt(squares / takes) * std::sqrt(snr * n);
    out.frequency_covered_percent = 100.0 * frequency_covered / takes;
    out.level_covered_percent = 100.0 * level_covered / takes;
    return out;
}
