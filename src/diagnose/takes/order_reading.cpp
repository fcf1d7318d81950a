#include "order_reading.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/order_spectrum.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kLowest_hz = 30.0, kHighest_hz = 10000.0;
constexpr double kSharp_db = 10.0;       // of a line that holds still in the spectrum over time; a steady tone's is 31
constexpr double kLeastSmear_bins = 3.0;  // by which the two spectra must differ for a verdict
constexpr std::size_t kMostLines = 60, kMapRows = 1000;
constexpr double kSkirt_hz = 8.0;         // so near a stronger line, a weaker one is the track's own jitter
constexpr std::ptrdiff_t kReach = 4;      // bins of a line

struct Spectra {
    const PowerSpectrum& over_time;
    const std::vector<double>& floor_over_time;
    PowerSpectrum over_cycles;
    std::vector<double> floor_over_cycles;
};

/// The usual bin between two places against the noise there, without the lines at `left_out` [dB]. A line that is spread
/// over that stretch lifts all of it; the remains of another one, sharp in a few bins, don't count.
double prominence_between(const PowerSpectrum& spectrum, const std::vector<double>& floor, double from, double to,
                          const std::vector<double>& left_out) {
    std::vector<std::size_t> bins;
    bins.reserve(left_out.size());
    for (const double place : left_out) bins.push_back(spectrum.bin_of(place));
    std::vector<double> ratios;
    const std::size_t first = spectrum.bin_of(from), last = std::min(spectrum.bin_of(to), floor.size() - 1);
    for (std::size_t k = first; k <= last; ++k) {
        const bool out = std::any_of(bins.begin(), bins.end(), [k](std::size_t at) {
            return std::abs(static_cast<std::ptrdiff_t>(k) - static_cast<std::ptrdiff_t>(at)) <= kReach;
        });
        if (!out && floor[k] > 0.0) ratios.push_back(spectrum.density[k] / floor[k]);
    }
    if (ratios.empty()) return 0.0;
    const auto middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
    std::nth_element(ratios.begin(), middle, ratios.end());
    return decibels_from_power(std::max(*middle, 0.1));
}

/// Slowest and fastest of a track, without its most extreme fiftieths.
std::pair<double, double> span_of(const Track& track) {
    std::vector<double> sorted = track.frequency_hz;
    std::sort(sorted.begin(), sorted.end());
    const std::size_t edge = sorted.size() / 50;
    return {sorted[edge], sorted[sorted.size() - 1 - edge]};
}

/// Power that lines which hold still leave at a ratio over cycles: of each, its own for the share of the cycles during
/// which it stood within a line's reach of it.
double left_by_still(const Track& track, const std::vector<SpectralLine>& still, double ratio, double reach) {
    double sum = 0;
    for (const SpectralLine& line : still) {
        double here = 0, all = 0;
        for (const double f : track.frequency_hz) {
            all += f;
            if (std::abs(line.frequency_hz / f - ratio) < reach) here += f;
        }
        sum += all > 0.0 ? line.mean_square * here / all : 0.0;
    }
    return sum;
}

/// The other way round: what lines that turn leave at a frequency over time while the track dwells.
///   sorted_hz  the track's frequencies, ascending
double left_by_turning(const std::vector<double>& sorted_hz, const std::vector<ReadOrder>& lines, double frequency_hz,
                       double reach_hz) {
    double sum = 0;
    for (const ReadOrder& line : lines) {
        if (!line.follows.value_or(false)) continue;
        const auto from = std::upper_bound(sorted_hz.begin(), sorted_hz.end(), (frequency_hz - reach_hz) / line.ratio);
        const auto to = std::lower_bound(from, sorted_hz.end(), (frequency_hz + reach_hz) / line.ratio);
        sum += line.mean_square * static_cast<double>(to - from) / static_cast<double>(sorted_hz.size());
    }
    return sum;
}

double power_about(const PowerSpectrum& spectrum, const std::vector<double>& floor, double place) {
    const std::size_t at = spectrum.bin_of(place);
    double sum = 0;
    for (std::size_t k = at > 3 ? at - 3 : 0; k <= std::min(at + 3, floor.size() - 1); ++k)
        sum += (spectrum.density[k] - floor[k]) * spectrum.bin_hz();
    return std::max(sum, 0.0);
}

}  // namespace

OrderView view_orders(std::span<const double> stretch, double sample_rate_hz, const Track& track,
                      const PowerSpectrum& over_time, const std::vector<double>& floor_over_time,
                      const std::vector<SpectralLine>& lines_over_time) {
    const double mean_hz = track.mean_hz(), top_hz = std::min(kHighest_hz, 0.4 * sample_rate_hz);
    const CycleSamples cycles = resample_by_cycles(stretch, sample_rate_hz, track);
    Spectra both{over_time, floor_over_time, order_spectrum(cycles, mean_hz), {}};
    both.floor_over_cycles = noise_under_lines(both.over_cycles, 40.0 / mean_hz, 0.08);
    OrderView view;
    view.map = order_map(cycles, track, top_hz / mean_hz, kMapRows);
    const auto [slowest, fastest] = span_of(track);
    const auto smear_bins = [&, low = slowest, high = fastest](double ratio) {
        return ratio * (high - low) / (1.5 * std::max(over_time.bin_hz(), both.over_cycles.bin_hz() * mean_hz));
    };
    std::vector<SpectralLine> still;
    std::vector<double> still_hz;
    for (const SpectralLine& line : lines_over_time)
        if (line.sharpness_db > kSharp_db) {
            still.push_back(line);
            still_hz.push_back(line.frequency_hz);
        }
    std::vector<double> sorted_hz = track.frequency_hz;
    std::sort(sorted_hz.begin(), sorted_hz.end());
    std::vector<double> turning;  // ratios
    auto turning_lines = find_lines(both.over_cycles, both.floor_over_cycles, kLowest_hz / mean_hz, top_hz / mean_hz);
    // strongest first: what it leaves over time where the track dwells must not be taken for a line that holds still
    std::sort(turning_lines.begin(), turning_lines.end(),
              [](const SpectralLine& a, const SpectralLine& b) { return a.mean_square > b.mean_square; });
    const double reach_hz = static_cast<double>(kReach) * over_time.bin_hz();
    for (const SpectralLine& line : turning_lines) {
        ReadOrder read;
        read.ratio = line.frequency_hz;
        read.mean_square = power_about(both.over_cycles, both.floor_over_cycles, read.ratio);
        read.sharpening_db = line.prominence_db - prominence_between(over_time, floor_over_time, read.ratio * slowest - 2.0,
                                                                     read.ratio * fastest + 2.0, still_hz);
        if (smear_bins(read.ratio) >= kLeastSmear_bins) {
            const double reach = static_cast<double>(kReach) * both.over_cycles.bin_hz();
            if (read.mean_square < 2.0 * left_by_still(track, still, read.ratio, reach)) continue;
            if (read.sharpening_db <= 0.0 || line.sharpness_db < 0.5 * std::min(kSharp_db, line.prominence_db)) continue;
            const bool a_skirt = std::any_of(turning.begin(), turning.end(), [&](double other) {
                return std::abs(other - read.ratio) * mean_hz < kSkirt_hz;
            });
            if (a_skirt) continue;
            read.follows = true;
            turning.push_back(read.ratio);
        }
        view.lines.push_back(read);
        if (read.follows)
            std::erase_if(still, [&](const SpectralLine& other) {
                return other.mean_square < 2.0 * left_by_turning(sorted_hz, view.lines, other.frequency_hz, reach_hz);
            });
    }
    for (const SpectralLine& line : lines_over_time) {
        const double ratio = line.frequency_hz / mean_hz;
        if (line.sharpness_db < kSharp_db || line.frequency_hz < kLowest_hz || line.frequency_hz > top_hz ||
            smear_bins(ratio) < kLeastSmear_bins)
            continue;
        if (line.mean_square < 2.0 * left_by_turning(sorted_hz, view.lines, line.frequency_hz, reach_hz)) continue;
        ReadOrder read;
        read.ratio = ratio;
        read.mean_square = line.mean_square;
        read.sharpening_db =
            prominence_between(both.over_cycles, both.floor_over_cycles, line.frequency_hz / fastest,
                               line.frequency_hz / slowest, turning) -
            line.prominence_db;
        if (read.sharpening_db >= 0.0) continue;
        read.follows = false;
        view.lines.push_back(read);
    }
    if (view.lines.size() > kMostLines) {
        std::sort(view.lines.begin(), view.lines.end(),
                  [](const ReadOrder& a, const ReadOrder& b) { return a.mean_square > b.mean_square; });
        view.lines.resize(kMostLines);
    }
    std::sort(view.lines.begin(), view.lines.end(),
              [](const ReadOrder& a, const ReadOrder& b) { return a.ratio < b.ratio; });
    return view;
}

}  // namespace hushtrace
