#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

constexpr double kRail_dbfs = -6.0206;  // a sine that just touches 0.5

GainAnalysis analysed(const Stage& left, const Stage& right, std::optional<double> volts_full_scale = std::nullopt) {
    Source source;
    source.stops = staircase(-18.2, 2.0, 10);
    source.channels = {left, right};
    JobInMemory job;
    job.add("takes/steps.flac", source, volumes_from(20, 10));
    if (volts_full_scale) {
        job.opened.job.interface.volts_full_scale = {volts_full_scale, volts_full_scale};
        job.opened.job.interface.volts_full_scale_sd_db = {0.1, 0.1};
    }
    return job.analyse();
}

double thd_of(const Stage& stage, double amplitude) {
    constexpr int points = 4096;
    double first = 0, others = 0;
    for (int k = 1; k <= 20; ++k) {
        double sum = 0;
        for (int n = 0; n < points; ++n) {
            const double turn = 2 * std::numbers::pi * n / points;
            sum += stage(amplitude * std::sin(turn)) * std::sin(k * turn);
        }
        (k == 1 ? first : others) += sum * sum;
    }
    return std::sqrt(others / first);
}

}  // namespace

TEST_CASE("a rail's knee stands beside the ceiling, in dBFS and in volts", "[gain][knee]") {
    const GainAnalysis gain = analysed(hard(0.5), one_sided(0.5), 8.0);
    REQUIRE(gain.curves.size() == 2);
    for (const StepCurve& curve : gain.curves) {
        REQUIRE(curve.knee);
        const Knee& knee = *curve.knee;
        CHECK(knee.kind == "hard");
        REQUIRE(knee.dbfs);
        CHECK(knee.dbfs->value == Approx(kRail_dbfs).margin(0.02));
        CHECK(std::abs(knee.dbfs->value - kRail_dbfs) < 4 * knee.dbfs->sd + 0.002);
        REQUIRE(knee.v);
        CHECK(knee.v->value == Approx(0.5 * 8.0 / std::numbers::sqrt2).epsilon(0.003));
        CHECK(knee.v->sd == Approx(0.0116 * knee.v->value).epsilon(0.05));  // 0.1 dB of the scale
        CHECK(knee.volume == 27.0);  // the first that clips
    }
    CHECK(gain.curves[0].knee->sides == "both");
    CHECK(gain.curves[1].knee->sides == "upper");
    REQUIRE(gain.ceiling);
    REQUIRE(gain.ceiling->knee);
    CHECK(gain.ceiling->knee->step == gain.ceiling->step + 1);
}

TEST_CASE("a soft stage's knee is the sine that it bends to 1 % THD", "[gain][knee]") {
    const Stage stage = soft(0.5);
    double low = 0.01, high = 0.5;
    for (int i = 0; i < 40; ++i) (thd_of(stage, 0.5 * (low + high)) > 0.01 ? high : low) = 0.5 * (low + high);
    const GainAnalysis gain = analysed(stage, stage);
    REQUIRE(gain.curves[0].knee);
    CHECK(gain.curves[0].knee->kind == "soft");
    CHECK(gain.curves[0].knee->sides == "both");
    REQUIRE(gain.curves[0].knee->dbfs);
    // 0.5 dB is what measure's own test allows for a tanh, which is not quite the model's corner
    CHECK(gain.curves[0].knee->dbfs->value == Approx(20 * std::log10(low)).margin(0.5));
    CHECK_FALSE(gain.curves[0].knee->v);
}

TEST_CASE("what never clips has no knee, a crossover none with a level", "[gain][knee]") {
    CHECK_FALSE(analysed([](double x) { return x; }, hard(0.5)).curves[0].knee);
    // a dead zone: distorted most where it is quiet
    const GainAnalysis gain = analysed([](double x) { return std::abs(x) < 0.02 ? 0.0 : x - std::copysign(0.02, x); }, hard(0.5));
    REQUIRE(gain.curves[0].knee);
    CHECK(gain.curves[0].knee->kind == "other");
    CHECK_FALSE(gain.curves[0].knee->dbfs);
}

TEST_CASE("a limiter is told as the knee where it holds the level", "[gain][knee]") {
    Source source;
    source.channels = {[](double x) { return x; }};
    source.channel_gain = {1.0};
    source.stops = staircase(-18.2, 2.0, 10);
    for (Stop& stop : source.stops) {
        stop.level_db = std::min(stop.level_db, -12.2 + 0.1 * (stop.level_db + 12.2));
        stop.click_before = true;
    }
    JobInMemory job;
    job.add("takes/steps.flac", source, volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.curves[0].knee);
    CHECK(gain.curves[0].knee->kind == "limiter");
    CHECK(gain.curves[0].knee->sides == "none");
    REQUIRE(gain.curves[0].knee->dbfs);
    CHECK(gain.curves[0].knee->dbfs->value == Approx(-12.0).margin(0.01));
}
