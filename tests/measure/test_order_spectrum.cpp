#include "hushtrace/measure/order_spectrum.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/measure/lines.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

TEST_CASE("over cycles a wandering family is sharp, and reads its levels", "[order]") {
    auto x = noise(10.0, 0.001, 3);
    add_tone(x, 1200.0, 0.02, 0.02);
    add_tone(x, 2400.0, 0.005, 0.02);
    add_tone(x, 200.0, 0.003, 0.02);  // a sixth of the whine
    add_tone(x, 997.0, 0.02, 0.0);    // one that holds still
    const auto spectrum =
        order_spectrum(resample_by_cycles(x, kRate, true_track(1200.0, 0.02, 10.0)), 1200.0);
    const auto lines = find_lines(spectrum, noise_under_lines(spectrum, 40.0 / 1200, 0.08), 0.05, 6.0);
    const auto level = [&](double ratio) {
        for (const auto& line : lines)
            if (std::abs(line.frequency_hz - ratio) < 0.001 * std::max(1.0, ratio) + 0.0005)
                return line.mean_square;
        return 0.0;
    };
    // a sine of amplitude A has mean square A²/2; 0.1 dB
    CHECK(level(1.0) == Approx(0.02 * 0.02 / 2).epsilon(0.023));
    CHECK(level(2.0) == Approx(0.005 * 0.005 / 2).epsilon(0.03));
    CHECK(level(1.0 / 6) == Approx(0.003 * 0.003 / 2).epsilon(0.03));
    CHECK(level(997.0 / 1200.0) < 0.05 * 0.02 * 0.02 / 2);  // the still one is smeared
}

TEST_CASE("a track off by a slow error is pulled onto its line", "[order]") {
    auto x = noise(8.0, 0.002, 4);
    add_tone(x, 1200.0, 0.02, 0.015);
    Track rough = true_track(1200.0, 0.015, 8.0);
    for (std::size_t i = 0; i < rough.time_s.size(); ++i)
        rough.frequency_hz[i] += 3.0 * std::sin(1.7 * rough.time_s[i]) + 1.5;
    Track track = rough;
    for (int pass = 0; pass < 2; ++pass) track = refine_track(x, kRate, track);
    double worst = 0;
    for (double t = 0.3; t < 7.7; t += 0.05)
        worst = std::max(worst, std::abs(track.at(t) - 1200.0 * speed(t, 0.015)));
    CHECK(worst < 0.8);
}

TEST_CASE("a loud line along its refined track stands still: what is left beside it lies 40 dB down", "[order]") {
    // steps as fast as an idle has them: every 70 ms, a percent
    std::mt19937_64 engine(8);
    std::normal_distribution<double> normal;
    Track truth;
    for (double t = 0, f = 1875.0; t <= 10.1; t += 0.07, f = 1875.0 + 0.6 * (f - 1875.0) + 15.0 * normal(engine)) {
        truth.time_s.push_back(t);
        truth.frequency_hz.push_back(f);
    }
    auto x = noise(10.0, 1e-4, 4);
    double turns = 0;
    for (std::size_t n = 0; n < x.size(); ++n) {
        x[n] += 0.02 * std::sin(2.0 * std::numbers::pi * turns);
        turns = std::fmod(turns + truth.at(static_cast<double>(n) / kRate) / kRate, 1.0);
    }
    Track rough = truth;
    for (std::size_t i = 0; i < rough.time_s.size(); ++i) rough.frequency_hz[i] += 4.0 * std::sin(11.0 * rough.time_s[i]);
    Track track = rough;
    for (int pass = 0; pass < 2; ++pass) track = refine_track(x, kRate, track);
    const auto beside_db = [&](const Track& along) {
        const PowerSpectrum spectrum = order_spectrum(resample_by_cycles(x, kRate, along), along.mean_hz());
        const std::size_t centre = spectrum.bin_of(1.0);
        double line = 0, beside = 0;
        for (std::size_t k = centre - 30; k <= centre + 30; ++k) (k + 3 < centre || k > centre + 3 ? beside : line) += spectrum.density[k];
        return 10.0 * std::log10(beside / line);
    };
    CHECK(beside_db(rough) > -15.0);
    CHECK(beside_db(truth) < -40.0);
    CHECK(beside_db(track) < -40.0);
}

TEST_CASE("resampling keeps the signal: a still tone at the track's frequency comes out as a pure sine",
          "[order]") {
    std::vector<double> x(48000);
    for (std::size_t n = 0; n < x.size(); ++n)
        x[n] = std::sin(2 * std::numbers::pi * 1003.7 * static_cast<double>(n) / kRate);
    const Track track{{0.0, 1.0}, {1003.7, 1003.7}};
    const CycleSamples cycles = resample_by_cycles(x, kRate, track);
    CHECK(cycles.cycles() == Approx(1003.7).epsilon(0.001));
    double worst = 0;
    for (std::size_t i = 100; i + 100 < cycles.samples.size(); ++i)
        worst = std::max(worst,
                         std::abs(cycles.samples[i] - std::sin(2 * std::numbers::pi * static_cast<double>(i) /
                                                               cycles.samples_per_cycle)));
    CHECK(20 * std::log10(worst) < -70.0);
}

TEST_CASE("sound of a whole number of samples a cycle comes through as it is", "[order]") {
    const auto x = noise(0.05, 0.1, 4);
    const CycleSamples same = resample_by_cycles(x, kRate, Track{{0.0, 1.0}, {1000.0, 1000.0}});
    CHECK(same.samples_per_cycle == 48.0);
    REQUIRE(same.samples.size() + 2 >= x.size());
    double worst = 0;
    for (std::size_t i = 0; i + 2 < x.size(); ++i) worst = std::max(worst, std::abs(same.samples[i] - x[i]));
    CHECK(worst < 1e-9);
    // never coarser than the sound: as many samples a cycle as the slowest holds
    CHECK(resample_by_cycles(x, kRate, Track{{0.0, 0.05}, {1300.0, 990.0}}).samples_per_cycle == 49.0);
    CHECK_THROWS_AS(resample_by_cycles(x, kRate, Track{}), Error);
    CHECK_THROWS_AS(resample_by_cycles(x, kRate, Track{{0.0, 1.0}, {1000.0, 0.0}}), Error);
}

TEST_CASE("a line that climbs evenly is a pure sine over its cycles, at the ends too", "[order]") {
    // f = 1000 + 2000 t: 1000 t + 1000 t^2 turns
    std::vector<double> x(4800);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        x[n] = std::sin(2 * std::numbers::pi * (1000.0 * t + 1000.0 * t * t));
    }
    const CycleSamples cycles = resample_by_cycles(x, kRate, Track{{0.0, 0.1}, {1000.0, 1200.0}});
    CHECK(cycles.cycles() == Approx(110.0).margin(0.1));
    double worst = 0, worst_at_ends = 0;
    for (std::size_t i = 0; i < cycles.samples.size(); ++i) {
        const double off = std::abs(cycles.samples[i] - std::sin(2 * std::numbers::pi * static_cast<double>(i) / cycles.samples_per_cycle));
        double& so_far = i >= 12 && i + 24 < cycles.samples.size() ? worst : worst_at_ends;
        so_far = std::max(so_far, off);
    }
    CHECK(worst < 3e-4);
    CHECK(worst_at_ends < 0.3);   // beyond the ends there is silence
}

TEST_CASE("up to 0.35 of the rate a tone keeps its level within 0.01 dB between the samples", "[order]") {
    std::vector<double> x(4800);
    for (std::size_t n = 0; n < x.size(); ++n) x[n] = std::sin(2 * std::numbers::pi * 0.35 * static_cast<double>(n));
    const CycleSamples cycles = resample_by_cycles(x, kRate, Track{{0.0, 1.0}, {991.3, 991.3}});
    double worst = 0;
    for (std::size_t i = 30; i + 30 < cycles.samples.size(); ++i) {
        const double place = static_cast<double>(i) / cycles.samples_per_cycle / 991.3 * kRate;
        worst = std::max(worst, std::abs(cycles.samples[i] - std::sin(2 * std::numbers::pi * 0.35 * place)));
    }
    CHECK(worst < std::pow(10.0, 0.01 / 20.0) - 1.0);
    // what lies beyond the sound's ends is none of it
    std::vector<double> loud = x;
    std::fill(loud.begin() + 480, loud.end(), 1e6);
    std::fill(loud.begin(), loud.begin() + 48, 1e6);
    const auto part = resample_by_cycles(std::span<const double>(loud).subspan(48, 432), kRate, Track{{0.0, 1.0}, {991.3, 991.3}});
    for (const double one : part.samples) CHECK(std::abs(one) < 1.5);
}

TEST_CASE("a track is refined to the frequency of each moment, by 3 % at most", "[order]") {
    std::vector<double> x(48000);
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;   // f = 1000 + 30 (t - 1/2)
        x[n] = 0.1 * std::sin(2 * std::numbers::pi * (985.0 * t + 15.0 * t * t));
    }
    const Track flat{{0.0, 0.004, 1.0}, {1000.0, 1000.0, 1000.0}};
    const Track fine = refine_track(x, kRate, flat);
    CHECK(fine.time_s[1] == Approx(0.004));   // the track's own steps where they are finer than 10 ms
    CHECK(fine.time_s.back() == Approx(0.996));
    for (std::size_t i = 0; i < fine.time_s.size(); ++i)
        if (fine.time_s[i] > 0.04 && fine.time_s[i] < 0.955) CHECK(fine.frequency_hz[i] == Approx(985.0 + 30.0 * fine.time_s[i]).margin(0.02));
    const Track coarse = refine_track(x, kRate, Track{{0.0, 1.0}, {1005.0, 1005.0}});
    CHECK(coarse.time_s[1] == Approx(0.01));
    CHECK(coarse.time_s.size() == 100);
    for (std::size_t i = 5; i < 95; ++i) CHECK(coarse.frequency_hz[i] == Approx(985.0 + 30.0 * coarse.time_s[i]).margin(0.02));
    // held beyond the first and last windows' middles
    CHECK(coarse.frequency_hz[0] == Approx(coarse.frequency_hz[2]));
    std::vector<double> still(24000);
    for (std::size_t n = 0; n < still.size(); ++n) still[n] = 0.1 * std::sin(2 * std::numbers::pi * 1000.0 * static_cast<double>(n) / kRate);
    CHECK(refine_track(still, kRate, Track{{0.0, 1.0}, {1020.0, 1020.0}}).frequency_hz[20] == Approx(1000.0).margin(0.05));
    CHECK(refine_track(still, kRate, Track{{0.0, 1.0}, {1040.0, 1040.0}}).frequency_hz[20] == Approx(1040.0 * 0.97));
    CHECK(refine_track(still, kRate, Track{{0.0, 1.0}, {965.0, 965.0}}).frequency_hz[20] == Approx(965.0 * 1.03));
    // too short a sound leaves the track as it is
    const Track kept = refine_track(std::span<const double>(still).first(3000), kRate, Track{{0.0, 1.0}, {1005.0, 1006.0}});
    CHECK(kept.frequency_hz == std::vector<double>{1005.0, 1006.0});
}

TEST_CASE("an order spectrum's segments are so many seconds long, or half of the sound", "[order]") {
    CycleSamples cycles;
    cycles.samples_per_cycle = 16.0;
    cycles.samples.assign(6400, 0.0);
    CHECK(order_spectrum(cycles, 100.0, 0.16).length == 256);
    CHECK(order_spectrum(cycles, 100.0, 0.16).sample_rate_hz == 16.0);
    CHECK(order_spectrum(cycles, 100.0, 0.16).segments == 49);
    CHECK(order_spectrum(cycles, 100.0, 100.0).length == 3200);
    CHECK(order_spectrum(cycles, 100.0, 1e-6).length == 16);
    cycles.samples.resize(10);
    CHECK_THROWS_AS(order_spectrum(cycles, 100.0), Error);
}
