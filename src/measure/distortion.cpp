#include "hushtrace/measure/distortion.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "harmonic_powers.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "tone_off.hpp"

namespace hushtrace {
namespace {

constexpr double kCyclesForTransform = 10.0;
constexpr std::size_t kMostFitted = 60;

/// Harmonics 2, 3, .. that lie at or below a frequency.
std::size_t harmonics_up_to(double highest_hz, double tone_hz) {
    const double multiples = std::floor(highest_hz / tone_hz * (1 + 1e-9));
    return multiples < 2 ? 0 : static_cast<std::size_t>(multiples) - 1;
}

/// Fills in the harmonics and THD; powers are mean squares.
void judge_harmonics(Distortion& out, const HarmonicPowers& powers) {
    const double fundamental = 0.5 * out.tone.amplitude * out.tone.amplitude;
    double sum = 0, variance = 0;
    for (std::size_t i = 0; i < powers.with_noise.size(); ++i) {
        const double noise = powers.noise[i], power = powers.with_noise[i] - noise;
        // A line of power P in noise of power N reads P + N on average, with the variance N^2 + 2 P N (Rice
        // 1945).
        const double sd = std::sqrt(noise * noise + 2.0 * std::max(power, 0.0) * noise +
                                    powers.noise_sd[i] * powers.noise_sd[i]);
        sum += power;
        variance += sd * sd;
        ToneHarmonic harmonic;
        harmonic.number = i + 2;
        harmonic.frequency_hz = out.tone.frequency_hz * static_cast<double>(i + 2);
        harmonic.ratio = std::sqrt(std::max(power, 0.0) / fundamental);
        harmonic.power_ratio_sd = sd / fundamental;
        harmonic.above_noise = power > 2.0 * sd;
        harmonic.level_dbfs = dbfs_from_mean_square(std::max(power, 0.0));
        out.harmonics.push_back(harmonic);
    }
    const double sd = std::sqrt(variance);
    out.limited_by_noise = sum < 2.0 * sd;
    out.thd_ratio = std::sqrt(std::max(sum, 0.0) / fundamental);
    out.thd_sd_ratio = std::sqrt((std::max(sum, 0.0) + sd) / fundamental) - out.thd_ratio;
}

}  // namespace

Distortion measure_distortion(std::span<const double> samples, double sample_rate_hz,
                              const DistortionRequest& request) {
    if (!(request.highest_hz > request.lowest_hz) || !(request.lowest_hz >= 0))
        throw Error(ErrorKind::invalid_request, fmt::format("distortion: {:g} to {:g} Hz is no band",
                                                            request.lowest_hz, request.highest_hz));
    Distortion out;
    out.tone = read_tone(samples, sample_rate_hz, request.search);
    const std::vector<double> rest = tone_taken_off(samples, sample_rate_hz, out.tone);
    const double band_end_hz = std::min(request.highest_hz, kBandShare * 0.5 * sample_rate_hz);
    const std::size_t wanted = harmonics_up_to(request.highest_hz, out.tone.frequency_hz);

    HarmonicTask task;
    task.rest = rest;
    task.sample_rate_hz = sample_rate_hz;
    task.tone_hz = out.tone.frequency_hz;
    task.count = harmonics_up_to(band_end_hz, out.tone.frequency_hz);
    task.lowest_hz = request.lowest_hz;
    task.highest_hz = request.highest_hz;
    // The transform may be a little shorter than the span: 10 cycles must still be in it.
    const bool by_transform = out.tone.cycles >= 1.12 * kCyclesForTransform;
    if (!by_transform) task.count = std::min({task.count, kMostFitted, rest.size() / 8});
    const HarmonicPowers powers = by_transform ? harmonics_by_transform(task) : harmonics_by_fit(task);

    out.harmonics_missing = wanted - task.count;
    judge_harmonics(out, powers);
    const double everything = powers.rest_in_band + 0.5 * out.tone.amplitude * out.tone.amplitude;
    out.thd_noise_ratio = std::sqrt(powers.rest_in_band / everything);
    if (powers.rest_in_band > 0) {
        // Against everything, so that what the rest gains the ratio gains a little less of.
        const double relative = 0.5 * powers.rest_sd / powers.rest_in_band * (1.0 - powers.rest_in_band / everything);
        out.thd_noise_sd_ratio = out.thd_noise_ratio * relative;
        out.sinad_sd_db = 20.0 / std::numbers::ln10 * relative;
    }
    out.sinad_db = -decibels_from_amplitude(out.thd_noise_ratio);
    return out;
}

}  // namespace hushtrace
