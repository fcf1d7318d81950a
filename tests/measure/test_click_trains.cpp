#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/measure/impulse_train.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

constexpr double kPi2 = 2.0 * std::numbers::pi;

/// One click: a ringing that decays, or noise that does.
void add_click(std::vector<double>& into, double time_s, double size, double ring_hz, double decay_s) {
    const auto from = static_cast<std::size_t>(time_s * kRate);
    for (std::size_t k = 0; k < 400 && from + k < into.size(); ++k) {
        const double t = static_cast<double>(k) / kRate;
        into[from + k] += size * std::exp(-t / decay_s) * std::cos(kPi2 * ring_hz * t);
    }
}
void add_crack(std::vector<double>& into, double time_s, double size, std::mt19937_64& engine) {
    std::normal_distribution<double> normal(0.0, size);
    const auto from = static_cast<std::size_t>(time_s * kRate);
    for (std::size_t k = 0; k < 200 && from + k < into.size(); ++k)
        into[from + k] += normal(engine) * std::exp(-static_cast<double>(k) / 40.0);
}
/// Clicks that a clock makes, a share of them missing, their times scattered by a share of the turn.
std::vector<double> clockwork(double seconds, double rate_hz, double missing, double scatter, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, scatter / rate_hz);
    std::uniform_real_distribution<double> one(0.0, 1.0);
    std::vector<double> times;
    for (double t = 0.5 / rate_hz; t < seconds - 0.02; t += 1.0 / rate_hz)
        if (one(engine) >= missing) times.push_back(std::max(0.0, t + normal(engine)));
    return times;
}
std::vector<Burst> bursts_at(std::vector<double> times) {
    std::sort(times.begin(), times.end());
    std::vector<Burst> out;
    for (const double t : times) out.push_back({t, 40.0, 1e-9, 1.0, 0.0});
    return out;
}
std::vector<double> odd_times(double seconds, int count, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::uniform_real_distribution<double> at(0.1, seconds - 0.1);
    std::vector<double> times;
    for (int i = 0; i < count; ++i) times.push_back(at(engine));
    return times;
}

}  // namespace

TEST_CASE("slow clicks are not read at a multiple of their rate", "[impulse]") {
    // 5.4 a second were once read as 59.5, 4.5 as 49.4: eleven times as many
    for (const double rate_hz : {2.1, 4.49, 5.41, 6.4, 9.3, 13.7, 22.0}) {
        CAPTURE(rate_hz);
        std::vector<double> x = noise(8.0, 0.003, 31);
        for (const double t : clockwork(8.0, rate_hz, 0.0, 0.002, 5)) add_click(x, t, 0.3, 4100.0, 0.0005);
        const auto trains = find_impulse_trains(x, kRate);
        for (const ImpulseTrain& train : trains) CHECK(train.rate.mean_hz() == Approx(rate_hz).epsilon(0.01));
        if (rate_hz > 6.0) CHECK(trains.size() == 1);
        const auto even = even_bursts(find_bursts(x, kRate).events);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(rate_hz).epsilon(0.005));
        CHECK(even->mostly_filled());
    }
}

TEST_CASE("a train of unequal clicks keeps its rate", "[impulse]") {
    // four cylinders, one coil 8 dB weaker or stronger, a fifth of the clicks missing
    for (const double odd : {0.4, 2.5}) {
        CAPTURE(odd);
        std::vector<double> x = noise(8.0, 0.003, 32);
        std::size_t n = 0;
        for (const double t : clockwork(8.0, 28.0, 0.2, 0.01, 6)) add_click(x, t, n++ % 4 == 0 ? 0.05 * odd : 0.05, 6000.0, 0.0003);
        const auto train = find_impulse_train(x, kRate);
        REQUIRE(train);
        CHECK(train->rate.mean_hz() == Approx(28.0).epsilon(0.01));
    }
}

TEST_CASE("a clock's train is read to a ten-thousandth, an engine's keeps its track", "[impulse]") {
    std::vector<double> x = noise(8.0, 0.003, 41);
    for (const double t : clockwork(8.0, 10.05, 0.2, 0.0, 13)) add_click(x, t, 0.3, 6000.0, 0.0005);
    const auto train = find_impulse_train(x, kRate);
    REQUIRE(train);
    CHECK(train->rate.mean_hz() == Approx(10.05).epsilon(1e-4));
    CHECK(train->rate.wander() < 1e-9);
    std::vector<double> y = noise(8.0, 0.003, 42);
    add_clicks(y, 25.0, 0.3, 0.003, 43);
    const auto engine = find_impulse_train(y, kRate);
    REQUIRE(engine);
    CHECK(engine->rate.wander() > 0.0015);
}

TEST_CASE("a coil much stronger than the others does not hide them", "[impulse]") {
    // one coil of three 7 dB stronger was once read as a train of a third of the rate
    for (const std::size_t coils : {3U, 4U, 6U}) {
        CAPTURE(coils);
        std::vector<double> x = noise(8.0, 0.003, 40);
        std::size_t n = 0;
        for (const double t : clockwork(8.0, 45.0, 0.0, 0.002, 12)) add_click(x, t, n++ % coils == 0 ? 0.7 : 0.3, 6000.0, 0.0003);
        const auto train = find_impulse_train(x, kRate);
        REQUIRE(train);
        CHECK(train->rate.mean_hz() == Approx(45.0).epsilon(0.01));
    }
}

TEST_CASE("two trains at once are both found, the engine's wandering", "[impulse]") {
    std::vector<double> x = noise(9.0, 0.003, 33);
    add_clicks(x, 31.0, 0.1, 0.01, 34);
    for (const double t : clockwork(9.0, 17.3, 0.0, 0.002, 7)) add_click(x, t, 0.06, 2600.0, 0.0006);
    auto trains = find_impulse_trains(x, kRate);
    REQUIRE(trains.size() == 2);
    std::sort(trains.begin(), trains.end(), [](const auto& a, const auto& b) { return a.rate.mean_hz() < b.rate.mean_hz(); });
    CHECK(trains[0].rate.mean_hz() == Approx(17.3).epsilon(0.005));
    CHECK(trains[1].rate.mean_hz() == Approx(31.0).epsilon(0.01));
    // and one alone leaves no second
    std::vector<double> lone = noise(9.0, 0.003, 35);
    add_clicks(lone, 31.0, 0.1, 0.01, 36);
    CHECK(find_impulse_trains(lone, kRate).size() == 1);
}

TEST_CASE("bursts are found beside a train whose clicks are left out, and over them", "[bursts]") {
    std::mt19937_64 engine(8);
    std::vector<double> x = noise(8.0, 0.003, 37);
    add_clicks(x, 50.0, 0.05, 0.005, 38);
    const std::vector<double> times = {0.71, 1.93, 2.64, 3.45, 4.98, 6.01, 7.32};
    for (const double t : times) add_crack(x, t, 0.4, engine);
    const auto train = find_impulse_train(x, kRate);
    REQUIRE(train);
    CHECK(train->rate.mean_hz() == Approx(50.0).epsilon(0.01));
    BurstSearch search;
    search.left_out = loud_spans(*train, 8.0);
    const Bursts found = find_bursts(x, kRate, search);
    std::size_t hits = 0;
    for (const double t : times)
        hits += static_cast<std::size_t>(
            std::any_of(found.events.begin(), found.events.end(), [t](const Burst& one) { return std::abs(one.time_s - t) < 0.006; }));
    for (const Burst& one : found.events) UNSCOPED_INFO(one.time_s << " s, surprise " << one.surprise << ", bands " << one.bands_share);
    CHECK(hits == times.size());
    CHECK(found.events.size() <= times.size() + 1);
}

TEST_CASE("even bursts are told among others, with some missing, drifting, and where not all was watched", "[bursts]") {
    std::vector<double> times = clockwork(8.0, 3.1, 0.2, 0.01, 9);
    for (const double t : odd_times(8.0, 7, 10)) times.push_back(t);
    const auto beside = even_bursts(bursts_at(times));
    REQUIRE(beside);
    CHECK(beside->rate_hz == Approx(3.1).epsilon(0.005));
    CHECK(std::count(beside->on_beat.begin(), beside->on_beat.end(), false) >= 4);

    times.clear();
    for (double turn = 0; turn < 60; turn += 1.0) times.push_back(0.2 + turn / 7.3 * (1.0 + 0.00015 * turn));   // slower by 1.8 %
    const auto drifting = even_bursts(bursts_at(times));
    REQUIRE(drifting);
    CHECK(drifting->rate_hz == Approx(7.3 / 1.009).epsilon(0.01));
    CHECK(drifting->filled > 0.9);

    // three of four turns lie where nothing was looked for
    std::vector<SoundSpan> left_out;
    std::vector<double> seen;
    for (std::size_t i = 0; i < 40; ++i) {
        const double t = 0.2 + static_cast<double>(i) / 5.0;
        if (i % 4 == 0) seen.push_back(t);
        else left_out.push_back({t - 0.01, t + 0.01});
    }
    seen.push_back(left_out.back().to_s + 0.19);   // so that a rate of a quarter leaves one out
    const auto watched = even_bursts(bursts_at(seen), left_out);
    REQUIRE(watched);
    CHECK(watched->filled > 0.6);
}

TEST_CASE("bursts at odd times have no rate", "[bursts]") {
    std::size_t rates = 0;
    for (unsigned seed = 0; seed < 150; ++seed)
        if (even_bursts(bursts_at(odd_times(8.0, 4 + static_cast<int>(seed % 27), 500 + seed)))) ++rates;
    CHECK(rates <= 1);   // 1 in 1000 by chance
}

TEST_CASE("many bursts are searched in bounded time, and their beat is followed to the end", "[bursts]") {
    const auto even = even_bursts(bursts_at(clockwork(60.0, 9.7, 0.1, 0.005, 11)));
    REQUIRE(even);
    CHECK(even->rate_hz == Approx(9.7).epsilon(0.002));
    CHECK(static_cast<double>(std::count(even->on_beat.begin(), even->on_beat.end(), true)) > 0.98 * static_cast<double>(even->on_beat.size()));
}
