// Floors under lines: the running one, the lines that stand through a stretch, and hiss brought to one level.
#include "../../src/measure/running_floor.hpp"

#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "../../src/measure/standing_lines.hpp"
#include "../../src/measure/whitened_power.hpp"

using namespace hushtrace;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

std::vector<double> noise(double rate, double seconds, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> x(static_cast<std::size_t>(rate * seconds));
    for (double& one : x) one = normal(engine);
    return x;
}
/// A median's share of the mean of so many exponentials (Wilson and Hilferty 1931).
double median_share(double looks) { return std::pow(1.0 - 1.0 / (9.0 * looks), 3); }

}  // namespace

TEST_CASE("a running floor reads level noise from the first spectrum on, by how many it has seen", "[running_floor]") {
    const std::vector<double> level(300, 2e-9);
    RunningFloor floor(300, 0.1, 0.05);   // half overlapped: each spectrum is a look of its own; half a second is ten, worth twenty
    floor.add(level);
    CHECK(floor.noise().size() == 300);
    for (const std::size_t k : {0U, 3U, 150U, 299U}) CHECK(floor.noise()[k] == Approx(2e-9 / 0.6931).epsilon(1e-4));   // ln 2, of one exponential
    CHECK(floor.lift() == 1.0);
    for (int i = 2; i <= 40; ++i) {
        floor.add(level);
        CAPTURE(i);
        CHECK(floor.noise()[150] == Approx(2e-9 / median_share(std::min(i, 20))).epsilon(1e-4));
        CHECK(floor.lift() == 1.0);
    }
    RunningFloor dense(300, 0.1, 0.01);   // ten a window: a fifth of a look each
    for (int i = 0; i < 10; ++i) dense.add(level);
    CHECK(dense.noise()[150] == Approx(2e-9 / median_share(2)).epsilon(1e-4));
}

TEST_CASE("a running floor follows a slope in decibels, and lines don't lift it", "[running_floor]") {
    // exp(-k / 50): a median over as many bins to either side is the middle's; between the middles it is straight in decibels
    std::vector<double> slope(400);
    for (std::size_t k = 0; k < slope.size(); ++k) slope[k] = std::exp(-static_cast<double>(k) / 50);
    RunningFloor floor(400, 0.1, 0.05);
    for (int i = 0; i < 30; ++i) floor.add(slope);
    const double share = median_share(20);
    for (std::size_t k = 15; k < 340; ++k) CHECK(floor.noise()[k] == Approx(slope[k] / share).epsilon(1e-6));
    // below, the stretch of 25 ends at bin 2: of bins 2 to 15 and of 2 to 21 the upper of the two in the middle
    CHECK(floor.noise()[0] == Approx(slope[8] / share).epsilon(1e-6));
    CHECK(floor.noise()[3] == Approx(slope[8] / share).epsilon(1e-6));
    CHECK(floor.noise()[9] == Approx(slope[11] / share).epsilon(1e-6));
    for (const std::size_t k : {60U, 61U, 62U, 200U, 201U}) slope[k] *= 1000;
    for (int i = 0; i < 200; ++i) floor.add(slope);
    CHECK(floor.lift() == 1.0);
    CHECK(floor.noise()[61] == Approx(std::exp(-61.0 / 50) / share).epsilon(0.1));
    CHECK(floor.noise()[150] == Approx(std::exp(-3.0) / share).epsilon(1e-3));
    // higher up a stretch is a fifth of its middle wide: 18 bins of 61 don't lift it
    std::vector<double> crowd(400, 1.0);
    std::fill(crowd.begin() + 291, crowd.begin() + 309, 1000.0);
    RunningFloor wide(400, 0.1, 0.05);
    for (int i = 0; i < 30; ++i) wide.add(crowd);
    CHECK(wide.noise()[300] == Approx(1.0 / share).epsilon(1e-6));
}

TEST_CASE("a click lifts a spectrum, not the floor; what stays lifted is another noise", "[running_floor]") {
    const std::vector<double> level(300, 1.0), lifted(300, 5.0), hardly(300, 1.1);
    RunningFloor floor(300, 0.1, 0.05);
    for (int i = 0; i < 10; ++i) floor.add(level);
    const double before = floor.noise()[150];
    floor.add(lifted);   // its median against the floor, an exponential's ln 2 taken as the usual
    CHECK(floor.lift() == Approx(5.0 / before / 0.6931).epsilon(1e-4));
    CHECK(floor.noise()[150] < 1.05 * before);
    for (int i = 0; i < 5; ++i) {
        floor.add(lifted);
        CHECK(floor.lift() > 3);
        CHECK(floor.noise()[150] < 1.05);
    }
    floor.add(lifted);   // the seventh
    CHECK(floor.lift() == 1.0);
    for (int i = 0; i < 60; ++i) floor.add(lifted);
    CHECK(floor.lift() == 1.0);
    CHECK(floor.noise()[150] == Approx(5.0 / median_share(20)).epsilon(0.02));
    // six don't do it, when the next is as usual
    RunningFloor other(300, 0.1, 0.05);
    for (int i = 0; i < 40; ++i) other.add(level);
    for (int i = 0; i < 6; ++i) other.add(lifted);
    CHECK(other.lift() > 3);
    other.add(level);
    CHECK(other.lift() == 1.0);
    CHECK(other.noise()[150] < 1.1);
    // 1.1 against the floor is 1.56 by that median: less than 1.6 is chance
    other = RunningFloor(300, 0.1, 0.05);
    for (int i = 0; i < 40; ++i) other.add(level);
    other.add(hardly);
    CHECK(other.lift() == 1.0);
    other.add(std::vector<double>(300, 1.25));
    CHECK(other.lift() > 1.6);
}

TEST_CASE("lines that stand while the family is elsewhere are learnt, or known beforehand", "[running_floor]") {
    std::vector<double> level(300, 1.0);
    level[100] = 40.0;
    std::vector<char> touched(300, 0);
    touched[50] = 1;
    RunningFloor floor(300, 0.1, 0.05);
    for (int i = 1; i <= 20; ++i) {
        floor.add(level);
        CHECK_FALSE(floor.stands(100));
        floor.learn(level, touched);
    }
    CHECK(floor.stands(100));   // twenty spectra
    CHECK_FALSE(floor.stands(99));
    CHECK(floor.usual()[100] == Approx(40.0));
    CHECK(floor.usual()[99] == Approx(1.0));
    CHECK(floor.usual()[50] == 0.0);
    // the mean of what was seen, and of the newest four seconds once there are as many
    level[100] = 50.0;
    floor.learn(level, touched);
    CHECK(floor.usual()[100] == Approx(40.0 + 10.0 / 21));
    for (int i = 0; i < 200; ++i) floor.learn(level, touched);
    const double usual = floor.usual()[100];
    level[100] = usual + 8.0;
    floor.learn(level, touched);
    CHECK(floor.usual()[100] == Approx(usual + 8.0 * 0.05 / 4));
    // a click teaches nothing
    for (double& one : level) one *= 10;
    floor.add(level);
    REQUIRE(floor.lift() > 2);
    const double kept = floor.usual()[200];
    floor.learn(level, touched);
    CHECK(floor.usual()[200] == kept);
    // three times the noise stands
    RunningFloor limit(300, 0.1, 0.05);
    std::vector<double> some(300, 1.0);
    some[100] = 3.3;
    some[120] = 2.9;
    for (int i = 0; i < 30; ++i) {
        limit.add(some);
        limit.learn(some, std::vector<char>(300, 0));
    }
    CHECK(limit.stands(100));
    CHECK_FALSE(limit.stands(120));
}

TEST_CASE("a line known beforehand stands in the lobe that a Hann window gives it", "[running_floor]") {
    // mean square over 1.5 bins in its own; the transform's amplitude half of that one bin off, 0.849 half a bin off, 0.17 one and a half
    RunningFloor floor(300, 0.1, 0.05);
    floor.add(std::vector<double>(300, 1e-3));
    floor.expect(1000.0, 6.0, 10.0);
    CHECK(floor.usual()[100] == Approx(6.0 / 15));
    CHECK(floor.usual()[99] == Approx(6.0 / 15 / 4));
    CHECK(floor.usual()[101] == Approx(6.0 / 15 / 4));
    CHECK(floor.usual()[102] == Approx(0).margin(1e-12));
    CHECK(floor.usual()[104] == 0.0);
    CHECK(floor.stands(100));
    CHECK(floor.stands(101));
    CHECK_FALSE(floor.stands(104));
    floor.expect(2005.0, 6.0, 10.0);
    const double half = 2 / std::numbers::pi / 0.75, more = 2 / (3 * std::numbers::pi) / 1.25;
    CHECK(floor.usual()[200] == Approx(6.0 / 15 * half * half));
    CHECK(floor.usual()[201] == Approx(6.0 / 15 * half * half));
    CHECK(floor.usual()[199] == Approx(6.0 / 15 * more * more));
    CHECK(floor.usual()[202] == Approx(6.0 / 15 * more * more));
    floor.expect(1000.0, 3.0, 10.0);   // another in the same place adds
    CHECK(floor.usual()[100] == Approx(9.0 / 15));
    floor.expect(0.0, 6.0, 10.0);
    floor.expect(2990.0, 6.0, 10.0);
    floor.expect(5000.0, 6.0, 10.0);
    CHECK(floor.usual()[0] == Approx(6.0 / 15));
    CHECK(floor.usual()[299] == Approx(6.0 / 15));
    CHECK(floor.usual()[298] == Approx(6.0 / 15 / 4));
}

TEST_CASE("a line stands that is there in four of five short windows", "[standing_lines]") {
    constexpr double rate = 8000;
    auto x = noise(rate, 4.0, 0.005, 2);
    double wandering = 0;
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        x[n] += 0.02 * std::sin(kTurn * 400.3 * t) + 0.03 * std::sin(kTurn * 3300 * t);
        if (t < 2.6) x[n] += 0.05 * std::sin(kTurn * 1500.7 * t);   // goes
        wandering += 2200 * (1 + 0.02 * std::sin(kTurn * 0.6 * t)) / rate;
        x[n] += 0.05 * std::sin(kTurn * wandering);
    }
    const auto lines = standing_lines(x, rate, 3000);
    REQUIRE(lines.size() == 1);
    CHECK(lines[0].frequency_hz == Approx(400.3).margin(0.3));
    CHECK(lines[0].mean_square == Approx(0.5 * 0.02 * 0.02).epsilon(0.1));
    const auto all = standing_lines(x, rate, 1e9);   // 0.45 of the rate is the last
    REQUIRE(all.size() == 2);
    CHECK(all[1].frequency_hz == Approx(3300).margin(0.3));
    CHECK(standing_lines(std::span(x).first(11300), rate, 3000).size() >= 1);
    CHECK(standing_lines(std::span(x).first(11199), rate, 3000).empty());   // twice 0.7 s
}

TEST_CASE("whitened power of white noise is an exponential about its mean, at half the rate", "[whitened_power]") {
    for (const double rate : {48000.0, 8000.0}) {
        const WhitenedPower white = whitened_power(noise(rate, 2.4, 0.01, 4), rate);
        const double out_hz = rate == 48000 ? 24000 : 8000;
        CHECK(white.rate_hz == out_hz);
        CHECK(white.low_hz == 1000);
        CHECK(white.high_hz == Approx(rate == 48000 ? 1000 + 0.49 * 24000 : 3600));
        CHECK(white.from_s == Approx(0.15));   // half of the first window
        // windows of 0.3 s, half overlapped: the last quarter and the first are left out
        CHECK(static_cast<double>(white.power.size()) == Approx(2.1 * out_hz).epsilon(0.01));
        double mean = 0, squares = 0, high = 0;
        const double count = static_cast<double>(white.power.size());
        for (const double one : white.power) {
            mean += one / count;
            squares += one * one / count;
            high += one > 2.0 ? 1.0 / count : 0.0;   // 3 times the mean: exp(-3)
        }
        const auto [least, most] = std::minmax_element(white.power.begin(), white.power.end());
        CHECK(*least == Approx(-1.0).margin(0.01));
        CHECK(*most <= 8.0 + *least + 1e-9);   // cut off at eight times the mean, which the least lies below by all of it
        CHECK(mean == Approx(0).margin(1e-9));
        CHECK(squares == Approx(1.0).epsilon(0.06));
        CHECK(high == Approx(std::exp(-3.0)).epsilon(0.1));
    }
    CHECK(whitened_power(noise(48000, 1.19, 0.01, 5), 48000).power.empty());   // four windows
    CHECK_FALSE(whitened_power(noise(48000, 1.21, 0.01, 5), 48000).power.empty());
    CHECK(whitened_power(noise(6600, 2, 0.01, 5), 6600).power.empty());        // 0.45 of it is less than 3 kHz
    CHECK_FALSE(whitened_power(noise(6700, 2, 0.01, 5), 6700).power.empty());
    CHECK(whitened_power(noise(44000, 1.3, 0.01, 5), 44000).rate_hz == 22000);   // no less than 22 kHz is kept
    CHECK(whitened_power(noise(43000, 1.3, 0.01, 5), 43000).rate_hz == 43000);
    const WhitenedPower silent = whitened_power(std::vector<double>(96000, 0.0), 48000);
    CHECK(std::count(silent.power.begin(), silent.power.end(), 0.0) == static_cast<std::ptrdiff_t>(silent.power.size()));
    CHECK_FALSE(silent.power.empty());
}

TEST_CASE("a modulation of hiss stands in its whitened power, lines and slow swells don't", "[whitened_power]") {
    // (1 + m cos)^2 over its mean 1 + m^2 / 2 has a cosine of 2 m / (1 + m^2 / 2); an exponential of mean u that is cut off at 8 has the
    // mean u (1 - exp(-8 / u))
    constexpr double rate = 48000, m = 0.5, modulation_hz = 40;
    auto x = noise(rate, 3.0, 0.01, 6);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        x[n] *= (1 + m * std::cos(kTurn * modulation_hz * t)) * std::pow(4.0, std::sin(kTurn * 0.3 * t));
        x[n] += 0.01 * std::sin(kTurn * 3000.4 * t) + 0.5 * std::sin(kTurn * 300 * t);   // 34 dB over the noise in its bins
    }
    const WhitenedPower power = whitened_power(x, rate);
    double in_phase = 0, quadrature = 0, slow = 0;
    const double count = static_cast<double>(power.power.size());
    for (std::size_t i = 0; i < power.power.size(); ++i) {
        const double t = power.from_s + static_cast<double>(i) / power.rate_hz;
        in_phase += 2 * power.power[i] * std::cos(kTurn * modulation_hz * t) / count;
        quadrature += 2 * power.power[i] * std::sin(kTurn * modulation_hz * t) / count;
        slow += 2 * power.power[i] * std::sin(kTurn * 0.3 * t) / count;
    }
    double expected = 0;
    for (int i = 0; i < 360; ++i) {
        const double wave = std::cos(kTurn * i / 360), mean = (1 + m * wave) * (1 + m * wave) / (1 + m * m / 2);
        expected += 2 * wave * mean * (1 - std::exp(-8 / mean)) / 360;
    }
    REQUIRE(expected == Approx(2 * m / (1 + m * m / 2)).epsilon(0.05));
    CHECK(in_phase == Approx(expected).epsilon(0.06));
    CHECK(quadrature == Approx(0).margin(0.05));
    CHECK(slow == Approx(0).margin(0.05));
    // a click stands at its time, cut off at eight times the mean
    auto clicked = noise(rate, 2.0, 0.01, 7);
    clicked[48000] += 1.0;
    const WhitenedPower with = whitened_power(clicked, rate);
    const auto at = static_cast<std::size_t>(std::lround((1.0 - with.from_s) * with.rate_hz));
    CHECK(with.power[at] == *std::max_element(with.power.begin(), with.power.end()));
    CHECK(with.power[at] == Approx(7.0).margin(0.1));
    // of a quarter of a second about it the click has 1, the noise 12000 squares of 0.01; all less the whole's mean
    double beside = 0;
    for (std::size_t i = at + 100; i < at + 1100; ++i) beside += with.power[i] / 1000;
    CHECK(beside == Approx(1.2 / 2.2 - (8.0 - with.power[at])).margin(0.06));
}
