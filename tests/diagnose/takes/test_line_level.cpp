#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/takes/line_level.hpp"
#include "diagnose/even_survey.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

double dbfs(double mean_square) { return 10 * std::log10(2 * mean_square); }
double dbv_of_square(double volts_squared) { return 10 * std::log10(volts_squared); }

}  // namespace

TEST_CASE("a line's level is as sure as the noise in its bins, and its beating with them, leave it", "[levels]") {
    CHECK(limited_by_noise({1.0, 0.123, LimitedBy::length}).limited_by == LimitedBy::noise);   // 0.5 dB are 12.2 % of a power
    CHECK(limited_by_noise({1.0, 0.121, LimitedBy::length}).limited_by == LimitedBy::nothing);
    CHECK(limited_by_noise({0.0, 0.5, {}}).limited_by == LimitedBy::nothing);
    MadeTake take("takes/it.wav");
    ChannelSurvey& channel = take.survey.channels[0];
    channel.floor_density[500] = 1e-9;
    channel.floor_density[700] = 3e-9;
    // variance: four bins of 1 Hz of each line's density squared, and twice the power by the densest of them, over 10 s
    const double power = 1e-7, variance = (4 * (1e-18 + 9e-18) + 2 * power * 3e-9) / 10;
    const Reading level = level_of_lines(channel, power, {500, 700});
    CHECK(level.value == Approx(dbfs(power)));
    CHECK(level.sd == Approx(10 * std::log10(1 + std::sqrt(variance) / power)));
    CHECK(level.limited_by == LimitedBy::nothing);
    CHECK(level_of_lines(channel, 1e-8, {500, 700}).limited_by == LimitedBy::noise);
    CHECK(level_of_lines(channel, 0.0, {500}).value == Approx(dbfs(1e-20)));
    const Harmonic plain = harmonic_of(channel, 3, 700, power);
    CHECK(plain.number == 3);
    CHECK(plain.frequency_hz == 700);
    CHECK(plain.level_dbfs == Approx(dbfs(power)));
    const double sd_db = 10 * std::log10(1 + std::sqrt((4 * 9e-18 + 2 * power * 3e-9) / 10) / power);
    CHECK(*plain.sd_db == Approx(sd_db));
    CHECK(!plain.level_dbv);
    CHECK(!plain.dbv_sd_db);
    channel.volts_full_scale = 2.0;
    CHECK(*harmonic_of(channel, 3, 700, power).level_dbv == Approx(dbv_of_square(4 * power)));
    CHECK(*harmonic_of(channel, 3, 700, power).dbv_sd_db == Approx(sd_db));
    channel.volts_full_scale_sd_db = 0.4;
    CHECK(*harmonic_of(channel, 3, 700, power).dbv_sd_db == Approx(std::hypot(sd_db, 0.4)));
    CHECK(harmonic_of(channel, 3, 700, 1e-9).limited_by == LimitedBy::noise);
    channel.spectrum.effective_duration_s = 0;   // one segment: half a bin's inverse
    CHECK(level_of_lines(channel, power, {700}).sd == Approx(10 * std::log10(1 + std::sqrt((4 * 9e-18 + 2 * power * 3e-9) / 0.5) / power)));
    channel.spectrum.effective_duration_s = 10;
    channel.spectrum.length = 12000;   // bins of 2 Hz
    channel.floor_density[350] = 3e-8;
    CHECK(level_of_lines(channel, power, {700}).sd == Approx(10 * std::log10(1 + std::sqrt((8 * 9e-16 + 2 * power * 3e-8) / 10) / power)));
    channel.floor_density.clear();
    CHECK(level_of_lines(channel, power, {700}).sd == 0);
}

TEST_CASE("noise that bulges at rest as much as a line that moves is told from it", "[levels]") {
    // eleven bins of noise of 1e-12, averaged a hundred times: sqrt(2 * 11 / 100) of 1e-12 are one standard deviation, 4.69e-13
    const auto alike = [](double here, double there, double at_hz = 1000, double wander = 0.0) {
        MadeTake run("takes/run.wav", Engine::idle, 1, 1e-12), off("takes/off.wav", Engine::off, 1, 1e-12);
        run.survey.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] += here;
        off.survey.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] += there;
        return bulges_alike(run.survey, off.survey, 1000, wander);
    };
    CHECK(alike(1e-12, 1.90e-12));
    CHECK_FALSE(alike(1e-12, 1.85e-12));   // under four of them
    CHECK(alike(3.7e-12, 1.9e-12));
    CHECK_FALSE(alike(3.9e-12, 1.9e-12));  // under half as much
    CHECK(alike(0, 1e-10, 1005));
    CHECK(alike(0, 1e-10, 995));
    CHECK_FALSE(alike(0, 1e-10, 1006));
    CHECK_FALSE(alike(0, 1e-10, 994));
    CHECK(alike(0, 1e-10, 1020, 0.01));    // twice the wander
    CHECK_FALSE(alike(0, 1e-10, 1021, 0.01));
    MadeTake run("takes/run.wav", Engine::idle, 2, 1e-12), off("takes/off.wav", Engine::off, 2, 1e-12);
    off.survey.channels[1].spectrum.density[1000] = 1e-10;
    CHECK(bulges_alike(run.survey, off.survey, 1000, 0));
    run.survey.channels.pop_back();
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));   // no such channel to hold it against
    off.survey.channels[0].spectrum.density[1000] = 1e-10;
    CHECK(bulges_alike(run.survey, off.survey, 1000, 0));
    off.survey.channels[0].silent = true;
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
    run.survey.channels[0].spectrum.density[1000] = 0;   // less than the noise round it
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
    off.survey.channels[0].silent = false;
    off.survey.channels[0].floor_density.clear();
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
}
