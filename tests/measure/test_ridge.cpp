#include "hushtrace/measure/ridge.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/wander_population.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

TEST_CASE("a wandering line is followed, and its wander read", "[ridge]") {
    // amplitude 0.01 in noise of rms 0.01: the tone's power is 1/2 of all the noise's, 33 dB over it in a 9
    // Hz cell
    auto x = noise(8.0, 0.01, 1);
    add_tone(x, 1240.0, 0.01, 0.018);
    const auto ridges = find_ridges(x, kRate);
    REQUIRE(ridges.size() >= 1);
    const Track& track = ridges.front().track;
    CHECK(track.mean_hz() == Approx(1240.0).epsilon(0.005));
    CHECK(track.wander() == Approx(0.018).epsilon(0.15));
    for (double t = 0.5; t < 7.5; t += 0.25)
        CHECK(track.at(t) == Approx(1240.0 * speed(t, 0.018)).margin(6.0));  // one bin of the 0.17 s window
}

TEST_CASE("noise alone brings forth a ridge no more often than stated", "[ridge]") {
    // 40 takes each of white noise, of pink, and of noise with a resonance 20 dB high. At 1.5 nats a take in a hundred is stated
    // for smooth noise, the resonance shows one in eight; at 6 nats, which a finding needs, smooth noise
    // shows none, the resonance one in forty.
    RidgeSearch search;
    search.most_ridges = 1;
    for (const NoiseColour colour : {NoiseColour::white, NoiseColour::pink, NoiseColour::bumpy}) {
        int found = 0, sure = 0;
        for (std::uint64_t seed = 1; seed <= 40; ++seed) {
            WanderLaw law;
            law.duration_s = 6;
            law.whine_to_noise_db = -300;
            law.colour = colour;
            const WanderTake take = wander_take(law, seed);
            const std::vector<Ridge> ridges = find_ridges(take.samples, take.rate_hz, search);
            found += ridges.empty() ? 0 : 1;
            sure += ridges.empty() || ridges.front().log_evidence < 6.0 ? 0 : 1;
        }
        CHECK(found <= (colour == NoiseColour::bumpy ? 3 : 1));
        CHECK(sure == 0);
    }
}

TEST_CASE("noise that comes and goes, clicks and steps of it, is no ridge", "[ridge]") {
    std::size_t found = 0;
    for (unsigned seed = 1; seed <= 12; ++seed) {
        auto x = noise(8.0, 0.1, seed);
        std::mt19937 random(seed);
        for (std::size_t i = 0; i < x.size(); ++i) x[i] *= 1.0 + 0.8 * std::sin(2e-5 * static_cast<double>(i) * static_cast<double>(1 + seed % 4));
        for (int n = 0; n < 60; ++n) x[static_cast<std::size_t>(random()) % x.size()] += 4.0;
        found += find_ridges(x, kRate).size();
    }
    CHECK(found <= 1);  // such noise passes somewhat more often than the steady noise that the limit is set by
}

TEST_CASE("a line far down in the hiss is followed, and its place is known as well as stated", "[ridge]") {
    // 30 dB below the noise from 20 Hz to 20 kHz, in 20 s; the best single path wants 5 dB more
    std::size_t found = 0, inside = 0, points = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        WanderLaw law;
        law.whine_to_noise_db = -30;
        law.colour = seed % 2 == 0 ? NoiseColour::pink : NoiseColour::white;
        const WanderTake take = wander_take(law, seed);
        const auto ridges = find_ridges(take.samples, take.rate_hz);
        if (ridges.empty() || std::abs(ridges.front().track.mean_hz() / take.mean_hz - 1.0) > 0.01) continue;
        ++found;
        const Ridge& ridge = ridges.front();
        for (std::size_t t = 0; t < ridge.track.time_s.size(); ++t, ++points) {
            const double truth = take.frequency_hz[static_cast<std::size_t>(ridge.track.time_s[t] * take.rate_hz)];
            if (std::abs(ridge.track.frequency_hz[t] - truth) < 2.0 * ridge.frequency_sd_hz[t]) ++inside;
        }
    }
    CHECK(found >= 10);
    CHECK(static_cast<double>(inside) > 0.75 * static_cast<double>(points));
}

TEST_CASE("two lines that wander apart are both followed, and none beside them", "[ridge]") {
    auto x = noise(10.0, 0.01, 3);
    add_tone(x, 1240.0, 0.02, 0.018);
    add_tone(x, 2790.0, 0.004, 0.012);
    const auto ridges = find_ridges(x, kRate);
    REQUIRE(ridges.size() == 2);
    CHECK(ridges[0].track.mean_hz() == Approx(1240.0).epsilon(0.005));
    CHECK(ridges[1].track.mean_hz() == Approx(2790.0).epsilon(0.005));
    // amplitude 0.02 against 0.01 rms in 24 kHz: 2e-4 / (1e-4 / 24000); a window smears what moves while it lasts
    CHECK(ridges[0].snr_db == Approx(10 * std::log10(2e-4 / (1e-4 / (kRate / 2)))).margin(4.5));
}

TEST_CASE("what is no sound has no ridge", "[ridge]") {
    CHECK(find_ridges(std::vector<double>(200000, 0.0), kRate).empty());
    CHECK(find_ridges(std::vector<double>(200000, 0.5), kRate).empty());
    CHECK(find_ridges(noise(0.5, 0.1, 1), kRate).empty());
    CHECK(find_ridges({}, kRate).empty());
    CHECK(find_ridges(noise(3.0, 0.1, 1), 800.0).empty());
}

TEST_CASE("a wandering line's power is read along its track", "[ridge]") {
    for (const double wander : {0.003, 0.01, 0.03}) {
        auto x = noise(10.0, 0.01, 4);
        const double amplitude = 0.01;
        add_tone(x, 1500.0, amplitude, wander);
        Track truth;
        for (double t = 0; t < 10.0; t += 0.01) {
            truth.time_s.push_back(t);
            truth.frequency_hz.push_back(1500.0 * speed(t, wander));
        }
        const TrackedPower power = power_along(x, kRate, truth);
        CHECK(power.mean_square.value == Approx(0.5 * amplitude * amplitude).epsilon(0.05));
        CHECK(std::abs(power.mean_square.value - 0.5 * amplitude * amplitude) < 4 * power.mean_square.sd);
        CHECK(power.floor_density == Approx(1e-4 / (kRate / 2)).epsilon(0.15));
        const TrackedPower none = power_along(x, kRate, truth, 2.0);
        CHECK(std::abs(none.over_noise_sd) < 4.5);
        CHECK_THROWS_AS(power_along(x, kRate, truth, 20.0), Error);
    }
    CHECK_THROWS_AS(power_along(noise(0.1, 0.1, 1), kRate, Track{{0.0, 1.0}, {1000.0, 1000.0}}), Error);
}

TEST_CASE("a track holds its ends and runs straight between its points", "[ridge]") {
    const Track track{{1.0, 2.0, 3.0}, {10.0, 20.0, 40.0}};
    CHECK(track.at(0.0) == 10.0);
    CHECK(track.at(1.5) == Approx(15.0));
    CHECK(track.at(2.25) == Approx(25.0));
    CHECK(track.at(9.0) == 40.0);
}

TEST_CASE("the best path takes the brighter of two crossing ways only as fast as it may", "[ridge]") {
    // a bright cell out of reach does not tempt the path
    std::vector<std::vector<float>> score(6, std::vector<float>(20, 0.0F));
    for (auto& column : score) column[5] = 1.0F;
    score[3][18] = 4.0F;
    const GridPath path = best_path(score, 2, 0.0);
    for (const std::size_t cell : path.cells) CHECK(cell == 5);
    CHECK(path.mean_score == Approx(1.0));
}
