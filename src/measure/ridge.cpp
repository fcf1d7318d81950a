#include "hushtrace/measure/ridge.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "hushtrace/measure/thinned_sound.hpp"
#include "hushtrace/signal/error.hpp"
#include "noise_ratio_map.hpp"
#include "path_sum.hpp"

namespace hushtrace {
namespace {

/// Lines wander as fast as this; long windows serve slow ones, short ones those that a long window would smear.
struct Watch {
    double window_s;
    std::vector<double> slopes_per_s;
};
const std::vector<Watch>& watches(const RidgeSearch& search) {
    static const std::vector<Watch> wandering = {{0.06, {0.02, 0.06}}, {0.1, {0.015}}, {0.2, {0.01}}};
    static const std::vector<Watch> held = {{0.34, {0.003}}, {0.68, {0.001}}};
    // a random walk of 2 to 8 % in seconds moves by a bin in such a window, at 10 kHz. The long ones, which are quickly looked
    // through, come first
    static const std::vector<Watch> nimble = {{0.05, {0.1}}, {0.02, {0.3}}};
    return search.steady ? held : search.nimble ? nimble : wandering;
}
/// A line that is just found has about 6 times the noise's power in 1 Hz, one that is nimble 30 times, since it may go more ways;
/// a Hann window is worth 1.5 bins.
double snr_in_bin(double window_s, bool nimble) { return (nimble ? 30.0 : 6.0) * window_s / 1.5; }

/// Taken to be louder than this, a line that fades for a moment would lose its path.
constexpr double kMostSnr = 4;

/// Evidence of a line that nobody doubts.
constexpr double kLoud = 60;
constexpr double kMuchLouder = 10;

/// Of a nimble line that short windows show at 30 the long ones showed 35 and more, in 25 vehicles; less than this, and they
/// needn't be asked.
constexpr double kHopeless = 3;

/// A loud line can be followed where it moves faster than most do.
constexpr double kNimbler = 2.5;

/// An idling engine's speed goes on as it went for about so long.
constexpr double kMemory_s = 0.3;

struct Hypothesis {
    std::size_t map = 0;
    PathLaw law;
    double log_evidence = 0;
};

double log_mean_exp(const std::vector<Hypothesis>& of) {
    double most = of.front().log_evidence, sum = 0;
    for (const Hypothesis& one : of) most = std::max(most, one.log_evidence);
    for (const Hypothesis& one : of) sum += std::exp(one.log_evidence - most);
    return most + std::log(sum / static_cast<double>(of.size()));
}

class Search {
public:
    Search(std::span<const double> samples, double rate, const RidgeSearch& search)
        : search_(search), to_hz_(std::min(search.to_hz, 0.45 * rate)) {
        for (const double x : samples)
            if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "ridge: a sample is not a finite number");
        if (to_hz_ < 1.1 * search.from_hz || static_cast<double>(samples.size()) < rate) return;
        const ThinnedSound sound = thinned(samples, rate, to_hz_);
        noise_ = search.nimble ? noise_of_each_bin(sound.samples, sound.rate_hz, to_hz_, search.still)
                               : noise_shape(sound.samples, sound.rate_hz, to_hz_, search.still);
        for (const Watch& watch : watches(search)) {
            maps_.push_back(noise_ratio_map(sound.samples, sound.rate_hz, watch.window_s, to_hz_, noise_, search.still));
            pass_over_clicks(maps_.back());
            noise_density_.emplace_back();
            for (std::size_t b = 0; b < maps_.back().bins; ++b)
                noise_density_.back().push_back(noise_.seen_through(static_cast<double>(b) * maps_.back().bin_hz, maps_.back().bin_hz));
            for (const Ridge& known : search.known) leave_out(maps_.size() - 1, known);
            for (const double slope : watch.slopes_per_s)
                hypotheses_.push_back({maps_.size() - 1, {slope, kMemory_s, snr_in_bin(watch.window_s, search.nimble)}});
            if (search.nimble && maps_.size() == 1 && possible() && weigh() < kHopeless) return;
        }
    }
    bool possible() const { return !maps_.empty() && maps_.front().columns > 8; }

    double weigh() {
        std::size_t first = 0;
        if (followed_ > 0) {  // what is loud through the windows that told of the last line needs no other's word
            first = static_cast<std::size_t>(best_hypothesis() - hypotheses_.data());
            weigh(hypotheses_[first]);
            for (std::size_t h = 0; h < hypotheses_.size(); ++h)
                if (h != first) hypotheses_[h].log_evidence = -std::numeric_limits<double>::infinity();
            if (const double evidence = log_mean_exp(hypotheses_); evidence > kLoud) return evidence;
        }
        for (std::size_t h = 0; h < hypotheses_.size(); ++h)
            if (followed_ == 0 || h != first) weigh(hypotheses_[h]);
        return log_mean_exp(hypotheses_);
    }

    const Hypothesis* best_hypothesis() const {
        return &*std::max_element(hypotheses_.begin(), hypotheses_.end(), lesser);
    }

    Ridge follow() {
        ++followed_;
        Hypothesis best = *best_hypothesis();
        PathSum::Place place = place_of(best);
        double power = power_along(maps_[best.map], place.frequency_hz);
        if (power > 2.0 * best.law.snr) {  // louder than was taken for granted: how it moves is known the better
            const double in_1_hz = power * 1.5 * maps_[best.map].bin_hz, found_with = best.log_evidence;
            best = best_when_so_loud(0.5 * in_1_hz);
            place = place_of(best);
            power = power_along(maps_[best.map], place.frequency_hz);
            best.log_evidence = std::max(best.log_evidence, found_with);
        }
        const NoiseRatioMap& map = maps_[best.map];
        Ridge ridge;
        ridge.log_evidence = best.log_evidence;
        ridge.snr_db = 10.0 * std::log10(std::max(power, 1e-3) * 1.5 * map.bin_hz);
        for (std::size_t t = 0; t < map.columns; ++t) {
            ridge.track.time_s.push_back(map.centre_s(t));
            ridge.track.frequency_hz.push_back(sharpened(map, t, place.frequency_hz[t]));
        }
        ridge.frequency_sd_hz = std::move(place.sd_hz);
        return ridge;
    }

    /// The line is left out of every map: its lobe, and what it swept over while a window lasted.
    void leave_out(const Ridge& ridge) {
        for (std::size_t m = 0; m < maps_.size(); ++m) leave_out(m, ridge);
    }

private:
    void weigh(Hypothesis& one) const {
        one.log_evidence = PathSum(maps_[one.map], search_.from_hz, to_hz_, one.law).log_evidence();
    }
    void leave_out(std::size_t m, const Ridge& ridge) {
        NoiseRatioMap& map = maps_[m];
        // the multiples of a loud line are found with it, once it is known; what is much louder there is searched for by itself
        std::vector<double> multiples = {1.0};
        if (ridge.log_evidence > kLoud) {
            const double most = kMuchLouder * power_about(m, ridge, 1.0);
            for (const double multiple : {2.0, 3.0, 4.0, 5.0, 6.0})
                if (power_about(m, ridge, multiple) < most) multiples.push_back(multiple);
        }
        for (const double multiple : multiples) map.leave_out(ridge, multiple);
    }
    /// Median over time of the highest density within the lobe about a multiple of a ridge [full scale squared per hertz]: what only
    /// sweeps across it does not count.
    double power_about(std::size_t m, const Ridge& ridge, double multiple) const {
        const NoiseRatioMap& map = maps_[m];
        const double reach_hz = map.lobe_hz(ridge.snr_db);
        std::vector<double> highest(map.columns, 0.0);
        for (std::size_t t = 0; t < map.columns; ++t) {
            const double at_hz = multiple * ridge.track.at(map.centre_s(t));
            const auto first = static_cast<std::size_t>(std::max(1.0, std::ceil((at_hz - reach_hz) / map.bin_hz)));
            const auto last = static_cast<std::size_t>((at_hz + reach_hz) / map.bin_hz);
            for (std::size_t b = first; b <= last && b < map.bins; ++b)
                highest[t] = std::max(highest[t], static_cast<double>(map.at(t, b)) * noise_density_[m][b]);
        }
        if (highest.empty()) return 0.0;
        const auto middle = highest.begin() + static_cast<std::ptrdiff_t>(highest.size() / 2);
        std::nth_element(highest.begin(), middle, highest.end());
        return *middle;
    }
    void pass_over_clicks(NoiseRatioMap& map) const {
        constexpr double rings_s = 0.005;
        for (const double click_s : search_.clicks_s) {
            const double reach_s = 0.5 * map.window_s + rings_s;
            const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil((click_s - reach_s - map.centre_s(0)) / map.hop_s)));
            for (std::size_t t = first; t < map.columns && map.centre_s(t) <= click_s + reach_s; ++t) map.leave_out(t, 0.0, to_hz_ + map.bin_hz);
        }
    }
    PathSum::Place place_of(const Hypothesis& one) const {
        return PathSum(maps_[one.map], search_.from_hz, to_hz_, one.law).place();
    }
    Hypothesis best_when_so_loud(double snr_in_1_hz) const {
        std::vector<Hypothesis> louder = {*best_hypothesis()};
        for (const Hypothesis& one : hypotheses_) {
            if (one.map > 1) continue;  // what moves fast is followed through the short windows
            louder.push_back(one);
            louder.back().law.slope_per_s *= kNimbler;
        }
        for (Hypothesis& one : louder) {
            one.law.snr = std::min(snr_in_1_hz / (1.5 * maps_[one.map].bin_hz), kMostSnr);
            one.log_evidence = PathSum(maps_[one.map], search_.from_hz, to_hz_, one.law).log_evidence();
        }
        return *std::max_element(louder.begin(), louder.end(), lesser);
    }
    static bool lesser(const Hypothesis& a, const Hypothesis& b) { return a.log_evidence < b.log_evidence; }
    double power_along(const NoiseRatioMap& map, const std::vector<double>& frequency_hz) const {
        double sum = 0;
        std::size_t count = 0;
        for (std::size_t t = 0; t < map.columns; ++t) {
            const auto b = std::min(static_cast<std::size_t>(frequency_hz[t] / map.bin_hz + 0.5), map.bins - 2);
            if (b < 1 || map.at(t, b) < 0.0F) continue;
            sum += map.at(t, b) - 1.0;
            ++count;
        }
        return count > 0 ? sum / static_cast<double>(count) : 0.0;
    }
    /// Between bins, where the line stands well out: a parabola through the log power of three.
    double sharpened(const NoiseRatioMap& map, std::size_t t, double near_hz) const {
        auto b = static_cast<std::size_t>(near_hz / map.bin_hz + 0.5);
        if (b < 2 || b + 2 >= map.bins) return near_hz;
        if (map.at(t, b - 1) > map.at(t, b)) --b;
        else if (map.at(t, b + 1) > map.at(t, b)) ++b;
        const float left = map.at(t, b - 1), middle = map.at(t, b), right = map.at(t, b + 1);
        if (left <= 0.0F || right <= 0.0F || middle < 12.0F || middle < left || middle < right) return near_hz;
        const double l = std::log(left), m = std::log(middle), r = std::log(right), curve = l - 2.0 * m + r;
        const double hz = (static_cast<double>(b) + (curve < 0.0 ? std::clamp(0.5 * (l - r) / curve, -0.5, 0.5) : 0.0)) * map.bin_hz;
        return std::abs(hz - near_hz) < 1.5 * map.bin_hz ? hz : near_hz;
    }

    RidgeSearch search_;
    double to_hz_;
    NoiseShape noise_;
    std::vector<NoiseRatioMap> maps_;
    std::vector<std::vector<double>> noise_density_;  ///< [maps][bins] full scale squared per hertz
    std::vector<Hypothesis> hypotheses_;
    std::size_t followed_ = 0;
};

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

std::vector<Ridge> find_ridges(std::span<const double> samples, double sample_rate_hz, const RidgeSearch& search) {
    std::vector<Ridge> ridges;
    Search lines(samples, sample_rate_hz, search);
    while (lines.possible() && ridges.size() < search.most_ridges) {
        const double evidence = lines.weigh();
        if (evidence < search.least_log_evidence) break;
        ridges.push_back(lines.follow());
        lines.leave_out(ridges.back());
    }
    return ridges;
}

double line_log_evidence(std::span<const double> samples, double sample_rate_hz, const RidgeSearch& search) {
    Search lines(samples, sample_rate_hz, search);
    return lines.possible() ? lines.weigh() : 0.0;
}

}  // namespace hushtrace
