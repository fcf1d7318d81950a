// What is moved out of a sound whose bursts and clicks are written down.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/burst_extraction.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/written_train.hpp"

using namespace hushtrace;
using namespace written_train;

namespace {

/// A buzz of one power whose amplitude is set for stretches.
struct Buzz {
    std::vector<double> samples;
    Buzz(double seconds, double amplitude) : samples(static_cast<std::size_t>(seconds * 8000), amplitude) {}
    void set(double from_s, double to_s, double power_times) {
        for (auto n = static_cast<std::size_t>(std::lround(from_s * 8000)); n < static_cast<std::size_t>(std::lround(to_s * 8000)); ++n)
            samples[n] = samples[n] * std::sqrt(power_times);
    }
    std::vector<double> sound() const {
        std::vector<double> out = samples;
        for (std::size_t n = 1; n < out.size(); n += 2) out[n] = -out[n];
        return out;
    }
};

}  // namespace

TEST_CASE("bursts are moved whole, with fades of 0.3 ms outside, and the larger share where two touch", "[bursts]") {
    const std::vector<double> sound(300, 2.0);
    std::vector<double> left = sound, alone(300, 0.5);
    take_out_bursts(left, alone, 10000, std::vector<SoundSpan>{{0.010, 0.012}, {0.0122, 0.0130}, {-0.001, 0.0001}, {0.0299, 0.04}});
    // raised cosine over three samples: a quarter at two thirds of the way out, three quarters at one
    const auto share = [&](std::size_t n) { return (alone[n] - 0.5) / 2.0; };
    const std::pair<std::size_t, double> expected[] = {{97, 0}, {98, 0.25}, {99, 0.75}, {100, 1}, {110, 1}, {120, 1}, {121, 0.75}, {122, 1}, {130, 1},
                                                       {131, 0.75}, {132, 0.25}, {133, 0}, {0, 1}, {1, 1}, {2, 0.75}, {3, 0.25}, {4, 0}, {200, 0},
                                                       {296, 0}, {297, 0.25}, {298, 0.75}, {299, 1}};
    for (const auto& [n, moved] : expected) {
        CAPTURE(n);
        CHECK(share(n) == Approx(moved).margin(1e-6));
        CHECK(left[n] == Approx(2.0 * (1 - moved)).margin(1e-6));
    }
    // at a low rate a sample at least
    std::vector<double> slow(100, 1.0), taken(100, 0.0);
    take_out_bursts(slow, taken, 1000, std::vector<SoundSpan>{{0.0505, 0.0525}});
    CHECK(taken[50] == Approx(0.5).margin(1e-6));
    CHECK(taken[51] == Approx(1.0));
    CHECK(taken[49] == 0);
    std::vector<double> shorter(99, 0.0);
    CHECK_THROWS_AS(take_out_bursts(slow, shorter, 1000, {}), Error);
}

TEST_CASE("a burst stands twelve times over the second round it, and reaches to a third of that", "[bursts]") {
    const auto spans = [](const Buzz& buzz) { return bursts_in(buzz.sound(), 8000); };
    for (const double times : {11.5, 12.5}) {
        Buzz buzz(1, 0.01);
        buzz.set(0.3, 0.305, times);
        CHECK(spans(buzz).size() == (times > 12 ? 1U : 0U));
        CHECK(bursts_in(buzz.sound(), 8000, times - 0.3).size() == 1);
    }
    Buzz tails(1, 0.01);
    tails.set(0.300, 0.304, 4.4);
    tails.set(0.304, 0.308, 20);
    tails.set(0.308, 0.312, 4.4);
    tails.set(0.600, 0.604, 3.6);
    tails.set(0.604, 0.608, 20);
    tails.set(0.608, 0.612, 3.6);
    const auto found = spans(tails);
    REQUIRE(found.size() == 2);
    CHECK(found[0].from_s == Approx(0.300).margin(0.0003));
    CHECK(found[0].to_s == Approx(0.312 + 0.0015).margin(0.0006));   // its lower part rings on
    CHECK(found[1].from_s == Approx(0.604).margin(0.0003));
    CHECK(found[1].to_s == Approx(0.608 + 0.0015).margin(0.0006));
    // dips of half a millisecond are bridged, of two not
    for (const double dip_s : {0.0005, 0.002}) {
        Buzz dip(1, 0.01);
        dip.set(0.300 - dip_s - 0.004, 0.300 - dip_s, 6);
        dip.set(0.300, 0.304, 100);
        dip.set(0.304 + dip_s, 0.308 + dip_s, 6);
        const auto one = spans(dip);
        REQUIRE(one.size() == 1);
        CHECK(one[0].from_s == Approx(dip_s < 0.001 ? 0.2955 : 0.300).margin(0.0003));
        CHECK(one[0].to_s == Approx((dip_s < 0.001 ? 0.3085 : 0.304) + 0.0015).margin(0.0006));
    }
    // nearer than 10 ms, with the ringing: one
    for (const double apart_s : {0.0105, 0.0125}) {
        Buzz two(1, 0.01);
        two.set(0.3, 0.304, 20);
        two.set(0.304 + apart_s, 0.308 + apart_s, 20);
        CHECK(spans(two).size() == (apart_s < 0.0115 ? 1U : 2U));
    }
    // each second has its own usual power, the last one reaches back to be whole
    Buzz seconds(2.5, 0.01);
    seconds.set(0.5, 0.504, 30);
    seconds.set(1.2, 1.9, 9);
    seconds.set(1.5, 1.504, 3.3);
    seconds.set(2.3, 2.304, 30);
    const auto in_first = spans(seconds);
    REQUIRE(in_first.size() == 2);
    CHECK(in_first[0].from_s == Approx(0.5).margin(0.0003));
    CHECK(in_first[1].from_s == Approx(2.3).margin(0.0003));
    Buzz back(2.5, 0.01);
    back.set(1.4, 2.0, 9);
    back.set(2.3, 2.304, 30);
    CHECK(spans(back).empty());
    CHECK(bursts_in(std::vector<double>(8000, 0.0), 8000).empty());
    // a boom below 2 kHz is none
    auto boom = Buzz(1, 0.01).sound();
    for (std::size_t n = 0; n < 4000; ++n) {
        const double t = static_cast<double>(n) / 8000;
        boom[n] += 0.1 * std::pow(std::sin(2 * std::numbers::pi * t), 2) * std::sin(2 * std::numbers::pi * 50 * t);
    }
    CHECK(bursts_in(boom, 8000).empty());
}

TEST_CASE("each turn of a train has one click or none, where its profile is loud", "[bursts]") {
    const auto train = train_of(profile_with({11, 12, 13}), 20);
    const auto at_turns = [](std::size_t step, double power) {
        Buzz buzz(1, 0.01);
        for (std::size_t i = 0; i < 20; i += step) buzz.set(0.05 * static_cast<double>(i) + 0.024, 0.05 * static_cast<double>(i) + 0.026, power);
        return buzz.sound();
    };
    const auto each = clicks_of_train(at_turns(1, 20), 8000, train);
    REQUIRE(each.size() == 20);
    for (std::size_t i = 0; i < 20; ++i) {
        CHECK(each[i].from_s == Approx(0.05 * static_cast<double>(i) + 0.024).margin(0.0003));
        CHECK(each[i].to_s == Approx(0.05 * static_cast<double>(i) + 0.026 + 0.0015).margin(0.0006));
    }
    // one that rises, and reaches beyond the loud phases on both sides
    Buzz wide(1, 0.01);
    for (std::size_t i = 0; i < 20; ++i) {
        const double turn = 0.05 * static_cast<double>(i);
        wide.set(turn + 0.019, turn + 0.028, 10);
        wide.set(turn + 0.028, turn + 0.034, 20);
    }
    const auto grown = clicks_of_train(wide.sound(), 8000, train);
    REQUIRE(grown.size() == 20);
    for (std::size_t i = 0; i < 20; ++i) {
        CHECK(grown[i].from_s == Approx(0.05 * static_cast<double>(i) + 0.019).margin(0.0003));
        CHECK(grown[i].to_s == Approx(0.05 * static_cast<double>(i) + 0.034 + 0.0015).margin(0.0006));
    }
    CHECK(clicks_of_train(at_turns(2, 20), 8000, train).size() == 10);   // half of the turns show one
    CHECK(clicks_of_train(at_turns(1, 4.5), 8000, train).front().from_s == Approx(0.024).margin(0.0003));
    // fewer, or below four times the usual: by the profile, a phase's room on either side
    for (const auto& faint : {at_turns(3, 20), at_turns(1, 3.5)}) {
        const auto by_phase = clicks_of_train(faint, 8000, train);
        REQUIRE(by_phase.size() == 20);
        for (std::size_t i = 0; i < 20; ++i) {
            CHECK(by_phase[i].from_s == Approx(0.05 * (static_cast<double>(i) + 10.0 / 24)).margin(0.0003));
            CHECK(by_phase[i].to_s == Approx(0.05 * (static_cast<double>(i) + 15.0 / 24)).margin(0.0003));
        }
    }
    // a quarter of the turn either way at most; and over the turn's end
    const auto quiet = Buzz(1, 0.01).sound();
    auto broad = profile_with({12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22});
    broad[12] = 20;
    const auto quarter = clicks_of_train(quiet, 8000, train_of(broad, 20));
    REQUIRE(quarter.size() == 20);
    CHECK(quarter[0].from_s == Approx(0.05 * 11.0 / 24).margin(0.0003));
    CHECK(quarter[0].to_s == Approx(0.05 * 19.0 / 24).margin(0.0003));
    // loud is more than twice what a third of the phases stay below, and than half of them do
    auto floor = profile_with({11, 12, 13}, 5);
    for (const std::size_t i : {0U, 1U, 2U, 3U, 4U, 5U, 6U, 7U, 18U, 19U, 20U, 21U}) floor[i] = 3;
    const auto over_both = clicks_of_train(quiet, 8000, train_of(floor, 20));
    CHECK(over_both[0].from_s == Approx(0.05 * 10.0 / 24).margin(0.0003));
    CHECK(over_both[0].to_s == Approx(0.05 * 15.0 / 24).margin(0.0003));
    const auto lone = clicks_of_train(quiet, 8000, train_of(profile_with({12}), 20));
    CHECK(lone[0].from_s == Approx(0.05 * 11.0 / 24).margin(0.0003));
    CHECK(lone[0].to_s == Approx(0.05 * 14.0 / 24).margin(0.0003));
    const auto wrapped = clicks_of_train(quiet, 8000, train_of(profile_with({23, 0, 1}), 20));
    REQUIRE(wrapped.size() == 21);
    CHECK(wrapped[0].from_s == 0);
    CHECK(wrapped[0].to_s == Approx(0.05 * 3.0 / 24).margin(0.0003));
    CHECK(wrapped[1].from_s == Approx(0.05 * 22.0 / 24).margin(0.0003));
    CHECK(wrapped[20].to_s == Approx(1.0));
    CHECK(clicks_of_train(quiet, 8000, train_of({}, 20)).empty());
}
