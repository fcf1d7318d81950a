// Clicks and bursts, turn by turn, whose times and powers are written down: profiles, rates, spans, what is moved and what is left.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "../../src/measure/click_profile.hpp"
#include "hushtrace/measure/burst_extraction.hpp"
#include "hushtrace/measure/impulse_train.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

Track steady(double hz, double seconds = 20) { return {{0.0, seconds}, {hz, hz}}; }
/// Power at 2000 values a second: a floor whose logarithm scatters by 0.3, and clicks of two values at some times.
std::vector<double> power_of(double seconds, const std::vector<double>& times, double click, unsigned seed = 1) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, 0.3);
    std::vector<double> out(static_cast<std::size_t>(seconds * 2000));
    for (double& one : out) one = std::exp(normal(random));
    for (const double t : times)
        for (std::size_t i = 0; i < 2; ++i)
            if (static_cast<std::size_t>(t * 2000) + i < out.size()) out[static_cast<std::size_t>(t * 2000) + i] = click;
    return out;
}
std::vector<double> every(double from_s, double apart_s, double to_s) {
    std::vector<double> out;
    for (int i = 0; from_s + i * apart_s < to_s; ++i) out.push_back(from_s + i * apart_s);
    return out;
}
int turns_of(double hz, int of, double seconds = 10, double weak = 0) {
    auto power = power_of(seconds, every(0.4 / hz, of / hz, seconds), 1000);
    if (weak > 0)
        for (const double t : every(0.4 / hz, 1 / hz, seconds))
            for (auto i = static_cast<std::size_t>(t * 2000); i < static_cast<std::size_t>(t * 2000) + 2; ++i) power[i] = std::max(power[i], weak);
    return turns_a_click(power, 2000, steady(hz), click_profile(power, 2000, steady(hz)).power);
}
ImpulseTrain train_of(std::vector<double> profile, double hz) {
    ImpulseTrain train;
    train.rate = steady(hz);
    train.profile = std::move(profile);
    return train;
}
std::vector<double> profile_with(const std::vector<std::size_t>& loud, double height = 9) {
    std::vector<double> out(24, 1.0);
    for (const std::size_t i : loud) out[i] = height;
    if (!loud.empty()) out[loud[loud.size() / 2]] += 1;
    return out;
}
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

TEST_CASE("a profile holds each phase's mean power, and how its means stray", "[click_profile]") {
    // 47.3 turns a second, 24 phases; in every second turn one more, in the others one less
    std::vector<double> power;
    std::vector<double> count(24, 0.0);
    double turn = 0;
    int turns = 0;
    while (power.size() < 2300) {
        const auto p = static_cast<std::size_t>(turn * 24);
        power.push_back(static_cast<double>(p) + 10 + (turns % 2 == 0 ? 1.0 : -1.0));
        count[p] += 1;
        turn += 47.3 / 2000;
        if (turn >= 1) turn -= 1, ++turns;
    }
    const ClickProfile profile = click_profile(power, 2000, steady(47.3));
    REQUIRE(profile.power.size() == 24);
    double variance = 0;
    for (std::size_t p = 0; p < 24; ++p) {
        CHECK(profile.power[p] == Approx(static_cast<double>(p) + 10).margin(0.06));
        variance += 1 / count[p] / 24;
    }
    CHECK(profile.sd == Approx(std::sqrt(variance)).epsilon(0.01));
    // 1.2 ms a phase where turns are long, 160 at most
    CHECK(click_profile(power_of(4, {}, 0), 2000, steady(10.03)).power.size() == 83);
    CHECK(click_profile(power_of(4, {}, 0), 2000, steady(2.03)).power.size() == 160);
    CHECK(click_profile(power_of(0.02, {}, 0), 2000, steady(47.3)).power.empty());   // a phase holds less than two values
    // loud: more than twice what a third of the phases stay below, and at most half of them
    const auto loud = loud_phases({1, 1, 1, 1, 1, 1, 1, 1, 1.9, 2.1, 5, 9}), many = loud_phases({1, 1, 1, 1, 1, 5, 5, 5, 5, 5, 5, 6});
    REQUIRE(loud.size() == 12);
    // the fourth of twelve counts, and the sixth
    const auto edge = loud_phases({1, 1, 1, 1, 3, 3, 3, 3, 5, 5, 5, 9});
    CHECK(std::count(edge.begin(), edge.end(), true) == 4);
    for (std::size_t i = 0; i < 12; ++i) {
        CHECK(loud[i] == (i >= 9));
        CHECK(many[i] == (i == 11));
    }
    CHECK(loud_phases({}).empty());
}

TEST_CASE("a train most of whose turns are empty is one of a fraction of its rate", "[click_profile]") {
    for (const int of : {1, 2, 3, 4, 5, 6, 7, 9, 11}) CHECK(turns_of(20, of) == of);
    CHECK(turns_of(4.1, 5) == 5);
    CHECK(turns_of(3.9, 5) == 1);        // slower than 0.8 a second is no train's
    CHECK(turns_of(4.1, 8, 20) == 4);    // and again for every halving
    CHECK(turns_of(20, 5, 1.1) == 5);    // 21 whole turns: four for each hand
    CHECK(turns_of(20, 5, 0.9) == 1);
    CHECK(turns_of(20, 3, 10, 6) == 1);  // weaker clicks in the other turns
    CHECK(turns_a_click(power_of(2, {}, 0), 2000, steady(20), {}) == 1);
    CHECK(turns_a_click(power_of(2, {}, 0), 2000, {}, profile_with({3})) == 1);
}

TEST_CASE("clicks several times a turn are told if each of their places holds some", "[click_profile]") {
    for (const int clicks : {1, 2, 3, 4, 5, 6}) {
        auto power = power_of(10, every(0.4 / 5.03, 1 / (5.03 * clicks), 10), 50);
        for (const double t : every(0.4 / 5.03, 1 / 5.03, 10)) power[static_cast<std::size_t>(t * 2000)] = 1000;   // one coil is stronger
        const auto profile = click_profile(power, 2000, steady(5.03)).power;
        CAPTURE(clicks);
        CHECK(clicks_a_turn(power, 2000, steady(5.03), profile, 180) == clicks);
        if (clicks == 4) CHECK(clicks_a_turn(power, 2000, steady(5.03), profile, 20.0) == 2);
        if (clicks == 4) CHECK(clicks_a_turn(power, 2000, steady(5.03), profile, 20.2) == 4);
    }
    CHECK(clicks_a_turn(power_of(2, {}, 0), 2000, steady(20), {}, 180) == 1);
    CHECK(clicks_a_turn(power_of(2, {}, 0), 2000, {}, profile_with({3}), 180) == 1);
}

TEST_CASE("a track is turned until the clicks keep their phase, by 3 % at most", "[click_profile]") {
    for (const double hz : {20.15, 19.85, 21.0}) {
        auto envelope = power_of(10, every(0.01, 1 / hz, 10), 100);
        double mean = 0;
        for (const double one : envelope) mean += one / static_cast<double>(envelope.size());
        for (double& one : envelope) one -= mean;
        const Track locked = phase_locked(envelope, 2000, steady(20));
        CHECK(locked.time_s.size() == 200);   // every 50 ms
        CHECK(locked.time_s[1] == Approx(0.05));
        if (hz < 20.5) CHECK(locked.mean_hz() == Approx(hz).epsilon(5e-4));
        for (const double f : locked.frequency_hz) CHECK(std::abs(f - 20) <= 0.6 + 1e-9);
    }
    CHECK(phase_locked(std::vector<double>(2000, 0.1), 2000, steady(20)).time_s == steady(20).time_s);   // less than three stretches
}

TEST_CASE("a clock's train gets one rate, by the line through its clicks; an engine's keeps its track", "[click_profile]") {
    Track track;
    for (double t = 0; t < 8; t += 0.05) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(10.05 + 0.02 * std::sin(2 * std::numbers::pi * t / 1.3));
    }
    auto times = every(0.05, 1 / 10.043, 8);
    const auto steadied_by = [&](const std::vector<double>& clicks, const Track& by) {
        const auto power = power_of(8, clicks, 1000);
        return steadied(power, 2000, by, click_profile(power, 2000, by).power);
    };
    const Track clock = steadied_by(times, track);
    CHECK(clock.time_s == track.time_s);
    CHECK(clock.wander() < 1e-12);
    CHECK(clock.mean_hz() == Approx(10.043).epsilon(1e-4));
    // times that stray: 0.5 ms and 0.4 ms, by the median's spread (a uniform law's is half its reach, times 1.4826)
    std::mt19937 random(3);
    for (const double reach_s : {0.0008, 0.0020}) {
        std::uniform_real_distribution<double> off(-reach_s, reach_s);
        auto stray = times;
        for (double& t : stray) t += off(random);
        CHECK((steadied_by(stray, track).wander() < 1e-12) == (reach_s < 0.001));
    }
    CHECK(steadied_by(every(0.05, 1 / 10.043, 1.4), track).wander() > 1e-4);   // 14 clicks
    Track wandering = track;
    for (std::size_t i = 0; i < wandering.frequency_hz.size(); ++i) wandering.frequency_hz[i] = 10.043 + (i % 2 == 0 ? 0.4 : -0.4);
    CHECK(steadied_by(times, wandering).wander() > 0.03);
}

TEST_CASE("a train's clicks sound at its loud phases and one beside them, in every turn", "[impulse]") {
    const auto spans = loud_spans(train_of(profile_with({6, 7}), 10), 1.0);
    REQUIRE(spans.size() == 10);
    for (std::size_t i = 0; i < 10; ++i) {   // phases 5 to 8 of 24, in steps of half a millisecond
        CHECK(spans[i].from_s == Approx(0.1 * static_cast<double>(i) + 0.5 / 24).margin(0.00051));
        CHECK(spans[i].to_s == Approx(0.1 * static_cast<double>(i) + 0.9 / 24).margin(0.00051));
    }
    const auto wrapped = loud_spans(train_of(profile_with({0}), 10), 0.95);
    REQUIRE(wrapped.size() == 10);   // phases 23, 0 and 1
    CHECK(wrapped[0].from_s == 0);
    CHECK(wrapped[0].to_s == Approx(0.2 / 24).margin(0.00051));
    CHECK(wrapped[1].from_s == Approx(0.1 - 0.1 / 24).margin(0.00051));
    CHECK(loud_spans(train_of(profile_with({11}, 1), 10), 1.0).size() == 10);   // nothing twice as high: the highest
    CHECK(loud_spans(train_of({}, 10), 1.0).empty());

    // blanked there and before it, by a fade of 0.4 ms
    const std::vector<double> ones(8000, 1.0);
    const auto blanked = blank_clicks(ones, 8000, train_of(profile_with({6, 7}), 10));
    REQUIRE(blanked.size() == 8000);
    for (std::size_t turn = 0; turn < 10; ++turn) {
        const std::size_t first = 800 * turn + 167, last = 800 * turn + 266;   // phases 5 to 7
        CHECK(blanked[first - 8] == Approx(1.0).margin(0.01));
        CHECK(blanked[first + 14] < 0.06);
        CHECK(blanked[last - 6] < 1e-6);
        CHECK(blanked[last + 5] == Approx(1 - std::exp(-5 / 3.2)).margin(0.25));
        CHECK(blanked[last + 40] == Approx(1.0).margin(0.001));
    }
    CHECK(blank_clicks(ones, 8000, train_of({}, 10)) == ones);
}

TEST_CASE("a train of impulses reads its rate, its power and its profile", "[impulse]") {
    const double rate = 8000, height = 0.2;
    std::mt19937 random(4);
    std::normal_distribution<double> normal(0, 1e-3);
    std::vector<double> sound(40000);
    for (double& x : sound) x = normal(random);
    std::size_t clicks = 0;
    for (const double t : every(0.02, 1 / 25.3, 5)) sound[static_cast<std::size_t>(t * rate)] += height, ++clicks;
    const auto train = find_impulse_train(sound, rate);
    REQUIRE(train);
    CHECK(train->rate.mean_hz() == Approx(25.3).epsilon(3e-4));
    CHECK(train->significance > 20);
    // an impulse is white: of its power a 40th lies below 100 Hz
    CHECK(train->mean_square == Approx(height * height * static_cast<double>(clicks) / 40000 * 0.97).epsilon(0.05));
    CHECK(train->mean_square_sd > 0);
    CHECK(train->mean_square_sd < train->mean_square);
    std::vector<double> sorted = train->profile;
    REQUIRE(sorted.size() == 32);   // 39.5 ms by 1.2 ms
    std::sort(sorted.begin(), sorted.end());
    CHECK(train->contrast_db == Approx(10 * std::log10(sorted.back() / sorted[32 / 3])));
    CHECK(train->contrast_db > 20);
    const auto peak = std::max_element(train->profile.begin(), train->profile.end()) - train->profile.begin();
    CHECK(static_cast<double>(peak) / 32 == Approx(0.02 * 25.3).margin(0.06));
    CHECK(find_impulse_trains(sound, rate).size() == 1);
    CHECK(find_impulse_trains(sound, 5700).empty());   // above 2 kHz there is too little
    ImpulseSearch slower;
    slower.to_hz = 20;
    for (const ImpulseTrain& one : find_impulse_trains(sound, rate, slower)) CHECK(one.rate.mean_hz() < 20);
    ImpulseSearch none;
    none.most_trains = 0;
    CHECK(find_impulse_trains(sound, rate, none).empty());
    CHECK_FALSE(find_impulse_train(std::span(sound).first(9000), rate));   // 1.1 s
    CHECK_FALSE(find_impulse_train(std::vector<double>(40000, 0.0), rate));
}

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
