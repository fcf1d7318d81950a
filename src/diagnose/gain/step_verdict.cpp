#include "hushtrace/diagnose/step_verdict.hpp"

#include <cmath>

namespace hushtrace {

StepVerdict judge_step(const VolumeStep& step, double limit_percent) {
    const double thd = step.thd_percent, twice_sd = 2.0 * step.thd_sd_percent;
    if (step.input_overload) return StepVerdict::overloaded;
    if (!std::isfinite(thd) || !std::isfinite(twice_sd)) return StepVerdict::unsure;
    if (thd + twice_sd <= limit_percent) return StepVerdict::clean;
    if (thd - twice_sd > limit_percent) return StepVerdict::exceeds;
    return step.thd_sd_percent < 0.25 * limit_percent ? StepVerdict::exceeds : StepVerdict::unsure;
}

}  // namespace hushtrace
