#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/hunting_pulses.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 48000.0, kLeastSurprise = 8.3;

/// Gaussian noise through a resonance (two poles) beside white noise.
std::vector<double> hiss(double seconds, double resonance_hz, double quality, double gain, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    const double w = 2.0 * std::numbers::pi * resonance_hz / kRate, r = std::exp(-0.5 * w / quality);
    double one = 0, two = 0;
    for (double& x : out) {
        const double white = normal(random), next = (1.0 - r) * white + 2.0 * r * std::cos(w) * one - r * r * two;
        two = one;
        one = next;
        x = 1e-4 * (white + gain * next);
    }
    return out;
}

/// Adds a decaying ring at each of some times.
void ring(std::vector<double>& sound, const std::vector<double>& times_s, double amplitude, double ring_hz, double decay_s) {
    for (const double t : times_s) {
        const auto first = static_cast<std::size_t>(t * kRate);
        for (std::size_t i = 0; i < static_cast<std::size_t>(6.0 * decay_s * kRate) && first + i < sound.size(); ++i) {
            const double s = static_cast<double>(i) / kRate;
            sound[first + i] += amplitude * std::exp(-s / decay_s) * std::sin(2.0 * std::numbers::pi * ring_hz * s);
        }
    }
}

/// Intervals that scatter each by themselves by a share of their mean, and a rate that drifts as a sine of 0.4 Hz.
std::vector<double> pulses(double seconds, double rate_hz, double scatter, double drift, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<double> times;
    for (double t = 0.01; t < seconds - 0.01;) {
        times.push_back(t);
        t += (1.0 + scatter * normal(random)) / (rate_hz * (1.0 + drift * std::sin(2.0 * std::numbers::pi * 0.4 * t)));
    }
    return times;
}

}  // namespace

TEST_CASE("pulses whose rate hunts are told by their rate, and by the scatter of their intervals") {
    // rate, scatter, amplitude over a hiss of 1e-4
    const double rows[][3] = {{420, 0.05, 4}, {860, 0.03, 2}, {1750, 0.12, 4}, {3400, 0.08, 4}};
    for (const auto& [rate_hz, scatter, amplitude] : rows) {
        CAPTURE(rate_hz);
        std::vector<double> sound = hiss(7.0, 3000.0, 2.0, 1.0, 5);
        ring(sound, pulses(7.0, rate_hz, scatter, 0.0, 6), 1e-4 * amplitude, 5200.0, 1e-4);
        const auto found = find_hunting_pulses(sound, kRate, kLeastSurprise);
        REQUIRE(found);
        CHECK(found->rate_hz == Approx(rate_hz).epsilon(0.02));
        // a renewal process's hump is 2 pi scatter^2 of the rate wide at half height (small scatter)
        CHECK(found->scatter() == Approx(scatter).epsilon(0.4));
        CHECK(found->holds(rate_hz));
        CHECK_FALSE(found->holds(1.5 * rate_hz));
    }
}

TEST_CASE("hiss of any colour has no pulses in it") {
    for (unsigned seed = 0; seed < 12; ++seed) {
        CAPTURE(seed);
        CHECK_FALSE(find_hunting_pulses(hiss(5.0, 1500.0 + 500.0 * seed, 1.0 + 2.0 * (seed % 3), 30.0, seed), kRate, kLeastSurprise));
    }
}

TEST_CASE("what else clicks is no pulsing hash") {
    SECTION("slow clicks, as of an ignition") {
        std::vector<double> sound = hiss(6.0, 3000.0, 2.0, 1.0, 1);
        ring(sound, pulses(6.0, 48.0, 0.002, 0.01, 2), 3e-3, 4000.0, 2e-4);
        CHECK_FALSE(find_hunting_pulses(sound, kRate, kLeastSurprise));
    }
    SECTION("a switched load, as steady as its oscillator") {
        std::vector<double> sound = hiss(6.0, 3000.0, 2.0, 1.0, 1);
        ring(sound, pulses(6.0, 750.0, 1e-5, 0.0, 2), 1e-3, 4000.0, 2e-4);
        CHECK_FALSE(find_hunting_pulses(sound, kRate, kLeastSurprise));
    }
    SECTION("a motor's brushes, whose rate drifts but does not hunt") {
        std::vector<double> sound = hiss(6.0, 3000.0, 2.0, 1.0, 1);
        ring(sound, pulses(6.0, 900.0, 0.001, 0.01, 2), 1e-3, 4000.0, 2e-4);
        CHECK_FALSE(find_hunting_pulses(sound, kRate, kLeastSurprise));
    }
}

TEST_CASE("a loud sweeping line beats with what rings at clicks: their moments are left out", "[hunting_pulses]") {
    std::vector<double> sound = hiss(6.0, 3000.0, 2.0, 1.0, 1);
    double turns = 0;
    for (std::size_t i = 0; i < sound.size(); ++i) {
        const double t = static_cast<double>(i) / kRate;
        turns += 4400.0 * (1.0 + 0.03 * std::sin(2.0 * std::numbers::pi * 0.5 * t)) / kRate;
        sound[i] += 3e-4 * std::sin(2.0 * std::numbers::pi * turns);
    }
    const std::vector<double> clicks = pulses(6.0, 20.0, 0.02, 0.0, 2);
    ring(sound, clicks, 5e-3, 9000.0, 5e-4);
    CHECK_FALSE(find_hunting_pulses(sound, kRate, kLeastSurprise, clicks));
}

TEST_CASE("hunting pulses are not looked for in what is too short, silent, or too slowly sampled") {
    CHECK_FALSE(find_hunting_pulses(std::vector<double>{}, kRate, kLeastSurprise));
    CHECK_FALSE(find_hunting_pulses(hiss(0.8, 3000.0, 2.0, 1.0, 1), kRate, kLeastSurprise));
    CHECK_FALSE(find_hunting_pulses(std::vector<double>(300000, 0.0), kRate, kLeastSurprise));
    CHECK_FALSE(find_hunting_pulses(std::vector<double>(300000, 0.3), kRate, kLeastSurprise));
    CHECK_FALSE(find_hunting_pulses(hiss(3.0, 3000.0, 2.0, 1.0, 1), 4000.0, kLeastSurprise));
}

namespace {

constexpr double kSlowRate = 16000;
/// Three seconds at 16 kHz: white noise, and rings of 0.2 ms at 3 kHz whose rate hunts.
struct Ringing {
    std::vector<double> sound = std::vector<double>(48000), rings = std::vector<double>(48000, 0.0);
    explicit Ringing(double rate_hz = 431.0, double scatter = 0.06) {
        std::mt19937 random(5);
        std::normal_distribution<double> normal;
        for (double& x : sound) x = 1e-4 * normal(random);
        for (const double t : pulses(3.0, rate_hz, scatter, 0.0, 6)) {
            const auto first = static_cast<std::size_t>(t * kSlowRate);
            for (std::size_t n = first; n < std::min(sound.size(), first + 20); ++n) {
                const double since = static_cast<double>(n) / kSlowRate - t;
                rings[n] += 5e-4 * std::exp(-since / 2e-4) * std::sin(2.0 * std::numbers::pi * 3000.0 * since);
            }
        }
        for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += rings[n];
    }
};

}  // namespace

TEST_CASE("hunting pulses are told with rate, width, share and band, each with its uncertainty", "[hunting_pulses]") {
    const Ringing made;
    double of_rings = 0, all = 0;
    for (std::size_t n = 0; n < made.sound.size(); ++n) {
        of_rings += made.rings[n] * made.rings[n];
        all += made.sound[n] * made.sound[n];
    }
    const auto found = find_hunting_pulses(made.sound, kSlowRate, kLeastSurprise);
    REQUIRE(found);
    CHECK(found->rate_hz == Approx(431.0).epsilon(0.01));
    CHECK(found->scatter() == Approx(0.06).epsilon(0.4));
    // columns of 1 s, half overlapped, in what whitening leaves of the three: four, worth 18/19 each; bins of 1 Hz
    CHECK(found->rate_sd_hz == Approx(std::max(1.0, found->width_hz / std::sqrt(4 * 18 / 19.0 * found->width_hz))));
    CHECK(found->low_hz == 1000);
    CHECK(found->high_hz == Approx(7200));   // 0.45 of the rate
    CHECK(found->surprise > kLeastSurprise);
    CHECK(found->above_db > 3);
    CHECK(found->above_db < 25);
    CHECK(found->recurrence_sd > 5);
    CHECK(found->share > 0.2 * of_rings / all);
    CHECK(found->share < 1.2 * of_rings / all);
    CHECK_FALSE(find_hunting_pulses(std::span(made.sound).first(15000), kSlowRate, kLeastSurprise));
}

TEST_CASE("rings at a steady rate are no hunting pulses", "[hunting_pulses]") {
    CHECK_FALSE(find_hunting_pulses(Ringing(431.0, 1e-5).sound, kSlowRate, kLeastSurprise));
}

TEST_CASE("slow clicks, whose multiples make humps, don't recur as hunting pulses do", "[hunting_pulses]") {
    CHECK_FALSE(find_hunting_pulses(Ringing(61.0, 0.005).sound, kSlowRate, kLeastSurprise));
    const auto fast = find_hunting_pulses(Ringing(1300.0, 0.08).sound, kSlowRate, kLeastSurprise);
    REQUIRE(fast);
    CHECK(fast->rate_hz == Approx(1300).epsilon(0.02));
    CHECK(fast->scatter() == Approx(0.08).epsilon(0.4));
}

TEST_CASE("what rings at moments that are named is passed over, and there alone", "[hunting_pulses]") {
    Ringing made;
    for (std::size_t n = 32000; n < made.sound.size(); ++n) made.sound[n] -= made.rings[n];
    const auto clicks = [](double from_s, double to_s) {
        std::vector<double> times;
        for (double t = from_s; t < to_s; t += 0.012) times.push_back(t);
        return times;
    };
    CHECK(find_hunting_pulses(made.sound, kSlowRate, kLeastSurprise, clicks(2.1, 2.9)));
    CHECK_FALSE(find_hunting_pulses(made.sound, kSlowRate, kLeastSurprise, clicks(0.0, 2.0)));
}

TEST_CASE("a hump about a multiple of the rate is as wide as its square says, while those stand apart", "[hunting_pulses]") {
    HuntingPulses pulses;
    pulses.rate_hz = 1000, pulses.rate_sd_hz = 1, pulses.width_hz = 20;
    CHECK(pulses.scatter() == Approx(std::sqrt(20 / (2 * std::numbers::pi * 1000))));
    // two and a half widths and the rate's own: 1 + 50 Hz, 2 + 200 Hz; 3 + 450 Hz is more than a quarter of the rate
    for (const double sign : {1.0, -1.0}) {
        CHECK(pulses.holds(1000 + sign * 50));
        CHECK_FALSE(pulses.holds(1000 + sign * 52));
        CHECK(pulses.holds(2000 + sign * 201));
        CHECK_FALSE(pulses.holds(2000 + sign * 203));
    }
    CHECK_FALSE(pulses.holds(3000));
    CHECK_FALSE(pulses.holds(300));
    CHECK_FALSE(pulses.holds(0));
    pulses.width_hz = 10.9;   // 3 + 245 Hz
    CHECK(pulses.holds(3000));
    pulses.width_hz = 11.1;
    CHECK_FALSE(pulses.holds(3000));
}
