#include "hushtrace/measure/sweep_response.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "sweep_deconvolution.hpp"

namespace hushtrace {
namespace {

constexpr double cycles = 16, shortest_s = 0.004;  // of a window, on either side
constexpr double most_of_sweep = 0.15;             // a window is no longer than this share of the sweep
constexpr double lowest_share = 1.15;              // nearer to its start the sweep's own edge blurs the reading
constexpr std::size_t most_noise_windows = 10;
constexpr double rounding_power = 1e-22;  // of the transforms: -220 dB
constexpr double margin_s = 0.33;  // what the cut leaves untouched after the sweep

// Everything that reading one frequency needs.
struct Reader {
    const ImpulseResponse& response;
    const HeldSweep& sweep;
    double after_end_s;  // how much capture follows the sweep's end

    double wanted_s(double frequency_hz) const {
        return std::min(std::max(cycles / frequency_hz, shortest_s), most_of_sweep * sweep.duration_s());
    }
    double before_s(double frequency_hz) const {
        return std::min(wanted_s(frequency_hz), 0.45 * sweep.rate_constant_s * std::numbers::ln2);
    }
    /// Mean of a window's two sides.
    double window_s(double frequency_hz) const { return 0.5 * (wanted_s(frequency_hz) + before_s(frequency_hz)); }
    // The same window over times at which the sweep has long passed the frequency: nothing of it is left there.
    // Its own length must have passed before, so that a path's ringing is over.
    struct Noise {
        double power = 0;
        bool known = false;
    };
    Noise noise(double frequency_hz, double before_s, double after_s) const {
        const double length_s = before_s + after_s;
        const double last_s = sweep.duration_s() - sweep.reached_at_s(frequency_hz) + after_end_s - after_s;
        double centre_s = response.peak_s + 1.25 * after_s + before_s, sum = 0;
        std::size_t count = 0;
        for (; centre_s <= last_s && count < most_noise_windows; centre_s += 0.75 * length_s, ++count)
            sum += std::norm(at_frequency(response, {centre_s, before_s, after_s}, frequency_hz));
        return {count == 0 ? 0.0 : sum / static_cast<double>(count) + rounding_power, count > 0};
    }
};

double advance_s(const HeldSweep& sweep, std::size_t harmonic) {
    return sweep.rate_constant_s * std::log(static_cast<double>(harmonic));
}

TransferPoint read_linear(const Reader& reader, double frequency_hz) {
    const double after_s = reader.wanted_s(frequency_hz);
    const double before_s = reader.before_s(frequency_hz);
    const auto noise = reader.noise(frequency_hz, before_s, after_s);
    return {frequency_hz, at_frequency(reader.response, {reader.response.peak_s, before_s, after_s}, frequency_hz),
            noise.power, noise.known};
}

HarmonicResponse read_harmonic(const Reader& reader, std::size_t number, std::span<const TransferPoint> linear,
                               double highest_hz) {
    constexpr double fewest_cycles = 6;  // in half a window; fewer and its neighbours leak in
    HarmonicResponse out{number, {}};
    const double order = static_cast<double>(number);
    const double gap_s = advance_s(reader.sweep, number + 1) - advance_s(reader.sweep, number);
    for (const TransferPoint& under : linear) {
        const double at_hz = order * under.frequency_hz;
        if (at_hz > highest_hz) break;
        const double half_s = std::min(reader.wanted_s(at_hz), 0.45 * gap_s);
        if (half_s * at_hz < fewest_cycles || !under.seen()) continue;
        const double centre_s = reader.response.peak_s - advance_s(reader.sweep, number);
        const double found = std::norm(at_frequency(reader.response, {centre_s, half_s, half_s}, at_hz));
        // the linear part's noise there, by the share that this window lets through
        const auto beside = point_at(linear, at_hz);
        if (!beside) continue;
        const TransferPoint noise{at_hz, 0, beside->noise_power * half_s / reader.window_s(beside->frequency_hz),
                                  beside->noise_known};
        const double fundamental = std::norm(under.gain);
        HarmonicPoint point;
        point.frequency_hz = under.frequency_hz;
        point.power_ratio = (found - noise.noise_power) / fundamental;
        // noise alone scatters by its own power, noise beside a harmonic by twice their product besides
        point.power_ratio_sd =
            std::sqrt(noise.noise_power * noise.noise_power + 2 * noise.noise_power * std::max(0.0, found - noise.noise_power)) / fundamental;
        const TransferPoint as_point{at_hz, std::sqrt(found / fundamental), noise.noise_power / fundamental, noise.noise_known};
        point.ratio_db = as_point.magnitude_db();
        out.points.push_back(point);
    }
    return out;
}

}  // namespace

SweepResponse measure_sweep_response(std::span<const double> samples, double sample_rate_hz, const PlayedSweep& played,
                                     const TonePlace& place, std::size_t highest_harmonic) {
    if (samples.empty()) throw Error(ErrorKind::empty_input, "a response was asked of no samples");
    if (!(place.start_s > -1e-3) || !std::isfinite(place.clock_ppm) || std::abs(place.clock_ppm) > 1e4)
        throw Error(ErrorKind::too_short, "the sweep began before the capture");
    const double ratio = 1 + 1e-6 * place.clock_ppm;
    const double there_s = static_cast<double>(samples.size()) / sample_rate_hz - place.start_s;
    const bool cut_short = there_s < played.sweep.duration_s * ratio;
    const HeldSweep sweep = held_sweep(played, sample_rate_hz, cut_short ? std::max(0.0, there_s / ratio - 0.02) : 1e9);
    const ImpulseResponse response = deconvolve(samples, sample_rate_hz, sweep, place);

    SweepResponse out;
    out.cut_short = cut_short;
    out.sample_rate_hz = sample_rate_hz;
    out.coarse_delay_s = response.peak_s;
    const Reader reader{response, sweep, std::clamp(there_s - sweep.duration_s() * ratio, 0.0, margin_s)};
    const bool ends_early = sweep.duration_s() < played.sweep.duration_s;  // its end has no soft edge in the capture
    const double to_hz = sweep.played.sweep.to_hz;
    const double edge_hz = std::max((ends_early ? 0.15 : 0.05) * to_hz, 2.0 / reader.wanted_s(to_hz));
    const double highest_hz = std::min(to_hz - edge_hz, 0.46 * sample_rate_hz);
    for (const double frequency_hz : transfer_frequencies(lowest_share * sweep.played.sweep.from_hz, highest_hz))
        out.transfer.push_back(read_linear(reader, frequency_hz));
    for (std::size_t number = 2; number <= highest_harmonic; ++number) {
        HarmonicResponse harmonic = read_harmonic(reader, number, out.transfer, highest_hz);
        if (!harmonic.points.empty()) out.harmonics.push_back(std::move(harmonic));
    }
    return out;
}

std::optional<Reading> SweepResponse::thd_percent(double frequency_hz) const {
    const double edge = std::exp2(1.0 / 6.0);
    double power = 0, variance = 0;
    bool any = false;
    for (const HarmonicResponse& harmonic : harmonics) {
        double sum = 0, spread = 0;
        int count = 0;
        for (const HarmonicPoint& point : harmonic.points) {
            if (point.frequency_hz < frequency_hz / edge || point.frequency_hz > frequency_hz * edge) continue;
            sum += point.power_ratio;
            spread += point.power_ratio_sd;
            ++count;
        }
        if (count == 0) continue;
        any = true;
        power += sum / count;
        // neighbours share their noise: eight points of a third of an octave count as about two
        variance += 0.5 * (spread / count) * (spread / count);
    }
    if (!any) return std::nullopt;
    const double sd_power = std::sqrt(variance);
    const bool seen = power > 2 * sd_power;
    const double ratio = std::sqrt(std::max(power, 0.0));
    if (!seen) return Reading{100 * ratio, 50 * (std::sqrt(std::max(power, 0.0) + 2 * sd_power) - ratio), LimitedBy::noise};
    return Reading{100 * ratio, 50 * sd_power / ratio};
}

}  // namespace hushtrace
