// Trains of clicks, turn by turn, whose times and powers are written down: profiles, rates, spans, what is blanked.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "../../src/measure/click_profile.hpp"
#include "hushtrace/measure/impulse_train.hpp"
#include "measure/written_train.hpp"

using namespace hushtrace;
using namespace written_train;

namespace {

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

namespace {

/// Power of a turn of so many values whose eighths have these greatest logarithms, from the click's fifth place on, the click in the
/// middle of eighth 4: eighths 3 and 5 hold nothing, what lies between is far below.
std::vector<double> eighths(std::size_t turns, std::size_t values, const std::vector<double>& clicks) {
    const double beside[] = {0.5, -0.5, 1.0, -9, 0, -9, -1.0, 0.0};
    std::vector<double> out;
    for (std::size_t turn = 0; turn < turns; ++turn)
        for (std::size_t i = 0; i < values; ++i) {
            const double place = 8 * (static_cast<double>(i) + 0.5) / static_cast<double>(values);
            const auto eighth = static_cast<std::size_t>(place);
            const bool middle = std::abs(place - static_cast<double>(eighth) - 0.5) < 0.1;
            out.push_back(std::exp(!middle ? -9 : eighth == 4 ? clicks[turn % clicks.size()] : beside[eighth]));
        }
    return out;
}

}  // namespace

TEST_CASE("clicks are told from what lies between by standard deviations of five eighths of a turn", "[click_profile]") {
    // of the five beside it the least lies 1 below the median: 1.16 standard deviations (normal order statistics of five), and the
    // median itself strays by 0.54 of one: so much is one
    const double sd = std::hypot(1.0, 0.54) / 1.16;
    // 20 turns of 0.1 s, two clicks in each of 0.2 s: four standard deviations of the mean of nine or ten in either hand
    const auto clicks = [](double one, double other) {
        const auto power = eighths(20, 200, {one, other});
        return clicks_a_turn(power, 2000, steady(5), click_profile(power, 2000, steady(5)).power, 10.5);
    };
    CHECK(clicks(1.42 * sd, 1.45 * sd) == 2);
    CHECK(clicks(1.45 * sd, 1.20 * sd) == 1);
    // a turn counts for eight at most, and the weaker hand a quarter of the stronger one
    CHECK(clicks(30, 2.2 * sd) == 2);
    CHECK(clicks(30, 1.8 * sd) == 1);
    // the other hand must hold less than a quarter, by two standard deviations of its mean: 2 / sqrt(9 or 10) below a quarter of it
    const auto turns = [](double click) {
        const auto power = eighths(20, 200, {click, 0.0});
        return turns_a_click(power, 2000, steady(10), click_profile(power, 2000, steady(10)).power);
    };
    CHECK(turns(2.85 * sd) == 2);
    CHECK(turns(2.40 * sd) == 1);
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
    // a rate that swings is followed at its time: by 0.3 Hz in four seconds
    std::vector<double> swinging;
    double turn = 0.5;
    for (std::size_t i = 0; i < 20000; ++i) {
        turn += (20 + 0.3 * std::sin(0.5 * std::numbers::pi * static_cast<double>(i) / 2000)) / 2000;
        swinging.push_back(turn >= 1 ? 50.0 : -0.5);
        turn -= std::floor(turn);
    }
    const Track followed = phase_locked(swinging, 2000, steady(20));
    double in_time = 0, late = 0;   // projections on the swing and on what comes a quarter later
    for (std::size_t i = 10; i < 170; ++i) {
        in_time += (followed.frequency_hz[i] - 20) * std::sin(0.5 * std::numbers::pi * followed.time_s[i]) / 80;
        late += (followed.frequency_hz[i] - 20) * std::cos(0.5 * std::numbers::pi * followed.time_s[i]) / 80;
    }
    CHECK(in_time == Approx(0.3).epsilon(0.08));
    CHECK(late == Approx(0.0).margin(0.025));
    CHECK(phase_locked(std::vector<double>(2000, 0.1), 2000, steady(20)).time_s == steady(20).time_s);   // less than three stretches
}

TEST_CASE("a clock's train gets one rate, by the line through its clicks; an engine's keeps its track", "[click_profile]") {
    Track track;
    for (double t = 0; t < 8; t += 0.05) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(10.05 + 0.02 * std::sin(2 * std::numbers::pi * t / 1.3));
    }
    auto times = every(0.05, 1 / 10.043, 8);
    const auto steadied_by = [&](const std::vector<double>& clicks, const Track& by, double seconds = 8) {
        const auto power = power_of(seconds, clicks, 1000);
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
    CHECK(steadied_by(times, track, 1.5).wander() > 1e-4);   // 15 clicks, one less than are asked for
    CHECK(steadied_by(times, track, 1.9).wander() < 1e-12);
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
        int fading = 0;
        for (std::size_t n = first - 8; n < first + 20; ++n) fading += blanked[n] > 0.05 && blanked[n] < 0.95 ? 1 : 0;
        CHECK(fading >= 7);   // exp(-n / 3.2) lies there for nine samples
        CHECK(fading <= 11);
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
    // nor is noise, a quarter as strong as the clicks
    auto noisy = sound;
    for (double& x : noisy) x += 5 * normal(random);   // of 1e-3
    CHECK(find_impulse_train(noisy, rate)->mean_square == Approx(train->mean_square).epsilon(0.12));
    // hum at twice the rate, below 100 Hz, is no part of it
    auto humming = sound;
    for (std::size_t n = 0; n < humming.size(); ++n) humming[n] += 0.03 * std::sin(2 * std::numbers::pi * 50.6 * static_cast<double>(n) / rate);
    CHECK(find_impulse_train(humming, rate)->mean_square == Approx(train->mean_square).epsilon(0.1));
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
