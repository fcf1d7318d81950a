#include "hushtrace/vehicle/whine_constant.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace {
namespace {

constexpr double kLeast = 0.74, kMost = 6.1, kStep = 0.001;  // of the grid, natural logarithm
constexpr double kSlip = 0.007;
constexpr double kSaysNothing = 0.04;
constexpr double kToldSd = 0.025;  // a ratio told to two figures, and the belt's slip
constexpr double kNoneOfThem = -2.0;  // natural log of how likely it is that the whine is none of a take's lines
constexpr double kImpossible = -20.0;

double normal(double deviation, double sd) {
    const double z = deviation / sd;
    return std::exp(-0.5 * z * z) / (sd * std::sqrt(2.0 * std::numbers::pi));
}

double range_prior(double k) {
    using W = WhineConstants;
    const auto within = [k](double low, double high) { return k > low / 1.02 && k < high * 1.02; };
    if (within(W::usual_low, W::usual_high)) return 0.0;
    if (within(W::possible_low, W::possible_high)) return -1.8;
    if (within(2.0 * W::usual_low, 2.0 * W::usual_high)) return -2.3;
    if (within(2.0 * W::possible_low, 2.0 * W::possible_high)) return -4.0;
    return kImpossible;
}

/// Natural log of a line's likelihood in its take, were k the constant; the best of the speeds joins in.
double density_of(const WhineTake& take, const WhineLine& line, double log_k) {
    double sum = 0;
    const auto add = [&](const SpeedGuess& speed) {
        if (!(speed.rpm > 0.0)) return;
        const double sd = std::sqrt(line.sd_share * line.sd_share + speed.sd_share * speed.sd_share + kSlip * kSlip);
        sum += speed.weight * normal(std::log(line.frequency_hz / speed.rpm) - log_k, sd);
    };
    if (line.measured)
        add(*line.measured);
    else
        for (const SpeedGuess& speed : take.speeds) add(speed);
    return sum;
}

/// Shares of a take's lines by their looks alone.
std::vector<double> shares_of(const WhineTake& take) {
    std::vector<double> shares;
    double most = -1e300, sum = 0;
    for (const WhineLine& line : take.lines) most = std::max(most, line.log_weight);
    most = std::max(most, 0.0);
    for (const WhineLine& line : take.lines) {
        shares.push_back(std::exp(line.log_weight - most));
        sum += shares.back();
    }
    sum += std::exp(kNoneOfThem - most);
    for (double& share : shares) share /= sum;
    return shares;
}

double log_likelihood(const WhineTake& take, const std::vector<double>& shares, double log_k) {
    double sum = kSaysNothing / std::log(kMost / kLeast);
    for (std::size_t i = 0; i < take.lines.size(); ++i)
        sum += (1.0 - kSaysNothing) * shares[i] * density_of(take, take.lines[i], log_k);
    return std::log(sum);
}

}  // namespace

double log_prior_of_constant(double k, const ToldAlternator& told) {
    const double range = range_prior(k);
    if (!told.pole_pairs || !told.pulley_ratio) return range;
    const double one_set = whine_hz_per_rpm(*told.pole_pairs, *told.pulley_ratio);
    if (!(one_set > 0.0)) return range;
    // told rightly, told with two sets, or told wrongly: then the ranges hold
    const double right =
        0.75 * normal(std::log(k / one_set), kToldSd) + 0.08 * normal(std::log(k / (2.0 * one_set)), kToldSd);
    return std::log(right + 0.17 * std::exp(range) / std::log(2.0));
}

std::optional<WhineConstant> joint_whine_constant(std::span<const WhineTake> takes, const ToldAlternator& told,
                                                  double common_sd_share) {
    const auto usable = [](const WhineTake& take) {
        return !take.lines.empty() &&
               (!take.speeds.empty() || std::any_of(take.lines.begin(), take.lines.end(),
                                                    [](const WhineLine& line) { return line.measured.has_value(); }));
    };
    if (std::none_of(takes.begin(), takes.end(), usable)) return std::nullopt;
    std::vector<std::vector<double>> shares;
    for (const WhineTake& take : takes) shares.push_back(shares_of(take));
    std::vector<double> log_k, posterior;
    const auto points = static_cast<std::size_t>(std::ceil(std::log(kMost / kLeast) / kStep));
    for (std::size_t point = 0; point < points; ++point) {
        const double x = std::log(kLeast) + kStep * static_cast<double>(point);
        double sum = log_prior_of_constant(std::exp(x), told);
        for (std::size_t i = 0; i < takes.size(); ++i)
            if (usable(takes[i])) sum += log_likelihood(takes[i], shares[i], x);
        log_k.push_back(x);
        posterior.push_back(sum);
    }
    const auto top = std::max_element(posterior.begin(), posterior.end());
    const double best_k = std::exp(log_k[static_cast<std::size_t>(top - posterior.begin())]);
    if (log_prior_of_constant(best_k, told) < kImpossible + 3.0) return std::nullopt;
    const double peak = *top;
    double all = 0;
    for (double& value : posterior) all += value = std::exp(value - peak);
    // the hill round the top: down to a thousandth of it, or to where another hill begins
    const auto at = static_cast<std::size_t>(top - posterior.begin());
    const auto foot = [&](int step) {
        auto i = static_cast<std::ptrdiff_t>(at);
        double lowest = 1.0;
        std::ptrdiff_t lowest_at = i;
        for (i += step; i >= 0 && i < std::ssize(posterior); i += step) {
            const double value = posterior[static_cast<std::size_t>(i)];
            if (value < lowest) {
                lowest = value;
                lowest_at = i;
            }
            if (value < 1e-3 || value > 1.3 * lowest) break;
        }
        return static_cast<std::size_t>(lowest_at);
    };
    const std::size_t from = foot(-1), to = foot(1);
    double mass = 0, mean = 0, square = 0;
    for (std::size_t i = from; i <= to; ++i) {
        mass += posterior[i];
        mean += posterior[i] * log_k[i];
    }
    mean /= mass;
    for (std::size_t i = from; i <= to; ++i) square += posterior[i] * (log_k[i] - mean) * (log_k[i] - mean);
    WhineConstant found;
    found.hz_per_rpm = std::exp(mean);
    found.sd = found.hz_per_rpm * std::hypot(std::sqrt(square / mass), common_sd_share);
    found.probability = mass / all;
    for (std::size_t i = 0; i < takes.size(); ++i) {
        auto& chosen = found.line.emplace_back();
        double best = 0.15 * kSaysNothing / std::log(kMost / kLeast);
        for (std::size_t j = 0; usable(takes[i]) && j < takes[i].lines.size(); ++j) {
            const double value = shares[i][j] * density_of(takes[i], takes[i].lines[j], mean);
            if (value <= best) continue;
            best = value;
            chosen = j;
        }
    }
    if (std::none_of(found.line.begin(), found.line.end(), [](const auto& chosen) { return chosen.has_value(); }))
        return std::nullopt;
    return found;
}

}  // namespace hushtrace
