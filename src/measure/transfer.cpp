#include "hushtrace/measure/transfer.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "unwrap.hpp"

namespace hushtrace {
namespace {

using std::numbers::pi;
constexpr double step_ln = std::numbers::ln2 / transfer_points_per_octave;
const double db_per_neper = 20.0 / std::numbers::ln10;
// What windows of finite length leave of a smooth response; measured on filters (tests/measure/test_sweep_response.cpp).
constexpr double method_sd_db = 0.005, method_sd_rad = 0.001;

int number_of(double frequency_hz) {
    return static_cast<int>(std::lround(std::log(frequency_hz / 1000.0) / step_ln));
}

struct SeenRange {
    std::size_t first = 0, last = 0;  // last is included
    bool any = false;
};
// Twenty decibels above the noise: nearer to it the noise itself would bend a filter's slope.
bool seen_well(const TransferPoint& p) { return std::norm(p.gain) > 100.0 * p.noise_power; }

SeenRange seen_range(std::span<const TransferPoint> transfer) {
    SeenRange out;
    for (std::size_t k = 0; k < transfer.size(); ++k) {
        if (!seen_well(transfer[k])) continue;
        if (!out.any) out.first = k;
        out.last = k;
        out.any = true;
    }
    return out;
}

// integral of ln coth(u/2) du over the cell from k to k+1 steps; the first holds the singularity, where it is ln(2/u)
double bode_weight(std::size_t cell) {
    if (cell == 0) return step_ln * (std::log(2.0 / step_ln) + 1.0);
    const auto at = [](double u) { return std::log(1.0 / std::tanh(0.5 * u)); };
    const double from = static_cast<double>(cell) * step_ln;
    return step_ln / 6.0 * (at(from) + 4 * at(from + 0.5 * step_ln) + at(from + step_ln));
}

// Slope of ln|gain| against ln f over a quarter of an octave at one end.
double end_slope(std::span<const double> nepers) {
    const double middle = 0.5 * static_cast<double>(nepers.size() - 1);
    double over = 0, under = 0;
    for (std::size_t k = 0; k < nepers.size(); ++k) {
        const double x = static_cast<double>(k) - middle;
        over += x * nepers[k];
        under += x * x;
    }
    return over / (under * step_ln);
}

// Weighted least squares of up to three unknowns by the normal equations.
struct LeastSquares {
    std::size_t unknowns = 0;
    std::array<std::array<double, 3>, 3> matrix{};
    std::array<double, 3> right{}, solution{}, variance{};

    void add(const std::array<double, 3>& row, double value, double weight) {
        for (std::size_t i = 0; i < unknowns; ++i) {
            right[i] += weight * row[i] * value;
            for (std::size_t j = 0; j < unknowns; ++j) matrix[i][j] += weight * row[i] * row[j];
        }
    }
    // Gauss and Jordan with the inverse beside it; columns scaled first, since they differ by many orders.
    bool solve() {
        std::array<double, 3> scale{};
        for (std::size_t i = 0; i < unknowns; ++i) {
            if (!(matrix[i][i] > 0)) return false;
            scale[i] = 1.0 / std::sqrt(matrix[i][i]);
        }
        std::array<std::array<double, 6>, 3> rows{};
        for (std::size_t i = 0; i < unknowns; ++i) {
            for (std::size_t j = 0; j < unknowns; ++j) rows[i][j] = matrix[i][j] * scale[i] * scale[j];
            rows[i][3 + i] = 1;
        }
        for (std::size_t i = 0; i < unknowns; ++i) {
            std::size_t best = i;
            for (std::size_t r = i + 1; r < unknowns; ++r)
                if (std::abs(rows[r][i]) > std::abs(rows[best][i])) best = r;
            std::swap(rows[i], rows[best]);
            if (std::abs(rows[i][i]) < 1e-13) return false;
            const double pivot = rows[i][i];
            for (double& x : rows[i]) x /= pivot;
            for (std::size_t r = 0; r < unknowns; ++r) {
                if (r == i) continue;
                const double share = rows[r][i];
                for (std::size_t c = 0; c < 6; ++c) rows[r][c] -= share * rows[i][c];
            }
        }
        for (std::size_t i = 0; i < unknowns; ++i) {
            solution[i] = 0;
            for (std::size_t j = 0; j < unknowns; ++j)
                solution[i] += rows[i][3 + j] * scale[i] * scale[j] * right[j];
            variance[i] = rows[i][3 + i] * scale[i] * scale[i];
        }
        return true;
    }
};

constexpr std::size_t end_points = 7;

// The slope at the upper end, gone on with beyond it, makes a phase that looks like a delay of slope / (pi^2 f): what
// noise does to that, and half of the slope, since a filter may fall otherwise beyond what is seen [s].
double end_slope_delay_s(std::span<const TransferPoint> transfer) {
    const SeenRange range = seen_range(transfer);
    if (!range.any || range.last < range.first + end_points) return 0;
    double noise = 0, lever = 0;
    std::vector<double> nepers;
    for (std::size_t k = range.last + 1 - end_points; k <= range.last; ++k)
        nepers.push_back(0.5 * std::log(std::norm(transfer[k].gain)));
    for (std::size_t k = 0; k < end_points; ++k) {
        const TransferPoint& p = transfer[range.last - k];
        noise += 0.5 * p.noise_power / std::norm(p.gain) / static_cast<double>(end_points);
        lever += std::pow(static_cast<double>(k) - 0.5 * static_cast<double>(end_points - 1), 2);
    }
    const double slope_sd = std::sqrt(1.6 * noise / lever) / step_ln;
    const double slope = std::max(0.0, std::abs(end_slope(nepers)) - 2 * slope_sd);  // what isn't noise
    return std::hypot(slope_sd, 0.5 * slope) / (pi * pi * transfer[range.last].frequency_hz);
}

struct PhasePoint {
    double frequency_hz, phase_rad, weight, clock_column, minimum_rad;
};

}  // namespace

Reading TransferPoint::magnitude_db() const {
    const double power = std::norm(gain);
    if (!seen()) {
        const double most = std::max(power, noise_power);
        return {most > 0 ? decibels_from_power(most) : -std::numeric_limits<double>::infinity(),
                most > 0 ? 10.0 / std::numbers::ln10 : 0.0, LimitedBy::noise};
    }
    return {decibels_from_power(power - noise_power), std::hypot(method_sd_db, db_per_neper * std::sqrt(0.5 * noise_power / power)),
            noise_known ? LimitedBy::nothing : LimitedBy::length};
}

Reading TransferPoint::phase_rad() const {
    if (!seen()) return {std::arg(gain), pi / std::sqrt(3.0), LimitedBy::noise};
    return {std::arg(gain), std::hypot(method_sd_rad, std::sqrt(0.5 * noise_power / std::norm(gain))),
            noise_known ? LimitedBy::nothing : LimitedBy::length};
}

std::vector<double> transfer_frequencies(double from_hz, double to_hz) {
    std::vector<double> out;
    if (!(from_hz > 0 && to_hz > from_hz)) return out;
    for (int k = number_of(from_hz) - 1; k <= number_of(to_hz) + 1; ++k) {
        const double frequency_hz = 1000.0 * std::exp2(static_cast<double>(k) / transfer_points_per_octave);
        if (frequency_hz >= from_hz && frequency_hz <= to_hz) out.push_back(frequency_hz);
    }
    return out;
}

std::optional<TransferPoint> point_at(std::span<const TransferPoint> transfer, double frequency_hz) {
    if (transfer.empty()) return std::nullopt;
    const int index = number_of(frequency_hz) - number_of(transfer.front().frequency_hz);
    const int last = static_cast<int>(transfer.size()) - 1;
    if (index < -1 || index > last + 1) return std::nullopt;
    return transfer[static_cast<std::size_t>(std::clamp(index, 0, last))];
}

Transfer ratio_of(std::span<const TransferPoint> over, std::span<const TransferPoint> under) {
    Transfer out;
    if (over.empty() || under.empty()) return out;
    const int shift = number_of(over.front().frequency_hz) - number_of(under.front().frequency_hz);
    for (std::size_t k = 0; k < over.size(); ++k) {
        const int other = static_cast<int>(k) + shift;
        if (other < 0 || other >= static_cast<int>(under.size())) continue;
        const TransferPoint &a = over[k], &b = under[static_cast<std::size_t>(other)];
        TransferPoint point{a.frequency_hz, {}, 0, a.noise_known && b.noise_known};
        if (b.seen()) {
            point.gain = a.gain / b.gain;
            point.noise_power = (a.noise_power + std::norm(point.gain) * b.noise_power) / std::norm(b.gain);
        }
        out.push_back(point);
    }
    return out;
}

std::vector<std::optional<Reading>> group_delay_s(std::span<const TransferPoint> transfer) {
    constexpr std::size_t beside = 2;
    std::vector<std::optional<Reading>> out(transfer.size());
    for (std::size_t k = beside; k + beside < transfer.size(); ++k) {
        const auto part = transfer.subspan(k - beside, 2 * beside + 1);
        if (!std::all_of(part.begin(), part.end(), [](const TransferPoint& p) { return p.seen(); })) continue;
        double turned = 0, mean_hz = 0;
        std::vector<double> phases;
        for (std::size_t i = 0; i < part.size(); ++i) {
            const double phase = std::arg(part[i].gain);
            turned = i == 0 ? phase : turned + nearest_turn(phase - turned);
            phases.push_back(turned);
            mean_hz += part[i].frequency_hz / static_cast<double>(part.size());
        }
        double over = 0, under = 0, noise = 0;
        for (std::size_t i = 0; i < part.size(); ++i) {
            const double x = part[i].frequency_hz - mean_hz;
            over += x * phases[i];
            under += x * x;
            noise = std::max(noise, 0.5 * part[i].noise_power / std::norm(part[i].gain));
        }
        // neighbours share most of their noise, so the five count as about two
        out[k] = Reading{-over / under / (2 * pi), std::sqrt(2.5 * noise / under) / (2 * pi)};
    }
    return out;
}

std::vector<double> minimum_phase_rad(std::span<const TransferPoint> transfer) {
    std::vector<double> out(transfer.size(), 0.0);
    const SeenRange range = seen_range(transfer);
    if (!range.any || range.last - range.first < 8) return out;
    std::vector<double> nepers;
    for (std::size_t k = range.first; k <= range.last; ++k)
        nepers.push_back(0.5 * std::log(std::max({std::norm(transfer[k].gain), transfer[k].noise_power, 1e-300})));
    const std::size_t count = nepers.size();
    const std::size_t at_end = std::min(end_points, count);
    const double low_slope = end_slope(std::span(nepers).first(at_end));
    const double high_slope = end_slope(std::span(nepers).last(at_end));
    std::vector<double> weight(count), up_to(count + 1, 0.0);
    for (std::size_t cell = 0; cell < count; ++cell) {
        weight[cell] = bode_weight(cell);
        up_to[cell + 1] = up_to[cell] + weight[cell];
    }
    constexpr double whole = pi * pi / 4;  // of the weight from 0 to infinity
    for (std::size_t k = 0; k < count; ++k) {
        double sum = high_slope * std::max(0.0, whole - up_to[count - 1 - k]) +
                     low_slope * std::max(0.0, whole - up_to[k]);
        for (std::size_t cell = 0; cell + 1 < count; ++cell) {
            const double slope = (nepers[cell + 1] - nepers[cell]) / step_ln;
            sum += slope * weight[cell >= k ? cell - k : k - cell - 1];
        }
        out[range.first + k] = sum / pi;
    }
    return out;
}

std::optional<DelayFit> fit_delay(std::span<const TransferPoint> transfer, const DelayFitRequest& request) {
    // What a minimum phase from 1/24 octave steps is wrong by: a part of its own, from where the magnitude beyond the
    // seen range isn't what it was taken for. Measured in tests.
    constexpr double model_rad = 0.003, model_share = 0.03;
    // Neighbours overlap, so 1.6 points have the noise of one; the minimum phase adds the magnitude's noise to the
    // phase's. Set so that the claimed intervals hold (tests/measure/test_channel_comparison.cpp).
    constexpr double shared = 3.4;
    const std::vector<double> minimum = minimum_phase_rad(transfer);
    std::vector<PhasePoint> points;
    std::vector<double> hz, phases;
    for (std::size_t k = 0; k < transfer.size(); ++k) {
        const TransferPoint& p = transfer[k];
        if (!seen_well(p) || p.frequency_hz < request.lowest_hz || p.frequency_hz > request.highest_hz) continue;
        const double phase = std::arg(p.gain) + 2 * pi * p.frequency_hz * request.around_s - minimum[k];
        hz.push_back(p.frequency_hz);
        phases.push_back(phase);
        const double variance = 0.5 * p.noise_power / std::norm(p.gain) +
                                std::pow(model_rad + model_share * std::abs(minimum[k]), 2);
        double clock = 0;
        if (request.sweep_from_hz && request.sweep_constant_s)
            clock = -2 * pi * 1e-6 * *request.sweep_constant_s * p.frequency_hz *
                    (std::log(p.frequency_hz / *request.sweep_from_hz) - 1.0);
        points.push_back({p.frequency_hz, 0, 1.0 / variance, clock, minimum[k]});
    }
    phases = unwrapped(hz, phases);
    for (std::size_t k = 0; k < points.size(); ++k) points[k].phase_rad = phases[k];
    if (points.size() < 12) return std::nullopt;
    const bool with_clock = request.sweep_from_hz && request.sweep_constant_s;

    LeastSquares open{with_clock ? 3U : 2U};
    for (const PhasePoint& p : points) open.add({1.0, -2 * pi * p.frequency_hz, p.clock_column}, p.phase_rad, p.weight);
    if (!open.solve()) return std::nullopt;
    const double half_turns = std::round(open.solution[0] / pi);
    DelayFit out;
    out.inverted = std::fmod(std::abs(half_turns), 2.0) == 1.0;
    out.intercept_rad = open.solution[0] - half_turns * pi;

    LeastSquares fixed{with_clock ? 2U : 1U};
    for (const PhasePoint& p : points)
        fixed.add({-2 * pi * p.frequency_hz, p.clock_column, 0}, p.phase_rad - half_turns * pi, p.weight);
    if (!fixed.solve()) return std::nullopt;
    double scatter = 0, weights = 0, model = 0, mean_square_hz = 0, delay_square = 0, clock_square = 0;
    for (const PhasePoint& p : points) {
        weights += p.weight;
        model += p.weight * model_share * std::abs(p.minimum_rad);
        mean_square_hz += p.weight * p.frequency_hz * p.frequency_hz;
        delay_square += p.weight * std::pow(2 * pi * p.frequency_hz, 2);
        clock_square += p.weight * p.clock_column * p.clock_column;
        const double left = p.phase_rad - half_turns * pi + 2 * pi * p.frequency_hz * fixed.solution[0] -
                            (with_clock ? p.clock_column * fixed.solution[1] : 0.0);
        scatter += p.weight * left * left;
    }
    const double grown = std::max(1.0, scatter / static_cast<double>(points.size() - fixed.unknowns));
    // the model's error is one for all points, so it doesn't average; delay and clock fitted together share it, by the
    // factor by which each loses certainty to the other
    const double inflation = std::sqrt(std::max(1.0, fixed.variance[0] * delay_square));
    const double model_s = inflation * model / weights / (2 * pi * std::sqrt(mean_square_hz / weights));
    out.delay_s = {request.around_s + fixed.solution[0],
                   std::hypot(model_s, end_slope_delay_s(transfer), std::sqrt(shared * grown * fixed.variance[0]))};
    if (with_clock)
        out.clock_ppm = Reading{fixed.solution[1], std::hypot(inflation * model / weights / std::sqrt(clock_square / weights),
                                                              std::sqrt(shared * grown * fixed.variance[1]))};
    out.sure = std::abs(out.intercept_rad) + 2 * std::sqrt(shared * open.variance[0]) < 0.3 * pi;
    out.from_hz = points.front().frequency_hz;
    out.to_hz = points.back().frequency_hz;
    return out;
}

}  // namespace hushtrace
