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

constexpr double kAsLoud_db = 6.0, kLasting_s = 1.0;
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

/// Pieces from..to-1 whose levels lie within twice the tolerance of each other.
struct Run {
    std::size_t from = 0, to = 0;
    double low_db = 0;
};
Run run_from(const std::vector<double>& levels_db, std::size_t from) {
    Run run{from, from, levels_db[from]};
    double high_db = run.low_db;
    while (run.to < levels_db.size()) {
        const double low_db = std::min(run.low_db, levels_db[run.to]);
        high_db = std::max(high_db, levels_db[run.to]);
        if (high_db - low_db > 2 * kSteady_db) break;
        run.low_db = low_db;
        ++run.to;
    }
    return run;
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
    // runs whose levels lie within twice the tolerance of each other: the longest of those about as loud as the loudest that lasts.
    // A hum's multiple at the tone's frequency is steadier and longer than any tone, but weaker.
    std::vector<Run> runs;
    double loudest_db = -std::numeric_limits<double>::infinity();
    const double step_s = static_cast<double>(length) / sample_rate_hz;
    for (std::size_t from = 0; from < count; ++from) {
        if (!std::isfinite(levels_db[from])) continue;
        const Run run = run_from(levels_db, from);
        if (static_cast<double>(run.to - run.from) * step_s >= kLasting_s - 0.5 * step_s) loudest_db = std::max(loudest_db, run.low_db);
        runs.push_back(run);
    }
    const Run* best = nullptr;
    for (const Run& run : runs)
        if (run.low_db >= loudest_db - kAsLoud_db && (!best || run.to - run.from > best->to - best->from)) best = &run;
    if (!best || best->to - best->from < 2) return std::nullopt;
    return Stretch{static_cast<double>(best->from) * step_s, static_cast<double>(best->to) * step_s};
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
