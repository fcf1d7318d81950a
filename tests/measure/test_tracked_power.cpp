// What follows a line: its sound turned back, its power, the sound thinned out before that.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "../../src/measure/turned_back.hpp"
#include "hushtrace/measure/thinned_sound.hpp"
#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

std::vector<double> tone(double rate, double hz, double amplitude, double phase, std::size_t frames) {
    std::vector<double> x(frames);
    for (std::size_t n = 0; n < frames; ++n) x[n] = amplitude * std::cos(kTurn * std::fmod(hz * static_cast<double>(n) / rate, 1.0) + phase);
    return x;
}
void add(std::vector<double>& to, const std::vector<double>& other) {
    for (std::size_t n = 0; n < to.size(); ++n) to[n] += other[n];
}
void add_noise(std::vector<double>& to, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    for (double& x : to) x += normal(engine);
}
Track straight(double hz, double seconds) { return {{0.0, seconds}, {hz, hz}}; }
double sinc(double x) { return x == 0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x); }

}  // namespace

TEST_CASE("sound that runs along a track stands still once turned back", "[turned_back]") {
    // 1 kHz in steps of a millisecond: its mirror lies two rates off, where the triangle lets nothing through
    const auto x = tone(48000, 1000, 0.5, 0.7, 4800);
    const TurnedBack one = turned_back(x, 48000, straight(1000, 1), 1.0, 48);
    CHECK(one.rate_hz == Approx(1000));
    REQUIRE(one.values.size() == 99);
    for (const auto& value : one.values) CHECK(std::abs(value - std::polar(0.25, 0.7)) < 1e-9);
    const TurnedBack twice = turned_back(x, 48000, straight(500, 1), 2.0, 48);
    for (const auto& value : twice.values) CHECK(std::abs(value - std::polar(0.25, 0.7)) < 1e-9);
    // 130 Hz beside: it turns on by its distance, each value read at the triangle's middle, smaller by its gain
    const TurnedBack beside = turned_back(tone(48000, 1130, 0.5, 0.7, 4800), 48000, straight(1000, 1), 1.0, 48);
    for (std::size_t i = 0; i < beside.values.size(); ++i) {
        const double at_s = 1e-3 * static_cast<double>(i + 1);
        CHECK(std::abs(beside.values[i] - std::polar(0.25 * sinc(0.13) * sinc(0.13), 0.7 + kTurn * 130 * at_s)) < 2e-3);
    }
    CHECK(beside.gain(130) == Approx(sinc(0.13) * sinc(0.13)));
    CHECK(beside.gain(0) == 1.0);
    CHECK(beside.gain(1000) == Approx(0).margin(1e-12));
    // a frequency that rises by 4 kHz a second, its track told every tenth of one
    std::vector<double> chirp(24000);
    for (std::size_t n = 0; n < chirp.size(); ++n) {
        const double t = static_cast<double>(n) / 48000;
        chirp[n] = 0.5 * std::cos(kTurn * (3000 * t + 2000 * t * t));
    }
    Track rising;
    for (double t = 0; t <= 0.6; t += 0.1) {
        rising.time_s.push_back(t);
        rising.frequency_hz.push_back(3000 + 4000 * t);
    }
    for (const auto& value : turned_back(chirp, 48000, rising, 1.0, 48).values) CHECK(std::abs(value - 0.25) < 0.01);
    CHECK(turned_back(std::span(x).first(95), 48000, straight(1000, 1), 1.0, 48).values.empty());
    CHECK(turned_back(std::span(x).first(96), 48000, straight(1000, 1), 1.0, 48).values.size() == 1);
    CHECK(turned_back({}, 48000, straight(1000, 1), 1.0, 48).rate_hz == Approx(1000));
}

TEST_CASE("a line's power along its track is half its amplitude's square, the noise taken off", "[tracked_power]") {
    constexpr double rate = 8000, amplitude = 0.1, sigma = 0.02;
    const auto clean = tone(rate, 1000, amplitude, 0.4, 16000);
    const TrackedPower alone = power_along(clean, rate, straight(500, 2), 2.0);
    CHECK(alone.mean_square.value == Approx(0.005).epsilon(1e-4));   // 3.5 bins off the window is 49 dB down
    CHECK(alone.mean_square.limited_by == LimitedBy::nothing);
    CHECK(alone.floor_density < 2e-5 * 0.005 * 0.08 / 1.5);
    auto x = clean;
    add_noise(x, sigma, 3);
    const TrackedPower power = power_along(x, rate, straight(1000, 2));
    // Hann windows of 80 ms pass 1.5 / 0.08 s of the noise's density; 49 of them, half overlapped, are worth 0.95 of that
    const double density = sigma * sigma / 4000, noise = density * 1.5 / 0.08, looks = 0.95 * 49, line = 0.005;
    CHECK(power.floor_density == Approx(density).epsilon(0.15));
    CHECK(power.mean_square.value == Approx(line).margin(3 * power.mean_square.sd));
    CHECK(power.mean_square.sd == Approx(std::sqrt((2 * line * noise + 1.2 * noise * noise) / looks)).epsilon(0.1));
    CHECK(power.over_noise_sd == Approx(line / (noise / std::sqrt(looks))).epsilon(0.15));
    CHECK(power.mean_square.limited_by == LimitedBy::nothing);
    // shorter windows pass more noise
    const TrackedPower quick = power_along(x, rate, straight(1000, 2), 1.0, 0.04);
    CHECK(quick.floor_density == Approx(density).epsilon(0.15));
    CHECK(quick.mean_square.sd == Approx(std::sqrt((4 * line * noise + 1.2 * 4 * noise * noise) / (0.95 * 99))).epsilon(0.1));
    // another line seven bins beside, 20 dB over the noise there, is no noise
    add(x, tone(rate, 1000 + 7 / 0.08, 0.02, 1.0, 16000));
    CHECK(power_along(x, rate, straight(1000, 2)).floor_density == Approx(density).epsilon(0.25));
    CHECK(power_along(x, rate, straight(1000, 2)).mean_square.value == Approx(line).epsilon(0.05));
}

TEST_CASE("where no line is its power is limited by the noise", "[tracked_power]") {
    std::vector<double> x(24000, 0.0);
    add_noise(x, 0.02, 5);
    int over = 0, below = 0;
    for (const double hz : {500.0, 800.0, 1100.0, 1400.0, 1700.0, 2000.0, 2300.0, 2600.0}) {
        const TrackedPower none = power_along(x, 8000, straight(hz, 3));
        CHECK(none.mean_square.value >= 0.0);
        CHECK(none.mean_square.value < 4 * none.mean_square.sd);
        CHECK(none.mean_square.limited_by == LimitedBy::noise);
        CHECK(std::abs(none.over_noise_sd) < 4);
        (none.over_noise_sd > 0 ? over : below) += 1;
        // 1.2 squares of the noise in 74 windows, and what chance adds as a line
        const double beside = none.floor_density * 1.5 / 0.08, chance = 2 * none.mean_square.value * beside;
        CHECK(none.mean_square.sd == Approx(std::sqrt((1.2 * beside * beside + chance) / (0.95 * 74))).epsilon(0.01));
    }
    CHECK(over > 0);
    CHECK(below > 0);
}

TEST_CASE("what can't be read along a track is refused by kind", "[tracked_power]") {
    const std::vector<double> x(16000, 0.0);
    const auto kind_of = [&x](const Track& track, double ratio, double window_s, std::size_t frames = 16000) {
        try {
            power_along(std::span(x).first(frames), 8000, track, ratio, window_s);
        } catch (const Error& error) {
            return error.kind();
        }
        return ErrorKind::device_failed;
    };
    const auto read = ErrorKind::device_failed;   // nothing was thrown
    CHECK(kind_of({}, 1, 0.08) == ErrorKind::invalid_request);
    CHECK(kind_of(straight(1000, 2), 0, 0.08) == ErrorKind::invalid_request);
    CHECK(kind_of(straight(1000, 2), -1, 0.08) == ErrorKind::invalid_request);
    // seven bins above the line must lie below 0.45 of the rate: 3600 - 87.5 Hz
    CHECK(kind_of(straight(3512, 2), 1, 0.08) == read);
    CHECK(kind_of(straight(1756, 2), 2, 0.08) == read);
    CHECK(kind_of(straight(3513, 2), 1, 0.08) == ErrorKind::invalid_request);
    CHECK(kind_of({{0, 2}, {100, 3513}}, 1, 0.08) == ErrorKind::invalid_request);
    CHECK(kind_of(straight(1000, 2), 1, 0.08, 1279) == ErrorKind::too_short);
    CHECK(kind_of(straight(1000, 2), 1, 0.08, 1400) == read);
    CHECK(kind_of(straight(100, 2), 1, 7.9 / 8000) == ErrorKind::invalid_request);   // its seven bins are too wide
}

TEST_CASE("thinned sound is the same sound at every n-th sample, and nothing folds into its band", "[thinned_sound]") {
    const auto in_band = tone(48000, 3900, 0.5, 0.3, 4800);
    const ThinnedSound out = thinned(in_band, 48000, 4000);   // 48000 / 9600: every fifth
    CHECK(out.rate_hz == Approx(9600));
    REQUIRE(out.samples.size() == 960);
    const auto same = tone(9600, 3900, 0.5, 0.3, 960);
    for (std::size_t i = 60; i < 900; ++i) CHECK(out.samples[i] == Approx(same[i]).margin(5e-4));
    // 9600 less 4000 Hz is the first that would fold into the band: 80 dB down
    for (const double hz : {5600.0, 7000.0, 9600.0, 13000.0, 20000.0}) {
        const ThinnedSound folded = thinned(tone(48000, hz, 0.5, 0.3, 4800), 48000, 4000);
        double most = 0;
        for (std::size_t i = 60; i < 900; ++i) most = std::max(most, std::abs(folded.samples[i]));
        CAPTURE(hz);
        CHECK(most < 0.5e-4 * 1.2);
    }
    const ThinnedSound dc = thinned(std::vector<double>(4801, 0.25), 48000, 4000);
    CHECK(dc.samples.size() == 961);
    CHECK(dc.samples[480] == Approx(0.25).epsilon(2e-4));
    // at either end half of the low-pass meets sound, its middle whole: that is twice the cutoff, 4800 of 48000 Hz
    CHECK(dc.samples.front() == Approx(0.25 * (0.5 + 0.5 * 0.2)).epsilon(1e-3));
    CHECK(dc.samples.back() == Approx(0.25 * (0.5 + 0.5 * 0.2)).epsilon(1e-3));
    // a rate that leaves no room for two is left as it is
    const ThinnedSound whole = thinned(in_band, 48000, 10001);
    CHECK(whole.rate_hz == 48000);
    CHECK(whole.samples == in_band);
    CHECK(thinned(in_band, 48000, 9999).rate_hz == 24000);
    CHECK(thinned(in_band, 48000, 30000).rate_hz == 48000);
    CHECK(thinned({}, 48000, 4000).samples.empty());
}
