#include "hushtrace/measure/all_pass.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "unwrap.hpp"

namespace hushtrace {
namespace {

using std::numbers::pi;

constexpr double kUsable = 0.8;        // of the highest frequency: above it a converter's filter bends the phase
constexpr double kModel_rad = 0.02;    // of what is taken for minimum phase, and a share of that phase
constexpr double kModelShare = 0.04;
constexpr double kWorthAsking_rad = 0.12;  // less is left of paths without one
constexpr double kTimesBetter = 2.5;
constexpr double kExplained_rad = 0.25;
constexpr double kInside = 1.25;       // how far inside the band its frequency must lie
constexpr std::size_t kMost = 2;
constexpr std::array kQs = {0.3, 0.45, 0.7, 1.0, 1.5, 2.3, 3.5, 5.5};

struct Point {
    double hz, phase_rad, weight;
};
struct Candidate {
    int order = 2;
    double ln_hz = 0, ln_q = 0;
    double phase_at(double hz) const {
        const double x = hz / std::exp(ln_hz);
        return order == 1 ? -2 * std::atan(x) : -2 * std::atan2(x / std::exp(ln_q), 1 - x * x);
    }
};

std::vector<Point> points_of(std::span<const TransferPoint> transfer, double around_s) {
    std::vector<Point> out;
    if (transfer.empty()) return out;
    const std::vector<double> minimum = minimum_phase_rad(transfer);
    const double highest_hz = kUsable * transfer.back().frequency_hz;
    std::vector<double> hz, phases;
    for (std::size_t k = 0; k < transfer.size(); ++k) {
        const TransferPoint& p = transfer[k];
        if (!(std::norm(p.gain) > 100.0 * p.noise_power) || p.frequency_hz > highest_hz) continue;
        const double phase = std::arg(p.gain) + 2 * pi * p.frequency_hz * around_s - minimum[k];
        hz.push_back(p.frequency_hz);
        phases.push_back(phase);
        const double variance = 0.5 * p.noise_power / std::norm(p.gain) + std::pow(kModel_rad + kModelShare * std::abs(minimum[k]), 2);
        out.push_back({p.frequency_hz, 0, 1.0 / variance});
    }
    phases = unwrapped(hz, phases);
    for (std::size_t k = 0; k < out.size(); ++k) out[k].phase_rad = phases[k];
    return out;
}

struct Fit {
    double rms_rad = 1e9, delay_s = 0, delay_sd_s = 0;
    int half_turns = 0;
};
// With the all-passes' phase off, half turns and a delay by least squares.
Fit fit_line(const std::vector<Point>& points, std::span<const Candidate> candidates) {
    double sum_w = 0, sum_f = 0, sum_ff = 0, sum_p = 0, sum_fp = 0;
    std::vector<double> left;
    left.reserve(points.size());
    for (const Point& p : points) {
        double phase = p.phase_rad;
        for (const Candidate& one : candidates) phase -= one.phase_at(p.hz);
        left.push_back(phase);
        sum_w += p.weight;
        sum_f += p.weight * p.hz;
        sum_ff += p.weight * p.hz * p.hz;
        sum_p += p.weight * phase;
        sum_fp += p.weight * p.hz * phase;
    }
    const double determinant = sum_w * sum_ff - sum_f * sum_f;
    Fit out;
    if (!(determinant > 0)) return out;
    const double intercept = (sum_ff * sum_p - sum_f * sum_fp) / determinant;
    out.half_turns = static_cast<int>(std::lround(intercept / pi));
    const double fixed = pi * out.half_turns;
    const double slope = (sum_fp - fixed * sum_f) / sum_ff;
    out.delay_s = -slope / (2 * pi);
    double squares = 0;
    for (std::size_t k = 0; k < points.size(); ++k)
        squares += points[k].weight * std::pow(left[k] - fixed - slope * points[k].hz, 2);
    out.rms_rad = std::sqrt(squares / sum_w);
    out.delay_sd_s = std::sqrt(3.4 * std::max(1.0, squares / static_cast<double>(points.size())) / sum_ff) / (2 * pi);
    return out;
}

// Steps that shrink, each number by itself: the valley is smooth, and there are few numbers.
void refine(const std::vector<Point>& points, std::vector<Candidate>& all, double lowest, double highest) {
    double best = fit_line(points, all).rms_rad;
    for (double step = 0.12; step > 5e-4; step *= 0.6) {
        bool moved = true;
        for (int round = 0; moved && round < 8; ++round) {
            moved = false;
            for (Candidate& one : all)
                for (double Candidate::*number : {&Candidate::ln_hz, &Candidate::ln_q})
                    for (const double by : {step, -step}) {
                        const double before = one.*number;
                        one.*number += by;
                        const bool allowed = one.ln_hz >= lowest && one.ln_hz <= highest && std::abs(one.ln_q) < 2.3;
                        const double rms = allowed ? fit_line(points, all).rms_rad : 1e9;
                        if (rms < best) {
                            best = rms;
                            moved = true;
                        } else {
                            one.*number = before;
                        }
                    }
        }
    }
}

std::vector<Candidate> with_one_more(const std::vector<Point>& points, const std::vector<Candidate>& present, double lowest,
                                     double highest) {
    std::vector<Candidate> best;
    double best_rms = 1e9;
    for (double ln_hz = lowest; ln_hz <= highest; ln_hz += 0.12)
        for (std::size_t i = 0; i <= kQs.size(); ++i) {
            std::vector<Candidate> all = present;
            all.push_back(i == kQs.size() ? Candidate{1, ln_hz, 0} : Candidate{2, ln_hz, std::log(kQs[i])});
            const double rms = fit_line(points, all).rms_rad;
            if (rms >= best_rms) continue;
            best_rms = rms;
            best = std::move(all);
        }
    refine(points, best, lowest, highest);
    return best;
}

/// The best of all pairs on a coarse grid: one alone may explain little of what two do.
std::vector<Candidate> best_pair(const std::vector<Point>& points, double lowest, double highest) {
    std::vector<Candidate> grid;
    for (double ln_hz = lowest; ln_hz <= highest; ln_hz += 0.25)
        for (const double q : {0.5, 1.0, 2.0}) grid.push_back({2, ln_hz, std::log(q)});
    std::vector<std::vector<double>> phases;
    for (const Candidate& one : grid) {
        phases.emplace_back();
        for (const Point& p : points) phases.back().push_back(one.phase_at(p.hz));
    }
    std::vector<std::pair<double, std::vector<Candidate>>> best;  // the three best, in order
    std::vector<Point> left = points;
    for (std::size_t i = 0; i < grid.size(); ++i)
        for (std::size_t j = i; j < grid.size(); ++j) {
            for (std::size_t k = 0; k < points.size(); ++k) left[k].phase_rad = points[k].phase_rad - phases[i][k] - phases[j][k];
            const double rms = fit_line(left, {}).rms_rad;
            if (best.size() == 3 && rms >= best.back().first) continue;
            best.push_back({rms, {grid[i], grid[j]}});
            std::sort(best.begin(), best.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
            if (best.size() > 3) best.pop_back();
        }
    for (auto& [rms, pair] : best) {
        refine(points, pair, lowest, highest);
        rms = fit_line(points, pair).rms_rad;
    }
    return std::min_element(best.begin(), best.end(), [](const auto& a, const auto& b) { return a.first < b.first; })->second;
}

}  // namespace

std::optional<AllPassFit> find_all_passes(std::span<const TransferPoint> transfer, double around_s) {
    const std::vector<Point> points = points_of(transfer, around_s);
    if (points.size() < std::size_t{2} * transfer_points_per_octave) return std::nullopt;
    const double lowest = std::log(kInside * points.front().hz), highest = std::log(points.back().hz / kInside);
    std::vector<Candidate> all;
    Fit fit = fit_line(points, all);
    AllPassFit out;
    out.without_rad = fit.rms_rad;
    std::vector<Candidate> tried;
    for (std::size_t count = 1; count <= kMost && fit.rms_rad > kWorthAsking_rad; ++count) {
        tried = count == 2 && all.empty() ? best_pair(points, lowest, highest) : with_one_more(points, tried, lowest, highest);
        const Fit better = fit_line(points, tried);
        const double asked = std::pow(kTimesBetter, static_cast<double>(count - all.size()));
        if (better.rms_rad * asked > fit.rms_rad || better.rms_rad > kExplained_rad) continue;
        all = tried;
        fit = better;
    }
    for (const Candidate& one : all) {
        const double hz = std::exp(one.ln_hz);
        out.all_passes.push_back({one.order, {hz, hz * std::max(0.005, 0.3 * fit.rms_rad)}, one.order == 1 ? 0.0 : std::exp(one.ln_q)});
    }
    std::sort(out.all_passes.begin(), out.all_passes.end(),
              [](const AllPass& a, const AllPass& b) { return a.frequency_hz.value < b.frequency_hz.value; });
    out.inverted = fit.half_turns % 2 != 0;
    out.sure = fit.rms_rad < kExplained_rad;
    out.delay_s = {around_s + fit.delay_s, fit.delay_sd_s};
    out.left_over_rad = fit.rms_rad;
    return out;
}

}  // namespace hushtrace
