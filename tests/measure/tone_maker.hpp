#pragma once
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

/// Small generators for the tests of tones; they share nothing with the code under test.
namespace tone_maker {

inline std::vector<double> sine(double frequency_hz, double amplitude, std::size_t frames,
                                double rate = 48000, double phase = 0.3) {
    std::vector<double> out(frames);
    for (std::size_t n = 0; n < frames; ++n)
        out[n] = amplitude * std::cos(2.0 * std::numbers::pi *
                                          std::fmod(frequency_hz * static_cast<double>(n), rate) / rate +
                                      phase);
    return out;
}

inline void add(std::vector<double>& to, const std::vector<double>& other) {
    for (std::size_t n = 0; n < to.size(); ++n) to[n] += other[n];
}

inline void add_noise(std::vector<double>& to, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    for (double& x : to) x += normal(engine);
}

inline void quantise_24_bit(std::vector<double>& samples) {
    for (double& x : samples) x = std::round(x * 8388608.0) / 8388608.0;
}

}  // namespace tone_maker
