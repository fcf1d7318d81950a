#include "hushtrace/measure/impulse_train.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "near_rank.hpp"

namespace hushtrace {
namespace {

constexpr double kEnvelopeRateHz = 2000.0;

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
    NearRank near_rank;
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

/// The mean power at each phase of the train: [phases], and the spread of one phase's mean.
struct Profile {
    std::vector<double> power;
    double sd = 0;
};
Profile profile_of(std::span<const double> power, double rate, const Track& track) {
    constexpr std::size_t phases = 24;
    Profile profile;
    std::vector<double> sum(phases), squares(phases), count(phases);
    double turn = 0;
    for (std::size_t i = 0; i < power.size(); ++i) {
        const auto p = std::min(phases - 1, static_cast<std::size_t>(turn * static_cast<double>(phases)));
        sum[p] += power[i];
        squares[p] += power[i] * power[i];
        count[p] += 1;
        turn = std::fmod(turn + track.at(static_cast<double>(i) / rate) / rate, 1.0);
    }
    double variance = 0;
    for (std::size_t p = 0; p < phases; ++p) {
        if (count[p] < 2) return {};
        const double mean = sum[p] / count[p];
        profile.power.push_back(mean);
        variance += (squares[p] / count[p] - mean * mean) / count[p] / static_cast<double>(phases);
    }
    profile.sd = std::sqrt(std::max(variance, 0.0));
    return profile;
}

/// Phase of the envelope against the track, to keep a long train's clicks at one phase.
Track phase_locked(std::span<const double> envelope, double rate, const Track& track) {
    double turn = 0, last = 0;
    std::vector<double> when, angle;
    double re = 0, im = 0, stretch_s = 0;
    for (std::size_t i = 0; i < envelope.size(); ++i) {
        const double t = static_cast<double>(i) / rate;
        const double f = track.at(t);
        re += envelope[i] * std::cos(2.0 * std::numbers::pi * turn);
        im -= envelope[i] * std::sin(2.0 * std::numbers::pi * turn);
        turn = std::fmod(turn + f / rate, 1.0);
        stretch_s += 1.0 / rate;
        if (stretch_s >= 0.35) {
            double now = std::atan2(im, re);
            if (!angle.empty()) now = last + std::remainder(now - last, 2.0 * std::numbers::pi);
            angle.push_back(now);
            when.push_back(t - 0.5 * stretch_s);
            last = now;
            re = im = stretch_s = 0;
        }
    }
    if (when.size() < 3) return track;
    Track out;
    std::size_t place = 0;
    const double end_s = static_cast<double>(envelope.size()) / rate;
    for (double t = 0; t < end_s; t += 0.05) {
        while (place + 2 < when.size() && when[place + 1] < t) ++place;
        const double slope =
            (angle[place + 1] - angle[place]) / (when[place + 1] - when[place]) / (2.0 * std::numbers::pi);
        const double f = track.at(t);
        out.time_s.push_back(t);
        out.frequency_hz.push_back(f + std::clamp(slope, -0.03 * f, 0.03 * f));
    }
    return out;
}

}  // namespace

std::optional<ImpulseTrain> find_impulse_train(std::span<const double> samples, double sample_rate_hz,
                                               const ImpulseSearch& search) {
    if (search.above_hz >= 0.35 * sample_rate_hz) return std::nullopt;
    const auto stretch =
        static_cast<std::size_t>(std::max(1.0, std::round(sample_rate_hz / kEnvelopeRateHz)));
    const double rate = sample_rate_hz / static_cast<double>(stretch);
    const auto high = power_of(high_passed(samples, sample_rate_hz, search.above_hz), stretch);
    const std::size_t length = 1280, hop = 160;  // 0.64 s, 0.08 s
    if (high.size() < length + 8 * hop) return std::nullopt;
    double mean = 0;
    std::vector<double> envelope(high.size());
    for (std::size_t i = 0; i < high.size(); ++i) mean += envelope[i] = std::sqrt(high[i]);
    mean /= static_cast<double>(high.size());
    if (!(mean > 0.0)) return std::nullopt;
    for (double& value : envelope) value -= mean;

    std::vector<double> time_s;
    const auto columns = columns_of(envelope, rate, length, hop, time_s);
    std::vector<double> grid_hz;
    for (double f = search.from_hz; f <= search.to_hz; f *= 1.005) grid_hz.push_back(f);
    const double bin_hz = rate / static_cast<double>(length);
    std::vector<Comb> combs;
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
    if (train.significance < search.least_significance) return std::nullopt;
    for (std::size_t t = 0; t < path.cells.size(); ++t) {
        train.rate.time_s.push_back(time_s[t]);
        train.rate.frequency_hz.push_back(grid_hz[path.cells[t]]);
    }
    train.rate = phase_locked(envelope, rate, phase_locked(envelope, rate, train.rate));

    const auto whole = power_of(high_passed(samples, sample_rate_hz, 100.0), stretch);
    const Profile profile = profile_of(whole, rate, train.rate);
    if (profile.power.empty()) return std::nullopt;
    std::vector<double> sorted = profile.power;
    std::sort(sorted.begin(), sorted.end());
    const double between = sorted[sorted.size() / 3];
    double sum = 0;
    for (const double p : profile.power) sum += p;
    train.mean_square = std::max(0.0, sum / static_cast<double>(profile.power.size()) - between);
    train.mean_square_sd = profile.sd;
    const Profile sharp = profile_of(high, rate, train.rate);
    train.profile = sharp.power;
    std::vector<double> sharp_sorted = sharp.power;
    std::sort(sharp_sorted.begin(), sharp_sorted.end());
    train.contrast_db =
        decibels_from_power(sharp_sorted.back() / std::max(sharp_sorted[sharp_sorted.size() / 3], 1e-300));
    return train;
}

std::vector<double> blank_clicks(std::span<const double> samples, double sample_rate_hz,
                                 const ImpulseTrain& train) {
    std::vector<double> out(samples.begin(), samples.end());
    if (train.profile.empty()) return out;
    std::vector<double> sorted = train.profile;
    std::sort(sorted.begin(), sorted.end());
    const double limit = std::max(2.0 * sorted[sorted.size() / 3], sorted[sorted.size() / 2]);
    const std::size_t phases = train.profile.size();
    std::vector<bool> loud(phases);
    for (std::size_t p = 0; p < phases; ++p) loud[p] = train.profile[p] > limit;
    const auto stretch =
        static_cast<std::size_t>(std::max(1.0, std::round(sample_rate_hz / kEnvelopeRateHz)));
    const double rate = sample_rate_hz / static_cast<double>(stretch);
    const double fade = std::exp(-1.0 / (0.0004 * sample_rate_hz));
    double turn = 0, gain = 1.0;
    for (std::size_t n = 0; n < out.size(); ++n) {
        const auto p = std::min(phases - 1, static_cast<std::size_t>(turn * static_cast<double>(phases)));
        gain = fade * gain + (1.0 - fade) * (loud[p] || loud[(p + 1) % phases] ? 0.0 : 1.0);
        out[n] *= gain;
        if (n % stretch == stretch - 1)
            turn = std::fmod(turn + train.rate.at(static_cast<double>(n / stretch) / rate) / rate, 1.0);
    }
    return out;
}

}  // namespace hushtrace
