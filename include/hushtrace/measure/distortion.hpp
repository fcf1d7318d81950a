#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/tone_reading.hpp"

namespace hushtrace {

/// One harmonic of a tone, the noise under it taken off in power.
struct ToneHarmonic {
    std::size_t number = 2;  ///< 2 is twice the tone's frequency
    double frequency_hz = 0;
    double ratio = 0;           ///< amplitude against the fundamental's; 0 where the noise reaches as high
    double power_ratio_sd = 0;  ///< standard uncertainty of ratio squared
    bool above_noise = false;   ///< its power stands more than two standard uncertainties above the noise
    double level_dbfs = 0;      ///< -infinity where ratio is 0
};

struct DistortionRequest {
    ToneSearch search;                          ///< where the fundamental is expected
    double lowest_hz = 20, highest_hz = 20000;  ///< band of THD+N; harmonics up to the upper end are counted
};

/// Distortion of a steady tone. Ratios are amplitudes: 0.01 is 1 %.
struct Distortion {
    ToneReading tone;
    std::vector<ToneHarmonic> harmonics;  ///< those that were counted, ascending
    std::size_t harmonics_missing = 0;  ///< that belong below highest_hz, but above the capture's band (0.95
                                        ///< of half the rate) or too many to tell apart in so few cycles
    double thd_ratio = 0;     ///< harmonics (rms sum, noise taken off) against the fundamental; dc left out
    double thd_sd_ratio = 0;  ///< standard uncertainty, towards higher values where noise is the limit
    bool limited_by_noise = false;  ///< the harmonics together don't stand out of the noise: thd_ratio is
                                    ///< below about thd_ratio + 2 thd_sd_ratio, more can't be said
    double thd_noise_ratio =
        0;  ///< THD+N: all but the fundamental against everything, lowest_hz..highest_hz (AES17)
    double thd_noise_sd_ratio = 0;  ///< standard uncertainty
    double sinad_db = 0, sinad_sd_db = 0;  ///< THD+N again, as a positive figure

    double thd_percent() const { return 100.0 * thd_ratio; }
    double thd_sd_percent() const { return 100.0 * thd_sd_ratio; }
    /// The THD that is surpassed with a probability of some 2 % [ratio].
    double thd_upper_ratio() const { return thd_ratio + 2.0 * thd_sd_ratio; }
};

/// THD, THD+N and harmonics of a steady tone whose frequency is found, never assumed.
///
/// The fundamental is fitted (read_tone) and taken off first, so that no window's side lobe of it can pass
/// for a harmonic. From 10 cycles on the harmonics are read in one transform: with Heinzel's HFT248D from 40
/// cycles, whose flat top needs no knowledge of where between two bins a harmonic lies (0.001 dB), else with
/// Blackman-Harris and its main lobe's known shape. The noise under a harmonic is the median of the bins
/// round it, so that hum lines between harmonics don't count; its power is taken off, and the spread of what
/// is left (exponential for noise alone) makes the uncertainty. With 3 to 10 cycles all harmonics (60 at
/// most) are fitted jointly by least squares, and the noise is taken as white.
///
///   throws  Error as read_tone
Distortion measure_distortion(std::span<const double> samples, double sample_rate_hz,
                              const DistortionRequest& request = {});

}  // namespace hushtrace
