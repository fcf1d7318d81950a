#include "hushtrace/measure/tracked_power.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "hushtrace/signal/error.hpp"
#include "turned_back.hpp"

namespace hushtrace {
namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
/// The track itself, and six beside it: clear of the line's lobe (2 bins), near enough for the same noise.
constexpr std::array<double, 7> kOffsets = {0.0, -7.0, -5.0, -3.5, 3.5, 5.0, 7.0};

constexpr double kStepsAWindow = 256;

double power_through(const std::vector<std::complex<double>>& filter, const std::complex<double>* values) {
    double re = 0, im = 0;
    for (std::size_t i = 0; i < filter.size(); ++i) {
        re += filter[i].real() * values[i].real() - filter[i].imag() * values[i].imag();
        im += filter[i].real() * values[i].imag() + filter[i].imag() * values[i].real();
    }
    return re * re + im * im;
}

}  // namespace

TrackedPower power_along(std::span<const double> samples, double rate, const Track& track, double ratio, double window_s) {
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to read along");
    const double top = ratio * *std::max_element(track.frequency_hz.begin(), track.frequency_hz.end());
    if (!(ratio > 0.0) || top + 7.0 / window_s > 0.45 * rate)
        throw Error(ErrorKind::invalid_request, "the line read lies above the take's band");
    if (static_cast<double>(samples.size()) < 2.0 * window_s * rate || window_s * rate < 8.0)
        throw Error(ErrorKind::too_short, "too short a take to read along a track");
    const auto step = std::max<std::size_t>(1, static_cast<std::size_t>(window_s * rate / kStepsAWindow));
    const TurnedBack sound = turned_back(samples, rate, track, ratio, step);
    const auto hop = static_cast<std::size_t>(0.5 * window_s * sound.rate_hz);
    const std::size_t length = 2 * hop;
    double gain = 0, square = 0;
    std::array<std::vector<std::complex<double>>, kOffsets.size()> filters;  // window and shift in one
    for (std::size_t k = 0; k < kOffsets.size(); ++k)
        for (std::size_t i = 0; i < length; ++i) {
            const double window = 0.5 - 0.5 * std::cos(kTurn * static_cast<double>(i) / static_cast<double>(length));
            filters[k].push_back(window * std::polar(1.0, -kTurn * kOffsets[k] * static_cast<double>(i) / static_cast<double>(length)));
            if (k > 0) continue;
            gain += window;
            square += window * window;
        }
    std::array<double, kOffsets.size()> power{};
    std::size_t windows = 0;
    for (std::size_t at = 0; at + length <= sound.values.size(); at += hop, ++windows)
        for (std::size_t k = 0; k < kOffsets.size(); ++k) power[k] += power_through(filters[k], sound.values.data() + at);
    if (windows < 2) throw Error(ErrorKind::too_short, "too short a take to read along a track");
    for (std::size_t k = 0; k < kOffsets.size(); ++k)
        power[k] /= std::pow(sound.gain(kOffsets[k] * sound.rate_hz / static_cast<double>(length)), 2);
    const double count = static_cast<double>(windows);
    std::array<double, kOffsets.size() - 1> beside{};
    std::copy(power.begin() + 1, power.end(), beside.begin());
    std::sort(beside.begin(), beside.end());
    // another line beside the track must not pass for noise: the highest is left out
    double noise = 0;
    for (std::size_t k = 0; k + 1 < beside.size(); ++k) noise += beside[k] / (count * static_cast<double>(beside.size() - 1));
    const double own = power[0] / count, line = own - noise;
    TrackedPower out;
    out.mean_square.value = std::max(2.0 * line / (gain * gain), 0.0);
    // half overlapping Hann windows are worth 0.95 of their number; a sum of noise and line has 2 S N + N^2 about its mean
    const double looks = 0.95 * count;
    out.mean_square.sd = 2.0 / (gain * gain) * std::sqrt((2.0 * std::max(line, 0.0) * noise + noise * noise * 1.2) / looks);
    if (out.mean_square.sd > 0.25 * out.mean_square.value) out.mean_square.limited_by = LimitedBy::noise;
    out.floor_density = noise / square * 2.0 / sound.rate_hz;
    out.over_noise_sd = line / (noise / std::sqrt(looks));
    return out;
}

}  // namespace hushtrace
