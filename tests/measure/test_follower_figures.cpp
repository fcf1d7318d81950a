// What the followers of a band and of clicks read of sound whose spectrum is known on paper: powers, times, uncertainties.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include "hushtrace/measure/band_follower.hpp"
#include "hushtrace/measure/click_follower.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/weighting.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

Block of_channels(const std::vector<std::vector<double>>& channels) {
    Block block(channels.size(), channels[0].size());
    for (std::size_t c = 0; c < channels.size(); ++c) std::copy(channels[c].begin(), channels[c].end(), block.channel(c).begin());
    return block;
}
std::vector<double> sine(double hz, double amplitude, double seconds, double rate_hz) {
    std::vector<double> out(static_cast<std::size_t>(seconds * rate_hz));
    for (std::size_t n = 0; n < out.size(); ++n) out[n] = amplitude * std::sin(2 * pi * hz * static_cast<double>(n) / rate_hz);
    return out;
}
/// Of one power throughout, however short the stretch: one amplitude, its sign turned from sample to sample.
std::vector<double> buzz(std::size_t frames, double amplitude) {
    std::vector<double> out(frames);
    for (std::size_t n = 0; n < frames; ++n) out[n] = n % 2 == 0 ? amplitude : -amplitude;
    return out;
}
std::vector<double> white(std::size_t frames, double rms, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, rms);
    std::vector<double> out(frames);
    for (double& x : out) x = normal(random);
    return out;
}

}  // namespace

TEST_CASE("everything in the band is the mean of half a second's spectra, and as unsure as its bandwidth and time say", "[follower]") {
    const double rate = 8000;
    const auto length = static_cast<double>(fast_length(680));   // 0.085 s
    const double hop = std::floor(length / 4), bin_hz = rate / length, hop_s = hop / rate;
    BandFollower follower(rate, 2, FollowedBand::everything);
    CHECK(follower.hop_s() == Approx(hop_s));
    const double line_hz = 60 * bin_hz;   // in the middle of a bin
    const auto on = follower.add(of_channels({sine(line_hz, 0.1, 1.5, rate), sine(line_hz, 0.3, 1.5, rate)}));
    CHECK(on.size() == static_cast<std::size_t>((12000 - length) / hop) + 1);
    for (std::size_t i = 0; i < on.size(); ++i) {
        CHECK(on[i].time_s == Approx((length + hop * static_cast<double>(i)) / rate));   // the end of the newest sound
        CHECK_FALSE(on[i].frequency_hz);
        REQUIRE(on[i].mean_square.size() == 2);
        CHECK(on[i].mean_square[0].value == Approx(0.5 * 0.01).epsilon(1e-6));
        CHECK(on[i].mean_square[1].value == Approx(0.5 * 0.09).epsilon(1e-6));
        CHECK(on[i].mean_square[0].limited_by == LimitedBy::nothing);
        CHECK(on[i].at_most == std::vector<bool>{false, false});
        // a Hann window shows a line of power P as P / 1.5 in its bin and a quarter of that in both beside it: its squared density
        // integrates to P^2 / (2 bins); over half a second and half a window
        CHECK(on[i].mean_square[0].sd == Approx(0.005 * std::sqrt(1 / (2 * bin_hz * (0.5 + 0.0425)))).epsilon(1e-6));
    }
    // after its end it fades for half a second and a window
    const auto off = follower.add(Block(2, 8000));
    double last_s = 0;
    for (const FollowedPower& one : off)
        if (one.mean_square[1].value > 1e-12) last_s = one.time_s;
    CHECK(last_s == Approx(1.5 + 0.5 + length / rate).margin(2 * hop_s));
    const auto half = std::find_if(off.begin(), off.end(), [&](const auto& one) { return one.mean_square[0].value < 0.0025; });
    REQUIRE(half != off.end());
    CHECK(half->time_s == Approx(1.5 + 0.25 + 0.5 * length / rate).margin(2 * hop_s));
    CHECK(off.back().mean_square[0].value < 1e-20);
}

TEST_CASE("the followed band begins at 20 Hz and ends at 20 kHz", "[follower]") {
    const auto power_of = [](double rate, const std::vector<double>& sound) {
        return BandFollower(rate, 1, FollowedBand::everything).add(of_channels({sound})).back().mean_square[0].value;
    };
    // at 48 kHz bins lie some 12 Hz apart: of a line in bin 2 a sixth falls into bin 1, below 20 Hz, and bin 0 holds nothing
    const double bin_hz = 48000.0 / static_cast<double>(fast_length(4080));
    REQUIRE(bin_hz < 13);
    CHECK(power_of(48000, sine(2 * bin_hz, 0.1, 0.2, 48000)) == Approx(0.005 * 5 / 6).epsilon(1e-3));
    CHECK(power_of(48000, std::vector<double>(9600, 0.3)) < 1e-12);   // dc
    const double top = std::floor(20000 / bin_hz);
    CHECK(power_of(48000, sine(top * bin_hz, 0.1, 0.2, 48000)) == Approx(0.005 * 5 / 6).epsilon(1e-3));
    CHECK(power_of(48000, sine((top - 1) * bin_hz, 0.1, 0.2, 48000)) == Approx(0.005).epsilon(1e-3));
    CHECK(power_of(48000, sine((top + 3) * bin_hz, 0.1, 0.2, 48000)) < 1e-9);
}

TEST_CASE("hiss is the noise's own, flat or weighted, with the spread of medians; silence is 0", "[follower]") {
    const double rate = 16000, rms = 0.01, density = rms * rms / 8000;
    auto sound = white(40000, rms, 2);
    const auto line = sine(1000, 0.2, 2.5, rate);
    for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += line[n];
    const auto flat = BandFollower(rate, 1, FollowedBand::hiss).add(of_channels({sound})).back();
    CHECK(flat.mean_square[0].value == Approx(density * 7980).epsilon(0.05));
    // over a second, by medians, which stray by pi / 2 more in variance
    CHECK(flat.mean_square[0].sd == Approx(density * std::sqrt(0.5 * pi * 7980)).epsilon(0.1));
    CHECK(flat.mean_square[0].limited_by == LimitedBy::nothing);
    CHECK_FALSE(flat.at_most[0]);
    double weighted = 0, squares = 0;
    for (double hz = 20.5; hz < 8000; hz += 1) {
        weighted += density * a_weighting_power(hz);
        squares += std::pow(density * a_weighting_power(hz), 2);
    }
    const auto a = BandFollower(rate, 1, FollowedBand::hiss_a).add(of_channels({sound})).back();
    CHECK(a.mean_square[0].value == Approx(weighted).epsilon(0.06));
    CHECK(a.mean_square[0].sd == Approx(std::sqrt(0.5 * pi * squares)).epsilon(0.1));
    CHECK(BandFollower(rate, 1, FollowedBand::hiss).add(Block(1, 16000)).back().mean_square[0].value == 0);
}

TEST_CASE("what a follower can't follow is refused", "[follower]") {
    CHECK_THROWS_AS(BandFollower(-1, 1, FollowedBand::hiss), Error);
    CHECK_THROWS_AS(BandFollower(48000, 0, FollowedBand::hiss), Error);
    CHECK_THROWS_AS(ClickFollower(5000, 1), Error);
    CHECK_THROWS_AS(ClickFollower(48000, 0), Error);
    CHECK_NOTHROW(ClickFollower(5001, 1));
    ClickFollower clicks(48000, 2);
    BandFollower band(48000, 2, FollowedBand::everything);
    Block broken(2, 10);
    broken.channel(1)[9] = std::numeric_limits<double>::infinity();
    PowerFollower* const both[] = {&clicks, &band};
    for (PowerFollower* one : both) {
        CHECK_THROWS_WITH(one->add(Block(1, 10)), Catch::Contains("number of channels"));
        CHECK_THROWS_WITH(one->add(broken), Catch::Contains("no number"));
        CHECK_NOTHROW(one->add(Block(2, 10)));
    }
}

TEST_CASE("a click follower reads every 0.04 s from 0.2 s on, frames of a 750th of a second over 0.8 s", "[follower]") {
    ClickFollower follower(48000, 1);
    CHECK(follower.hop_s() == Approx(0.04));
    std::vector<FollowedPower> all;
    const auto sound = buzz(48000, 0.01);
    for (std::size_t from = 0; from < sound.size(); from += 1000) {
        const std::vector<double> part(sound.begin() + static_cast<std::ptrdiff_t>(from), sound.begin() + static_cast<std::ptrdiff_t>(from + 1000));
        for (FollowedPower& one : follower.add(of_channels({part}))) all.push_back(one);
    }
    REQUIRE(all.size() == 21);
    for (std::size_t i = 0; i < all.size(); ++i) CHECK(all[i].time_s == Approx(0.2 + 0.04 * static_cast<double>(i)));
    // at 8 kHz a frame is 11 samples, 29 of them are a hop and 581 the window
    ClickFollower slow(8000, 1);
    CHECK(slow.hop_s() == Approx(29 * 11 / 8000.0));
    CHECK(slow.add(of_channels({buzz(4000, 0.01)})).front().time_s == Approx(145 * 11 / 8000.0));
}

TEST_CASE("without clicks the follower tells three times what chance leaves of the power above 2 kHz", "[follower]") {
    // Wilson and Hilferty 1931: the median of chi-squared over its mean is (1 - 2 / (9 n))^3, n the degrees of freedom: values in
    // a frame of 64, of which the band from 4 to 48 kHz of 48 passes
    const double freedom = 64 * (1 - 4.0 / 48), to_mean = 1 / std::pow(1 - 2 / (9 * freedom), 3);
    const double chance = 0.02 + 2 * std::sqrt(2 / (freedom * 600));   // 2 % for what isn't quite Gaussian, two standard deviations
    // Butterworth of order 4 at 2 kHz, bilinear: 1 / (1 + (tan / tan)^8); a frame holds whole half cycles of these
    for (const double hz : {1125.0, 1500.0, 1875.0, 2250.0, 4500.0}) {
        const double passes = 1 / (1 + std::pow(std::tan(pi * 2000 / 48000) / std::tan(pi * hz / 48000), 8));
        const auto last = ClickFollower(48000, 1).add(of_channels({sine(hz, 0.1, 1.1, 48000)})).back();
        CAPTURE(hz);
        REQUIRE(last.at_most[0]);
        CHECK(last.mean_square[0].value == Approx(3 * chance * to_mean * 0.005 * passes).epsilon(0.001));
        CHECK(last.mean_square[0].sd == 0);
        CHECK(last.mean_square[0].limited_by == LimitedBy::noise);
    }
    const auto silence = ClickFollower(48000, 1).add(Block(1, 48000)).back();
    CHECK(silence.mean_square[0].value == 0);
}

TEST_CASE("clicks read their mean power over the usual one, as sure as eight parts of the window agree", "[follower]") {
    const double usual = 1e-4, freedom = 64 * (1 - 4.0 / 48), to_mean = 1 / std::pow(1 - 2 / (9 * freedom), 3);
    const double chance = usual * to_mean * (0.02 + 2 * std::sqrt(2 / (freedom * 600)));
    const auto with_clicks = [&](std::size_t from, std::size_t every, std::size_t count, double height) {
        auto sound = buzz(52800, 0.01);   // 825 frames: the last reading at 810, of frames 210 to 809
        for (std::size_t i = 0; i < count; ++i)
            for (std::size_t n = 0; n < 64; ++n) sound[64 * (from + every * i) + n] *= height;
        return ClickFollower(48000, 1).add(of_channels({sound})).back();
    };
    // ten in each of the eight parts of 75 frames, eleven times as high: 120 times the power more in 80 of 600 frames
    std::vector<double> even = buzz(52800, 0.01);
    for (std::size_t part = 0; part < 8; ++part)
        for (std::size_t i = 0; i < 10; ++i)
            for (std::size_t n = 0; n < 64; ++n) even[64 * (210 + 75 * part + 7 * i) + n] *= 11;
    const auto read = ClickFollower(48000, 1).add(of_channels({even})).back();
    CHECK(read.time_s == Approx(1.08));
    CHECK_FALSE(read.at_most[0]);
    CHECK(read.mean_square[0].value == Approx(usual * (120 * 80 / 600.0 + 1 - to_mean)).epsilon(0.02));
    CHECK(read.mean_square[0].sd < 0.6 * chance + 0.01 * read.mean_square[0].value);
    CHECK(read.mean_square[0].sd > 0.5 * chance);
    CHECK(read.mean_square[0].limited_by == LimitedBy::nothing);
    // all in the last part: one of eight values is 8 times their mean, the others 0, so the mean strays by itself
    const auto lone = with_clicks(740, 6, 10, 11);
    CHECK(lone.mean_square[0].value == Approx(usual * (120 * 10 / 600.0 + 1 - to_mean)).epsilon(0.02));
    CHECK(lone.mean_square[0].sd == Approx(lone.mean_square[0].value).epsilon(0.03));
    // before the window: none
    CHECK(with_clicks(130, 7, 10, 11).at_most[0]);
    // on both sides of three times chance
    for (const double times : {2.7, 3.3}) {
        const double height = std::sqrt(1 + (times * chance + usual * (to_mean - 1)) / usual * 600 / 80);
        std::vector<double> faint = buzz(52800, 0.01);
        for (std::size_t part = 0; part < 8; ++part)
            for (std::size_t i = 0; i < 10; ++i)
                for (std::size_t n = 0; n < 64; ++n) faint[64 * (210 + 75 * part + 7 * i) + n] *= height;
        const auto one = ClickFollower(48000, 1).add(of_channels({faint})).back();
        CHECK(one.at_most[0] == (times < 3));
        CHECK(one.mean_square[0].value == Approx(times < 3 ? (times + 3) * chance : times * chance).epsilon(0.05));
    }
}
