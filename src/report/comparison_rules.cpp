#include "comparison_rules.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::comparison {
namespace {

/// Share of Student's t beyond ±t.
double student_outside(double t, std::size_t freedom) {
    const double n = static_cast<double>(freedom), angle = std::atan(t / std::sqrt(n));
    const double cosine = std::cos(angle), sine = std::sin(angle);
    double sum = 0, term = freedom % 2 == 0 ? 1.0 : cosine;
    if (freedom % 2 == 0) {
        for (std::size_t k = 1; 2 * k <= freedom; ++k) {
            sum += term;
            term *= cosine * cosine * (2.0 * static_cast<double>(k) - 1.0) / (2.0 * static_cast<double>(k));
        }
        return 1.0 - sine * sum;
    }
    for (std::size_t k = 1; 2 * k < freedom; ++k) {
        sum += term;
        term *= cosine * cosine * (2.0 * static_cast<double>(k)) / (2.0 * static_cast<double>(k) + 1.0);
    }
    return 1.0 - 2.0 / std::numbers::pi * (angle + sine * sum);
}

template <class Outside>
double limit_of(double outside, Outside outside_of) {
    double low = 0, high = 1;
    while (outside_of(high) > outside && high < 1e9) high *= 2;
    for (int i = 0; i < 80; ++i) {
        const double middle = 0.5 * (low + high);
        (outside_of(middle) > outside ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

}  // namespace

double normal_limit(double outside) {
    return limit_of(outside, [](double z) { return std::erfc(z / std::numbers::sqrt2); });
}

double student_limit(double outside, std::size_t freedom) {
    if (freedom > 200) return normal_limit(outside);
    return limit_of(outside, [freedom](double t) { return student_outside(t, freedom); });
}

Scatter pooled(const std::vector<std::vector<double>>& groups) {
    Scatter out;
    double sum = 0;
    for (const auto& group : groups) {
        if (group.size() < 2) continue;
        double mean = 0;
        for (const double one : group) mean += one / static_cast<double>(group.size());
        for (const double one : group) sum += (one - mean) * (one - mean);
        out.freedom += group.size() - 1;
    }
    if (out.freedom > 0) out.sd = std::sqrt(sum / static_cast<double>(out.freedom));
    return out;
}

Judged judge(const Trial& trial) {
    Judged out;
    const double random_sd = std::hypot(trial.before.sd, trial.after.sd), z = normal_limit(trial.outside);
    out.difference = trial.after.value - trial.before.value;
    out.sd = std::hypot(random_sd, trial.common_sd);
    if (trial.scatter && trial.scatter->freedom >= 2) {
        out.from_takes = true;
        const double share = 1.0 / static_cast<double>(trial.before_takes) + 1.0 / static_cast<double>(trial.after_takes);
        const double between = student_limit(trial.outside, trial.scatter->freedom) * trial.scatter->sd * std::sqrt(share);
        out.limit = std::hypot(std::max(between, z * random_sd), z * trial.common_sd);
    } else {
        out.limit = std::hypot(z * out.sd, trial.repeatability);
    }
    out.limit += trial.extra;
    const bool lower = out.difference<-out.limit, higher = out.difference> out.limit;
    if (trial.before.at_most || trial.after.at_most) {
        // a bound after tells a fall, a bound before a rise, and then by that much at least
        out.at_least = (lower && trial.after.at_most && !trial.before.at_most) || (higher && trial.before.at_most && !trial.after.at_most);
        out.hidden = !out.at_least;
        if (out.hidden) {
            out.verdict = ChangeVerdict::not_comparable;
            return out;
        }
    }
    if (!lower && !higher) return out;
    if (trial.better == Better::neither)
        out.verdict = ChangeVerdict::changed;
    else
        out.verdict = lower == (trial.better == Better::lower) ? ChangeVerdict::better : ChangeVerdict::worse;
    return out;
}

}  // namespace hushtrace::comparison
