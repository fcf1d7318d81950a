#include "rail_level.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kHighestCorner_hz = 25.0, kCornerStep_hz = 0.25;
constexpr double kMostMoved = 0.25;  // of a flat top's height by the coupling: beyond, a corner is out of the question
constexpr double kRough = 0.15;      // of what the coupling moved: it is seldom one high-pass alone
constexpr double kOutlier = 3.0;  // standard deviations from which on a peak's distance counts no more

/// Relative standard deviation of a flat top's height: a short one rings over once the band is limited.
double spread_of(double width) {
    return std::hypot(0.003, 0.02 / std::max(width, 0.5));
}

struct Fit {
    double level = 0, variance = 0, penalty = 0;
};

Fit fit_at(std::span<const CutPeak> cuts, double corner_hz) {
    std::vector<double> z, sd;
    for (const CutPeak& cut : cuts) {
        z.push_back(cut.height + 2.0 * std::numbers::pi * corner_hz * cut.integral);
        sd.push_back(spread_of(cut.width) * cut.height);
    }
    std::vector<double> sorted = z;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2), sorted.end());
    Fit fit;
    fit.level = sorted[sorted.size() / 2];
    double weight = 0, counted = 0, misfit = 0;
    for (int pass = 0; pass < 5; ++pass) {  // the mean of those that agree
        double sum = 0;
        weight = counted = misfit = fit.penalty = 0;
        for (std::size_t i = 0; i < z.size(); ++i) {
            const double off = (z[i] - fit.level) / sd[i];
            fit.penalty += std::min(off * off, kOutlier * kOutlier);
            if (std::abs(off) > kOutlier) continue;
            weight += 1.0 / (sd[i] * sd[i]);
            sum += z[i] / (sd[i] * sd[i]);
            misfit += off * off;
            ++counted;
        }
        if (weight > 0) fit.level = sum / weight;
    }
    if (weight <= 0) return {fit.level, std::pow(0.05 * fit.level, 2), fit.penalty};
    fit.variance = std::max(1.0, misfit / std::max(1.0, counted - 1.0)) / weight;
    return fit;
}

}  // namespace

RailLevel rail_level(std::span<const CutPeak> cuts) {
    std::vector<Fit> fits;
    double least = 1e300, moved = 0;
    for (const CutPeak& cut : cuts)
        moved = std::max(moved, 2.0 * std::numbers::pi * std::abs(cut.integral) / cut.height);
    for (double corner_hz = 0; corner_hz <= kHighestCorner_hz; corner_hz += kCornerStep_hz) {
        if (corner_hz * moved > kMostMoved) break;
        fits.push_back(fit_at(cuts, corner_hz));
        fits.back().penalty += 2.0 * std::log(1.0 + corner_hz);  // low corners are likelier: evenly spread in octaves
        least = std::min(least, fits.back().penalty);
    }
    double sum = 0, mean = 0, corner_hz = 0;
    for (std::size_t i = 0; i < fits.size(); ++i) {
        const double likely = std::exp(0.5 * (least - fits[i].penalty));
        sum += likely;
        mean += likely * fits[i].level;
        corner_hz += likely * kCornerStep_hz * static_cast<double>(i);
    }
    mean /= sum;
    double variance = 0;
    for (const Fit& fit : fits) {
        const double likely = std::exp(0.5 * (least - fit.penalty)) / sum;
        variance += likely * (fit.variance + (fit.level - mean) * (fit.level - mean));
    }
    const double sd = std::hypot(std::sqrt(variance), kRough * (mean - fits.front().level));
    const double sd_db = decibels_from_amplitude(1.0 + sd / mean);
    return {{decibels_from_amplitude(mean), sd_db, LimitedBy::length}, corner_hz / sum};
}

}  // namespace hushtrace
