#include "hushtrace/measure/guided_ridges.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/order_spectrum.hpp"
#include "hushtrace/measure/thinned_sound.hpp"
#include "hushtrace/signal/error.hpp"
#include "noise_ratio_map.hpp"
#include "steady_line_ratio.hpp"

namespace hushtrace {
namespace {

constexpr double kLagStep_s = 0.05;   // an idle of 1 % a second strays by half a bin meanwhile
constexpr double kWindow_s = 0.2;
constexpr double kPointsApart_s = 0.02;
constexpr double kScale_hz = 1000.0;  // the resampled sound keeps its pace on the whole: its mean speed is this

/// The speed as seen from the sound, relative to its mean.
Track relative_speed(const Track& speed, double lag_s, double duration_s) {
    Track out;
    for (double t = 0; t <= duration_s + kPointsApart_s; t += kPointsApart_s) {
        out.time_s.push_back(t);
        out.frequency_hz.push_back(speed.at(t + lag_s));
    }
    const double mean = out.mean_hz();
    for (double& f : out.frequency_hz) f /= mean;
    return out;
}

/// ln of how much better a line at each ratio explains a map than noise does, by the best ratio.
class LagScan {
public:
    LagScan(const NoiseRatioMap& map, double from_hz, double to_hz) : map_(map) {
        step_ = map.bin_hz / to_hz;
        cells_ = static_cast<std::size_t>(std::log(to_hz / from_hz) / step_) + 1;
        const SteadyLineRatio ratio(6.0 * kWindow_s / 1.5);
        std::vector<float> of_bins(map.bins);
        for (std::size_t t = 0; t < map.columns; ++t) {
            ratio.of(map.ratio.data() + t * map.bins, of_bins.data(), map.bins);
            for (float& one : of_bins) one = std::log(one);
            for (std::size_t c = 0; c < cells_; ++c) {
                const double hz = from_hz * std::exp(step_ * static_cast<double>(c));
                rows_.push_back(of_bins[std::min(static_cast<std::size_t>(hz / map.bin_hz + 0.5), map.bins - 1)]);
            }
        }
    }
    double at(const Track& relative) const {
        std::vector<float> sum(cells_, 0.0F);
        for (std::size_t t = 0; t < map_.columns; ++t) {
            const auto shift = static_cast<std::ptrdiff_t>(std::lround(std::log(relative.at(map_.centre_s(t))) / step_));
            const auto count = static_cast<std::ptrdiff_t>(cells_);
            const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(-shift, 0, count), to = std::clamp<std::ptrdiff_t>(count - shift, from, count);
            const float* row = rows_.data() + t * cells_ + shift;
            for (std::ptrdiff_t c = from; c < to; ++c) sum[static_cast<std::size_t>(c)] += row[c];
        }
        const double most = static_cast<double>(*std::max_element(sum.begin(), sum.end()));
        double all = 0;
        for (const float one : sum) all += std::exp(static_cast<double>(one) - most);
        return most + std::log(all / static_cast<double>(cells_));
    }

private:
    const NoiseRatioMap& map_;
    double step_ = 0;
    std::size_t cells_ = 0;
    std::vector<float> rows_;  // [columns * cells]
};

struct Lag {
    double lag_s = 0, choices = 1;
};
Lag best_lag(std::span<const double> samples, double rate, const Track& speed, const RidgeSearch& search, double most_lag_s) {
    Lag best;
    if (!(most_lag_s >= kLagStep_s)) return best;
    const double to_hz = std::min(search.to_hz, 0.45 * rate), duration_s = static_cast<double>(samples.size()) / rate;
    const ThinnedSound sound = thinned(samples, rate, to_hz);
    NoiseRatioMap map =
        noise_ratio_map(sound.samples, sound.rate_hz, kWindow_s, to_hz, noise_shape(sound.samples, sound.rate_hz, to_hz, search.still), search.still);
    for (const Ridge& ridge : search.known) map.leave_out(ridge, 1.0);
    const LagScan scan(map, search.from_hz, to_hz);
    // as likely none as any other
    const auto steps = static_cast<int>(most_lag_s / kLagStep_s);
    const double others = 2.0 * steps;
    double most = scan.at(relative_speed(speed, 0.0, duration_s)) + std::log(others);
    for (int i = -steps; i <= steps; ++i) {
        if (i == 0) continue;
        const double lag_s = i * kLagStep_s, here = scan.at(relative_speed(speed, lag_s, duration_s));
        if (here <= most) continue;
        most = here;
        best = {lag_s, others};
    }
    return best;
}

/// Where in the resampled sound a moment lies [s], every kPointsApart_s.
std::vector<double> paces(const Track& relative) {
    std::vector<double> out = {0.0};
    for (std::size_t i = 1; i < relative.time_s.size(); ++i)
        out.push_back(out.back() + 0.5 * (relative.frequency_hz[i - 1] + relative.frequency_hz[i]) * kPointsApart_s);
    return out;
}

/// What the search must pass by, as the resampled sound shows it.
Ridge as_resampled(const Ridge& ridge, const Track& relative, const std::vector<double>& pace_s) {
    Ridge out = ridge;
    out.track = {};
    std::size_t i = 0;
    for (double tau = 0; tau < pace_s.back(); tau += kPointsApart_s) {
        while (i + 2 < pace_s.size() && pace_s[i + 1] < tau) ++i;
        const double part = (tau - pace_s[i]) / (pace_s[i + 1] - pace_s[i]), t = (static_cast<double>(i) + part) * kPointsApart_s;
        out.track.time_s.push_back(tau);
        out.track.frequency_hz.push_back(ridge.track.at(t) / relative.at(t));
    }
    return out;
}

}  // namespace

GuidedRidges find_ridges_along(std::span<const double> samples, double rate, const Track& speed, const RidgeSearch& search,
                               double most_lag_s) {
    if (speed.empty() || !(*std::min_element(speed.frequency_hz.begin(), speed.frequency_hz.end()) > 0.0))
        throw Error(ErrorKind::invalid_request, "a speed to search along must be above 0");
    GuidedRidges out;
    const double duration_s = static_cast<double>(samples.size()) / rate;
    if (duration_s < 1.0) return out;
    const Lag lag = best_lag(samples, rate, speed, search, most_lag_s);
    out.lag_s = lag.lag_s;
    const Track relative = relative_speed(speed, lag.lag_s, duration_s);
    const ThinnedSound sound = thinned(samples, rate, std::min(search.to_hz, 0.45 * rate));
    Track scaled = relative;
    for (double& f : scaled.frequency_hz) f *= kScale_hz;
    const CycleSamples even = resample_by_cycles(sound.samples, sound.rate_hz, scaled);
    const std::vector<double> pace_s = paces(relative);
    RidgeSearch steady = search;
    steady.steady = true;
    steady.least_log_evidence += std::log(lag.choices);
    steady.known.clear();
    steady.still.clear();
    for (const Ridge& known : search.known) steady.known.push_back(as_resampled(known, relative, pace_s));
    for (const PassedLine& line : search.still) {
        Ridge still;
        still.track = {{0.0, duration_s}, {line.frequency_hz, line.frequency_hz}};
        still.snr_db = line.snr_db;
        steady.known.push_back(as_resampled(still, relative, pace_s));
    }
    for (Ridge& found : find_ridges(even.samples, kScale_hz * even.samples_per_cycle, steady)) {
        Ridge ridge = found;
        ridge.track = {};
        ridge.frequency_sd_hz.clear();
        Track sd{found.track.time_s, found.frequency_sd_hz};
        for (std::size_t i = 0; i < relative.time_s.size() && relative.time_s[i] <= duration_s; ++i) {
            ridge.track.time_s.push_back(relative.time_s[i]);
            ridge.track.frequency_hz.push_back(found.track.at(pace_s[i]) * relative.frequency_hz[i]);
            ridge.frequency_sd_hz.push_back(sd.at(pace_s[i]) * relative.frequency_hz[i]);
        }
        out.ridges.push_back(std::move(ridge));
    }
    return out;
}

}  // namespace hushtrace
