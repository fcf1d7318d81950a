#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "hushtrace/live/played_sound.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

constexpr double rate_hz = 48000;

std::vector<double> play(PlayedSound& sound, double seconds, std::size_t piece = 480) {
    std::vector<double> all(static_cast<std::size_t>(seconds * rate_hz));
    for (std::size_t at = 0; at < all.size(); at += piece)
        sound.render({all.data() + at, std::min(piece, all.size() - at)});
    return all;
}

double peak(const std::vector<double>& samples, double from_s, double to_s) {
    double largest = 0;
    for (std::size_t i = static_cast<std::size_t>(from_s * rate_hz);
         i < static_cast<std::size_t>(to_s * rate_hz); ++i)
        largest = std::max(largest, std::abs(samples.at(i)));
    return largest;
}

std::vector<Waveform> all_kinds(double level_dbfs) {
    return {Sine{997, level_dbfs},
            Stepped{997, {level_dbfs - 20, level_dbfs - 10, level_dbfs}, 0.5},
            TwoTone{{60, 7000}, {level_dbfs - 6.1, level_dbfs - 6.1}},
            Sweep{20, 20000, 2.0, level_dbfs},
            Pink{level_dbfs - 16, 3},
            NearSilence{1},
            PolarityPulse{level_dbfs}};
}

}  // namespace

TEST_CASE("nothing is ever played above the allowed level, whatever is asked for", "[played]") {
    const unsigned seed = 20260131;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> limit_dbfs(-40.0, 0.0), excess_db(-6.0, 12.0), moment_s(0.2, 3.5);
    for (int round = 0; round < 12; ++round) {
        const double limit = limit_dbfs(random);
        for (const Waveform& asked : all_kinds(std::min(0.0, limit + excess_db(random)))) {
            const Waveform allowed = lowered_to(asked, limit);
            PlayedSound sound(allowed, limit, rate_hz);
            const double until_s = moment_s(random);
            auto samples = play(sound, until_s, 1 + random() % 2000);
            sound.release();
            const auto rest = play(sound, 0.3);
            CHECK(peak(samples, 0, until_s) <= amplitude_from_decibels(limit) * (1 + 1e-12));
            CHECK(peak(rest, 0, 0.3) <= amplitude_from_decibels(limit) * (1 + 1e-12));
        }
    }
}

TEST_CASE("a level above the allowed one is refused with the way out", "[played]") {
    CHECK_NOTHROW(require_allowed(Sine{997, -12.0}, -12.0, rate_hz));
    CHECK_NOTHROW(require_allowed(Sine{997, 0.0}, 0.0, rate_hz));
    try {
        require_allowed(Sine{997, -3.0}, -12.0, rate_hz);
        FAIL("played too loud");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_request);
        CHECK(std::string(error.what()).find("--max-level -3.0") != std::string::npos);
        CHECK(std::string(error.what()).find("9.0 dB") != std::string::npos);
    }
    CHECK_THROWS_AS(require_allowed(Sine{997, -20.0}, 3.0, rate_hz), Error);
    CHECK_THROWS_AS(require_allowed(Sine{997, -20.0}, std::nan(""), rate_hz), Error);
    // Its peaks count, not its rms: pink noise at -14 dBFS rms has peaks above -12.
    CHECK_THROWS_AS(require_allowed(Pink{-14.0, 1}, -12.0, rate_hz), Error);
}

TEST_CASE("what is at its level already is not lowered", "[played]") {
    CHECK(std::get<Sine>(lowered_to(Sine{997, -20.0}, -12.0)).level_dbfs == Approx(-20.0));
    CHECK(std::get<Sine>(lowered_to(Sine{997, -2.0}, -12.0)).level_dbfs == Approx(-12.0));
    const auto stepped = std::get<Stepped>(lowered_to(Stepped{997, {-20, -10, 0}, 1.0}, -12.0));
    CHECK(stepped.levels_dbfs[0] == Approx(-32.0));  // the steps keep their distances
    CHECK(stepped.levels_dbfs[2] == Approx(-12.0));
}

TEST_CASE("an endless tone starts 40 dB down and is at its level after a second", "[played]") {
    PlayedSound sound(Sine{997, -12.0}, -12.0, rate_hz);
    const auto samples = play(sound, 2.0);
    const double full = amplitude_from_decibels(-12.0);
    CHECK(std::abs(samples[0]) < 1e-9);
    CHECK(peak(samples, 0.1, 0.5) == Approx(full / 100).epsilon(0.001));
    CHECK(peak(samples, 0.5, 0.75) < full / 8);
    CHECK(peak(samples, 1.0, 2.0) == Approx(full).epsilon(0.0001));
}

TEST_CASE("a sweep and steps are announced 40 dB down, then play once and end", "[played]") {
    for (const Waveform& waveform :
         {Waveform{Sweep{100, 10000, 1.0, -12.0}}, Waveform{Stepped{997, {-12.0, -12.0}, 0.5}}}) {
        PlayedSound sound(waveform, -12.0, rate_hz);
        const auto samples = play(sound, 2.5);
        const double full = amplitude_from_decibels(-12.0);
        CHECK(peak(samples, 0.06, 0.44) == Approx(full / 100).epsilon(0.01));
        CHECK(peak(samples, 0.5, 0.999) == 0.0);
        CHECK(peak(samples, 1.06, 1.94) == Approx(full).epsilon(0.01));
        CHECK(peak(samples, 2.0, 2.5) == 0.0);
        CHECK(sound.over());
    }
}

TEST_CASE("no start and no end is heard as a click", "[played]") {
    // A step of the envelope would show as a jump between neighbours beyond the tone's own slope.
    PlayedSound sound(Sine{200, -12.0}, -12.0, rate_hz);
    auto samples = play(sound, 1.537);
    sound.release();
    const auto end = play(sound, 0.2);
    samples.insert(samples.end(), end.begin(), end.end());
    const double own_slope = amplitude_from_decibels(-12.0) * 2 * 3.14159265358979 * 200 / rate_hz;
    double steepest = 0, steepest_of_ramp = 0;
    for (std::size_t i = 1; i < samples.size(); ++i)
        steepest = std::max(steepest, std::abs(samples[i] - samples[i - 1]));
    for (std::size_t i = samples.size() - 4800; i < samples.size(); ++i)
        steepest_of_ramp = std::max(steepest_of_ramp, std::abs(samples[i]));
    CHECK(steepest < own_slope * 1.02);
    CHECK(steepest_of_ramp == 0.0);  // 100 ms after the release there is silence
    CHECK(sound.over());
}

TEST_CASE("in bursts a tone sounds, then stays 40 dB down as long, without a click", "[played]") {
    PlayedSound sound(Sine{200, -12.0}, -12.0, rate_hz, 2.0);
    const auto samples = play(sound, 9.5);
    const double full = amplitude_from_decibels(-12.0);
    for (const double from_s : {1.0, 5.0, 9.0}) CHECK(peak(samples, from_s + 0.01, from_s + 0.49) == Approx(full).epsilon(0.001));
    for (const double from_s : {3.0, 7.0}) CHECK(peak(samples, from_s + 0.06, from_s + 1.94) == Approx(full / 100).epsilon(0.01));
    const double own_slope = full * 2 * 3.14159265358979 * 200 / rate_hz;
    double steepest = 0;
    for (std::size_t i = 1; i < samples.size(); ++i) steepest = std::max(steepest, std::abs(samples[i] - samples[i - 1]));
    CHECK(steepest < 1.05 * own_slope);

    CHECK_THROWS_AS(PlayedSound(Sine{200, -12.0}, -12.0, rate_hz, 0.5), Error);
    CHECK_THROWS_AS(PlayedSound(Sine{200, -12.0}, -12.0, rate_hz, 11.0), Error);
    CHECK_THROWS_AS(PlayedSound(Sweep{100, 10000, 1.0, -12.0}, -12.0, rate_hz, 2.0), Error);
}
