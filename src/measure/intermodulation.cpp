#include "hushtrace/measure/intermodulation.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "line_spectrum.hpp"
#include "tone_off.hpp"

namespace hushtrace {
namespace {

/// A whole-number combination of both tones' frequencies.
struct Place {
    int of_low = 0, of_high = 0;
    double hz(double low_hz, double high_hz) const { return std::abs(of_low * low_hz + of_high * high_hz); }
    bool operator==(const Place& other) const { return of_low == other.of_low && of_high == other.of_high; }
};

std::vector<Place> places_of(const IntermodulationRequest& request) {
    if (request.method == TwoToneMethod::difference_frequency) return {{-1, 1}, {2, -1}, {-1, 2}};
    std::vector<Place> places;
    for (int k = 1; k <= static_cast<int>(request.sideband_pairs); ++k) {
        places.push_back({-k, 1});
        places.push_back({k, 1});
    }
    return places;
}

/// All combinations up to an order, dc and both tones among them; each once.
std::vector<Place> combinations(int highest_order) {
    std::vector<Place> out;
    for (int high = 0; high <= highest_order; ++high)
        for (int low = high == 0 ? 0 : high - highest_order; low <= highest_order - high; ++low)
            out.push_back({low, high});
    return out;
}
Place with_positive_high(Place p) {
    return p.of_high < 0 ? Place{-p.of_low, -p.of_high} : p;
}

/// Both are named, or neither.
ToneSearch search_near(std::optional<double> hz, std::optional<double> other_hz) {
    if (!hz) return {};
    const double reach = std::min(0.02 * *hz, 0.4 * std::abs(*other_hz - *hz));
    return {*hz - reach, *hz + reach};
}

void require_two_tones(const Intermodulation& out, const IntermodulationRequest& request) {
    for (const ToneReading* tone : {&out.low, &out.high})
        if (tone->false_tone_probability > 1e-3)
            throw Error(ErrorKind::invalid_input,
                        fmt::format("intermodulation: no second tone stands out of the noise ({:.0f} and {:.0f} Hz "
                                    "are the strongest lines)",
                                    out.low.frequency_hz, out.high.frequency_hz));
    // Played alone, a distorted tone brings its own company.
    const double multiple = out.high.frequency_hz / out.low.frequency_hz;
    if (!request.low_hz && multiple < 12.5 &&
        std::abs(multiple - std::round(multiple)) * out.low.cycles < 0.5)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("intermodulation: {:.1f} Hz is a harmonic of {:.1f} Hz, not a second tone",
                                out.high.frequency_hz, out.low.frequency_hz));
}

/// Reads both tones, each in what the other leaves.
void read_both(Intermodulation& out, std::span<const double> samples, double rate,
               const IntermodulationRequest& request) {
    const ToneSearch near_low = search_near(request.low_hz, request.high_hz);
    const ToneSearch near_high = search_near(request.high_hz, request.low_hz);
    out.low = read_tone(samples, rate, near_low);
    out.high = read_tone(tone_taken_off(samples, rate, out.low), rate, near_high);
    // Once more, now that the first of them need not be read beside the other; within a bin where it was not named.
    const auto again = [&](const ToneReading& tone, const ToneSearch& named) {
        const double bin_hz = tone.frequency_hz / tone.cycles;
        return named.from_hz ? named
                             : ToneSearch{tone.frequency_hz - bin_hz,
                                          std::min(0.5 * rate, tone.frequency_hz + bin_hz)};
    };
    out.low = read_tone(tone_taken_off(samples, rate, out.high), rate, again(out.low, near_low));
    out.high = read_tone(tone_taken_off(samples, rate, out.low), rate, again(out.high, near_high));
    if (out.low.frequency_hz > out.high.frequency_hz) std::swap(out.low, out.high);
    require_two_tones(out, request);
    if (out.high.frequency_hz > kBandShare * 0.5 * rate)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("intermodulation: {:.0f} Hz is above the band of a capture at {:.0f} Hz",
                                out.high.frequency_hz, rate));
}

/// The least distance of a product from dc, the tones, and everything up to the fourth order and among the products.
double least_distance_hz(const std::vector<Place>& products, double low_hz, double high_hz) {
    std::vector<Place> others = combinations(4);
    for (const Place& p : products) others.push_back(with_positive_high(p));
    double least = std::numeric_limits<double>::infinity();
    for (const Place& p : products)
        for (const Place& other : others)
            if (!(other == with_positive_high(p)))
                least = std::min(least, std::abs(p.hz(low_hz, high_hz) - other.hz(low_hz, high_hz)));
    return least;
}

WindowKind window_for(double apart_hz, std::size_t samples, double rate) {
    const double apart_bins = apart_hz * static_cast<double>(samples) / rate * 0.9;  // the transform may be shorter
    const auto lobe = [](WindowKind kind) { return static_cast<double>(window_facts(kind).main_lobe_bins); };
    if (apart_bins >= 2.0 * lobe(WindowKind::hft248d)) return WindowKind::hft248d;
    const double least_bins = 2.0 * lobe(WindowKind::blackman_harris);
    if (apart_bins >= least_bins) return WindowKind::blackman_harris;
    const double needed_s = least_bins / 0.9 / apart_hz;
    if (!(needed_s < 20.0))
        throw Error(ErrorKind::invalid_request,
                    "intermodulation: with these frequencies a product falls on another or on a harmonic; shift one "
                    "tone by a few per cent");
    throw Error(ErrorKind::too_short,
                fmt::format("intermodulation: {:.2f} s are too few to tell the products apart, {:.2f} s are needed",
                            static_cast<double>(samples) / rate, needed_s));
}

/// Where lines may stand, folded at half the rate, as bins.
std::vector<double> line_bins(const Intermodulation& out, const LineSpectrum& s, double rate) {
    constexpr int kHighestOrder = 9;
    std::vector<double> bins;
    for (const Place& p : combinations(kHighestOrder))
        bins.push_back(std::abs(std::remainder(p.hz(out.low.frequency_hz, out.high.frequency_hz), rate)) / s.bin_hz);
    return bins;
}

double relative_sd(const ToneReading& tone) {
    return tone.amplitude_sd / tone.amplitude;
}

/// A figure from a power with its standard uncertainty, both relative to the reference's power.
Reading ratio_from_power(double power, double power_sd, double reference_relative_sd) {
    Reading out;
    const double known = std::max(power, 0.0);
    out.value = std::sqrt(known);
    out.sd = std::hypot(std::sqrt(known + power_sd) - out.value, out.value * reference_relative_sd);
    if (power > 2.0 * power_sd) return out;
    out.limited_by = LimitedBy::length;
    out.sd = std::max(out.sd, 0.5 * out.value);  // it may be noise altogether: the interval reaches down to 0
    return out;
}

/// Products of one order: amplitudes added. Their noise is independent, so uncertainties add in power.
Reading order_ratio(const std::vector<IntermodulationProduct>& products, int order, double reference_relative_sd) {
    Reading out;
    double variance = 0;
    bool any = false, hidden = true;
    for (const IntermodulationProduct& one : products) {
        if (one.order() != order) continue;
        any = true;
        hidden = hidden && !one.above_noise;
        out.value += one.ratio.value;
        // what the reference gives is common to all of them
        const double common = one.ratio.value * reference_relative_sd;
        variance += std::max(0.0, one.ratio.sd * one.ratio.sd - common * common);
    }
    out.sd = std::hypot(std::sqrt(variance), out.value * reference_relative_sd);
    out.limited_by = any && hidden ? LimitedBy::length : LimitedBy::nothing;
    return out;
}

Reading total_of(const std::vector<IntermodulationProduct>& products, double reference_relative_sd) {
    int highest = 0;
    for (const IntermodulationProduct& one : products) highest = std::max(highest, one.order());
    double power = 0, variance = 0;
    for (int order = 2; order <= highest; ++order) {
        const Reading one = order_ratio(products, order, reference_relative_sd);
        power += one.value * one.value;
        // without what the reference gives to all orders alike; of its square, towards higher values
        const double common = one.value * reference_relative_sd;
        const double own = std::sqrt(std::max(0.0, one.sd * one.sd - common * common));
        const double sd = 2.0 * one.value * own + own * own;
        variance += sd * sd;
    }
    return ratio_from_power(power, std::sqrt(variance), reference_relative_sd);
}

}  // namespace

std::string_view to_word(TwoToneMethod method) {
    return method == TwoToneMethod::modulation ? "modulation" : "difference_frequency";
}

Intermodulation measure_intermodulation(std::span<const double> samples, double sample_rate_hz,
                                        const IntermodulationRequest& request) {
    if (request.low_hz.has_value() != request.high_hz.has_value() ||
        (request.low_hz && !(*request.low_hz > 0 && *request.high_hz > *request.low_hz)))
        throw Error(ErrorKind::invalid_request, "intermodulation: name both tones, the lower one first, or neither");
    if (request.method == TwoToneMethod::modulation && (request.sideband_pairs < 1 || request.sideband_pairs > 20))
        throw Error(ErrorKind::invalid_request, "intermodulation: 1 to 20 pairs of sidebands can be counted");
    Intermodulation out;
    read_both(out, samples, sample_rate_hz, request);
    const double low_hz = out.low.frequency_hz, high_hz = out.high.frequency_hz;

    std::vector<Place> places = places_of(request);
    const auto missing = std::remove_if(places.begin(), places.end(), [&](const Place& p) {
        return p.hz(low_hz, high_hz) > kBandShare * 0.5 * sample_rate_hz;
    });
    out.products_missing = static_cast<std::size_t>(places.end() - missing);
    places.erase(missing, places.end());

    const std::vector<double> rest = tone_taken_off(tone_taken_off(samples, sample_rate_hz, out.low), sample_rate_hz,
                                                    out.high);
    const LineSpectrum s = line_spectrum(
        rest, sample_rate_hz, window_for(least_distance_hz(places, low_hz, high_hz), rest.size(), sample_rate_hz));
    const LobeShape lobe(s.kind);
    const std::vector<double> lines = line_bins(out, s, sample_rate_hz);
    const auto of_line = [&](double bin) {
        return std::any_of(lines.begin(), lines.end(), [&](double line) {
            return std::abs(bin - line) < static_cast<double>(s.lobe);
        });
    };

    const bool to_sum = request.method == TwoToneMethod::difference_frequency;
    const double reference = to_sum ? out.low.amplitude + out.high.amplitude : out.high.amplitude;
    const double reference_sd = to_sum ? std::hypot(out.low.amplitude_sd, out.high.amplitude_sd) / reference
                                       : relative_sd(out.high);
    std::vector<double> scratch;
    for (const Place& p : places) {
        IntermodulationProduct one;
        one.of_low = p.of_low;
        one.of_high = p.of_high;
        one.frequency_hz = p.hz(low_hz, high_hz);
        const double place = one.frequency_hz / s.bin_hz;
        const double scale = s.tone_scale() / lobe.power(place - std::round(place));
        const BinNoise beside = noise_round(s, place, of_line, scratch);
        const double noise = beside.power * scale, noise_sd = beside.sd * scale;
        const double power = s.power[static_cast<std::size_t>(std::lround(place))] * scale - noise;
        // A line of power P in noise of power N reads P + N on average, with the variance N^2 + 2 P N (Rice 1945).
        const double sd = std::sqrt(noise * noise + 2.0 * std::max(power, 0.0) * noise + noise_sd * noise_sd);
        one.ratio = ratio_from_power(2.0 * power / (reference * reference), 2.0 * sd / (reference * reference),
                                     reference_sd);
        one.above_noise = one.ratio.limited_by == LimitedBy::nothing;
        one.level_dbfs = dbfs_from_mean_square(std::max(power, 0.0));
        out.products.push_back(one);
    }
    out.second_order_ratio = order_ratio(out.products, 2, reference_sd);
    out.third_order_ratio = order_ratio(out.products, 3, reference_sd);
    out.total_ratio = total_of(out.products, reference_sd);
    return out;
}

}  // namespace hushtrace
