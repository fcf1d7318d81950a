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

TEST_CASE("a track's mean and wander are those of its points", "[ridge]") {
    const Track track{{0.0, 1.0, 2.0, 3.0}, {99.0, 101.0, 99.0, 101.0}};
    CHECK(track.mean_hz() == Approx(100.0));
    CHECK(track.wander() == Approx(0.01));
    CHECK(track.at(1.0) == Approx(101.0));
    CHECK(track.at(2.999) == Approx(100.998));
    CHECK(track.at(-1.0) == 99.0);
    CHECK_FALSE(track.empty());
    CHECK(Track{}.empty());
    CHECK(Track{}.mean_hz() == 0.0);
    CHECK(Track{}.wander() == 0.0);
    CHECK(Track{}.at(1.0) == 0.0);
    CHECK(Track{{1.0}, {50.0}}.at(7.0) == 50.0);
}

TEST_CASE("the best path pays for its turns by their square, and goes no farther than it may", "[ridge]") {
    // two bright cells of 3 each, s cells apart in the columns 1 and 2: worth a step of s only where 3 > s^2 times the penalty
    const auto path = [](std::size_t apart, std::size_t reach, double penalty, bool down = false) {
        std::vector<std::vector<float>> score(4, std::vector<float>(12, 0.0F));
        const std::size_t from = down ? 9 : 2, to = down ? 9 - apart : 2 + apart;
        score[0][from] = 4.0F;
        score[1][from] = 4.0F;
        score[2][to] = 3.0F;
        score[3][to] = 3.0F;
        score[2][from] = 0.5F;
        return best_path(score, reach, penalty);
    };
    for (const bool down : {false, true}) {
        const std::size_t from = down ? 9 : 2, to = down ? 7 : 4;
        const GridPath turns = path(2, 2, 1.3, down);   // gains 6 - 0.5, pays 5.2
        CHECK(turns.cells == std::vector<std::size_t>{from, from, to, to});
        CHECK(turns.mean_score == Approx((8 + 6 - 5.2) / 4));
        const GridPath stays = path(2, 2, 1.4, down);   // 5.6
        CHECK(stays.cells == std::vector<std::size_t>(4, from));
        CHECK(stays.mean_score == Approx(8.5 / 4));
        // two steps of one each cost a half of that, and lose a bright cell
        CHECK(path(3, 2, 0.1, down).cells.back() == (down ? 6U : 5U));
        CHECK(path(3, 3, 0.1, down).mean_score == Approx((8 + 6 - 0.9) / 4));
    }
    CHECK(path(1, 1, 0.0).cells == std::vector<std::size_t>{2, 2, 3, 3});
    CHECK(best_path({}, 2, 0.1).cells.empty());
    CHECK(best_path({{}}, 2, 0.1).cells.empty());
    CHECK(best_path({{1.0F, 3.0F, 2.0F}}, 2, 0.1).cells == std::vector<std::size_t>{1});
}

TEST_CASE("the strongest lines are followed first, as many as asked for, those that are known passed by", "[ridge]") {
    // 3 s at 4 kHz: 700 Hz 33 dB and 1100 Hz 27 dB over the noise in a hertz
    constexpr double rate = 4000, sigma = 0.02;
    std::mt19937_64 engine(4);
    std::normal_distribution<double> normal(0.0, sigma);
    std::vector<double> x(12000);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        const double turns = 700 * t + 700 * 0.01 / (2 * std::numbers::pi * 0.3) * std::sin(2 * std::numbers::pi * 0.3 * t);
        x[n] = normal(engine) + 0.028 * std::sin(2 * std::numbers::pi * turns) + 0.014 * std::sin(2 * std::numbers::pi * 1100.0 / 700 * turns + 1);
    }
    RidgeSearch search;
    search.from_hz = 300;
    search.to_hz = 1600;
    const auto ridges = find_ridges(x, rate, search);
    REQUIRE(ridges.size() == 2);
    const double density = sigma * sigma / (rate / 2);
    for (const std::size_t i : {0U, 1U}) {
        const Ridge& ridge = ridges[i];
        const double hz = i == 0 ? 700 : 1100, amplitude = i == 0 ? 0.028 : 0.014;
        REQUIRE(ridge.track.time_s.size() == ridge.track.frequency_hz.size());
        REQUIRE(ridge.frequency_sd_hz.size() == ridge.track.time_s.size());
        CHECK(ridge.track.mean_hz() == Approx(hz).epsilon(0.003));
        CHECK(ridge.track.wander() == Approx(0.01 / std::sqrt(2.0)).epsilon(0.2));
        int inside = 0;
        for (std::size_t t = 0; t < ridge.track.time_s.size(); ++t) {
            const double truth = hz * (1 + 0.01 * std::cos(2 * std::numbers::pi * 0.3 * ridge.track.time_s[t]));
            CHECK(ridge.track.frequency_hz[t] == Approx(truth).margin(i == 0 ? 5 : 10));   // the short windows' bins are 17 Hz wide
            inside += std::abs(ridge.track.frequency_hz[t] - truth) < 3 * ridge.frequency_sd_hz[t];
        }
        CHECK(inside > 0.9 * static_cast<double>(ridge.track.time_s.size()));
        CHECK(ridge.snr_db == Approx(10 * std::log10(0.5 * amplitude * amplitude / density)).margin(2.5));
        CHECK(ridge.log_evidence > 20);
    }
    CHECK(ridges[0].log_evidence > ridges[1].log_evidence);
    search.most_ridges = 1;
    CHECK(find_ridges(x, rate, search).size() == 1);
    // the evidence for any line is what the search weighs first
    CHECK(line_log_evidence(x, rate, search) > 60);
    search.least_log_evidence = 1e6;
    CHECK(find_ridges(x, rate, search).empty());
    search.least_log_evidence = 1.5;
    search.most_ridges = 6;
    search.known = {ridges[0]};
    const auto other = find_ridges(x, rate, search);
    REQUIRE(other.size() == 1);
    CHECK(other[0].track.mean_hz() == Approx(1100).epsilon(0.003));
    search.known.clear();
    search.from_hz = 900;
    CHECK(find_ridges(x, rate, search).at(0).track.mean_hz() == Approx(1100).epsilon(0.003));
    search.from_hz = 1200;
    CHECK(find_ridges(x, rate, search).empty());
    CHECK(line_log_evidence(x, rate, search) < 1.5);
    search.from_hz = 1500;   // a band of less than a tenth is none
    CHECK(line_log_evidence(x, rate, search) == 0.0);
    search = {};
    CHECK(line_log_evidence(std::span(x).first(3999), rate, search) == 0.0);
    x[100] = std::nan("");
    CHECK_THROWS_AS(find_ridges(x, rate), Error);
}

TEST_CASE("a line's multiples are left out with it, and what hardly moves is followed in resampled sound", "[ridge]") {
    constexpr double rate = 4000;
    std::mt19937_64 engine(5);
    std::normal_distribution<double> normal(0.0, 0.02);
    std::vector<double> x(16000);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate, turns = 400 * t + 0.8 * std::sin(2 * std::numbers::pi * 0.4 * t);
        x[n] = normal(engine);
        for (int k = 1; k <= 3; ++k) x[n] += 0.1 / k * std::sin(2 * std::numbers::pi * k * turns);
    }
    RidgeSearch search;
    search.from_hz = 300;
    search.to_hz = 1600;
    const auto ridges = find_ridges(x, rate, search);
    REQUIRE(ridges.size() == 1);
    CHECK(ridges[0].track.mean_hz() == Approx(400).epsilon(0.005));
    // held still: found steadily, with a place known better than the wandering search knows it
    std::vector<double> still(16000);
    for (std::size_t n = 0; n < still.size(); ++n)
        still[n] = normal(engine) + 0.004 * std::sin(2 * std::numbers::pi * 777.7 * static_cast<double>(n) / rate);
    search.steady = true;
    const auto steady = find_ridges(still, rate, search);
    REQUIRE(steady.size() == 1);
    CHECK(steady[0].track.mean_hz() == Approx(777.7).margin(0.5));
    search.still = {{777.7, 16.0}};
    CHECK(find_ridges(still, rate, search).empty());
    // clicks' moments say nothing of lines: with all of them passed over nothing is left
    search.still.clear();
    for (double t = 0; t < 4; t += 0.1) search.clicks_s.push_back(t);
    CHECK(find_ridges(still, rate, search).empty());
}

TEST_CASE("a line that sweeps by several per cent a second is followed nimbly, and noise is none to the nimble search either", "[ridge]") {
    constexpr double rate = 6000;
    std::mt19937_64 engine(6);
    std::normal_distribution<double> normal(0.0, 0.02);
    std::vector<double> x(18000), hiss(18000);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        hiss[n] = normal(engine);
        const double turns = 1500 * t + 1500 * 0.05 / (2 * std::numbers::pi * 0.5) * std::sin(2 * std::numbers::pi * 0.5 * t);
        x[n] = hiss[n] + 0.05 * std::sin(2 * std::numbers::pi * turns);
    }
    RidgeSearch search;
    search.nimble = true;
    search.from_hz = 600;
    search.to_hz = 2600;
    const auto ridges = find_ridges(x, rate, search);
    REQUIRE(ridges.size() == 1);
    for (std::size_t t = 0; t < ridges[0].track.time_s.size(); ++t) {
        const double truth = 1500 * (1 + 0.05 * std::cos(2 * std::numbers::pi * 0.5 * ridges[0].track.time_s[t]));
        CHECK(ridges[0].track.frequency_hz[t] == Approx(truth).margin(60));   // a bin of its 20 ms
    }
    CHECK(ridges[0].snr_db == Approx(10 * std::log10(0.5 * 0.05 * 0.05 / (4e-4 / (rate / 2)))).margin(4.5));
    CHECK(find_ridges(hiss, rate, search).empty());
    CHECK(line_log_evidence(hiss, rate, search) < 1.5);
    CHECK(line_log_evidence(x, rate, search) > 60);
}
