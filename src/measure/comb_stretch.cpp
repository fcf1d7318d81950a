#include "hushtrace/measure/comb_stretch.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_statistics.hpp"

namespace hushtrace {
namespace {

constexpr double kMostOfACell = 12.0, kStands = 3.0, kCountsAbove = 1.5, kCountsUpTo = 40.0;
constexpr double kIndependent = 18.0 / 19.0;   // of columns that overlap by half (Welch 1967)
constexpr int kSpacings = 5;

struct Places {
    double spacing_hz = 0;
    std::vector<int> number;
    std::vector<std::size_t> bin;
};

Places places_at(const StillSpectrum& still, double spacing_hz, const CombPlaces& wanted) {
    Places out;
    out.spacing_hz = spacing_hz;
    const double top = std::min(wanted.to_hz, 0.45 * still.sample_rate_hz);
    for (int n = 1; n <= wanted.most_number && n * spacing_hz < top; ++n) {
        const std::size_t k = still.bin_of(n * spacing_hz);
        if (k < 5 || !(still.noise[k] > 0.0)) continue;
        out.number.push_back(n);
        out.bin.push_back(k);
    }
    return out;
}

double cell(const ColumnMap& map, const StillSpectrum& still, std::size_t t, std::size_t k) {
    return std::min(map.levelled(t, k) / still.noise[k], kMostOfACell);
}

struct Run {
    std::size_t from = 0, to = 0;
    double surprise = 0;
};

/// The run of columns whose places together surprise most.
Run best_run(const std::vector<double>& sum, double places) {
    Run best;
    std::vector<double> up_to(sum.size() + 1, 0.0);
    for (std::size_t t = 0; t < sum.size(); ++t) up_to[t + 1] = up_to[t] + sum[t];
    for (std::size_t a = 0; a < sum.size(); ++a)
        for (std::size_t b = a + 1; b <= sum.size(); ++b) {
            const double n = static_cast<double>(b - a) * places, ratio = (up_to[b] - up_to[a]) / n;
            const double shape = n * kIndependent;
            // a quick bound first: z standard deviations say at most about z^2 / 2 + z
            const double z = (ratio - 1.0) * std::sqrt(shape);
            if (z < 0.0 || 0.5 * z * z + z < best.surprise) continue;
            const double surprise = surprise_of_gamma(ratio, shape);
            if (surprise > best.surprise) best = {a, b, surprise};
        }
    return best;
}

Run run_of(const ColumnMap& map, const StillSpectrum& still, const Places& places) {
    std::vector<double> sum(map.density.size(), 0.0);
    for (std::size_t t = 0; t < sum.size(); ++t)
        for (const std::size_t k : places.bin) sum[t] += cell(map, still, t, k);
    return best_run(sum, static_cast<double>(places.bin.size()));
}

/// The most that combs of other spacings near by reach: where clicks or wandering lines make the noise spiky, more
/// than the gamma law says.
double surprise_of_others(const ColumnMap& map, const StillSpectrum& still, double spacing_hz, const CombPlaces& wanted) {
    double most = 0;
    for (const int step : {-6, -5, -4, -3, -2, 2, 3, 4, 5, 6})
        most = std::max(most, run_of(map, still, places_at(still, spacing_hz * (1.0 + 0.0067 * step), wanted)).surprise);
    return most;
}

}  // namespace

std::optional<CombStretch> find_comb_stretch(const ColumnMap& map, const StillSpectrum& still, double spacing_hz, double tolerance,
                                             const CombPlaces& wanted, double least_surprise) {
    const std::size_t columns = map.density.size();
    Run best;
    Places at;
    for (int i = 0; i < kSpacings; ++i) {
        const double f = spacing_hz * (1.0 + tolerance * (2.0 * i / (kSpacings - 1) - 1.0));
        const Places places = places_at(still, f, wanted);
        if (places.bin.size() < 3) return std::nullopt;
        const Run run = run_of(map, still, places);
        if (run.surprise <= best.surprise) continue;
        best = run;
        at = places;
    }
    CombStretch out;
    const double runs = 0.5 * static_cast<double>(columns * (columns + 1)) * kSpacings;
    out.surprise = best.surprise - std::log(runs);
    if (out.surprise < least_surprise) return std::nullopt;
    out.surprise = std::min(out.surprise, best.surprise - 1.5 * surprise_of_others(map, still, spacing_hz, wanted) + std::log(runs));
    if (out.surprise < least_surprise) return std::nullopt;
    out.from_s = map.time_s[best.from] - 0.5 * map.hop_s;
    out.to_s = map.time_s[best.to - 1] + 0.5 * map.hop_s;
    out.throughout = static_cast<double>(best.to - best.from) > 0.85 * static_cast<double>(columns);
    const double length = static_cast<double>(best.to - best.from), share = length / static_cast<double>(columns);
    double sum = 0, most = 0;
    out.comb.spacing_hz = at.spacing_hz;
    out.comb.spacing_sd_hz = tolerance * at.spacing_hz / kSpacings;
    out.comb.places = at.bin.size();
    for (std::size_t i = 0; i < at.bin.size(); ++i) {
        double mean = 0, power = 0;
        for (std::size_t t = best.from; t < best.to; ++t) {
            mean += map.levelled(t, at.bin[i]) / still.noise[at.bin[i]] / length;
            for (std::size_t j = at.bin[i] - 2; j <= at.bin[i] + 2; ++j)
                power += (static_cast<double>(map.density[t][j]) - still.noise[at.bin[i]]) * map.bin_hz / length;
        }
        const double averages = std::min(length * kIndependent, std::max(1.0, still.averages * share));
        const double surprise = surprise_of_gamma(mean, std::max(1.0, averages));
        const double counts = std::clamp(surprise, kCountsAbove, kCountsUpTo) - kCountsAbove;
        sum += counts;
        most = std::max(most, counts);
        if (surprise < kStands) continue;
        const double hz = at.number[i] * at.spacing_hz;
        out.comb.teeth.push_back({at.number[i], hz, 0.3 * map.bin_hz, surprise, {std::max(power * share, 0.0)}});
    }
    out.comb.surprise = surprise_of_sum(sum, out.comb.places, kCountsAbove);
    out.comb.surprise_of_rest = surprise_of_sum(sum - most, out.comb.places - 1, kCountsAbove);
    return out;
}

}  // namespace hushtrace
