#include "hushtrace/measure/impulse_train.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "click_profile.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "near_rank.hpp"

namespace hushtrace {
namespace {

/// Second-order Butterworth high-pass by the bilinear transform, run twice.
std::vector<double> high_passed(std::span<const double> samples, double rate, double corner_hz) {
    std::vector<double> out(samples.begin(), samples.end());
    const double k = std::tan(std::numbers::pi * corner_hz / rate);
    const double norm = 1.0 / (1.0 + std::numbers::sqrt2 * k + k * k);
    const double a1 = 2.0 * (k * k - 1.0) * norm, a2 = (1.0 - std::numbers::sqrt2 * k + k * k) * norm;
    for (int pass = 0; pass < 2; ++pass) {
        double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
        for (double& sample : out) {
            const double y = norm * (sample - 2.0 * x1 + x2) - a1 * y1 - a2 * y2;
            x2 = x1;
            x1 = sample;
            y2 = y1;
            y1 = y;
            sample = y;
        }
    }
    return out;
}

/// Power of the sound in short stretches.
std::vector<double> power_of(std::span<const double> samples, std::size_t stretch) {
    std::vector<double> power(samples.size() / stretch);
    for (std::size_t i = 0; i < power.size(); ++i) {
        double sum = 0;
        for (std::size_t j = 0; j < stretch; ++j) sum += samples[i * stretch + j] * samples[i * stretch + j];
        power[i] = sum / static_cast<double>(stretch);
    }
    return power;
}

/// Log power of each column of the envelope's spectrogram over the noise round it.
std::vector<std::vector<double>> columns_of(std::span<const double> envelope, double rate, std::size_t length,
                                            std::size_t hop, std::vector<double>& time_s) {
    std::vector<std::vector<double>> columns;
    NearRank<double> near_rank;
    SpectrogramStream stream(
        rate, length, hop, WindowKind::hann, [&](double t, std::span<const double> density) {
            auto& column = columns.emplace_back(density.size(), 0.0);
            const std::size_t reach = 40;
            double median = 0;
            for (std::size_t k = 0; k < density.size(); ++k) {
                const std::size_t first = k > reach ? k - reach : 2,
                                  last = std::min(density.size(), k + reach + 1);
                if (k % 8 == 0) median = near_rank.find(density.subspan(first, last - first), (last - first) / 2, median);
                const double noise = std::max(median / std::log(2.0), 1e-300);
                column[k] = std::clamp(std::log(std::max(density[k] / noise, 1e-6)), -0.7, 4.0);
            }
            time_s.push_back(t);
        });
    stream.add(envelope);
    return columns;
}

/// A place between two bins.
struct Place {
    Place(double at, std::size_t bins) : bin(static_cast<std::size_t>(at)), part(at - static_cast<double>(bin)) {
        if (bin + 1 >= bins) bin = bins;
    }
    double of(const std::vector<double>& column) const {
        return bin < column.size() ? column[bin] + part * (column[bin + 1] - column[bin]) : 0.0;
    }
    std::size_t bin;
    double part;
};

/// Where a train of one rate has its first five harmonics, and where one of a half, a third or a fifth of it would.
struct Comb {
    Comb(double harmonic_bins, std::size_t bins) {
        for (int h = 1; h <= 5; ++h) {
            const auto at = [&](double number) { return Place(number * harmonic_bins, bins); };
            on.push_back(at(h));
            halves.push_back(at(h - 1.0 / 2));
            thirds.insert(thirds.end(), {at(h - 1.0 / 3), at(h - 2.0 / 3)});
            fifths.insert(fifths.end(), {at(h - 2.0 / 5), at(h - 3.0 / 5)});
        }
    }
    static double sum(const std::vector<Place>& places, const std::vector<double>& column) {
        double sum = 0;
        for (const Place& place : places) sum += place.of(column);
        return sum;
    }
    /// On the harmonics there must be power; at their halves, thirds and fifths there must not, or the train is one of a
    /// half, a third or a fifth of this rate.
    double score(const std::vector<double>& column) const {
        const double beside = std::max({sum(halves, column), 0.5 * sum(thirds, column), 0.5 * sum(fifths, column)});
        return (sum(on, column) - beside) / 5.0;
    }
    std::vector<Place> on, halves, thirds, fifths;
};

/// The sound's power in short stretches, above the search's corner and as a whole.
struct Power {
    double rate_hz = 0;
    std::vector<double> high, whole;
};

/// Cuts down what stands 6 dB over that which most thirds of a second reach: a train has clicks in each, and a lone burst
/// must lead neither its phase nor its profile astray.
void cut_lone_bursts(std::vector<double>& power, double rate_hz) {
    const auto block = static_cast<std::size_t>(0.35 * rate_hz);
    std::vector<double> tops;
    for (auto from = power.begin(); power.end() - from >= static_cast<std::ptrdiff_t>(block); from += static_cast<std::ptrdiff_t>(block))
        tops.push_back(*std::max_element(from, from + static_cast<std::ptrdiff_t>(block)));
    if (tops.empty()) return;
    const auto middle = tops.begin() + static_cast<std::ptrdiff_t>(tops.size() / 2);
    std::nth_element(tops.begin(), middle, tops.end());
    for (double& one : power) one = std::min(one, 4.0 * *middle);
}

/// Square root of the power above the corner, less its mean; nothing at the turns of trains that are known.
std::vector<double> envelope_of(const Power& power, const std::vector<SoundSpan>& known) {
    std::vector<bool> blank(power.high.size(), false);
    for (const SoundSpan& span : known)
        for (auto i = static_cast<std::size_t>(span.from_s * power.rate_hz); i < blank.size() && static_cast<double>(i) < span.to_s * power.rate_hz;
             ++i)
            blank[i] = true;
    std::vector<double> envelope(power.high.size(), 0.0);
    double mean = 0, count = 0;
    for (std::size_t i = 0; i < envelope.size(); ++i) {
        if (blank[i]) continue;
        mean += envelope[i] = std::sqrt(power.high[i]);
        count += 1.0;
    }
    if (count < 0.3 * static_cast<double>(envelope.size()) || !(mean > 0.0)) return {};
    for (std::size_t i = 0; i < envelope.size(); ++i)
        if (!blank[i]) envelope[i] -= mean / count;
    return envelope;
}

/// Levels and profile of a train whose rate is known; false where it is too short for them.
bool read_profile(ImpulseTrain& train, const Power& power) {
    const ClickProfile profile = click_profile(power.whole, power.rate_hz, train.rate);
    const ClickProfile sharp = click_profile(power.high, power.rate_hz, train.rate);
    if (profile.power.empty() || sharp.power.empty()) return false;
    std::vector<double> sorted = profile.power;
    std::sort(sorted.begin(), sorted.end());
    const double between = sorted[sorted.size() / 3];
    double sum = 0;
    for (const double p : profile.power) sum += p;
    train.mean_square = std::max(0.0, sum / static_cast<double>(profile.power.size()) - between);
    train.mean_square_sd = profile.sd;
    train.profile = sharp.power;
    std::vector<double> sharp_sorted = sharp.power;
    std::sort(sharp_sorted.begin(), sharp_sorted.end());
    train.contrast_db =
        decibels_from_power(sharp_sorted.back() / std::max(sharp_sorted[sharp_sorted.size() / 3], 1e-300));
    return true;
}

/// The strongest train beside those that are known, at the rate of its clicks.
std::optional<ImpulseTrain> strongest_train(const Power& power, const std::vector<SoundSpan>& known, const ImpulseSearch& search) {
    const std::size_t length = 1280, hop = 160;  // 0.64 s, 0.08 s
    if (power.high.size() < length + 8 * hop) return std::nullopt;
    const std::vector<double> envelope = envelope_of(power, known);
    if (envelope.empty()) return std::nullopt;
    std::vector<double> time_s;
    const auto columns = columns_of(envelope, power.rate_hz, length, hop, time_s);
    std::vector<double> grid_hz;
    for (double f = search.from_hz; f <= search.to_hz; f *= 1.005) grid_hz.push_back(f);
    const double bin_hz = power.rate_hz / static_cast<double>(length);
    std::vector<Comb> combs;
    combs.reserve(grid_hz.size());
    for (const double hz : grid_hz) combs.emplace_back(hz / bin_hz, length / 2 + 1);
    std::vector<std::vector<float>> score(columns.size(), std::vector<float>(grid_hz.size()));
    for (std::size_t t = 0; t < columns.size(); ++t)
        for (std::size_t g = 0; g < grid_hz.size(); ++g) score[t][g] = static_cast<float>(combs[g].score(columns[t]));
    const GridPath path = best_path(score, 4, 0.05);
    // The best path through the envelope of white noise reached mean scores of 0.307 (55 columns), 0.299
    // (68), 0.282 (143) and 0.271 (293), each with a spread of 0.21 to 0.25 over the root of the columns (16
    // runs each; tests/measure/test_impulse_train.cpp repeats it).
    const double n = static_cast<double>(columns.size());
    ImpulseTrain train;
    train.significance = (path.mean_score - (0.262 + 2.44 / n)) / (0.23 / std::sqrt(n));
    if (train.significance < std::min(search.least_significance, search.faint_significance)) return std::nullopt;
    for (std::size_t t = 0; t < path.cells.size(); ++t) {
        train.rate.time_s.push_back(time_s[t]);
        train.rate.frequency_hz.push_back(grid_hz[path.cells[t]]);
    }
    train.rate = phase_locked(envelope, power.rate_hz, phase_locked(envelope, power.rate_hz, train.rate));
    if (!read_profile(train, power)) return std::nullopt;
    const int turns = turns_a_click(power.high, power.rate_hz, train.rate, train.profile);
    const int clicks = turns > 1 ? 1 : clicks_a_turn(power.high, power.rate_hz, train.rate, train.profile, search.to_hz);
    if (turns > 1 || clicks > 1) {
        for (double& f : train.rate.frequency_hz) f *= static_cast<double>(clicks) / turns;
        if (!read_profile(train, power)) return std::nullopt;
    }
    train.rate = steadied(power.high, power.rate_hz, train.rate, train.profile);
    return read_profile(train, power) ? std::optional(train) : std::nullopt;
}

/// Whether one rate is a whole multiple of the other, so that what the first leaves may pass for the second.
bool kin(double one_hz, double other_hz) {
    const double ratio = std::max(one_hz, other_hz) / std::min(one_hz, other_hz);
    return std::abs(ratio / std::round(ratio) - 1.0) < 0.015;
}

}  // namespace

std::vector<ImpulseTrain> find_impulse_trains(std::span<const double> samples, double sample_rate_hz, const ImpulseSearch& search) {
    std::vector<ImpulseTrain> trains;
    if (search.above_hz >= 0.35 * sample_rate_hz) return trains;
    const auto stretch =
        static_cast<std::size_t>(std::max(1.0, std::round(sample_rate_hz / kClickPowerRate_hz)));
    Power power;
    power.rate_hz = sample_rate_hz / static_cast<double>(stretch);
    power.high = power_of(high_passed(samples, sample_rate_hz, search.above_hz), stretch);
    power.whole = power_of(high_passed(samples, sample_rate_hz, 100.0), stretch);
    cut_lone_bursts(power.high, power.rate_hz);
    cut_lone_bursts(power.whole, power.rate_hz);
    std::vector<SoundSpan> known;
    while (trains.size() < search.most_trains) {
        auto train = strongest_train(power, known, search);
        if (!train) break;
        const double rate_hz = train->rate.mean_hz();
        if (std::any_of(trains.begin(), trains.end(), [rate_hz](const ImpulseTrain& one) { return kin(rate_hz, one.rate.mean_hz()); }))
            break;
        const auto spans = loud_spans(*train, static_cast<double>(power.high.size()) / power.rate_hz);
        known.insert(known.end(), spans.begin(), spans.end());
        const bool faint = train->significance < search.least_significance;
        trains.push_back(std::move(*train));
        if (faint) break;
    }
    return trains;
}

std::optional<ImpulseTrain> find_impulse_train(std::span<const double> samples, double sample_rate_hz, const ImpulseSearch& search) {
    ImpulseSearch one = search;
    one.most_trains = 1;
    auto trains = find_impulse_trains(samples, sample_rate_hz, one);
    if (trains.empty()) return std::nullopt;
    return std::move(trains.front());
}

}  // namespace hushtrace
