#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "clip_model.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "kept.hpp"
#include "phasor.hpp"

namespace hushtrace {
namespace {

using Complex = std::complex<double>;
using Place = ClipModel::Place;

constexpr double kLeastAmplitude = 1e-6;  // -120 dBFS: below the last bit of any converter
constexpr double kLeastCycles = 10.0, kMostRead_s = 1.5;
constexpr std::size_t kFewestHarmonics = 7;  // fewer, and the corner, the drive and the path can't be told apart
constexpr std::size_t kMostHarmonics = 40;
constexpr double kUnexplained = 0.35;      // of the harmonics: more, and none of the models is the cause
constexpr double kLeastUnequal_db = 0.05;  // rails closer than that are called equal

/// Amplitude at w [rad/sample] through a window of mean 1.
Complex amplitude_at(std::span<const double> samples, const std::vector<double>& window, double w) {
    double re = 0, im = 0, sum = 0;
    for_each_phasor(samples.size(), w, 0.0, [&](std::size_t n, double c, double s) {
        const double x = window[n] * samples[n];
        re += x * c;
        im -= x * s;
        sum += window[n];
    });
    return Complex(re, im) * (2.0 / sum);
}

ToneHarmonics read_harmonics(std::span<const double> samples, double rate, const ToneReading& tone, std::size_t count) {
    const double w = 2.0 * std::numbers::pi * tone.frequency_hz / rate;
    std::vector<double> rest(samples.size());
    for_each_phasor(rest.size(), w, tone.phase_rad, [&](std::size_t n, double c, double) {
        rest[n] = samples[n] - tone.mean - tone.amplitude * c;
    });
    const auto kept = kept_window(WindowKind::blackman_harris, rest.size());
    const std::vector<double>& window = *kept;
    ToneHarmonics out;
    out.tone_hz = tone.frequency_hz;
    std::vector<double> between;  // powers half-way between the harmonics: noise alone
    for (std::size_t k = 1; k <= count; ++k) {
        out.value.push_back(amplitude_at(rest, window, w * static_cast<double>(k)));
        between.push_back(std::norm(amplitude_at(rest, window, w * (static_cast<double>(k) + 0.47))));
        between.push_back(std::norm(amplitude_at(rest, window, w * (static_cast<double>(k) + 0.53))));
    }
    out.value[0] += std::polar(tone.amplitude, tone.phase_rad);
    for (std::size_t k = 0; k < count; ++k) {
        const std::size_t first = 2 * k > 4 ? 2 * k - 4 : 0, last = std::min(between.size(), 2 * k + 6);
        std::vector<double> near(between.begin() + static_cast<std::ptrdiff_t>(first),
                                 between.begin() + static_cast<std::ptrdiff_t>(last));
        const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
        std::nth_element(near.begin(), middle, near.end());
        // noise power is spread exponentially: its median is ln 2 of its mean; half of it is the real part's
        out.sd.push_back(std::sqrt(0.5 * *middle / std::numbers::ln2));
    }
    return out;
}

/// A shape's misfit with its price: each unknown must earn ln(data) (Schwarz 1978), in units of the best fit's own
/// misfit where no shape fits to within the weights.
struct Candidate {
    ClipFit fit;
    double price(double unit) const {
        return fit.misfit / unit + static_cast<double>(fit.model.free().size()) * std::log(fit.freedom + 8.0);
    }
};

/// Simple shapes first, the likely ones before the others: one rail alone makes even harmonics as strong as odd ones.
std::array<ClipShape, 6> shapes_in_order(const ToneHarmonics& heard) {
    double even = 0, odd = 0;
    for (std::size_t i = 1; i < heard.value.size(); ++i) (i % 2 == 1 ? even : odd) += std::norm(heard.value[i]);
    using enum ClipShape;
    if (even > 0.1 * odd) return {straight, upper_rail, lower_rail, equal_rails, unequal_rails, slope};
    return {straight, equal_rails, upper_rail, lower_rail, unequal_rails, slope};
}

const ClipFit& simplest_that_fits(std::vector<Candidate>& list) {
    double unit = 1.0, least = 1e300;
    for (const Candidate& one : list)
        if (one.fit.misfit < least) {
            least = one.fit.misfit;
            unit = std::max(1.0, one.fit.misfit / one.fit.freedom);
        }
    return std::min_element(list.begin(), list.end(), [unit](auto& a, auto& b) {
               return a.price(unit) < b.price(unit);
           })->fit;
}

/// What follows from a model, with the standard uncertainty that its unknowns carry over.
template <class Of>
Reading follow(const ClipFit& fit, LimitedBy limit, Of&& of) {
    const double at = of(fit.model);
    const std::vector<std::size_t> free = fit.model.free();
    std::vector<double> slope;
    for (const std::size_t place : free) {
        const double step = std::max(1e-5, 0.05 * std::sqrt(fit.covariance.at(place, place)));
        ClipModel moved = fit.model;
        moved.value[place] += step;
        slope.push_back((of(moved) - at) / step);
    }
    double variance = 0;
    for (std::size_t i = 0; i < free.size(); ++i)
        for (std::size_t j = 0; j < free.size(); ++j)
            variance += slope[i] * slope[j] * fit.covariance.at(free[i], free[j]);
    return {at, std::sqrt(std::max(0.0, variance)), limit};
}

void fill_in_rails(ToneClipping& out, const ClipFit& fit, LimitedBy limit) {
    const ClipShape shape = fit.model.shape;
    out.edge_width = fit.model.value[Place::edge];
    out.sides = shape == ClipShape::equal_rails  ? ClippedSides::both
                : shape == ClipShape::upper_rail ? ClippedSides::upper
                : shape == ClipShape::lower_rail ? ClippedSides::lower
                                                 : ClippedSides::unequal;
    if (out.edge_width > kHardEdge) {
        out.knee_dbfs = follow(fit, limit, [](const ClipModel& m) { return m.amplitude_db_at_one_percent(); });
        out.drive_db = follow(fit, limit, [](const ClipModel& m) {
            return m.amplitude_db() - m.amplitude_db_at_one_percent();
        });
        out.kind = out.drive_db->value > 0 ? ClippingKind::soft : ClippingKind::none;
        return;
    }
    out.kind = ClippingKind::hard;
    const auto knee = [](Place drive) {
        return [drive](const ClipModel& m) { return m.amplitude_db() - m.value[drive]; };
    };
    const auto over = [](Place drive) { return [drive](const ClipModel& m) { return m.value[drive]; }; };
    Place lower = Place::drive_db, higher = Place::other_drive_db;
    const auto& value = fit.model.value;
    if (shape == ClipShape::unequal_rails && value[higher] > value[lower]) std::swap(lower, higher);
    out.knee_dbfs = follow(fit, limit, knee(lower));
    out.drive_db = follow(fit, limit, over(lower));
    if (shape != ClipShape::unequal_rails) return;
    const Reading apart = follow(fit, limit, [&](const ClipModel& m) { return m.value[lower] - m.value[higher]; });
    if (value[higher] <= 0.0 && apart.value > kLeastUnequal_db) {
        out.sides = lower == Place::drive_db ? ClippedSides::upper : ClippedSides::lower;
    } else if (apart.value < std::max(kLeastUnequal_db, 2.0 * apart.sd)) {
        out.sides = ClippedSides::both;
    } else {
        out.other_knee_dbfs = follow(fit, limit, knee(higher));
    }
}

void fill_in(ToneClipping& out, const ClipFit& fit) {
    const LimitedBy limit = out.pinned_share > 0.001             ? LimitedBy::interface
                            : fit.misfit > 2.0 * fit.freedom ? LimitedBy::nothing
                                                             : LimitedBy::length;
    out.unexplained_share = fit.unexplained_share;
    if (fit.model.shape != ClipShape::slope) {
        fill_in_rails(out, fit, limit);
    } else {
        out.kind = ClippingKind::slew;
        const double w = 2.0 * std::numbers::pi * out.tone.frequency_hz;
        out.knee_dbfs = follow(fit, limit, [](const ClipModel& m) { return m.amplitude_db() - m.value[Place::drive_db]; });
        out.drive_db = follow(fit, limit, [](const ClipModel& m) { return m.value[Place::drive_db]; });
        out.slew_per_s = follow(fit, limit, [w](const ClipModel& m) { return w * std::exp(m.value[Place::scale_ln]); });
    }
    if (out.kind == ClippingKind::none) {
        out.sides = ClippedSides::none;
        out.knee_dbfs.reset();
        out.drive_db.reset();
    } else {
        out.clipped_share = fit.model.clipped_share();
    }
}

}  // namespace

std::string_view to_word(ClippingKind kind) {
    constexpr std::array<std::string_view, 6> words = {"none", "hard", "soft", "slew", "input_overload", "other"};
    return words.at(static_cast<std::size_t>(kind));
}
std::string_view to_word(ClippedSides sides) {
    constexpr std::array<std::string_view, 5> words = {"none", "both", "unequal", "upper", "lower"};
    return words.at(static_cast<std::size_t>(sides));
}

ToneClipping read_tone_clipping(std::span<const double> samples, double sample_rate_hz, const ToneSearch& search) {
    const auto most = static_cast<std::size_t>(kMostRead_s * sample_rate_hz);
    if (samples.size() > most) {
        for (const double x : samples)
            if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "clipping: a sample is not a finite number");
        samples = samples.subspan((samples.size() - most) / 2, most);
    }
    ToneClipping out;
    out.tone = read_tone(samples, sample_rate_hz, search);
    if (out.tone.amplitude < kLeastAmplitude || out.tone.false_tone_probability > 1e-3)
        throw Error(ErrorKind::invalid_input, "clipping: no tone stands out");
    if (out.tone.cycles < kLeastCycles)
        throw Error(ErrorKind::too_short, fmt::format("clipping: {:.1f} cycles of the tone are too few, {:.0f} needed",
                                                      out.tone.cycles, kLeastCycles));
    const double band_hz = std::min(20000.0, 0.45 * sample_rate_hz);
    const auto count =
        std::min(kMostHarmonics, static_cast<std::size_t>(std::floor(band_hz / out.tone.frequency_hz * (1 + 1e-9))));
    if (count < kFewestHarmonics)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("clipping: {} harmonics of {:g} Hz lie below {:.0f} Hz, {} are needed: use a lower tone",
                                count, out.tone.frequency_hz, band_hz, kFewestHarmonics));
    out.pinned_share = share_pinned_to_rail(samples);
    const ToneHarmonics heard = read_harmonics(samples, sample_rate_hz, out.tone, count);
    std::vector<Candidate> list;
    std::optional<ClipFit> equal;
    for (const ClipShape shape : shapes_in_order(heard)) {
        const bool unequal = shape == ClipShape::unequal_rails;
        auto fit = fit_clip_model(shape, heard, unequal && equal ? &*equal : nullptr);
        if (shape == ClipShape::equal_rails) equal = fit;
        if (fit) list.push_back({std::move(*fit)});
        if (fit && list.back().fit.fits()) break;  // simpler shapes come first
    }
    if (list.empty()) throw Error(ErrorKind::invalid_input, "clipping: nothing fits the tone's harmonics");
    const ClipFit best = sharpened(simplest_that_fits(list), heard);
    out.unexplained_share = best.unexplained_share;
    if (best.unexplained_share > kUnexplained && best.misfit > 9.0 * best.freedom)
        out.kind = ClippingKind::other;
    else if (best.model.shape != ClipShape::straight && best.unexplained_share < kUnexplained)
        fill_in(out, best);
    if (out.pinned_share > kPinnedOverload) out.kind = ClippingKind::input_overload;
    return out;
}

double share_pinned_to_rail(std::span<const double> samples) {
    constexpr double kRail = 0.9995, kSame = 4e-5;  // about one 16-bit step
    if (samples.empty()) return 0.0;
    std::size_t pinned = 0;
    for (std::size_t n = 1; n < samples.size(); ++n)
        pinned += std::abs(samples[n]) >= kRail && std::abs(samples[n] - samples[n - 1]) < kSame;
    return static_cast<double>(pinned) / static_cast<double>(samples.size());
}

std::optional<std::size_t> limiter_from(std::span<const LevelStep> steps) {
    constexpr double kUsualRise_db = 0.3, kShare = 0.25;
    std::vector<double> rises;
    for (std::size_t i = 1; i < steps.size(); ++i) {
        const double rise = steps[i].level_dbfs - steps[i - 1].level_dbfs;
        if (rises.size() >= 2) {
            std::vector<double> before = rises;
            const auto middle = before.begin() + static_cast<std::ptrdiff_t>(before.size() / 2);
            std::nth_element(before.begin(), middle, before.end());
            if (*middle > kUsualRise_db && rise < kShare * *middle && steps[i].clean) return i;
        }
        rises.push_back(rise);
    }
    return std::nullopt;
}

}  // namespace hushtrace
