#pragma once
#include <cstdint>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

/// Takes with one wandering line in noise, and a detector that is told all about them: what the search is measured against.

enum class NoiseColour {
    white,
    pink,   ///< 3 dB less an octave
    bumpy   ///< white through a resonance at 900 Hz and a fall above 3 kHz
};
struct WanderLaw {
    double duration_s = 20, rate_hz = 24000;
    double whine_to_noise_db = -30;  ///< line over the noise from 20 Hz to 20 kHz (of white noise as dense, where it isn't white)
    double wander = 0.01;            ///< rms of frequency over its mean, less 1
    bool red = false;                ///< wander's spectrum falls as 1/f; else flat to 1 Hz
    NoiseColour colour = NoiseColour::white;
    double log_error = 0.001;        ///< rms of the fluctuating error of the speed's log
};
struct WanderTake {
    std::vector<double> samples;
    std::vector<double> frequency_hz;  ///< [samples] true
    double rate_hz = 0, mean_hz = 0;
    hushtrace::Track speed;            ///< a log of the engine's speed, every 0.1 s, with its error [1/min]
};
WanderTake wander_take(const WanderLaw& law, std::uint64_t seed);

/// Mean power at the true frequency in Hann windows, half overlapping.
double power_along_true_track(const WanderTake& take, double window_s);

/// The search's evidence once the sound is resampled by the log.
double evidence_with_log(const WanderTake& take);
