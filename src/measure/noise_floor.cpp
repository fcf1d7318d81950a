#include "hushtrace/measure/noise_floor.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

// [IEC] IEC 61672-1:2013 annex E. [ITU] ITU-R BS.468-4 (1986) figure 1a.
namespace hushtrace {
namespace {

double a_bare(double f) {  // [IEC] squared magnitude
    constexpr double f1 = 20.598997, f2 = 107.65265, f3 = 737.86223, f4 = 12194.217;
    const double s = f * f;
    const double top = f4 * f4 * s * s;
    const double bottom = (s + f1 * f1) * std::sqrt(s + f2 * f2) * std::sqrt(s + f3 * f3) * (s + f4 * f4);
    return (top / bottom) * (top / bottom);
}

double itu_bare(double f) {  // [ITU] squared magnitude
    const double s = f * f;
    const double h1 =
        ((-4.737338981378384e-24 * s + 2.043828333606125e-15) * s - 1.363894795463638e-7) * s + 1.0;
    const double h2 = ((1.306612257412824e-19 * s - 2.118150887518656e-11) * s + 5.559488023498642e-4) * f;
    const double r = 1.246332637532143e-4 * f / std::hypot(h1, h2);
    return r * r;
}

}  // namespace

double a_weighting_power(double frequency_hz) {
    static const double at_1khz = a_bare(1000.0);
    return a_bare(frequency_hz) / at_1khz;
}
double itu468_weighting_power(double frequency_hz) {
    static const double at_1khz = itu_bare(1000.0);
    return itu_bare(frequency_hz) / at_1khz;
}

NoiseFloor noise_floor(const PowerSpectrum& spectrum) {
    NoiseFloor floor;
    const double step = spectrum.bin_hz();
    floor.upper_hz = std::min(20000.0, 0.5 * spectrum.sample_rate_hz);
    double squares = 0;  // of the shares, for the spread: bins are independent but for the window's width
    for (std::size_t k = 0; k < spectrum.density.size(); ++k) {
        const double f = spectrum.frequency_hz(k);
        const double low = std::max(f - 0.5 * step, 20.0), high = std::min(f + 0.5 * step, floor.upper_hz);
        if (high <= low) continue;
        const double share = spectrum.density[k] * (high - low);
        floor.unweighted += share;
        floor.a_weighted += share * a_weighting_power(f);
        floor.itu468 += share * itu468_weighting_power(f);
        squares += share * share;
    }
    if (floor.unweighted > 0.0) {
        const double width_bins = spectrum.noise_bandwidth_hz / step;
        const double relative =
            std::sqrt(squares * width_bins / std::max(1.0, spectrum.effective_averages)) / floor.unweighted;
        floor.sd_db = decibels_from_power(1.0 + relative);
    }
    return floor;
}

}  // namespace hushtrace
