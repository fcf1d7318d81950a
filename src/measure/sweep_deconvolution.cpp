#include "sweep_deconvolution.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

using std::numbers::pi;
constexpr double margin_s = 0.35;     // before and after the sweep: a tone file's markers stand 0.4 s away
constexpr double edge_s = 0.02;       // of the cut's own soft ends
constexpr double most_samples = 1 << 24;

double raised_cosine(double done) { return 0.5 * (1.0 - std::cos(pi * std::clamp(done, 0.0, 1.0))); }

// What of the deconvolved spectrum is kept: all between the sweep's ends. Below its start the sweep has some power
// left, beyond its soft end none.
double band_weight(double frequency_hz, const Sweep& sweep) {
    if (frequency_hz <= 0) return 0;
    const double low = raised_cosine((frequency_hz / sweep.from_hz - 0.45) / 0.4);
    const double high = raised_cosine((1.0 - frequency_hz / sweep.to_hz) / 0.025);
    return low * high;
}

// The capture from just before the sweep to just after it, soft at both ends, first sample at the start's whole sample.
std::vector<double> cut_out(std::span<const double> samples, double rate_hz, double start_s, double end_s,
                            std::size_t length, std::ptrdiff_t zero) {
    std::vector<double> out(length, 0.0);
    const auto total = static_cast<std::ptrdiff_t>(samples.size());
    const auto first = std::max<std::ptrdiff_t>(0, static_cast<std::ptrdiff_t>((start_s - margin_s) * rate_hz));
    const auto last = std::min(total, static_cast<std::ptrdiff_t>((end_s + margin_s) * rate_hz));
    const auto edge = static_cast<std::ptrdiff_t>(edge_s * rate_hz);
    const auto size = static_cast<std::ptrdiff_t>(length);
    double mean = 0;  // taken off, so that the soft ends don't shape dc into sound
    for (std::ptrdiff_t i = first; i < last; ++i)
        mean += samples[static_cast<std::size_t>(i)] / static_cast<double>(last - first);
    for (std::ptrdiff_t i = first; i < last; ++i) {
        const double value = samples[static_cast<std::size_t>(i)] - mean;
        if (!std::isfinite(value))
            throw Error(ErrorKind::not_finite, "a sweep's capture holds a value that is not finite");
        double gain = 1;
        if (i - first < edge && i < zero) gain = raised_cosine(static_cast<double>(i - first) / static_cast<double>(edge));
        if (last - i < edge) gain *= raised_cosine(static_cast<double>(last - i) / static_cast<double>(edge));
        const std::ptrdiff_t place = (i - zero) % size;
        out[static_cast<std::size_t>(place < 0 ? place + size : place)] += gain * value;
    }
    return out;
}

double strongest_arrival(const std::vector<double>& correlation, double rate_hz) {
    const auto from = static_cast<std::ptrdiff_t>(-0.05 * rate_hz), to = static_cast<std::ptrdiff_t>(0.15 * rate_hz);
    const auto size = static_cast<std::ptrdiff_t>(correlation.size());
    double best = -1;
    std::ptrdiff_t at = 0;
    for (std::ptrdiff_t i = from; i < to && i < size / 2; ++i) {
        if (i < -size / 2) continue;
        const double height = std::abs(correlation[static_cast<std::size_t>(i < 0 ? i + size : i)]);
        if (height > best) {
            best = height;
            at = i;
        }
    }
    return static_cast<double>(at) / rate_hz;
}

}  // namespace

double HeldSweep::reached_at_s(double frequency_hz) const {
    return rate_constant_s * std::log(frequency_hz / played.sweep.from_hz);
}

HeldSweep held_sweep(const PlayedSweep& played, double sample_rate_hz, double longest_s) {
    const Sweep& sweep = played.sweep;
    if (!(sweep.from_hz > 0 && sweep.to_hz >= 2 * sweep.from_hz))
        throw Error(ErrorKind::invalid_request,
                    fmt::format("a sweep from {:g} to {:g} Hz can't be measured with: it must rise by an octave or more",
                                sweep.from_hz, sweep.to_hz));
    if (!(sweep.duration_s > 0) || !(sample_rate_hz >= 1000 && sample_rate_hz <= 1000000))
        throw Error(ErrorKind::invalid_request, fmt::format("a sweep of {:g} s can't be measured with at {:g} Hz",
                                                            sweep.duration_s, sample_rate_hz));
    if (sweep.duration_s * sample_rate_hz > most_samples)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("a sweep of {:g} s is too long at {:g} Hz: {:.0f} s can be measured with",
                                sweep.duration_s, sample_rate_hz, std::floor(most_samples / sample_rate_hz)));
    HeldSweep out{played, sweep.duration_s / std::log(sweep.to_hz / sweep.from_hz)};
    const double until_s = std::min(longest_s, out.reached_at_s(0.49 * sample_rate_hz));
    if (until_s < sweep.duration_s) {
        out.played.sweep.duration_s = until_s;
        out.played.sweep.to_hz = sweep.from_hz * std::exp(until_s / out.rate_constant_s);
        if (out.played.sweep.to_hz < 2 * sweep.from_hz)
            throw Error(ErrorKind::too_short,
                        fmt::format("less than an octave of the sweep from {:g} Hz is in the take", sweep.from_hz));
    }
    return out;
}

std::vector<double> sweep_samples(const HeldSweep& sweep, double sample_rate_hz, double clock_ppm) {
    const double apparent_hz = sample_rate_hz * (1 + 1e-6 * clock_ppm);
    const auto count = static_cast<std::size_t>(std::llround(sweep.duration_s() * apparent_hz));
    std::vector<double> out(count);
    ToneGenerator(sweep.played.sweep, apparent_hz).render(out);
    const double ramp = std::min(sweep.played.ramp_s * apparent_hz, 0.25 * static_cast<double>(count));
    for (std::size_t i = 0; static_cast<double>(i) < ramp; ++i) {
        const double gain = raised_cosine((static_cast<double>(i) + 0.5) / ramp);
        out[i] *= gain;
        out[count - 1 - i] *= gain;
    }
    return out;
}

ImpulseResponse deconvolve(std::span<const double> samples, double sample_rate_hz, const HeldSweep& sweep,
                           const TonePlace& place) {
    const std::vector<double> played = sweep_samples(sweep, sample_rate_hz, place.clock_ppm);
    const double end_s = place.start_s + static_cast<double>(played.size()) / sample_rate_hz;
    const auto margins = static_cast<std::size_t>(2 * margin_s * sample_rate_hz);
    const std::size_t length = fast_length(2 * played.size() + margins);
    RealTransform transform(length);
    const auto zero = static_cast<std::ptrdiff_t>(std::llround(place.start_s * sample_rate_hz));
    const double part_s = place.start_s - static_cast<double>(zero) / sample_rate_hz;

    std::vector<std::complex<double>> captured(transform.bins()), reference(transform.bins());
    std::vector<double> work = cut_out(samples, sample_rate_hz, place.start_s, end_s, length, zero);
    transform.forward(work, captured);
    std::fill(std::copy(played.begin(), played.end(), work.begin()), work.end(), 0.0);
    transform.forward(work, reference);

    const double bin_hz = sample_rate_hz / static_cast<double>(length);
    std::vector<std::complex<double>> matched(transform.bins());
    // Outside of the sweep's own band the quotient is held back where the sweep has little power.
    const auto start_bin = static_cast<std::size_t>(sweep.played.sweep.from_hz / bin_hz);
    const double held_back = 0.01 * std::norm(reference[std::min(start_bin + 1, reference.size() - 1)]);
    for (std::size_t k = 0; k < captured.size(); ++k) {
        const double frequency_hz = static_cast<double>(k) * bin_hz;
        const double weight = band_weight(frequency_hz, sweep.played.sweep);
        const auto shifted = reference[k] * std::polar(1.0, -2 * pi * frequency_hz * part_s);
        const auto product = captured[k] * std::conj(shifted);
        matched[k] = weight * product;
        const double power = std::norm(shifted) + (frequency_hz < sweep.played.sweep.from_hz ? held_back : 0.0);
        captured[k] = weight > 0 ? weight * product / power : 0.0;
    }
    transform.inverse(matched, work);
    ImpulseResponse out;
    out.sample_rate_hz = sample_rate_hz;
    out.peak_s = strongest_arrival(work, sample_rate_hz);
    transform.inverse(captured, work);
    out.samples = std::move(work);
    return out;
}

std::complex<double> at_frequency(const ImpulseResponse& response, const Window2& window, double frequency_hz) {
    const double rate = response.sample_rate_hz;
    const auto size = static_cast<std::ptrdiff_t>(response.samples.size());
    const auto first = static_cast<std::ptrdiff_t>(std::ceil((window.centre_s - window.before_s) * rate));
    const auto last = static_cast<std::ptrdiff_t>(std::floor((window.centre_s + window.after_s) * rate));
    const std::complex<double> turn = std::polar(1.0, -2 * pi * frequency_hz / rate);
    std::complex<double> phasor = 0, sum = 0;
    std::ptrdiff_t at = first % size;
    if (at < 0) at += size;
    for (std::ptrdiff_t i = first; i <= last; ++i) {
        if ((i - first) % 512 == 0)  // afresh, so that rounding doesn't add up
            phasor = std::polar(1.0, -2 * pi * std::fmod(frequency_hz * static_cast<double>(i) / rate, 1.0));
        const double from_centre = static_cast<double>(i) / rate - window.centre_s;
        const double left = 2 - 2 * (from_centre < 0 ? -from_centre / window.before_s : from_centre / window.after_s);
        const double weight = left >= 1 ? 1.0 : left * left * left * (10 + left * (6 * left - 15));
        sum += weight * response.samples[static_cast<std::size_t>(at)] * phasor;
        phasor *= turn;
        if (++at == size) at = 0;
    }
    return sum;
}

}  // namespace hushtrace
