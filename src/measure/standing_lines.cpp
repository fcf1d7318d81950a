#include "standing_lines.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/lines.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"

namespace hushtrace {

std::vector<StandingLine> standing_lines(std::span<const double> samples, double rate, double to_hz) {
    constexpr double spectrum_s = 0.7, window_s = 0.34, least_share = 0.4;
    std::vector<StandingLine> out;
    if (static_cast<double>(samples.size()) < 2.0 * spectrum_s * rate) return out;
    SpectrumAccumulator sums(rate, fast_length(static_cast<std::size_t>(spectrum_s * rate)), WindowKind::hann, 0.6);
    sums.add(samples);
    const PowerSpectrum spectrum = sums.result();
    const auto lines = find_lines(spectrum, noise_under_lines(spectrum), 20.0, std::min(to_hz, 0.45 * rate));
    const std::size_t length = fast_length(static_cast<std::size_t>(window_s * rate));
    const double bin_hz = rate / static_cast<double>(length);
    std::vector<std::vector<double>> power(lines.size());   // [lines][windows]
    SpectrogramStream stream(rate, length, length / 4, WindowKind::hann, [&](double, std::span<const double> density) {
        for (std::size_t i = 0; i < lines.size(); ++i) {
            const auto at = static_cast<std::size_t>(std::lround(lines[i].frequency_hz / bin_hz));
            double sum = 0;
            for (std::size_t k = at > 2 ? at - 2 : 0; k <= std::min(at + 2, density.size() - 1); ++k) sum += density[k] * bin_hz;
            power[i].push_back(sum);
        }
    });
    stream.add(samples);
    for (std::size_t i = 0; i < lines.size(); ++i) {
        if (power[i].size() < 4) continue;
        double mean = 0;
        for (const double one : power[i]) mean += one / static_cast<double>(power[i].size());
        const auto low = power[i].begin() + static_cast<std::ptrdiff_t>(power[i].size() / 5);
        std::nth_element(power[i].begin(), low, power[i].end());
        if (*low > least_share * mean) out.push_back({lines[i].frequency_hz, lines[i].mean_square});
    }
    return out;
}

}  // namespace hushtrace
