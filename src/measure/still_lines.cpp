#include "hushtrace/measure/still_lines.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_statistics.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kGuard = 3;             // bins: a Hann window's main lobe reaches two
constexpr std::size_t kDcBins = 3, kEnoughColumns = 6;
constexpr double kFrom_hz = 15.0, kTop = 0.47;
constexpr double kMedianEfficiency = 0.55;    // of a median against a mean, between 0.48 (exponential) and 0.64 (normal)
constexpr double kHannCells = 1.94;           // bins that share one independent reading: 1 + 2 (2/3)^2 + 2 (1/6)^2

/// Medians of all runs of `width` values: out[j] of those from j on.
std::vector<double> running_medians(const std::vector<double>& values, std::size_t width) {
    std::vector<double> out;
    if (values.size() < width) return out;
    std::vector<double> window(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(width));
    std::sort(window.begin(), window.end());
    out.reserve(values.size() - width + 1);
    for (std::size_t j = 0;; ++j) {
        out.push_back(window[width / 2]);
        if (j + width >= values.size()) break;
        // the sorted window takes the next value in the place of the first
        const auto gone = std::lower_bound(window.begin(), window.end(), values[j]);
        const double next = values[j + width];
        auto to = std::lower_bound(window.begin(), window.end(), next);
        if (to > gone) {
            std::move(gone + 1, to, gone);
            *(to - 1) = next;
        } else {
            std::move_backward(to, gone, gone + 1);
            *to = next;
        }
    }
    return out;
}

/// Bins that each side's median is of: fewer near dc, as many below as above, so that a slope misleads neither.
std::size_t width_at(std::size_t k, std::size_t width) {
    const std::size_t reached = kGuard + kDcBins;
    return k >= reached + width ? width : std::max<std::size_t>(5, k > reached ? k - reached : 0);
}

double median_from(const std::vector<double>& values, std::size_t first, std::size_t width) {
    std::vector<double> some(values.begin() + static_cast<std::ptrdiff_t>(first),
                             values.begin() + static_cast<std::ptrdiff_t>(std::min(first + width, values.size())));
    std::sort(some.begin(), some.end());
    return some.empty() ? 0.0 : some[some.size() / 2];
}

/// The higher of the medians beside each bin, as a mean. Bin 0 and its neighbours hold dc.
std::vector<double> noise_beside(const std::vector<double>& density, std::size_t width, double averages) {
    const std::size_t bins = density.size();
    const double to_mean = 1.0 / gamma_mean_quantile(averages, 0.0);
    const std::vector<double> run = running_medians(density, width);
    std::vector<double> noise(bins, 0.0);
    if (run.empty()) return noise;
    for (std::size_t k = 0; k < bins; ++k) {
        const std::size_t here = width_at(k, width);
        double left = 0, right = 0;
        if (here == width) {
            left = run[k - kGuard - width + 1];
            right = k + kGuard < run.size() ? run[k + kGuard] : 0.0;
        } else {
            if (k > here + kGuard) left = median_from(density, k - kGuard - here + 1, here);
            right = median_from(density, k + kGuard, here);
        }
        noise[k] = std::max(left, right) * to_mean;
    }
    return noise;
}

/// How many exponentials a bin averages, from how far the lower half of the ratios spreads.
double averages_shown(const std::vector<double>& ratio, std::size_t first, std::size_t last, double most) {
    std::vector<double> values(ratio.begin() + static_cast<std::ptrdiff_t>(first),
                               ratio.begin() + static_cast<std::ptrdiff_t>(last));
    if (values.size() < 100) return most;
    const auto at = [&values](double share) {
        const auto place = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size()));
        std::nth_element(values.begin(), place, values.end());
        return *place;
    };
    const double half = at(0.5), tenth = at(0.1);
    if (!(half > 0.0)) return most;
    double low = 1.0, high = std::max(most, 1.0);
    for (int i = 0; i < 40; ++i) {
        const double middle = std::sqrt(low * high);
        const double model = gamma_mean_quantile(middle, -1.2816) / gamma_mean_quantile(middle, 0.0);
        (model < tenth / half ? low : high) = middle;
    }
    return std::min(most, high);
}

double shift_of_peak(double a, double b, double c) {
    const double la = std::log(std::max(a, 1e-300)), lb = std::log(std::max(b, 1e-300)), lc = std::log(std::max(c, 1e-300));
    const double curve = la - 2.0 * lb + lc;
    return curve < 0.0 ? std::clamp(0.5 * (la - lc) / curve, -0.5, 0.5) : 0.0;
}

/// One bin's peak read as a line.
StillSpectrum::Peak read_peak(const StillSpectrum& s, std::size_t k) {
    StillSpectrum::Peak peak;
    if (k < 2 || k + 2 >= s.density.size() || !(s.noise[k] > 0.0)) return peak;
    peak.surprise = static_cast<double>(s.surprise[k]);
    for (std::size_t j = k - 2; j <= k + 2; ++j) peak.mean_square += (s.density[j] - s.noise[k]) * s.bin_hz;
    peak.mean_square = std::max(peak.mean_square, 0.0);
    peak.excess = s.density[k] / s.noise[k] - 1.0;
    peak.frequency_hz =
        (static_cast<double>(k) + shift_of_peak(s.density[k - 1], s.density[k], s.density[k + 1])) * s.bin_hz;
    // about 0.55 bin over the root of the power ratio (Rife and Boorstyn 1974, widened by the window), and the
    // parabola's own bias
    peak.frequency_sd_hz =
        s.bin_hz * std::hypot(0.7 / std::sqrt(std::max(peak.excess, 0.5) * std::max(s.averages, 1.0)), 0.03);
    return peak;
}

/// Whether a line keeps to its bin and its time.
void judge_steadiness(StillLine& line, const StillSpectrum& s, const ColumnMap& map, std::size_t k) {
    // the skirt: three and four bins off a steady tone is gone (31 dB and more), one that wanders is not
    double skirt = 0;
    for (const std::size_t j : {k - 4, k - 3, k + 3, k + 4})
        if (j < s.density.size()) skirt += 0.25 * (s.density[j] / s.noise[k] - 1.0);
    const double jitter = 3.0 / std::sqrt(4.0 * s.averages);
    if (skirt > 0.12 * line.excess + jitter) line.steady = false;
    const std::size_t columns = map.density.size();
    const double usual = std::max(2.5, 0.25 * (line.excess + 1.0));
    std::size_t present = 0;
    for (std::size_t t = 0; t < columns; ++t)  // a line between two bins stands in both
        if (std::max({map.levelled(t, k - 1), map.levelled(t, k), map.levelled(t, k + 1)}) > usual * s.noise[k]) ++present;
    line.present_share = static_cast<double>(present) / static_cast<double>(columns);
}

/// What the lower columns of a bin say: their mean against what exponentials' would be. A line that holds still stands
/// in all of them, one that passes, a click or a bump only in the highest.
double surprise_of_lower(const ColumnMap& map, std::size_t k, double noise, double averages, double floor_averages) {
    constexpr double part = 0.6, mean_of_part = 0.3891;   // (q + (1 - q) ln(1 - q)) / q of an exponential's mean
    constexpr double efficiency = 0.45;                   // of that mean against the mean of all, on the safe side
    const std::size_t columns = map.density.size();
    std::vector<double> cells(columns);
    for (std::size_t t = 0; t < columns; ++t) cells[t] = map.levelled(t, k);
    const auto count = static_cast<std::ptrdiff_t>(std::ceil(part * static_cast<double>(columns)));
    std::nth_element(cells.begin(), cells.begin() + count - 1, cells.end());
    double sum = 0;
    for (std::ptrdiff_t i = 0; i < count; ++i) sum += cells[static_cast<std::size_t>(i)];
    const double ratio = sum / static_cast<double>(count) / (mean_of_part * noise);
    return surprise_of_ratio(ratio, efficiency * averages, floor_averages);
}

/// rms of the peak's place over the columns, smoothed over three of them, less the reading's own jitter.
double wander_of(const StillLine& line, const ColumnMap& map, std::size_t k) {
    if (line.excess < 8.0 || map.density.size() < 6) return 0.0;
    std::vector<double> place;
    for (const auto& column : map.density) {
        std::size_t best = k;
        for (const std::size_t j : {k - 2, k - 1, k + 1, k + 2})
            if (j + 1 < column.size() && column[j] > column[best]) best = j;
        place.push_back((static_cast<double>(best) + shift_of_peak(static_cast<double>(column[best - 1]),
                                                                   static_cast<double>(column[best]),
                                                                   static_cast<double>(column[best + 1]))) *
                        map.bin_hz);
    }
    double sum = 0, squares = 0, n = 0;
    for (std::size_t t = 1; t + 1 < place.size(); ++t) {
        const double smooth = (place[t - 1] + place[t] + place[t + 1]) / 3.0;
        sum += smooth;
        squares += smooth * smooth;
        n += 1.0;
    }
    const double variance = std::max(0.0, squares / n - sum * sum / n / n);
    const double own = map.bin_hz * map.bin_hz * 0.3 / line.excess / 2.0;
    return std::sqrt(std::max(0.0, variance - own));
}

}  // namespace

std::size_t StillSpectrum::bin_of(double frequency_hz) const {
    const double bin = std::round(frequency_hz / bin_hz);
    return static_cast<std::size_t>(std::clamp(bin, 0.0, static_cast<double>(density.size() - 1)));
}

StillSpectrum::Peak StillSpectrum::peak_near(double frequency_hz, double reach_hz) const {
    const double reach = std::max(reach_hz, 0.5 * bin_hz);
    const std::size_t low = bin_of(frequency_hz - reach), high = bin_of(frequency_hz + reach);
    std::size_t best = low;
    for (std::size_t k = low; k <= high; ++k)
        if (surprise[k] > surprise[best]) best = k;
    Peak peak = read_peak(*this, best);
    const double cells = std::max(1.0, static_cast<double>(high - low + 1) / 1.4);
    peak.surprise = std::max(0.0, peak.surprise - std::log(cells));
    return peak;
}

StillSpectrum still_spectrum(const ColumnMap& map, double false_alarms) {
    StillSpectrum s;
    s.sample_rate_hz = map.sample_rate_hz;
    s.bin_hz = map.bin_hz;
    s.duration_s = map.hop_s * static_cast<double>(map.density.size() + 1);
    s.averages = std::max(1.0, map.averages);
    s.density = map.mean;
    const std::size_t bins = map.bins();
    std::vector<double> levelled(bins, 0.0);
    for (std::size_t t = 0; t < map.density.size(); ++t)
        for (std::size_t k = 0; k < bins; ++k) levelled[k] += map.levelled(t, k) / static_cast<double>(map.density.size());
    const auto width = static_cast<std::size_t>(std::clamp(150.0 / s.averages, 15.0, 60.0));
    const std::vector<double> noise = noise_beside(levelled, width, s.averages);
    std::vector<double> ratio(bins, 0.0);
    for (std::size_t k = 0; k < bins; ++k)
        if (noise[k] > 0.0) ratio[k] = levelled[k] / noise[k];
    const std::size_t first = std::max<std::size_t>(4, s.bin_of(kFrom_hz)),
                      last = std::min(bins - 5, s.bin_of(kTop * s.sample_rate_hz));
    s.noise.assign(bins, 0.0);
    s.surprise.assign(bins, 0.0F);
    if (first >= last) return s;
    s.averages = averages_shown(ratio, first, last, s.averages);
    const auto floor_averages = [&s](std::size_t bins_a_side) {
        return 2.0 * static_cast<double>(bins_a_side) * kMedianEfficiency / kHannCells * s.averages;
    };
    for (std::size_t k = 0; k < bins; ++k) {
        // plain density over levelled: how the moments' levels weigh at this bin
        s.noise[k] = levelled[k] > 0.0 ? noise[k] * std::min(map.mean[k] / levelled[k], 4.0) : noise[k];
        if (k < first || k > last || ratio[k] < 1.0) continue;
        const double floor = floor_averages(width_at(k, width));
        double surprise = surprise_of_ratio(ratio[k], s.averages, floor);
        if (surprise > 1.5 && map.density.size() >= kEnoughColumns)
            surprise = std::min(surprise, 1.0 + 3.0 * surprise_of_lower(map, k, noise[k], s.averages, floor));
        s.surprise[k] = static_cast<float>(surprise);
    }
    const double least = std::log(static_cast<double>(last - first) / 1.4 / false_alarms);
    for (std::size_t k = first; k <= last; ++k) {
        if (static_cast<double>(s.surprise[k]) < least) continue;
        const auto& d = levelled;
        if (d[k] < d[k - 1] || d[k] <= d[k + 1] || d[k] < d[k - 2] || d[k] < d[k + 2]) continue;
        const StillSpectrum::Peak peak = read_peak(s, k);
        StillLine line;
        line.frequency_hz = peak.frequency_hz;
        line.frequency_sd_hz = peak.frequency_sd_hz;
        line.mean_square = peak.mean_square;
        line.surprise = peak.surprise;
        line.excess = ratio[k] - 1.0;
        judge_steadiness(line, s, map, k);
        if (line.steady) line.wander_hz = wander_of(line, map, k);
        if (line.mean_square > 0.0) s.lines.push_back(line);
    }
    return s;
}

}  // namespace hushtrace
