#include "hushtrace/measure/sidebands.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

using Complex = std::complex<double>;
constexpr double kBasebandRate_hz = 2000.0;

struct Baseband {
    std::vector<double> real, imaginary;
    double rate_hz = 0;
};

/// The sound times exp(-j phase of the line), low-passed below 0.42 of the new rate and thinned out.
Baseband turned_back(std::span<const double> samples, double rate, const Track& track, double ratio) {
    const auto step = static_cast<std::size_t>(std::max(1.0, std::floor(rate / kBasebandRate_hz)));
    std::vector<Complex> turned(samples.size());
    double turn = 0;
    double from_hz = 0, slope = 0;  // the track is read each 32 samples
    for (std::size_t n = 0; n < samples.size(); ++n) {
        if (n % 32 == 0) {
            from_hz = ratio * track.at(static_cast<double>(n) / rate);
            slope = (ratio * track.at(static_cast<double>(n + 32) / rate) - from_hz) / 32.0;
        }
        turned[n] = samples[n] * std::polar(1.0, -2.0 * std::numbers::pi * turn);
        turn += (from_hz + slope * static_cast<double>(n % 32)) / rate;
        turn -= std::floor(turn);
    }
    const std::size_t half = 5 * step;
    std::vector<double> taps(2 * half + 1);
    double sum = 0;
    for (std::size_t i = 0; i < taps.size(); ++i) {
        const double x = static_cast<double>(i) - static_cast<double>(half);
        const double cut = 0.42 / static_cast<double>(step);
        const double sine =
            x == 0.0 ? 2.0 * cut : std::sin(2.0 * std::numbers::pi * cut * x) / (std::numbers::pi * x);
        taps[i] = sine * (0.5 + 0.5 * std::cos(std::numbers::pi * x / static_cast<double>(half + 1)));
        sum += taps[i];
    }
    Baseband out;
    out.rate_hz = rate / static_cast<double>(step);
    for (std::size_t n = half; n + half < turned.size(); n += step) {
        Complex value = 0.0;
        for (std::size_t i = 0; i < taps.size(); ++i) value += taps[i] * turned[n - half + i];
        out.real.push_back(value.real() / sum);
        out.imaginary.push_back(value.imag() / sum);
    }
    return out;
}

/// Mean power on both sides of 0 Hz, in bins of about 1 Hz.
struct TwoSides {
    std::vector<double> upper, lower;
    double bin_hz = 0, segments = 0;
};
TwoSides spectrum_of(const Baseband& baseband) {
    const std::size_t length = fast_length(static_cast<std::size_t>(baseband.rate_hz));
    if (baseband.real.size() < 2 * length)
        throw Error(ErrorKind::too_short, "less than two seconds of a followed line");
    RealTransform transform(length);
    std::vector<double> window(length), a(length), b(length);
    double power = 0;
    for (std::size_t i = 0; i < length; ++i) {
        window[i] =
            0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(length));
        power += window[i] * window[i];
    }
    std::vector<Complex> re(transform.bins()), im(transform.bins());
    TwoSides out;
    out.bin_hz = baseband.rate_hz / static_cast<double>(length);
    out.upper.assign(transform.bins(), 0.0);
    out.lower.assign(transform.bins(), 0.0);
    for (std::size_t from = 0; from + length <= baseband.real.size(); from += length / 2) {
        for (std::size_t i = 0; i < length; ++i) {
            a[i] = window[i] * baseband.real[from + i];
            b[i] = window[i] * baseband.imaginary[from + i];
        }
        transform.forward(a, re);
        transform.forward(b, im);
        const Complex j(0.0, 1.0);
        for (std::size_t k = 0; k < re.size(); ++k) {
            out.upper[k] += std::norm(re[k] + j * im[k]) / power;
            out.lower[k] += std::norm(std::conj(re[k]) + j * std::conj(im[k])) / power;
        }
        out.segments += 1;
    }
    for (auto* side : {&out.upper, &out.lower})
        for (double& value : *side) value /= out.segments;
    return out;
}

/// The noise round each bin: the median of 40 bins to both sides, which lies below the mean by this share.
std::vector<double> noise_round(const std::vector<double>& power, double segments) {
    const double below = std::pow(1.0 - 1.0 / (9.0 * segments), 3.0);  // chi-squared, Wilson and Hilferty 1931
    std::vector<double> noise(power.size()), near_by;
    for (std::size_t k = 0; k < power.size(); ++k) {
        const std::size_t first = k > 40 ? k - 40 : 1, last = std::min(power.size(), k + 41);
        near_by.assign(power.begin() + static_cast<std::ptrdiff_t>(first),
                       power.begin() + static_cast<std::ptrdiff_t>(last));
        std::nth_element(near_by.begin(), near_by.begin() + static_cast<std::ptrdiff_t>(near_by.size() / 2),
                         near_by.end());
        noise[k] = near_by[near_by.size() / 2] / below;
    }
    return noise;
}

}  // namespace

std::vector<SidebandPair> find_sidebands(std::span<const double> samples, double sample_rate_hz, const Track& track,
                                         double ratio, double from_hz, double to_hz) {
    std::vector<SidebandPair> found;
    if (track.empty()) return found;
    const TwoSides sides = spectrum_of(turned_back(samples, sample_rate_hz, track, ratio));
    const double segments =
        std::max(1.0, 0.9 * sides.segments);  // half overlapped Hann segments are nearly independent
    const auto upper_noise = noise_round(sides.upper, segments), lower_noise = noise_round(sides.lower, segments);
    to_hz = std::min(
        {to_hz, 0.38 * sides.bin_hz * 2.0 * static_cast<double>(sides.upper.size()), 0.9 * ratio * track.mean_hz()});
    // the weaker side of a pair of noise bins exceeds this once in about a million pairs
    const double least = 1.0 + 3.6 / std::sqrt(segments) + 3.0 / segments;
    double carrier = 0;
    for (std::size_t k = 0; k < 4; ++k) carrier += sides.upper[k] + (k > 0 ? sides.lower[k] : 0.0);
    const auto weaker = [&](std::size_t k) {
        return std::min(sides.upper[k] / std::max(upper_noise[k], 1e-300),
                        sides.lower[k] / std::max(lower_noise[k], 1e-300));
    };
    // a line that holds still lies in three bins; one that turns with the followed line is smeared over more
    const auto is_sharp = [&](std::size_t k) {
        double within = 0, wide = 0;
        for (std::size_t i = k > 7 ? k - 7 : 1; i <= std::min(k + 7, sides.upper.size() - 1); ++i) {
            const double over = sides.upper[i] - upper_noise[i] + sides.lower[i] - lower_noise[i];
            wide += over;
            if (i + 1 >= k && i <= k + 1) within += over;
        }
        return within > 0.8 * wide;
    };
    const auto last = static_cast<std::size_t>(std::max(0.0, to_hz / sides.bin_hz));
    for (auto k = static_cast<std::size_t>(std::ceil(from_hz / sides.bin_hz));
         k + 2 < sides.upper.size() && k <= last; ++k) {
        const double here = weaker(k);
        if (here < least || here < weaker(k - 1) || here <= weaker(k + 1) || !is_sharp(k)) continue;
        SidebandPair pair;
        double sum = 0, moment = 0, both = 0;
        for (std::size_t i = k - 1; i <= k + 1; ++i) {
            const double over =
                std::max(0.0, sides.upper[i] - upper_noise[i]) + std::max(0.0, sides.lower[i] - lower_noise[i]);
            sum += over;
            moment += over * static_cast<double>(i);
            both += over;
        }
        pair.spacing_hz = moment / sum * sides.bin_hz;
        pair.spacing_sd_hz = sides.bin_hz / std::sqrt(2.0 * segments * here);
        pair.level_db = decibels_from_power(std::max(both / std::max(carrier, 1e-300), 1e-12));
        pair.prominence_db = decibels_from_power(here);
        found.push_back(pair);
    }
    std::sort(found.begin(), found.end(),
              [](const auto& a, const auto& b) { return a.prominence_db > b.prominence_db; });
    if (found.size() > 4) found.resize(4);
    return found;
}

}  // namespace hushtrace
