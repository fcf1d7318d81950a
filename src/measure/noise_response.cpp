#include "hushtrace/measure/noise_response.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

using std::numbers::pi;
constexpr double least_s = 2.0, most_s = 120.0;
constexpr double trial_s = 4.0;
constexpr std::array usual_rates = {44100.0, 48000.0, 96000.0, 88200.0, 192000.0, 32000.0, 22050.0, 16000.0, 8000.0};

// The noise's file between its samples: a sinc under a Blackman-Harris window, from a table with straight lines between.
class DrawnNoise {
public:
    DrawnNoise(const Pink& pink, double file_rate_hz, double seconds, double capture_rate_hz)
        : rate_hz_(file_rate_hz), samples_(static_cast<std::size_t>(seconds * file_rate_hz)) {
        ToneGenerator(pink, file_rate_hz).render(samples_);
        const double narrower = std::min(1.0, capture_rate_hz / file_rate_hz);
        half_ = static_cast<std::ptrdiff_t>(std::ceil(32 / narrower));
        for (std::ptrdiff_t i = 0; i <= half_ * rows; ++i) {
            const double t = static_cast<double>(i) / rows, x = narrower * t, w = pi * t / static_cast<double>(half_);
            const double window =
                0.35875 + 0.48829 * std::cos(w) + 0.14128 * std::cos(2 * w) + 0.01168 * std::cos(3 * w);
            table_.push_back(narrower * window * (i == 0 ? 1.0 : std::sin(pi * x) / (pi * x)));
        }
        table_.push_back(0);
    }
    double at(double time_s) const {
        const double place = time_s * rate_hz_;
        const auto centre = static_cast<std::ptrdiff_t>(std::floor(place));
        double sum = 0;
        for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(0, centre - half_ + 1);
             k <= centre + half_ && k < static_cast<std::ptrdiff_t>(samples_.size()); ++k) {
            const double row = std::abs(place - static_cast<double>(k)) * rows;
            const auto below = static_cast<std::size_t>(row);
            if (below + 1 >= table_.size()) continue;
            const double part = row - static_cast<double>(below);
            sum += samples_[static_cast<std::size_t>(k)] * (table_[below] + part * (table_[below + 1] - table_[below]));
        }
        return sum;
    }

private:
    static constexpr std::ptrdiff_t rows = 512;
    double rate_hz_;
    std::ptrdiff_t half_ = 32;
    std::vector<double> samples_, table_;
};

struct Stretch {
    std::size_t first, count;  // of the capture's samples, all within the noise
};

CrossSpectrum cross(std::span<const double> samples, double rate_hz, const DrawnNoise& noise, const TonePlace& place,
                    double delay_s, Stretch stretch, std::size_t length) {
    CrossAccumulator accumulator(rate_hz, length);
    const double ratio = 1 + 1e-6 * place.clock_ppm;
    std::vector<double> played;
    for (std::size_t from = 0; from < stretch.count; from += 16384) {
        const std::size_t count = std::min<std::size_t>(16384, stretch.count - from);
        played.resize(count);
        for (std::size_t i = 0; i < count; ++i) {
            const double time_s = static_cast<double>(stretch.first + from + i) / rate_hz;
            played[i] = noise.at((time_s - place.start_s - delay_s) / ratio);
        }
        accumulator.add(played, samples.subspan(stretch.first + from, count));
    }
    return accumulator.result();
}

double delay_of(const CrossSpectrum& spectrum) {
    const std::size_t length = spectrum.x.length;
    if (length % 2 != 0) return 0;
    RealTransform transform(length);
    std::vector<double> correlation(length);
    transform.inverse(spectrum.xy, correlation);
    const auto peak = std::max_element(correlation.begin(), correlation.end(),
                                       [](double a, double b) { return std::abs(a) < std::abs(b); });
    const auto at = static_cast<double>(peak - correlation.begin());
    const double size = static_cast<double>(length);
    return (at > 0.5 * size ? at - size : at) / spectrum.x.sample_rate_hz;
}

double mean_coherence(const CrossSpectrum& spectrum, double from_hz, double to_hz) {
    double sum = 0, count = 0;
    for (std::size_t k = spectrum.x.bin_of(from_hz); k <= spectrum.x.bin_of(to_hz); ++k, ++count)
        sum += spectrum.coherence(k);
    return count > 0 ? sum / count : 0;
}

struct Sums {
    double xx = 0, yy = 0, bins = 0;
    std::complex<double> xy;
    void add(const CrossSpectrum& s, std::size_t bin, double share) {
        xx += share * s.x.density[bin];
        yy += share * s.y.density[bin];
        xy += share * s.xy[bin];
        bins += share;
    }
};

// The bins within a step of the logarithm of frequency; between two bins where the step holds none.
Sums around(const CrossSpectrum& s, double frequency_hz) {
    const double edge = std::exp2(0.5 / transfer_points_per_octave);
    Sums out;
    const auto first = static_cast<std::size_t>(std::ceil(frequency_hz / edge / s.x.bin_hz()));
    const auto last = static_cast<std::size_t>(std::floor(frequency_hz * edge / s.x.bin_hz()));
    if (last >= first + 2) {
        for (std::size_t k = first; k <= last && k < s.xy.size(); ++k) out.add(s, k, 1);
        return out;
    }
    const double place = frequency_hz / s.x.bin_hz();
    const auto below = static_cast<std::size_t>(place);
    const double part = place - static_cast<double>(below);
    out.add(s, below, 1 - part);
    out.add(s, std::min(below + 1, s.xy.size() - 1), part);
    return out;
}

}  // namespace

NoiseResponse measure_noise_response(std::span<const double> samples, double sample_rate_hz, const Pink& played,
                                     const TonePlace& place, double tone_s, std::optional<double> file_rate_hz) {
    if (!std::all_of(samples.begin(), samples.end(), [](double x) { return std::isfinite(x); }))
        throw Error(ErrorKind::not_finite, "a capture of noise holds a value that is not finite");
    const double ratio = 1 + 1e-6 * place.clock_ppm, edge_s = 0.1;
    const double from_s = std::max(0.0, place.start_s) + edge_s;
    const double to_s = std::min({place.start_s + tone_s * ratio - edge_s,
                                  static_cast<double>(samples.size()) / sample_rate_hz, from_s + most_s});
    if (!(to_s - from_s >= least_s)) throw Error(ErrorKind::too_short, "less than two seconds of the noise are in the take");
    const auto first = static_cast<std::size_t>(from_s * sample_rate_hz);
    const auto count = std::min(samples.size(), static_cast<std::size_t>(to_s * sample_rate_hz)) - first;
    const Stretch whole{first, count};
    const double seconds = std::min(1.0, static_cast<double>(count) / sample_rate_hz / 16);
    const std::size_t length = fast_length(static_cast<std::size_t>(seconds * sample_rate_hz));

    std::vector<double> rates(usual_rates.begin(), usual_rates.end());
    if (file_rate_hz) rates = {*file_rate_hz};
    NoiseResponse out;
    double best = 0;
    for (const double rate : rates) {
        const Stretch trial{first, std::min(count, static_cast<std::size_t>(trial_s * sample_rate_hz))};
        const double drawn_s = (from_s + trial_s - place.start_s) / ratio + 1;
        const DrawnNoise noise(played, rate, std::min(drawn_s, tone_s), sample_rate_hz);
        const std::size_t short_length = fast_length(static_cast<std::size_t>(0.2 * sample_rate_hz));
        const CrossSpectrum spectrum = cross(samples, sample_rate_hz, noise, place, 0, trial, short_length);
        const double explained = mean_coherence(spectrum, 30, 0.2 * std::min(rate, sample_rate_hz));
        if (explained <= std::max(best, 4.0 / spectrum.x.effective_averages)) continue;
        best = explained;
        out.file_rate_hz = rate;
        out.coarse_delay_s = delay_of(spectrum);
        if (explained > 0.5) break;
    }
    if (!(best > 0)) {
        if (!file_rate_hz) throw Error(ErrorKind::invalid_input, "the noise that was played is not in the take");
        out.file_rate_hz = *file_rate_hz;
    }
    const DrawnNoise noise(played, out.file_rate_hz, tone_s, sample_rate_hz);
    const CrossSpectrum spectrum = cross(samples, sample_rate_hz, noise, place, out.coarse_delay_s, whole, length);
    out.averages = spectrum.x.effective_averages;
    const double highest_hz = std::min(20000.0, 0.42 * std::min(sample_rate_hz, out.file_rate_hz));
    for (const double frequency_hz : transfer_frequencies(std::max(20.0, 4 * spectrum.x.bin_hz()), highest_hz)) {
        const Sums sums = around(spectrum, frequency_hz);
        const double explained = sums.xx > 0 && sums.yy > 0 ? std::min(1.0, std::norm(sums.xy) / (sums.xx * sums.yy)) : 0;
        const auto gain = sums.xx > 0 ? sums.xy / sums.xx : 0.0;
        // a Hann window's neighbouring bins share: so many count as one
        const double independent = out.averages * std::max(1.0, sums.bins / spectrum.x.noise_bandwidth_hz * spectrum.x.bin_hz());
        const double noise_power =
            explained > 0 ? std::norm(gain) * (1 - explained) / (independent * explained) + 1e-22 : 1e-22;
        out.transfer.push_back({frequency_hz, gain * std::polar(1.0, -2 * pi * frequency_hz * out.coarse_delay_s),
                                noise_power, true});
        out.coherence.push_back(explained);
    }
    return out;
}

}  // namespace hushtrace
