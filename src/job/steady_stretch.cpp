#include "steady_stretch.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <numeric>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kSteady_db = 0.1;

/// Amplitude of a tone in a piece, by a Hann-windowed transform at one frequency. The window's main lobe is
/// wide against what a tone may be off, and its fall there is the same in every piece.
double amplitude_at(std::span<const double> piece, double cycles_per_sample) {
    double re = 0, im = 0, weight = 0;
    const double turn = 2 * std::numbers::pi * cycles_per_sample;
    const double window_turn = 2 * std::numbers::pi / static_cast<double>(piece.size());
    for (std::size_t i = 0; i < piece.size(); ++i) {
        const double at = static_cast<double>(i);
        const double w = 0.5 - 0.5 * std::cos(window_turn * at);
        re += w * piece[i] * std::cos(turn * at);
        im += w * piece[i] * std::sin(turn * at);
        weight += w;
    }
    return 2 * std::hypot(re, im) / weight;
}

}  // namespace

std::span<const double> Stretch::of(std::span<const double> samples, double sample_rate_hz) const {
    const auto at = [&](double time_s) {
        return std::min(samples.size(), static_cast<std::size_t>(std::lround(time_s * sample_rate_hz)));
    };
    return samples.subspan(at(from_s), at(to_s) - at(from_s));
}

std::optional<Stretch> steady_stretch(std::span<const double> samples, double sample_rate_hz,
                                      double frequency_hz) {
    const double piece_s = std::max(0.1, 5 / frequency_hz);
    const auto length = static_cast<std::size_t>(std::lround(piece_s * sample_rate_hz));
    const std::size_t count = length == 0 ? 0 : samples.size() / length;
    std::vector<double> levels_db;
    for (std::size_t k = 0; k < count; ++k) {
        const double amplitude =
            amplitude_at(samples.subspan(k * length, length), frequency_hz / sample_rate_hz);
        levels_db.push_back(amplitude > 0 ? decibels_from_amplitude(amplitude)
                                          : -std::numeric_limits<double>::infinity());
    }
    // the longest run whose levels lie within twice the tolerance of each other: two ends that only move on
    std::size_t best_from = 0, best_to = 0;
    for (std::size_t from = 0; from < count; ++from) {
        if (!std::isfinite(levels_db[from])) continue;
        double low = levels_db[from], high = low;
        std::size_t to = from;
        while (to < count) {
            low = std::min(low, levels_db[to]);
            high = std::max(high, levels_db[to]);
            if (high - low > 2 * kSteady_db) break;
            ++to;
        }
        if (to - from > best_to - best_from) {
            best_from = from;
            best_to = to;
        }
    }
    if (best_to - best_from < 2) return std::nullopt;
    const double step_s = static_cast<double>(length) / sample_rate_hz;
    return Stretch{static_cast<double>(best_from) * step_s, static_cast<double>(best_to) * step_s};
}

std::optional<double> first_overload_s(std::span<const double> samples, double sample_rate_hz) {
    constexpr double near_rail = 0.999, rail = 1.0 - 1.0 / 8388608;  // the highest value that 24 bits hold
    std::size_t run = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double magnitude = std::abs(samples[i]);
        run = magnitude >= near_rail ? run + 1 : 0;
        if (run >= 3 || magnitude >= rail) return static_cast<double>(i) / sample_rate_hz;
    }
    return std::nullopt;
}

double mean_square(std::span<const double> samples) {
    if (samples.empty()) return 0;
    return std::inner_product(samples.begin(), samples.end(), samples.begin(), 0.0) /
           static_cast<double>(samples.size());
}

std::vector<std::vector<double>> read_beginning(BlockReader& sound, double most_s) {
    const auto most = static_cast<std::size_t>(most_s * sound.sample_rate_hz());
    std::vector<std::vector<double>> channels(sound.channels());
    Block block;
    std::size_t frames = 0;
    while (frames < most) {
        const std::size_t got = sound.read(block, std::min<std::size_t>(most - frames, 1 << 15));
        if (got == 0) break;
        for (std::size_t c = 0; c < channels.size(); ++c) {
            const auto from = block.channel(c);
            channels[c].insert(channels[c].end(), from.begin(), from.end());
        }
        frames += got;
    }
    return channels;
}

}  // namespace hushtrace
