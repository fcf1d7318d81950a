#include "hushtrace/measure/line_comb.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "hushtrace/measure/noise_statistics.hpp"

namespace hushtrace {
namespace {

constexpr double kCountsAbove = 1.5;   // surprise: so much a place must say to count
constexpr double kCountsUpTo = 40.0;  // and no more than that: a comb is many lines, not one strong one
constexpr double kStands = 3.0;        // surprise of a tooth that is told: noise reaches it in one place of twenty
constexpr double kSharpens = 7.0;      // of one that the spacing is read from
constexpr double kAsGood = 4.6;        // surprise: a hundred times as likely by chance is about as much
constexpr double kSolid = 5.0;         // surprise of a tooth that is hardly chance
constexpr int kMoreTeeth = 2;          // solid ones that a narrower comb must explain: one more may be chance
constexpr double kStrays = 1e-4;       // of a rate within a stretch: what its teeth may lie off (common practice, no source)
constexpr int kPlain = 3;              // up to this number a line and one other make a comb
constexpr int kMostInComb = 24;        // teeth tried for a line of which nothing is known

struct Spacing {
    double hz = 0, sd_hz = 0;
    double weighted = 0, weight = 0;
    void take_in(const CombTooth& tooth) {
        const double n = tooth.number, w = n * n / (tooth.frequency_sd_hz * tooth.frequency_sd_hz);
        weighted += w * tooth.frequency_hz / n;
        weight += w;
        hz = weighted / weight;
        sd_hz = std::min(sd_hz, 1.5 / std::sqrt(weight));
    }
};

/// Whether a line of its own stands there, in most columns.
bool stands_by_itself(const StillSpectrum& spectrum, double frequency_hz) {
    return std::any_of(spectrum.lines.begin(), spectrum.lines.end(), [&](const StillLine& line) {
        return std::abs(line.frequency_hz - frequency_hz) < spectrum.bin_hz && line.steady && line.present_share > 0.7;
    });
}

CombTooth tooth_at(const std::vector<const StillSpectrum*>& channels, const Spacing& spacing, int number,
                   const CombPlaces& places) {
    CombTooth tooth;
    tooth.number = number;
    const double centre_hz = number * spacing.hz;
    const double reach_hz = std::min(2.0 * number * spacing.sd_hz, 4.0 * channels.front()->bin_hz);
    for (const StillSpectrum* one : channels) {
        StillSpectrum::Peak peak = one->peak_near(centre_hz, reach_hz);
        if (places.doubtful && places.doubtful(centre_hz) && !stands_by_itself(*one, peak.frequency_hz)) peak = {};
        tooth.mean_square.push_back(peak.surprise > kCountsAbove ? peak.mean_square : 0.0);
        if (peak.surprise <= tooth.surprise) continue;
        tooth.surprise = peak.surprise;
        tooth.frequency_hz = peak.frequency_hz;
        tooth.frequency_sd_hz = peak.frequency_sd_hz;
    }
    tooth.surprise = std::max(0.0, tooth.surprise - std::log(static_cast<double>(channels.size())));
    return tooth;
}

int solid_teeth(const LineComb& comb) {
    return static_cast<int>(std::count_if(comb.teeth.begin(), comb.teeth.end(), [](const CombTooth& t) { return t.surprise > kSolid; }));
}

}  // namespace

double CombTooth::total() const {
    return std::accumulate(mean_square.begin(), mean_square.end(), 0.0);
}

const CombTooth* LineComb::tooth(int number) const {
    for (const CombTooth& one : teeth)
        if (one.number == number) return &one;
    return nullptr;
}

const CombTooth* LineComb::strongest() const {
    const auto best = std::max_element(teeth.begin(), teeth.end(), [](const CombTooth& a, const CombTooth& b) {
        return a.total() < b.total();
    });
    return best == teeth.end() ? nullptr : &*best;
}

int LineComb::common_divisor() const {
    int divisor = 0;
    for (const CombTooth& one : teeth) divisor = std::gcd(divisor, one.number);
    return divisor;
}

int LineComb::solid_divisor() const {
    int divisor = 0;
    for (const CombTooth& one : teeth)
        if (one.surprise > kSolid) divisor = std::gcd(divisor, one.number);
    return divisor;
}

LineComb read_comb(const std::vector<const StillSpectrum*>& channels, double spacing_hz, double spacing_sd_hz,
                   const CombPlaces& places) {
    LineComb comb;
    if (channels.empty() || !(spacing_hz > 0.0)) return comb;
    const StillSpectrum& any = *channels.front();
    const double top = std::min(places.to_hz, 0.45 * any.sample_rate_hz);
    Spacing spacing{spacing_hz, spacing_sd_hz};
    double sum = 0, most = 0, second = 0;
    for (int n = 1; n <= places.most_number && n * spacing.hz <= top; ++n) {
        if (places.spoken_for && places.spoken_for(n * spacing.hz)) continue;
        const CombTooth tooth = tooth_at(channels, spacing, n, places);
        ++comb.places;
        const bool belongs = std::abs(tooth.frequency_hz - n * spacing.hz) <
                             2.0 * std::hypot(n * spacing.sd_hz, tooth.frequency_sd_hz) + 0.3 * any.bin_hz + kStrays * n * spacing.hz;
        if (tooth.surprise > kSharpens && !belongs) continue;   // a line of something else, near by
        const double counts = std::max(0.0, std::min(tooth.surprise, kCountsUpTo) - kCountsAbove);
        sum += counts;
        second = std::max(second, std::min(most, counts));
        most = std::max(most, counts);
        if (tooth.surprise > kStands && belongs) comb.teeth.push_back(tooth);
        if (tooth.surprise > kSharpens && belongs) spacing.take_in(tooth);
    }
    comb.spacing_hz = spacing.hz;
    comb.spacing_sd_hz = spacing.sd_hz;
    comb.surprise = surprise_of_sum(sum, comb.places, kCountsAbove);
    if (comb.places > 2) comb.surprise_beyond_two = surprise_of_sum(sum - most - second, comb.places - 2, kCountsAbove);
    if (comb.places > 1) comb.surprise_of_rest = surprise_of_sum(sum - most, comb.places - 1, kCountsAbove);
    return comb;
}

LineComb find_comb(const std::vector<const StillSpectrum*>& channels, double nominal_hz, double tolerance,
                   const CombPlaces& places) {
    if (channels.empty()) return {};
    const double bin_hz = channels.front()->bin_hz;
    const double top = std::min({places.to_hz, 0.45 * channels.front()->sample_rate_hz, places.most_number * nominal_hz});
    // a step that moves the upper teeth by half a bin
    const double step_hz = std::max(0.5 * bin_hz * nominal_hz / (0.5 * top), 2.0 * tolerance * nominal_hz / 60.0);
    std::vector<std::pair<double, double>> tries;  // spacing and its sd
    for (double f = nominal_hz * (1.0 - tolerance); f <= nominal_hz * (1.0 + tolerance) + 1e-9; f += step_hz)
        tries.emplace_back(f, 0.3 * step_hz);
    if (tries.size() < 2) tries = {{nominal_hz, 0.5 * tolerance * nominal_hz}};
    const double looked = std::log(static_cast<double>(tries.size()));
    for (const StillSpectrum* one : channels)
        for (const StillLine& line : one->lines) {
            const double n = std::round(line.frequency_hz / nominal_hz);
            if (n < 1.0 || n > 40.0 || !line.steady) continue;
            const double f = line.frequency_hz / n;
            if (std::abs(f / nominal_hz - 1.0) <= tolerance) tries.emplace_back(f, line.frequency_sd_hz / n);
        }
    LineComb best;
    for (const auto& [f, sd] : tries) {
        LineComb comb = read_comb(channels, f, sd, places);
        if (std::abs(comb.spacing_hz / nominal_hz - 1.0) > 1.2 * tolerance) continue;
        if (comb.surprise > best.surprise || (comb.surprise == best.surprise && comb.teeth.size() > best.teeth.size()))
            best = std::move(comb);
    }
    best.surprise = std::max(0.0, best.surprise - looked);
    best.surprise_of_rest = std::max(0.0, best.surprise_of_rest - looked);
    return best;
}

LineComb comb_through(const std::vector<const StillSpectrum*>& channels, double line_hz, double line_sd_hz,
                      double least_hz, const CombPlaces& places) {
    LineComb best;
    double best_rest = 0;
    int tried = 0;
    for (int n = 1; n <= kMostInComb && line_hz / n >= least_hz; ++n) {
        ++tried;
        LineComb comb = read_comb(channels, line_hz / n, line_sd_hz / n, places);
        const bool holds_line = std::any_of(comb.teeth.begin(), comb.teeth.end(), [&](const CombTooth& tooth) {
            return std::abs(tooth.frequency_hz - line_hz) < 1.5 * channels.front()->bin_hz;
        });
        if (!holds_line || comb.common_divisor() > 1) continue;  // a wider one's teeth
        const CombTooth* first = comb.tooth(1);
        const bool has_first = first && first->surprise > kSharpens;
        if (n > kPlain && !has_first && comb.surprise_beyond_two < kAsGood) continue;   // two lines, and chance
        if (!best.teeth.empty() &&
            (comb.surprise_of_rest < best_rest + kAsGood || solid_teeth(comb) < solid_teeth(best) + kMoreTeeth))
            continue;
        best_rest = comb.surprise_of_rest;
        best = std::move(comb);
    }
    best.surprise_of_rest = std::max(0.0, best.surprise_of_rest - std::log(std::max(1, tried)));
    best.surprise_beyond_two = std::max(0.0, best.surprise_beyond_two - std::log(std::max(1, tried)));
    return best;
}

}  // namespace hushtrace
