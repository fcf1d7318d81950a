#include <algorithm>
#include <cmath>
#include <vector>

#include "hushtrace/job/rpm_log.hpp"
#include "target.hpp"

namespace hushtrace::fuzz {
namespace {

constexpr double most_rpm = 20000.0;   // rpm_log.cpp: no engine is faster

void look_at(const RpmLog& log, const RpmLogHints& hints) {
    require(log.time_s.size() >= 2 && log.time_s.size() == log.rpm.size(), "a log without rows");
    const auto all_finite = [](const std::vector<double>& values) {
        return std::all_of(values.begin(), values.end(), [](double one) { return std::isfinite(one); });
    };
    require(all_finite(log.time_s) && std::is_sorted(log.time_s.begin(), log.time_s.end()), "its times are no times");
    require(all_finite(log.rpm), "its speeds are not finite");
    const auto [least, most] = std::minmax_element(log.rpm.begin(), log.rpm.end());
    require(*least >= 0 && *most <= most_rpm, "its speeds are no engine's");
    require(std::isfinite(log.interval_s) && log.interval_s >= 0 && std::isfinite(log.step_rpm) && log.step_rpm >= 0, "its steps are no steps");
    require(!log.known.empty(), "nothing of it is known");
    double before = log.time_s.front();
    for (const auto& [from, to] : log.known) {
        require(from >= before && to > from && to <= log.time_s.back(), "its known spans overlap or leave it");
        before = to;
        for (const double share : {0.0, 0.3, 0.5, 1.0}) {
            const auto speed = log.at(share < 1 ? from + share * (to - from) : to);
            require(speed && *speed >= *least - 1e-6 && *speed <= *most + 1e-6, "a speed between its rows lies outside them");
        }
    }
    require(!log.at(log.time_s.front() - 1) && !log.at(log.time_s.back() + 1), "a speed outside the log is known");
    require(!log.at(std::nan("")), "a speed at no time is known");
    const double to_s = hints.duration_s.value_or(10.0);
    require(log.known_s(0, to_s) >= 0 && log.known_s(0, to_s) <= to_s * (1 + 1e-9), "more is known than there is");
    if (const auto mean = log.mean_rpm(0, to_s)) require(*mean >= *least - 1e-6 && *mean <= *most + 1e-6, "its mean lies outside it");
}

}  // namespace

void try_rpm_log(Bytes bytes) {
    for (const RpmLogHints& hints : {RpmLogHints{}, RpmLogHints{10.0, 800.0, std::nullopt}, RpmLogHints{3.0, std::nullopt, 36000.0}}) {
        std::vector<Warning> warnings;
        const auto log = parse_rpm_log(as_text(bytes), "takes/idle.flac", hints, warnings);
        for (const Warning& one : warnings) require_sentence(one.text);
        const bool said = std::any_of(warnings.begin(), warnings.end(), [](const Warning& one) { return one.code == "rpm_log_unusable"; });
        require(log.has_value() != said, "a log is refused in silence, or used though refused");
        if (log) look_at(*log, hints);
    }
}

}  // namespace hushtrace::fuzz
