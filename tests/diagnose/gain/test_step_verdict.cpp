#include <catch2/catch.hpp>
#include <limits>

#include "hushtrace/diagnose/step_verdict.hpp"

using namespace hushtrace;

namespace {

VolumeStep step(double thd_percent, double sd_percent, bool overload = false) {
    VolumeStep out;
    out.thd_percent = thd_percent;
    out.thd_sd_percent = sd_percent;
    out.input_overload = overload;
    return out;
}

}  // namespace

TEST_CASE("a step's verdict follows its THD, its uncertainty and the interface's state", "[gain]") {
    CHECK(judge_step(step(0.9, 0.04), 1.0) == StepVerdict::clean);
    CHECK(judge_step(step(0.9, 0.06), 1.0) == StepVerdict::exceeds);  // 1.02 with twice the sd, and the sd is small
    CHECK(judge_step(step(3.0, 0.6), 1.0) == StepVerdict::exceeds);
    CHECK(judge_step(step(1.2, 0.6), 1.0) == StepVerdict::unsure);
    CHECK(judge_step(step(0.2, 0.6), 1.0) == StepVerdict::unsure);
    CHECK(judge_step(step(0.2, 0.6), 10.0) == StepVerdict::clean);
    CHECK(judge_step(step(0.01, 0.001, true), 1.0) == StepVerdict::overloaded);
    const double no_number = std::numeric_limits<double>::quiet_NaN();
    CHECK(judge_step(step(no_number, 0.1), 1.0) == StepVerdict::unsure);
    CHECK(judge_step(step(0.5, std::numeric_limits<double>::infinity()), 1.0) == StepVerdict::unsure);
}
