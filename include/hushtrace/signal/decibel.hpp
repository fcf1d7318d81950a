#pragma once
#include <cmath>

namespace hushtrace {

/// dBFS puts the rms of a full-scale sine at 0 (AES17), so a full-scale square wave reads +3.01 dBFS.
/// Digital silence is -infinity.
inline double decibels_from_amplitude(double ratio) { return 20.0 * std::log10(ratio); }
inline double decibels_from_power(double ratio) { return 10.0 * std::log10(ratio); }
inline double amplitude_from_decibels(double decibels) { return std::pow(10.0, decibels / 20.0); }
inline double power_from_decibels(double decibels) { return std::pow(10.0, decibels / 10.0); }

/// Level [dBFS] of a signal with this mean square (full scale = 1.0): a full-scale sine has mean square 1/2.
inline double dbfs_from_mean_square(double mean_square) { return decibels_from_power(2.0 * mean_square); }
inline double mean_square_from_dbfs(double level_dbfs) { return 0.5 * power_from_decibels(level_dbfs); }

/// Level [dBV] of what reads `level_dbfs` on a channel whose sample value 1.0 is `volts_full_scale` volts.
/// A 0 dBFS sine peaks at sample value 1.0, so its rms is volts_full_scale / sqrt 2.
inline double dbv_from_dbfs(double level_dbfs, double volts_full_scale) {
    return level_dbfs + decibels_from_amplitude(volts_full_scale / std::sqrt(2.0));
}
inline double volts_from_dbv(double level_dbv) { return amplitude_from_decibels(level_dbv); }

}  // namespace hushtrace
