#pragma once
#include <cstddef>
#include <vector>

#include "hushtrace/measure/column_map.hpp"

namespace hushtrace {

/// A line that holds still, beside the noise round it.
struct StillLine {
    double frequency_hz = 0, frequency_sd_hz = 0;
    double mean_square = 0;      ///< over the stretch, full scale squared, the noise under it taken off
    double surprise = 0;         ///< -ln of the probability that noise alone does this in that bin
    double excess = 0;           ///< power over the noise in its bin, less 1
    double wander_hz = 0;        ///< rms over the columns, beyond what the reading's own jitter does; 0 where too weak
    double present_share = 1;    ///< of the columns, in which it stands
    bool steady = true;          ///< keeps to its bin: neither a line that strays nor a bump of the noise
};

/// The spectrum of a stretch against the noise next to each bin, with a law of how far that noise goes.
///
/// The noise under a bin is the higher of the two medians beside it (greatest-of rule, Hansen and Sawyers 1980, IEEE
/// Trans. AES-16(1)): the flank of a hump or a step in the noise is then no line. How many exponentials a bin averages is
/// read from the lower half of the ratios, which lines don't reach: noise that swells and fades averages worse than
/// its columns' number says.
struct StillSpectrum {
    double sample_rate_hz = 0, bin_hz = 0, duration_s = 0;
    double averages = 0;                  ///< exponentials that each bin averages, as it shows
    std::vector<double> density, noise;   ///< [bins] full scale squared per hertz, mean over time; under the lines
    std::vector<float> surprise;          ///< [bins] of what stands throughout: what but passes says little
    std::vector<StillLine> lines;         ///< ascending frequency; noise alone makes one in `false_alarms` of the takes

    std::size_t bin_of(double frequency_hz) const;
    /// The most surprising bin within reach of a frequency, less what looking in several bins allows noise.
    ///   returns surprise; place and power (noise taken off) of that bin's peak
    struct Peak {
        double surprise = 0, frequency_hz = 0, frequency_sd_hz = 0, mean_square = 0, excess = 0;
    };
    Peak peak_near(double frequency_hz, double reach_hz) const;
    /// The same with no reach beyond the bin's own: what stands at that very frequency.
    Peak peak_at(double frequency_hz) const { return peak_near(frequency_hz, 0.0); }
};

/// false_alarms: lines that noise alone makes per stretch, all bins together.
StillSpectrum still_spectrum(const ColumnMap& map, double false_alarms = 0.001);

}  // namespace hushtrace
