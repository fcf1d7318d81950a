#include "hushtrace/measure/ridge.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"

namespace hushtrace {
namespace {

/// Noise under a column: the median of stretches, joined by straight lines. Columns hold one periodogram
/// each, whose median is ln 2 of the mean.
void divide_by_noise(std::span<const double> density, std::vector<double>& ratio) {
    constexpr std::size_t reach = 24;
    const std::size_t bins = density.size();
    std::vector<double> near_by;
    double before = 0;
    std::size_t before_at = 0;
    for (std::size_t k = 1; k < bins; k += reach / 2) {
        const std::size_t first = k > reach ? k - reach : 1, last = std::min(bins, k + reach + 1);
        near_by.assign(density.begin() + static_cast<std::ptrdiff_t>(first),
                       density.begin() + static_cast<std::ptrdiff_t>(last));
        std::nth_element(near_by.begin(), near_by.begin() + static_cast<std::ptrdiff_t>(near_by.size() / 2),
                         near_by.end());
        const double noise = std::max(near_by[near_by.size() / 2] / std::log(2.0), 1e-30);
        if (before_at == 0) before = noise;
        for (std::size_t j = before_at; j <= k; ++j) {
            const double part = k == before_at
                                    ? 1.0
                                    : static_cast<double>(j - before_at) / static_cast<double>(k - before_at);
            ratio[j] = density[j] / (before + part * (noise - before));
        }
        before = noise;
        before_at = k;
    }
    for (std::size_t j = before_at; j < bins; ++j) ratio[j] = density[j] / before;
}

struct ScoreMap {
    std::vector<std::vector<float>> cells;  // [columns][grid]
    std::vector<double> time_s, grid_hz;
    std::vector<std::vector<float>> log_ratio;  // [columns][bins]
    double bin_hz = 0;
};

ScoreMap map_of(std::span<const double> samples, double rate, const RidgeSearch& search) {
    ScoreMap map;
    map.bin_hz = rate / static_cast<double>(search.length);
    const double top = std::min(search.to_hz, 0.45 * rate);
    for (double f = search.from_hz; f <= top; f *= 1.0 + search.step) map.grid_hz.push_back(f);
    std::vector<double> ratio(search.length / 2 + 1);
    SpectrogramStream stream(rate, search.length, search.hop, WindowKind::hann,
                             [&](double time_s, std::span<const double> density) {
                                 divide_by_noise(density, ratio);
                                 auto& logs = map.log_ratio.emplace_back(ratio.size());
                                 for (std::size_t k = 0; k < ratio.size(); ++k)
                                     logs[k] = static_cast<float>(std::log(std::max(ratio[k], 1e-6)));
                                 auto& column = map.cells.emplace_back(map.grid_hz.size());
                                 for (std::size_t g = 0; g < column.size(); ++g) {
                                     // between two bins the louder one counts: interpolation would dull a
                                     // tone
                                     const double bin = map.grid_hz[g] / map.bin_hz;
                                     const auto k = static_cast<std::size_t>(bin + 0.5);
                                     column[g] = std::clamp(logs[std::min(k, logs.size() - 1)], -0.5F, 5.0F);
                                 }
                                 map.time_s.push_back(time_s);
                             });
    stream.add(samples);
    return map;
}

/// The frequency near a grid cell, by a parabola through the log power of the bins round the local maximum.
double refine(const ScoreMap& map, std::size_t column, double near_hz) {
    const auto& logs = map.log_ratio[column];
    auto k = static_cast<std::ptrdiff_t>(std::lround(near_hz / map.bin_hz));
    k = std::clamp<std::ptrdiff_t>(k, 2, static_cast<std::ptrdiff_t>(logs.size()) - 3);
    const auto at = [&logs](std::ptrdiff_t j) {
        return static_cast<double>(logs[static_cast<std::size_t>(j)]);
    };
    if (at(k - 1) > at(k) && at(k - 1) >= at(k + 1))
        --k;
    else if (at(k + 1) > at(k))
        ++k;
    const double curve = at(k - 1) - 2.0 * at(k) + at(k + 1);
    const double shift = curve < 0.0 ? std::clamp(0.5 * (at(k - 1) - at(k + 1)) / curve, -0.6, 0.6) : 0.0;
    return (static_cast<double>(k) + shift) * map.bin_hz;
}

}  // namespace

double Track::mean_hz() const {
    double sum = 0;
    for (const double f : frequency_hz) sum += f;
    return frequency_hz.empty() ? 0.0 : sum / static_cast<double>(frequency_hz.size());
}

double Track::wander() const {
    const double mean = mean_hz();
    double sum = 0;
    for (const double f : frequency_hz) sum += (f / mean - 1.0) * (f / mean - 1.0);
    return frequency_hz.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(frequency_hz.size()));
}

double Track::at(double when_s) const {
    if (time_s.size() < 2) return frequency_hz.empty() ? 0.0 : frequency_hz.front();
    const double step = time_s[1] - time_s[0];
    const double place = (when_s - time_s.front()) / step;
    if (place <= 0.0) return frequency_hz.front();
    const auto i = static_cast<std::size_t>(place);
    if (i + 1 >= frequency_hz.size()) return frequency_hz.back();
    const double part = place - static_cast<double>(i);
    return frequency_hz[i] + part * (frequency_hz[i + 1] - frequency_hz[i]);
}

GridPath best_path(const std::vector<std::vector<float>>& score, std::size_t reach, double slope_penalty) {
    GridPath path;
    if (score.empty() || score.front().empty()) return path;
    const std::size_t cells = score.front().size();
    std::vector<double> total(score.front().begin(), score.front().end()), next(cells);
    std::vector<std::vector<std::int16_t>> from(score.size(), std::vector<std::int16_t>(cells, 0));
    std::vector<double> penalty(reach + 1);
    for (std::size_t s = 0; s <= reach; ++s) penalty[s] = slope_penalty * static_cast<double>(s * s);
    for (std::size_t t = 1; t < score.size(); ++t) {
        for (std::size_t c = 0; c < cells; ++c) {
            double best = total[c];
            std::ptrdiff_t best_step = 0;
            for (std::size_t s = 1; s <= reach; ++s) {
                if (c >= s && total[c - s] - penalty[s] > best) {
                    best = total[c - s] - penalty[s];
                    best_step = -static_cast<std::ptrdiff_t>(s);
                }
                if (c + s < cells && total[c + s] - penalty[s] > best) {
                    best = total[c + s] - penalty[s];
                    best_step = static_cast<std::ptrdiff_t>(s);
                }
            }
            next[c] = best + static_cast<double>(score[t][c]);
            from[t][c] = static_cast<std::int16_t>(best_step);
        }
        total.swap(next);
    }
    std::size_t cell = static_cast<std::size_t>(std::max_element(total.begin(), total.end()) - total.begin());
    path.mean_score = total[cell] / static_cast<double>(score.size());
    path.cells.resize(score.size());
    for (std::size_t t = score.size(); t-- > 0;) {
        path.cells[t] = cell;
        if (t > 0) cell = static_cast<std::size_t>(static_cast<std::ptrdiff_t>(cell) + from[t][cell]);
    }
    return path;
}

std::vector<Ridge> find_ridges(std::span<const double> samples, double sample_rate_hz,
                               const RidgeSearch& search) {
    std::vector<Ridge> ridges;
    for (const double x : samples)
        if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "ridge: a sample is not a finite number");
    if (samples.size() < search.length + 8 * search.hop) return ridges;
    ScoreMap map = map_of(samples, sample_rate_hz, search);
    if (map.grid_hz.size() < 16) return ridges;

    // The best path through white noise, over a grid of two thousand cells, reached mean scores of 1.06 (66
    // columns), 1.035 (137), 1.014 (277) and 1.007 (560), each with a spread of 0.17 to 0.20 over the root of
    // the columns (12 runs each; tests/measure/test_ridge.cpp repeats it).
    constexpr double noise_spread = 0.19;
    constexpr std::size_t reach = 8;
    constexpr double slope_penalty = 0.04;
    const double columns = static_cast<double>(map.cells.size());
    const double noise_mean = 0.99 + 0.55 / std::sqrt(columns);
    for (std::size_t found = 0; found < search.most_ridges; ++found) {
        const GridPath path = best_path(map.cells, reach, slope_penalty);
        Ridge ridge;
        ridge.mean_score = path.mean_score;
        ridge.significance = (path.mean_score - noise_mean) / (noise_spread / std::sqrt(columns));
        if (ridge.significance < search.least_significance) break;
        for (std::size_t t = 0; t < path.cells.size(); ++t) {
            const double grid_hz = map.grid_hz[path.cells[t]];
            double f = refine(map, t, grid_hz);
            if (std::abs(f - grid_hz) > 1.5 * map.bin_hz) f = grid_hz;
            ridge.track.time_s.push_back(map.time_s[t]);
            ridge.track.frequency_hz.push_back(f);
            // taken out: the main lobe and a little more, and what the line swept over during the window
            const std::size_t before = t > 0 ? t - 1 : 0, after = std::min(t + 1, path.cells.size() - 1);
            const double moved = std::abs(map.grid_hz[path.cells[after]] - map.grid_hz[path.cells[before]]) /
                                 static_cast<double>(std::max<std::size_t>(after - before, 1));
            const double reach_hz = 3.0 * map.bin_hz + 0.5 * moved * static_cast<double>(search.length) /
                                                           static_cast<double>(search.hop);
            const double low = f - reach_hz, high = f + reach_hz;
            const auto first =
                std::lower_bound(map.grid_hz.begin(), map.grid_hz.end(), low) - map.grid_hz.begin();
            const auto last =
                std::upper_bound(map.grid_hz.begin(), map.grid_hz.end(), high) - map.grid_hz.begin();
            std::fill(map.cells[t].begin() + first, map.cells[t].begin() + last, -0.5F);
        }
        ridges.push_back(std::move(ridge));
    }
    return ridges;
}

}  // namespace hushtrace
