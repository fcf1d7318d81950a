#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/gain/gain_parts.hpp"
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

namespace {

/// 0.15 s of a sine of 997 Hz at this amplitude through a stage.
std::vector<double> tone_through(const Stage& stage, double amplitude) {
    std::vector<double> out(7200);
    for (std::size_t n = 0; n < out.size(); ++n) out[n] = stage(amplitude * std::sin(2 * std::numbers::pi * 997 * static_cast<double>(n) / 48000));
    return out;
}
/// Steps that are offered one after the other, by number from 1; those over 1 % are kept.
struct Watched {
    KneeWatch watch{1.0};
    std::size_t number = 0;

    void offer(double level_dbfs, double thd_percent, const std::vector<double>& samples, double thd_sd_percent = 0.01, bool overload = false) {
        VolumeStep step;
        step.number = ++number;
        step.volume = 100.0 + static_cast<double>(number);
        step.level_dbfs = level_dbfs;
        step.thd_percent = thd_percent;
        step.thd_sd_percent = thd_sd_percent;
        step.input_overload = overload;
        step.frequency_hz = 997;
        watch.offer(step, samples);
    }
    std::optional<Knee> knee(std::optional<double> volts = {}, std::optional<double> scale_sd_db = {}) const {
        return watch.read(48000, {900.0, 1100.0}, volts, scale_sd_db);
    }
    std::size_t read_in() const {
        const auto one = knee();
        return one ? one->step : 0;
    }
};

}  // namespace

TEST_CASE("the knee is read in the quietest of the steps that exceed the limit, in volts with the scale's uncertainty", "[gain][knee]") {
    const auto clipped = tone_through(hard(0.5), 0.7);
    Watched one;
    CHECK_FALSE(one.knee());
    one.offer(-6, 1.02, clipped, 0.011);   // less twice its uncertainty: within the limit
    one.offer(-6, 9, clipped, 0.01, true);
    one.offer(-6, 1.0, clipped, 0);
    CHECK_FALSE(one.knee());
    one.offer(-4, 9, clipped);
    CHECK(one.read_in() == 4);
    one.offer(-3, 9, clipped);
    one.offer(-5, 9, clipped);
    CHECK(one.read_in() == 6);
    one.offer(-4.5, 9, clipped);
    CHECK(one.read_in() == 6);
    one.offer(-5.5, 1.03, clipped, 0.014);
    CHECK(one.read_in() == 8);
    const Knee knee = *one.knee(8.0, 0.1);
    CHECK(knee.kind == "hard");
    CHECK(knee.sides == "both");
    CHECK(knee.volume == 108.0);
    CHECK(knee.dbfs->value == Approx(kRail_dbfs).margin(0.02));
    CHECK(knee.v->value == Approx(8.0 / std::numbers::sqrt2 * std::pow(10.0, knee.dbfs->value / 20)).epsilon(1e-9));
    CHECK(knee.v->sd == Approx(knee.v->value * (std::pow(10.0, std::hypot(0.1, knee.dbfs->sd) / 20) - 1)).epsilon(1e-9));
    CHECK(knee.v->limited_by == knee.dbfs->limited_by);
    CHECK_FALSE(one.knee()->v);
    CHECK(one.knee(8.0)->v->sd < knee.v->sd);
}

TEST_CASE("where the quietest shows no rail the next one is read, and no further", "[gain][knee]") {
    const auto clipped = tone_through(hard(0.5), 0.7), clean = tone_through(hard(0.5), 0.4);
    Watched one;
    one.offer(-9, 9, clean);
    one.offer(-6, 9, clipped);
    CHECK(one.read_in() == 2);
    one.offer(-8, 9, {0.1, 0.2});   // too short to be read
    CHECK(one.read_in() == 0);
    Watched two;
    two.offer(-9, 9, {0.1, 0.2});
    two.offer(-6, 9, clipped);
    CHECK(two.read_in() == 2);
    // a kind without a level stands where none has one, the quietest's
    const auto dead_zone = tone_through([](double x) { return std::abs(x) < 0.02 ? 0.0 : x - std::copysign(0.02, x); }, 0.3);
    Watched other;
    other.offer(-12, 9, dead_zone);
    other.offer(-11, 9, dead_zone);
    REQUIRE(other.knee());
    CHECK(other.read_in() == 1);
    CHECK(other.knee(8.0)->kind == "other");
    CHECK_FALSE(other.knee(8.0)->dbfs);
    CHECK_FALSE(other.knee(8.0)->v);
    Watched mixed;
    mixed.offer(-12, 9, dead_zone);
    mixed.offer(-6, 9, clipped);
    CHECK(mixed.read_in() == 2);
}

TEST_CASE("clipping in numbers is looked for in both steps", "[gain][knee]") {
    const auto clipped = tone_through(hard(0.5), 0.7), clean = tone_through(hard(0.5), 0.4);
    Watched one;
    CHECK_FALSE(one.watch.read_folding(48000));
    one.offer(-9, 9, clean);
    CHECK_FALSE(one.watch.read_folding(48000));
    one.offer(-6, 9, clipped);
    REQUIRE(one.watch.read_folding(48000));
    CHECK(one.watch.read_folding(48000)->clipped_at_hz == 48000);
}
