#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/line_transfer.hpp"

namespace hushtrace {
namespace {

constexpr double kLeastSpan = 1.05;       // of a slope's points, highest over lowest
constexpr double kImpedanceSpan = 1.414;  // half an octave

/// Student's t for 97.5 %, over 2: what a standard deviation of so few degrees of freedom must grow by.
///   source  exact for 1 and 2; beyond, Abramowitz and Stegun 26.7.5, within 0.8 % at 3, 0.3 % from 4 on
double for_few(std::size_t freedom) {
    if (freedom == 1) return 12.706 / 2.0;
    if (freedom == 2) return 4.303 / 2.0;
    constexpr double z = 1.959964, z3 = z * z * z, z5 = z3 * z * z;
    const auto n = static_cast<double>(freedom);
    return std::max(1.0, (z + (z3 + z) / (4.0 * n) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * n * n) +
                          (3.0 * z5 * z * z + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / (384.0 * n * n * n)) /
                             2.0);
}

struct Line {
    double middle = 0, height = 0, slope = 0, weights = 0, spread = 0, chi_squared = 0;
};
Line straight(std::span<const LineTransferPoint> points, double scatter_db) {
    Line out;
    double wu = 0, wv = 0;
    const auto weight_of = [scatter_db](const LineTransferPoint& one) {
        constexpr double least_db = 0.01;
        const double sd = std::hypot(one.magnitude_db().sd, std::max(scatter_db, least_db));
        return 1.0 / (sd * sd);
    };
    for (const LineTransferPoint& one : points) {
        const double w = weight_of(one);
        out.weights += w;
        wu += w * std::log10(one.frequency_hz);
        wv += w * one.magnitude_db().value;
    }
    out.middle = wu / out.weights;
    out.height = wv / out.weights;
    double cross = 0;
    for (const LineTransferPoint& one : points) {
        const double u = std::log10(one.frequency_hz) - out.middle;
        out.spread += weight_of(one) * u * u;
        cross += weight_of(one) * u * (one.magnitude_db().value - out.height);
    }
    out.slope = out.spread > 0.0 ? cross / out.spread : 0.0;
    for (const LineTransferPoint& one : points) {
        const double left = one.magnitude_db().value - out.height - out.slope * (std::log10(one.frequency_hz) - out.middle);
        out.chi_squared += weight_of(one) * left * left;
    }
    return out;
}

/// The extra scatter with which chi squared is what it should be; 0 where it isn't above that anyhow.
template <class ChiSquared>
double scatter_for(const ChiSquared& chi_squared, double freedom, double most) {
    if (freedom < 1.0 || chi_squared(0.0) <= freedom) return 0.0;
    double low = 0.0, high = most;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (chi_squared(middle) > freedom ? low : high) = middle;
    }
    return high;
}

bool usable(std::span<const LineTransferPoint> points, double span) {
    if (points.size() < 3) return false;
    const auto [low, high] = std::minmax_element(
        points.begin(), points.end(), [](const LineTransferPoint& a, const LineTransferPoint& b) { return a.frequency_hz < b.frequency_hz; });
    return low->frequency_hz > 0.0 && high->frequency_hz > span * low->frequency_hz &&
           std::all_of(points.begin(), points.end(),
                       [](const LineTransferPoint& one) { return std::abs(one.gain) > 0.0 && std::isfinite(std::abs(one.gain)); });
}

/// The imaginary part over omega: L - S / omega^2, S one over the capacitance. Two unknowns at most.
struct Reactance {
    double henry = 0, henry_sd = 0, elastance = 0, elastance_sd = 0;
};
struct Fitted {
    double ohm = 0, ohm_sd = 0, chi_squared = 0;
    Reactance reactance;
};
Fitted fit(std::span<const LineTransferPoint> points, double misfit, bool capacitance) {
    constexpr double least = 1e-4;
    Fitted out;
    double a = 0, b = 0, c = 0, p = 0, q = 0, weights = 0, sum = 0;
    const double beyond = std::max(misfit, least);
    const auto weight_of = [beyond](const LineTransferPoint& one) {
        return 1.0 / (std::norm(one.gain) * (one.relative_sd * one.relative_sd + beyond * beyond));
    };
    for (const LineTransferPoint& one : points) {
        const double w = weight_of(one), omega = 2.0 * std::numbers::pi * one.frequency_hz;
        weights += w;
        sum += w * one.gain.real();
        a += w * omega * omega;
        b += -w;
        c += w / (omega * omega);
        p += w * omega * one.gain.imag();
        q += -w * one.gain.imag() / omega;
    }
    out.ohm = sum / weights;
    out.ohm_sd = std::sqrt(1.0 / weights);
    Reactance& r = out.reactance;
    const double determinant = a * c - b * b;
    if (capacitance && determinant > 1e-12 * a * c) {
        r.henry = (c * p - b * q) / determinant;
        r.elastance = (a * q - b * p) / determinant;
        r.henry_sd = std::sqrt(c / determinant);
        r.elastance_sd = std::sqrt(a / determinant);
    } else {
        r.henry = p / a;
        r.henry_sd = std::sqrt(1.0 / a);
    }
    for (const LineTransferPoint& one : points) {
        const double omega = 2.0 * std::numbers::pi * one.frequency_hz;
        out.chi_squared += weight_of(one) * std::norm(one.gain - std::complex<double>(out.ohm, omega * r.henry - r.elastance / omega));
    }
    return out;
}
struct Settled {
    Fitted fitted;
    double misfit = 0;
};
Settled settle(std::span<const LineTransferPoint> points, bool capacitance) {
    const double freedom = 2.0 * static_cast<double>(points.size()) - (capacitance ? 3.0 : 2.0);
    Settled out;
    out.misfit = scatter_for([&](double misfit) { return fit(points, misfit, capacitance).chi_squared; }, freedom, 3.0);
    out.fitted = fit(points, out.misfit, capacitance);
    return out;
}

}  // namespace

std::optional<SlopeFit> fit_slope(std::span<const LineTransferPoint> points) {
    if (!usable(points, kLeastSpan)) return std::nullopt;
    const std::size_t freedom = points.size() - 2;
    SlopeFit out;
    out.scatter_db = scatter_for([&](double scatter) { return straight(points, scatter).chi_squared; }, static_cast<double>(freedom), 60.0);
    const Line line = straight(points, out.scatter_db);
    if (!(line.spread > 0.0)) return std::nullopt;
    // without scatter beyond their own noise, that noise is known and needs no Student
    const double wider = out.scatter_db > 0.0 ? for_few(freedom) : 1.0;
    out.db_per_decade = {line.slope, wider * std::sqrt(1.0 / line.spread), LimitedBy::nothing};
    out.middle_db = {line.height, wider * std::sqrt(1.0 / line.weights), LimitedBy::nothing};
    out.middle_hz = std::pow(10.0, line.middle);
    double low = points.front().frequency_hz, high = low;
    for (const LineTransferPoint& one : points) {
        low = std::min(low, one.frequency_hz);
        high = std::max(high, one.frequency_hz);
    }
    out.decades = std::log10(high / low);
    return out;
}

std::optional<SeriesImpedance> fit_series_impedance(std::span<const LineTransferPoint> points) {
    if (!usable(points, kImpedanceSpan)) return std::nullopt;
    Settled best = settle(points, false);
    bool capacitance = false;
    if (points.size() >= 4) {
        const Settled with = settle(points, true);
        // a capacitance must be there by three standard deviations, and explain most of what is left without it
        const Reactance& r = with.fitted.reactance;
        if (r.elastance > 3.0 * r.elastance_sd && r.henry > 0.0 && with.misfit < 0.7 * best.misfit) {
            best = with;
            capacitance = true;
        }
    }
    const double wider = best.misfit > 0.0 ? for_few(2 * points.size() - (capacitance ? 3 : 2)) : 1.0;
    const Fitted& f = best.fitted;
    SeriesImpedance out;
    out.resistance_ohm = {f.ohm, wider * f.ohm_sd, LimitedBy::nothing};
    out.inductance_h = {f.reactance.henry, wider * f.reactance.henry_sd, LimitedBy::nothing};
    if (!(out.resistance_ohm.value > out.resistance_ohm.sd) || !(out.inductance_h.value > out.inductance_h.sd)) return std::nullopt;
    const double corner = f.ohm / (2.0 * std::numbers::pi * f.reactance.henry);
    out.corner_hz = {corner, corner * std::hypot(out.resistance_ohm.sd / f.ohm, out.inductance_h.sd / f.reactance.henry), LimitedBy::nothing};
    if (capacitance) {
        const double farad = 1.0 / f.reactance.elastance;
        out.capacitance_f = Reading{farad, wider * farad * f.reactance.elastance_sd / f.reactance.elastance, LimitedBy::nothing};
    }
    const auto [low, high] = std::minmax_element(
        points.begin(), points.end(), [](const LineTransferPoint& a, const LineTransferPoint& b) { return a.frequency_hz < b.frequency_hz; });
    out.from_hz = low->frequency_hz;
    out.to_hz = high->frequency_hz;
    out.misfit = best.misfit;
    return out;
}

}  // namespace hushtrace
