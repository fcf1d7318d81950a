#include "hushtrace/measure/column_map.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "near_rank.hpp"

namespace hushtrace {
namespace {

constexpr double kFirstBandTop_hz = 100.0;
constexpr double kHalfOverlappedHann = 18.0 / 19.0;  // Welch 1967: K columns average as 18 K / 19 would, for many

/// An octave each, so that hiss which comes and goes in the treble alone is followed there alone.
std::vector<std::size_t> octaves(std::size_t bins, double bin_hz) {
    std::vector<std::size_t> band(bins);
    for (std::size_t k = 0; k < bins; ++k) {
        const double hz = static_cast<double>(k) * bin_hz;
        band[k] = hz < kFirstBandTop_hz ? 0 : static_cast<std::size_t>(1.0 + std::log2(hz / kFirstBandTop_hz));
    }
    return band;
}

/// The middle cell of each band against the mean over time: a few lines, however strong, don't move it.
void read_levels(ColumnMap& map) {
    const std::size_t bands = map.band_of.back() + 1;
    std::vector<std::size_t> first(bands + 1, map.bins());  // bands follow each other
    for (std::size_t k = map.bins() - 1; k >= 1; --k) first[map.band_of[k]] = k;
    for (std::size_t b = bands; b-- > 0;) first[b] = std::min(first[b], first[b + 1]);  // one without a bin ends where it starts
    std::vector<double> per_mean(map.bins());
    for (std::size_t k = 0; k < map.bins(); ++k) per_mean[k] = map.mean[k] > 0.0 ? 1.0 / map.mean[k] : 0.0;
    std::vector<double> cells(map.bins()), guess(bands, 0.7);
    NearRank<double> near_rank;
    for (const auto& column : map.density) {
        auto& level = map.level.emplace_back(bands, 1.0);
        for (std::size_t b = 0; b < bands; ++b) {
            std::size_t count = 0;
            for (std::size_t k = first[b]; k < first[b + 1]; ++k) {
                cells[count] = static_cast<double>(column[k]) * per_mean[k];
                if (per_mean[k] > 0.0) ++count;
            }
            if (count < 5) continue;
            guess[b] = near_rank.find({cells.data(), count}, count / 2, guess[b]);
            level[b] = std::max(guess[b], 1e-6);
        }
    }
    for (std::size_t b = 0; b < bands; ++b) {
        double sum = 0;
        for (const auto& level : map.level) sum += level[b];
        const double usual = sum / static_cast<double>(map.level.size());
        for (auto& level : map.level) level[b] /= usual;
    }
}

}  // namespace

std::size_t ColumnMap::bin_of(double frequency_hz) const {
    const double bin = std::round(frequency_hz / bin_hz);
    return static_cast<std::size_t>(std::clamp(bin, 0.0, static_cast<double>(bins() - 1)));
}

ColumnMap column_map(std::span<const double> samples, double sample_rate_hz, double column_s) {
    if (static_cast<double>(samples.size()) < 0.1 * sample_rate_hz)
        throw Error(ErrorKind::too_short, "less than a tenth of a second: too short for a spectrum over time");
    ColumnMap map;
    map.sample_rate_hz = sample_rate_hz;
    const double longest = std::min(column_s * sample_rate_hz, static_cast<double>(samples.size()) / 2.0);
    std::size_t length = fast_length(static_cast<std::size_t>(longest));
    if (2 * length > samples.size()) length = fast_length(static_cast<std::size_t>(longest * 0.8));
    const std::size_t hop = length / 2;
    SpectrogramStream stream(sample_rate_hz, length, hop, WindowKind::hann,
                             [&map](double time_s, std::span<const double> density) {
                                 map.time_s.push_back(time_s);
                                 map.density.emplace_back(density.begin(), density.end());
                             });
    stream.add(samples);
    if (map.density.empty()) throw Error(ErrorKind::too_short, "too short for a spectrum over time");
    map.bin_hz = sample_rate_hz / static_cast<double>(length);
    map.hop_s = static_cast<double>(hop) / sample_rate_hz;
    map.column_s = static_cast<double>(length) / sample_rate_hz;
    map.mean.assign(map.density.front().size(), 0.0);
    for (const auto& column : map.density)
        for (std::size_t k = 0; k < column.size(); ++k) map.mean[k] += static_cast<double>(column[k]);
    for (double& mean : map.mean) mean /= static_cast<double>(map.density.size());
    const double columns = static_cast<double>(map.density.size());
    map.averages = columns > 1.0 ? columns * kHalfOverlappedHann : 1.0;
    map.band_of = octaves(map.bins(), map.bin_hz);
    read_levels(map);
    return map;
}

}  // namespace hushtrace
