#include "hushtrace/measure/line_extraction.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

using Complex = std::complex<double>;

constexpr double kFirstRate_hz = 1500.0;   // to which a line is brought down first, by a triangle's mean
constexpr double kRateOfWidth = 16.0;      // second rate over half width
constexpr double kStopAttenuation_db = 60.0;

/// Turns of the track at evenly spaced knots; between two knots the frequency is held, so that phase is exact there.
struct Knots {
    std::size_t spacing = 1;     ///< frames
    std::vector<double> turns;   ///< at frame i * spacing, one more than the frames need
};

Knots knots_of(const Track& track, double rate, std::size_t frames) {
    Knots knots;
    knots.spacing = static_cast<std::size_t>(std::max(1.0, std::round(rate / kFirstRate_hz)));
    const double step_s = static_cast<double>(knots.spacing) / rate;
    const std::size_t count = frames / knots.spacing + 2;
    double turns = 0, before = track.at(0.0);
    for (std::size_t i = 0; i < count; ++i) {
        knots.turns.push_back(turns);
        const double after = track.at(static_cast<double>(i + 1) * step_s);
        turns += 0.5 * (before + after) * step_s;
        before = after;
    }
    return knots;
}

Complex at_turns(double turns) { return std::polar(1.0, 2.0 * std::numbers::pi * (turns - std::floor(turns))); }

/// The line at 0 Hz, one value a knot: each the mean under a triangle two knots wide, which holds what folds down from
/// multiples of that rate 74 dB and more below (at 20 Hz off them).
std::vector<Complex> brought_down(std::span<const double> sound, const Knots& knots, double ratio) {
    std::vector<Complex> down(knots.turns.size(), 0.0);
    const auto spacing = static_cast<double>(knots.spacing);
    for (std::size_t i = 0; i + 1 < knots.turns.size(); ++i) {
        const std::size_t from = i * knots.spacing, to = std::min(from + knots.spacing, sound.size());
        if (from >= to) break;
        Complex turn = std::conj(at_turns(ratio * knots.turns[i]));
        const Complex step = std::conj(at_turns(ratio * (knots.turns[i + 1] - knots.turns[i]) / spacing));
        Complex falling = 0.0, whole = 0.0;  // towards the next knot
        for (std::size_t n = from; n < to; ++n, turn *= step) {
            const Complex value = sound[n] * turn;
            whole += value;
            falling += value * (static_cast<double>(n - from) / spacing);
        }
        down[i] += (whole - falling) / spacing;
        down[i + 1] += falling / spacing;
    }
    return down;
}

std::vector<double> low_pass(double half_width, double rate) {
    const double beta = 0.1102 * (kStopAttenuation_db - 8.7);
    const auto bessel = [](double x) {
        double sum = 1, term = 1;
        for (int k = 1; k < 40; ++k) sum += term *= (x / (2.0 * k)) * (x / (2.0 * k));
        return sum;
    };
    const auto reach = static_cast<std::size_t>(
        std::ceil(0.5 * (kStopAttenuation_db - 8.0) / (2.285 * 2.0 * std::numbers::pi * half_width / rate)));
    std::vector<double> taps(2 * reach + 1);
    for (std::size_t k = 0; k < taps.size(); ++k) {
        const double x = static_cast<double>(k) - static_cast<double>(reach);
        const double angle = 2.0 * std::numbers::pi * half_width / rate * x;
        const double edge = x / static_cast<double>(reach + 1);
        taps[k] = (x == 0.0 ? 1.0 : std::sin(angle) / angle) * bessel(beta * std::sqrt(1.0 - edge * edge));
    }
    return taps;
}

/// Low-passed, at one value every `hop` knots. At the ends the taps that reach beyond count for nothing.
std::vector<Complex> smoothed(const std::vector<Complex>& down, std::size_t hop, const std::vector<double>& taps) {
    const auto reach = static_cast<std::ptrdiff_t>(taps.size() / 2), end = static_cast<std::ptrdiff_t>(down.size());
    std::vector<Complex> out;
    for (std::ptrdiff_t at = 0; at < end + static_cast<std::ptrdiff_t>(hop); at += static_cast<std::ptrdiff_t>(hop)) {
        Complex sum = 0.0;
        double weight = 0.0;
        const std::ptrdiff_t first = std::max<std::ptrdiff_t>(0, at - reach), last = std::min(end - 1, at + reach);
        for (std::ptrdiff_t i = first; i <= last; ++i) {
            const double tap = taps[static_cast<std::size_t>(i - at + reach)];
            sum += tap * down[static_cast<std::size_t>(i)];
            weight += tap;
        }
        out.push_back(weight > 0.0 ? sum / weight : Complex(0.0));
    }
    return out;
}

/// Between four values by Lagrange's cubic; place counts values.
Complex between(const std::vector<Complex>& values, double place) {
    const double whole = std::floor(place), x = place - whole;
    const auto value = [&](std::ptrdiff_t i) {
        return values[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(i, 0, static_cast<std::ptrdiff_t>(values.size()) - 1))];
    };
    const auto k = static_cast<std::ptrdiff_t>(whole);
    return -x * (x - 1) * (x - 2) / 6 * value(k - 1) + (x + 1) * (x - 1) * (x - 2) / 2 * value(k) -
           (x + 1) * x * (x - 2) / 2 * value(k + 1) + (x + 1) * x * (x - 1) / 6 * value(k + 2);
}

void take_out(std::span<double> left, std::span<double> alone, double rate, const Knots& knots, const LineBand& line) {
    const double knot_rate = rate / static_cast<double>(knots.spacing);
    const auto hop = static_cast<std::size_t>(std::max(1.0, std::floor(knot_rate / (kRateOfWidth * line.half_width_hz))));
    const std::vector<Complex> slow =
        smoothed(brought_down(left, knots, line.ratio), hop, low_pass(line.half_width_hz, knot_rate));
    const auto spacing = static_cast<double>(knots.spacing);
    Complex here = between(slow, 0.0);
    for (std::size_t i = 0; i + 1 < knots.turns.size(); ++i) {
        const std::size_t from = i * knots.spacing, to = std::min(from + knots.spacing, left.size());
        if (from >= to) break;
        const Complex next = between(slow, static_cast<double>(i + 1) / static_cast<double>(hop));
        const Complex rise = (next - here) / spacing;
        Complex turn = 2.0 * at_turns(line.ratio * knots.turns[i]);
        const Complex step = at_turns(line.ratio * (knots.turns[i + 1] - knots.turns[i]) / spacing);
        Complex amplitude = here;
        for (std::size_t n = from; n < to; ++n, turn *= step, amplitude += rise) {
            const double value = amplitude.real() * turn.real() - amplitude.imag() * turn.imag();
            alone[n] += value;
            left[n] -= value;
        }
        here = next;
    }
}

}  // namespace

double followed_half_width_hz(double frequency_hz) { return std::clamp(0.004 * frequency_hz, 3.0, 25.0); }
double steady_half_width_hz(double frequency_hz) { return std::clamp(0.001 * frequency_hz, 1.0, 4.0); }

void keep_apart(std::vector<LineBand>& lines, double mean_hz) {
    std::sort(lines.begin(), lines.end(), [](const LineBand& a, const LineBand& b) { return a.ratio < b.ratio; });
    for (std::size_t i = 0; i + 1 < lines.size(); ++i) {
        const double room_hz = 0.45 * (lines[i + 1].ratio - lines[i].ratio) * mean_hz;
        if (!(room_hz > 0.0)) continue;
        lines[i].half_width_hz = std::min(lines[i].half_width_hz, room_hz);
        lines[i + 1].half_width_hz = std::min(lines[i + 1].half_width_hz, room_hz);
    }
}

void take_out_lines(std::span<double> left, std::span<double> alone, double sample_rate_hz, const Track& track,
                    std::span<const LineBand> lines) {
    if (left.size() != alone.size())
        throw Error(ErrorKind::invalid_request, "lines are moved between two sounds of unequal length");
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to take lines out along");
    const auto [slowest, fastest] = std::minmax_element(track.frequency_hz.begin(), track.frequency_hz.end());
    if (!(*slowest > 0.0)) throw Error(ErrorKind::invalid_request, "a track's frequency must be above 0");
    const Knots knots = knots_of(track, sample_rate_hz, left.size());
    for (const LineBand& line : lines) {
        if (!(line.ratio > 0.0) || !(line.half_width_hz > 0.0))
            throw Error(ErrorKind::invalid_request, "a line's ratio and width must be above 0");
        const double reach_hz = 1.5 * line.half_width_hz;
        if (line.ratio * *slowest < reach_hz || line.ratio * *fastest + reach_hz > 0.49 * sample_rate_hz) continue;
        take_out(left, alone, sample_rate_hz, knots, line);
    }
}

Track smoothed(const Track& track, double seconds) {
    Track out = track;
    if (track.time_s.size() < 3) return out;
    const double step_s = (track.time_s.back() - track.time_s.front()) / static_cast<double>(track.time_s.size() - 1);
    if (!(step_s > 0.0)) return out;
    const auto reach = static_cast<std::ptrdiff_t>(0.5 * seconds / step_s);
    const auto end = static_cast<std::ptrdiff_t>(track.time_s.size());
    for (std::ptrdiff_t at = 0; at < end; ++at) {
        // alike on both sides, or a rise would be read askew at the ends
        const std::ptrdiff_t here = std::min({reach, at, end - 1 - at});
        double sum = 0, weight = 0;
        for (std::ptrdiff_t i = -here; i <= here; ++i) {
            const double tap = 1.0 + std::cos(std::numbers::pi * static_cast<double>(i) / static_cast<double>(reach + 1));
            sum += tap * track.frequency_hz[static_cast<std::size_t>(at + i)];
            weight += tap;
        }
        out.frequency_hz[static_cast<std::size_t>(at)] = sum / weight;
    }
    return out;
}

Track steady_track(double frequency_hz) { return {{0.0, 1.0}, {frequency_hz, frequency_hz}}; }

}  // namespace hushtrace
