#include "hushtrace/measure/phase_memory.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr double kFilter = 0.36;   // length of the low-pass times the hump's width: it passes some two widths either way
constexpr std::size_t kHops = 4, kLag = 4, kApart = 7;   // hops a filter's length; so that the filters' reach hardly overlaps

std::vector<std::complex<double>> cut_out(std::span<const double> samples, double rate, double centre_hz, std::size_t hop) {
    const std::vector<double> window = window_samples(WindowKind::hann, kHops * hop);
    const std::complex<double> step = std::polar(1.0, -2.0 * std::numbers::pi * centre_hz / rate);
    std::vector<std::complex<double>> mixed(samples.size()), out;
    for (std::size_t i = 0; i < samples.size();) {
        std::complex<double> turn = std::polar(1.0, -2.0 * std::numbers::pi * std::fmod(centre_hz * static_cast<double>(i) / rate, 1.0));
        for (const std::size_t end = std::min(samples.size(), i + 4096); i < end; ++i, turn *= step) mixed[i] = samples[i] * turn;
    }
    for (std::size_t from = 0; from + window.size() <= mixed.size(); from += hop) {
        std::complex<double> sum = 0.0;
        for (std::size_t i = 0; i < window.size(); ++i) sum += window[i] * mixed[from + i];
        out.push_back(sum);
    }
    return out;
}

}  // namespace

double phase_memory(std::span<const double> samples, double rate, double centre_hz, double width_hz, double share) {
    const double filter = kFilter / width_hz * rate;
    if (!(filter >= 2.0 * kHops) || filter > static_cast<double>(samples.size())) return 0.0;
    const auto hop = static_cast<std::size_t>(filter / kHops);
    const std::vector<std::complex<double>> z = cut_out(samples, rate, centre_hz, hop);
    if (z.size() < 10 * (kLag + kApart)) return 0.0;
    double power = 0, four = 0;
    const std::size_t count = z.size() - kLag - kApart;
    for (const auto& one : z) power += std::norm(one) / static_cast<double>(z.size());
    for (std::size_t t = 0; t < count; ++t)
        four += (z[t + kLag] * std::conj(z[t]) * std::conj(z[t + kLag + kApart]) * z[t + kApart]).real() / static_cast<double>(count);
    const double line = share * power;
    return line > 0.0 ? four / (line * line) : 0.0;
}

}  // namespace hushtrace
