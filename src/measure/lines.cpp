#include "hushtrace/measure/lines.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/signal/decibel.hpp"

// [WH] Wilson and Hilferty 1931, PNAS 17(12) 684-688: the cube root of a chi-squared variable over its
// degrees of freedom n is nearly normal, mean 1 - 2/(9n), variance 2/(9n). An average of K periodograms has n
// = 2K.
namespace hushtrace {
namespace {

double median_of(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace

std::vector<double> noise_under_lines(const PowerSpectrum& spectrum, double least_hz, double share) {
    const std::size_t bins = spectrum.density.size();
    const double median_to_mean = 1.0 / gamma_mean_quantile(spectrum.effective_averages, 0.0);
    std::vector<std::size_t> anchors;
    std::vector<double> levels;
    std::vector<double> near_by;
    for (std::size_t k = 1; k + 1 < bins;) {
        const double reach_hz = std::max(least_hz, share * spectrum.frequency_hz(k));
        auto reach = static_cast<std::size_t>(std::max(8.0, reach_hz / spectrum.bin_hz()));
        // as far up as down, so that the median of a slope is the slope's height here
        reach = std::min(reach, std::max<std::size_t>(8, std::min(k - 1, bins - 2 - k)));
        const std::size_t first = k > reach ? k - reach : 1, last = std::min(bins - 2, k + reach);
        if (first > last) break;
        near_by.assign(spectrum.density.begin() + static_cast<std::ptrdiff_t>(first),
                       spectrum.density.begin() + static_cast<std::ptrdiff_t>(last) + 1);
        anchors.push_back(k);
        levels.push_back(median_of(near_by) * median_to_mean);
        k += std::max<std::size_t>(1, reach / 4);
    }
    std::vector<double> floor(bins, 0.0);
    if (anchors.empty()) return floor;
    std::size_t a = 0;
    for (std::size_t k = 0; k < bins; ++k) {
        while (a + 1 < anchors.size() && anchors[a + 1] <= k) ++a;
        if (a + 1 == anchors.size() || k <= anchors[a]) {
            floor[k] = levels[a];
            continue;
        }
        const double part =
            static_cast<double>(k - anchors[a]) / static_cast<double>(anchors[a + 1] - anchors[a]);
        floor[k] = levels[a] + part * (levels[a + 1] - levels[a]);
    }
    return floor;
}

std::vector<SpectralLine> find_lines(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                                     double from_hz, double to_hz) {
    const auto& d = spectrum.density;
    const double bin_hz = spectrum.bin_hz();
    const double averages = std::max(1.0, spectrum.effective_averages);
    const double stands_out = gamma_mean_quantile(averages, 5.0);
    const double belongs = std::max(1.5, gamma_mean_quantile(averages, 2.0));
    const auto lobe = static_cast<std::ptrdiff_t>(window_facts(spectrum.window).main_lobe_bins);
    const auto first = static_cast<std::ptrdiff_t>(spectrum.bin_of(std::max(from_hz, 3 * bin_hz)));
    const auto last = std::min(static_cast<std::ptrdiff_t>(spectrum.bin_of(to_hz)),
                               static_cast<std::ptrdiff_t>(d.size()) - 3);
    std::vector<SpectralLine> lines;
    const auto at = [&d](std::ptrdiff_t k) { return d[static_cast<std::size_t>(k)]; };
    const auto floor_at = [&floor_density](std::ptrdiff_t k) {
        return floor_density[static_cast<std::size_t>(k)];
    };
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(first, 2); k <= last; ++k) {
        if (floor_at(k) <= 0.0 || at(k) < stands_out * floor_at(k)) continue;
        if (at(k) < at(k - 1) || at(k) <= at(k + 1) || at(k) < at(k - 2) || at(k) < at(k + 2)) continue;
        // the skirt of a stronger line near by is no line of its own
        bool skirt = false;
        for (std::ptrdiff_t j = std::max<std::ptrdiff_t>(1, k - 2 * lobe); j <= std::min(last, k + 2 * lobe);
             ++j)
            if (at(j) > 300.0 * at(k)) skirt = true;
        if (skirt) continue;
        std::ptrdiff_t low = k - 1, high = k + 1;
        while (low > 1 && k - low < 400 && at(low - 1) > belongs * floor_at(low - 1)) --low;
        while (high < last && high - k < 400 && at(high + 1) > belongs * floor_at(high + 1)) ++high;
        low = std::min(low, k - lobe);
        high = std::max(high, k + lobe);
        // a neighbour's territory ends at the lowest bin between the two
        for (std::ptrdiff_t j = k - lobe; j > low; --j)
            if (at(j - 1) > 4.0 * at(j) && at(j - 1) > 0.02 * at(k)) low = j;
        for (std::ptrdiff_t j = k + lobe; j < high; ++j)
            if (at(j + 1) > 4.0 * at(j) && at(j + 1) > 0.02 * at(k)) high = j;
        SpectralLine line;
        double sum = 0, noise = 0;
        for (std::ptrdiff_t j = std::max<std::ptrdiff_t>(low, 0); j <= high; ++j) {
            sum += (at(j) - floor_at(j)) * bin_hz;
            noise += floor_at(j) * bin_hz;
        }
        const double a = std::log(at(k - 1)), b = std::log(at(k)), c = std::log(at(k + 1));
        const double curve = a - 2.0 * b + c;
        const double shift = curve < 0.0 ? std::clamp(0.5 * (a - c) / curve, -0.5, 0.5) : 0.0;
        const double ratio = at(k) / floor_at(k);
        line.frequency_hz = (static_cast<double>(k) + shift) * bin_hz;
        // about 0.55 bin / sqrt(power ratio) for one periodogram (Rife and Boorstyn 1974, widened by the
        // window), the parabola's own bias of up to 0.03 bin beside it
        line.frequency_sd_hz = bin_hz * std::hypot(1.0 / std::sqrt(ratio * averages), 0.03);
        line.mean_square = std::max(sum, 0.0);
        line.mean_square_sd = std::sqrt((noise * noise + 2.0 * noise * line.mean_square) / averages);
        line.floor_density = floor_at(k);
        line.prominence_db = decibels_from_power(ratio);
        line.sharpness_db = decibels_from_power(
            at(k) / std::max({at(std::max<std::ptrdiff_t>(k - 3, 1)), at(std::min(k + 3, last)), 1e-300}));
        line.low_hz = static_cast<double>(std::max<std::ptrdiff_t>(low, 0)) * bin_hz;
        line.high_hz = static_cast<double>(high) * bin_hz;
        line.width_hz = static_cast<double>(high - low + 1) * bin_hz;
        if (line.mean_square > 0.0) lines.push_back(line);
        k = std::max(k, high - 1);
    }
    return lines;
}

SpectralLine line_in_band(const PowerSpectrum& spectrum, const std::vector<double>& floor_density, double low_hz,
                          double high_hz) {
    SpectralLine line;
    const double bin_hz = spectrum.bin_hz();
    const std::size_t last = spectrum.bin_of(high_hz);
    double sum = 0, turned = 0, variance = 0, noise = 0;
    std::size_t peak = spectrum.bin_of(low_hz), bins = 0;
    for (std::size_t k = peak; k <= last; ++k, ++bins) {
        const double above = (spectrum.density[k] - floor_density[k]) * bin_hz;
        sum += above;
        turned += above * spectrum.frequency_hz(k);
        noise += floor_density[k];
        variance += floor_density[k] * (floor_density[k] * bin_hz + 2.0 * std::max(above, 0.0));
        if (spectrum.density[k] > spectrum.density[peak]) peak = k;
    }
    line.low_hz = low_hz;
    line.high_hz = high_hz;
    line.width_hz = high_hz - low_hz;
    line.mean_square = std::max(sum, 0.0);
    line.mean_square_sd = std::sqrt(variance / std::max(spectrum.effective_duration_s, 0.5 / bin_hz));
    line.frequency_hz = sum > 0.0 ? std::clamp(turned / sum, low_hz, high_hz) : 0.5 * (low_hz + high_hz);
    line.frequency_sd_hz = sum > 0.0 ? line.width_hz * std::min(1.0, line.mean_square_sd / sum) + bin_hz : line.width_hz;
    line.floor_density = bins > 0 ? noise / static_cast<double>(bins) : 0.0;
    if (floor_density[peak] > 0.0)
        line.prominence_db = decibels_from_power(std::max(spectrum.density[peak] / floor_density[peak], 1e-30));
    return line;
}

}  // namespace hushtrace
