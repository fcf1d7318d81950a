#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// A tone as a source plays it and an interface captures it, with frames lost on the way: what tests and the
/// bench ask the fault finder about. Drawn with the standard library alone, apart from the program's own
/// tones.
struct LossyTone {
    double rate_hz = 48000, frequency_hz = 997, amplitude = 0.5;
    double snr_db = 60;  ///< tone power over white noise power in 0..rate/2
    double duration_s = 4;
    double loss_at_s = 2;
    std::int64_t lost_frames = 0;  ///< negative: repeated
    double clock_ppm = 0;
    double clip_at = 10;  ///< the source's rails, in amplitudes of the tone
    std::uint64_t seed = 1;

    std::vector<double> samples() const {
        std::mt19937_64 generator(seed);
        std::normal_distribution<double> noise(0,
                                               amplitude / std::numbers::sqrt2 * std::pow(10, -snr_db / 20));
        const auto count = static_cast<std::size_t>(duration_s * rate_hz);
        const auto loss_at = static_cast<std::size_t>(loss_at_s * rate_hz);
        std::vector<double> result(count);
        for (std::size_t i = 0; i < count; ++i) {
            const std::int64_t frame =
                static_cast<std::int64_t>(i) + (lost_frames != 0 && i >= loss_at ? lost_frames : 0);
            const double cycles =
                frequency_hz * (1 + 1e-6 * clock_ppm) / rate_hz * static_cast<double>(frame) + 0.123;
            const double pure = std::sin(2 * std::numbers::pi * (cycles - std::floor(cycles)));
            result[i] = amplitude * std::fmax(-clip_at, std::fmin(clip_at, pure)) + noise(generator);
        }
        return result;
    }
};

inline Block one_channel(const std::vector<double>& samples) {
    Block block(1, samples.size());
    std::copy(samples.begin(), samples.end(), block.channel(0).begin());
    return block;
}

}  // namespace hushtrace
