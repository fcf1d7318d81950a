#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

using std::numbers::pi;
using Complex = std::complex<double>;
constexpr double lowest_hz = 16, edge_share = 0.1;  // a window's soft ends, of its length

// The pulse's own transform about its middle [full scale x s]; closed form of 1/2 (1 + cos) of this width.
double pulse_transform(const PolarityPulse& pulse, double width_s, double frequency_hz) {
    const double x = frequency_hz * width_s;
    const auto sinc = [](double u) { return std::abs(u) < 1e-9 ? 1.0 : std::sin(pi * u) / (pi * u); };
    return amplitude_from_decibels(pulse.level_dbfs) * width_s * (0.5 * sinc(x) + 0.25 * (sinc(x - 1) + sinc(x + 1)));
}

// The transform of what lies about one pulse, the capture's mean taken off; times count from the pulse's middle.
Complex transform_about(std::span<const double> samples, double rate_hz, double mean, double middle_s, double before_s,
                        double after_s, double frequency_hz) {
    const auto first = static_cast<std::ptrdiff_t>(std::ceil((middle_s - before_s) * rate_hz));
    const auto last = static_cast<std::ptrdiff_t>(std::floor((middle_s + after_s) * rate_hz));
    const double length_s = before_s + after_s;
    const Complex turn = std::polar(1.0, -2 * pi * frequency_hz / rate_hz);
    Complex sum = 0, phasor = 0;
    for (std::ptrdiff_t i = first; i <= last; ++i) {
        const double at_s = static_cast<double>(i) / rate_hz - middle_s;
        if ((i - first) % 512 == 0) phasor = std::polar(1.0, -2 * pi * frequency_hz * at_s);
        const double from_edge = std::min(at_s + before_s, after_s - at_s) / (edge_share * length_s);
        const double weight = from_edge >= 1 ? 1.0 : 0.5 * (1 - std::cos(pi * std::max(0.0, from_edge)));
        sum += weight * (samples[static_cast<std::size_t>(i)] - mean) * phasor;
        phasor *= turn;
    }
    return sum / rate_hz;
}

}  // namespace

Transfer measure_pulse_response(std::span<const double> samples, double sample_rate_hz, const PolarityPulse& played,
                                const TonePlace& place, double tone_s) {
    if (!(played.width_s > 0) || !(played.spacing_s >= 2 * played.width_s))
        throw Error(ErrorKind::invalid_request, "polarity pulses that leave no pause between them can't be measured with");
    if (!std::all_of(samples.begin(), samples.end(), [](double x) { return std::isfinite(x); }))
        throw Error(ErrorKind::not_finite, "a capture of polarity pulses holds a value that is not finite");
    const double ratio = 1 + 1e-6 * place.clock_ppm, spacing_s = played.spacing_s * ratio;
    const double before_s = 0.3 * spacing_s, after_s = 0.6 * spacing_s;
    const double end_s = static_cast<double>(samples.size()) / sample_rate_hz;
    std::vector<double> middles;
    for (double middle_s = place.start_s + 0.5 * spacing_s;
         middle_s + 0.5 * spacing_s <= std::min(end_s, place.start_s + tone_s * ratio) + 1e-9; middle_s += spacing_s)
        if (middle_s - before_s > 0 && middle_s + after_s < end_s) middles.push_back(middle_s);
    if (middles.size() < 3) throw Error(ErrorKind::too_short, "fewer than three polarity pulses are in the take");
    constexpr std::size_t most_pulses = 60;
    if (middles.size() > most_pulses) middles.resize(most_pulses);

    double mean = samples.front();  // summed from there on, so that dc alone leaves no rounding behind
    for (const double x : samples) mean += (x - samples.front()) / static_cast<double>(samples.size());

    Transfer out;
    const double highest_hz = std::min(0.7 / played.width_s, 0.45 * sample_rate_hz);
    for (const double frequency_hz : transfer_frequencies(std::max(lowest_hz, 3 / played.spacing_s), highest_hz)) {
        const double pulse = ratio * pulse_transform(played, played.width_s, ratio * frequency_hz);
        Complex sum = 0;
        double squares = 0;
        for (const double middle_s : middles) {
            const Complex gain =
                transform_about(samples, sample_rate_hz, mean, middle_s, before_s, after_s, frequency_hz) / pulse;
            sum += gain;
            squares += std::norm(gain);
        }
        const double count = static_cast<double>(middles.size());
        const Complex average = sum / count;
        const double scatter = std::max(0.0, squares / count - std::norm(average));
        out.push_back({frequency_hz, average, scatter / (count - 1) + 1e-22, true});
    }
    return out;
}

}  // namespace hushtrace
