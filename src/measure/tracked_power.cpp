#include "hushtrace/measure/tracked_power.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
/// The track itself, and six beside it: clear of the line's lobe (2 bins), near enough for the same noise.
constexpr std::array<double, 7> kOffsets = {0.0, -7.0, -5.0, -3.5, 3.5, 5.0, 7.0};

}  // namespace

TrackedPower power_along(std::span<const double> samples, double rate, const Track& track, double ratio, double window_s) {
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to read along");
    const double top = ratio * *std::max_element(track.frequency_hz.begin(), track.frequency_hz.end());
    if (!(ratio > 0.0) || top + 7.0 / window_s > 0.45 * rate)
        throw Error(ErrorKind::invalid_request, "the line read lies above the take's band");
    const auto hop = static_cast<std::size_t>(0.5 * window_s * rate);
    const std::size_t length = 2 * hop;
    if (hop < 4 || samples.size() < 2 * length) throw Error(ErrorKind::too_short, "too short a take to read along a track");
    std::vector<double> window(length);
    double gain = 0, square = 0;
    for (std::size_t i = 0; i < length; ++i) {
        window[i] = 0.5 - 0.5 * std::cos(kTurn * static_cast<double>(i) / static_cast<double>(length));
        gain += window[i];
        square += window[i] * window[i];
    }
    // each half window is turned once; neighbours make a window
    std::array<double, kOffsets.size()> power{};
    std::size_t windows = 0;
    double phase = 0, time_s = 0;
    std::vector<std::complex<double>> turned(length);
    std::size_t filled = 0;
    for (std::size_t n = 0; n + hop <= samples.size(); n += hop) {
        // within a half window the frequency runs straight
        const double f0 = ratio * track.at(time_s), f1 = ratio * track.at(time_s + static_cast<double>(hop) / rate);
        const double step = kTurn * f0 / rate, bend = kTurn * (f1 - f0) / (rate * static_cast<double>(hop));
        std::complex<double> turn = std::polar(1.0, -phase), turning = std::polar(1.0, -step);
        const std::complex<double> bending = std::polar(1.0, -bend);
        if (filled == length) std::copy(turned.begin() + static_cast<std::ptrdiff_t>(hop), turned.end(), turned.begin());
        const std::size_t at = filled == 0 ? 0 : hop;
        for (std::size_t i = 0; i < hop; ++i) {
            turned[at + i] = samples[n + i] * turn;
            turn *= turning;
            turning *= bending;
        }
        phase = std::fmod(phase + step * static_cast<double>(hop) + 0.5 * bend * static_cast<double>(hop) * static_cast<double>(hop), kTurn);
        time_s += static_cast<double>(hop) / rate;
        filled = at + hop;
        if (filled < length) continue;
        for (std::size_t k = 0; k < kOffsets.size(); ++k) {
            const std::complex<double> shift = std::polar(1.0, -kTurn * kOffsets[k] / static_cast<double>(length));
            std::complex<double> sum = 0, slow = 1.0;
            for (std::size_t i = 0; i < length; ++i, slow *= shift) sum += window[i] * turned[i] * slow;
            power[k] += std::norm(sum);
        }
        ++windows;
    }
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
    out.floor_density = noise / square * 2.0 / rate;
    out.over_noise_sd = line / (noise / std::sqrt(looks));
    return out;
}

}  // namespace hushtrace
