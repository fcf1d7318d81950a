#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

/// Stops at these levels, a second each.
std::vector<Stop> stops_at(const std::vector<double>& levels_db) {
    std::vector<Stop> stops;
    for (const double level_db : levels_db) {
        Stop stop;
        stop.level_db = level_db;
        stop.duration_s = 0.8;
        stops.push_back(stop);
    }
    return stops;
}

/// What a rail of `rail` leaves of a sine of peak 1 at the fundamental [dB]: 2/pi (asin r + r sqrt(1 - r^2)), the first
/// Fourier coefficient of the clipped sine.
double left_by_rail_db(double rail) {
    if (rail >= 1) return 0;
    return 20 * std::log10(2 / std::numbers::pi * (std::asin(rail) + rail * std::sqrt(1 - rail * rail)));
}

}  // namespace

TEST_CASE("the volume law: what a number is worth, where it is even and where not", "[gain][law]") {
    JobInMemory job;
    Source source;
    source.channels = {hard(0.9), hard(0.9)};
    std::vector<double> volumes;
    SECTION("even, though the volumes are uneven") {
        volumes = {10, 12, 13, 16, 17};
        source.stops = stops_at({-30, -27, -25.5, -21, -19.5});  // 1.5 dB a number
        job.add("a.flac", source, volumes);
        const GainAnalysis gain = job.analyse();
        REQUIRE(gain.volume_law);
        CHECK(gain.volume_law->even);
        CHECK(gain.volume_law->rise_db == Approx(1.5).margin(0.002));
        CHECK(gain.volume_law->volumes_known);
        REQUIRE(gain.volume_law->steps.size() == 5);
        CHECK(gain.volume_law->steps.front().gain_db == Approx(-10.5).margin(0.002));
        CHECK_FALSE(gain.volume_law->steps.front().rise_db);
        CHECK_FALSE(warned(gain, "limiter"));  // the last turn by one number rises by a third of the one by three
    }
    SECTION("in two parts") {
        source.stops = stops_at({-40, -37, -34, -31, -30, -29, -28});
        job.add("a.flac", source, volumes_from(5, 7));
        const GainAnalysis gain = job.analyse();
        REQUIRE(gain.volume_law);
        CHECK_FALSE(gain.volume_law->even);
        REQUIRE(gain.volume_law->runs.size() == 2);
        CHECK(gain.volume_law->runs[0].rise_db == Approx(3.0).margin(0.002));
        CHECK(gain.volume_law->runs[0].to == 8.0);
        CHECK(gain.volume_law->runs[1].rise_db == Approx(1.0).margin(0.002));
        CHECK(gain.volume_law->runs[1].to == 11.0);
    }
    SECTION("numbered, where volumes aren't known") {
        source.stops = stops_at({-40, -37, -34, -31});
        job.add("a.flac", source, {});
        const GainAnalysis gain = job.analyse();
        REQUIRE(gain.volume_law);
        CHECK_FALSE(gain.volume_law->volumes_known);
        CHECK(gain.volume_law->rise_db == Approx(3.0).margin(0.002));
        CHECK(gain.volume_law->runs.front().to == 4.0);
    }
    SECTION("not told from fewer than three settings") {
        source.stops = stops_at({-40, -37});
        job.add("a.flac", source, {5, 6});
        CHECK_FALSE(job.analyse().volume_law);
    }
}

TEST_CASE("compression is how far the level lags behind the law of the clean steps", "[gain][law]") {
    JobInMemory job;
    Source source;
    source.channels = {hard(0.5), hard(0.5)};
    source.channel_gain = {1.0, 1.0};
    source.stops = stops_at({-18, -16, -14, -12, -10, -8, -6.5, -4, -2, 0});
    job.add("a.flac", source, {20, 21, 22, 23, 24, 25, 25.75, 27, 28, 29});
    const GainAnalysis gain = job.analyse();
    const auto& steps = gain.curves.front().steps;
    REQUIRE(steps.size() == 10);
    CHECK_FALSE(steps[0].compression_db);
    CHECK_FALSE(steps[1].compression_db);
    CHECK_FALSE(steps[2].compression_db);  // one rise alone tells no law: two are needed
    for (std::size_t i = 3; i < 10; ++i) {
        const double peak = std::pow(10.0, source.stops[i].level_db / 20);
        CAPTURE(i);
        REQUIRE(steps[i].compression_db);
        CHECK(*steps[i].compression_db == Approx(-left_by_rail_db(0.5 / peak)).margin(0.01));
        CHECK(*steps[i].compression_sd_db < 0.01);
    }
}

TEST_CASE("where one channel clips first the other one shows the law", "[gain][law]") {
    JobInMemory job;
    Source source;
    source.channels = {hard(0.9), hard(0.25)};
    source.stops = stops_at({-20, -19.2, -17.1, -15.9, -13, -12.4, -9, -7.7, -5});  // no law to carry on
    job.add("a.flac", source, volumes_from(20, 9));
    const GainAnalysis gain = job.analyse();
    const auto& right = gain.curves.back().steps;
    for (std::size_t i = 6; i < 9; ++i) {
        const double peak = 0.97 * std::pow(10.0, source.stops[i].level_db / 20);
        CAPTURE(i);
        REQUIRE(right.at(i).compression_db);
        CHECK(*right[i].compression_db == Approx(-left_by_rail_db(0.25 / peak)).margin(0.01));
        CHECK(*right[i].compression_sd_db < 0.01);
    }
}

TEST_CASE("left against right: balance and how well the channels keep together", "[gain][law]") {
    JobInMemory job;
    Source source;
    source.channels = {hard(0.9), hard(0.9)};
    source.stops = stops_at({-30, -27, -24, -21, -18});
    job.add("a.flac", source, volumes_from(10, 5));
    // the right channel falls 0.4 dB behind at volume 13
    auto& block = job.sound["a.flac"].first;
    const double from_s = source.lead_in_s + 3 * (source.turn_s + 0.8), to_s = from_s + source.turn_s + 0.8;
    for (auto n = static_cast<std::size_t>(from_s * source.rate); n < static_cast<std::size_t>(to_s * source.rate); ++n)
        block.channel(1)[n] *= std::pow(10.0, -0.4 / 20);
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.balances.size() == 1);
    const ChannelBalance& balance = gain.balances.front();
    const double usual_db = -20 * std::log10(0.97);
    CHECK(*balance.balance_db == Approx(usual_db).margin(0.005));
    CHECK(*balance.tracking_db == Approx(0.4).margin(0.005));
    REQUIRE(balance.steps.size() == 5);
    CHECK(balance.steps[3].balance_db == Approx(usual_db + 0.4).margin(0.005));
    CHECK(balance.steps[3].volume == 13.0);
}

TEST_CASE("balance is that at the probe: pads and scales count, and one calibrated channel alone tells none", "[gain][law]") {
    JobInMemory job;
    Source source;
    source.channels = {hard(0.9), hard(0.25)};
    source.channel_gain = {1.0, 1.0};
    source.stops = stops_at({-20, -19.2, -17.1, -15.9, -13, -12.4, -9, -7.7, -5});
    job.add("a.flac", source, volumes_from(20, 9));
    const double half_db = 20 * std::log10(0.5);
    double balance_db = 0;
    SECTION("an input of twice the volts") {
        job.opened.job.interface.volts_full_scale = {7.0, 14.0};
        balance_db = half_db;
    }
    SECTION("a pad, not calibrated") {
        job.opened.job.takes[0].attenuation_db = {10, 0};
        balance_db = 10;
    }
    SECTION("a pad and scales") {
        job.opened.job.takes[0].attenuation_db = {10, 0};
        job.opened.job.interface.volts_full_scale = {7.0, 14.0};
        balance_db = 10 + half_db;
    }
    SECTION("one alone") {
        job.opened.job.interface.volts_full_scale = {std::nullopt, 14.0};
        const GainAnalysis gain = job.analyse();
        CHECK(gain.balances.empty());
        CHECK(warned(gain, "balance_unknown"));
    }
    const GainAnalysis gain = job.analyse();
    if (!gain.balances.empty()) {
        CHECK_FALSE(warned(gain, "balance_unknown"));
        CHECK(*gain.balances.front().balance_db == Approx(balance_db).margin(0.005));
        CHECK(gain.balances.front().steps.front().balance_db == Approx(balance_db).margin(0.005));
        CHECK(*gain.balances.front().tracking_db < 0.01);
    }
    // what one channel shows of the other's clipping needs no scale
    const auto& right = gain.curves.back().steps;
    for (std::size_t i = 6; i < 9; ++i) {
        CAPTURE(i);
        REQUIRE(right.at(i).compression_db);
        CHECK(*right[i].compression_db == Approx(-left_by_rail_db(0.25 / std::pow(10.0, source.stops[i].level_db / 20))).margin(0.01));
    }
}
