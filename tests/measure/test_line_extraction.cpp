#include "hushtrace/measure/line_extraction.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/measure/burst_extraction.hpp"
#include "hushtrace/measure/order_spectrum.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

double mean_square(std::span<const double> samples) {
    double sum = 0;
    for (const double s : samples) sum += s * s;
    return sum / static_cast<double>(samples.size());
}

PowerSpectrum spectrum_of(std::span<const double> samples) {
    SpectrumAccumulator spectrum(kRate, 4800);  // 10 Hz
    spectrum.add(samples);
    return spectrum.result();
}

struct Apart {
    std::vector<double> sound, left, alone;
};
Apart apart(std::vector<double> sound, const Track& track, const std::vector<LineBand>& lines) {
    Apart out{sound, sound, std::vector<double>(sound.size())};
    take_out_lines(out.left, out.alone, kRate, track, lines);
    return out;
}

}  // namespace

TEST_CASE("a wandering whine comes out of noise with its power", "[extraction]") {
    for (const double wander : {0.01, 0.03}) {
        const double amplitude = 0.01, frequency_hz = 1240.0, half_width_hz = followed_half_width_hz(frequency_hz);
        // 15 dB over the noise in twice the half width, which adds 0.14 dB
        const double density = amplitude * amplitude / 2 / std::pow(10.0, 1.5) / (2 * half_width_hz);
        double mean_db = 0, worst_error_db = -100;
        for (const unsigned seed : {7U, 8U, 9U}) {
            auto x = noise(5.0, std::sqrt(density * kRate / 2), seed);
            std::vector<double> whine(x.size());
            add_tone(whine, frequency_hz, amplitude, wander);
            double beat = 0;  // noise that is in phase with the whine by chance adds to it: no method can tell it apart
            for (std::size_t n = 0; n < x.size(); ++n) {
                beat += 2 * x[n] * whine[n] / static_cast<double>(x.size());
                x[n] += whine[n];
            }
            Track track = true_track(frequency_hz, wander, 5.0);
            for (std::size_t i = 0; i < track.time_s.size(); ++i)  // as a search finds it: 0.2 % off, slowly
                track.frequency_hz[i] *= 1.0 + 0.002 * std::sin(2.1 * track.time_s[i]);
            for (int pass = 0; pass < 2; ++pass) track = refine_track(x, kRate, track);
            const Apart out = apart(x, smoothed(track), {{1.0, half_width_hz}});
            mean_db += 10 * std::log10(mean_square(out.alone) / (mean_square(whine) + beat)) / 3;
            double error = 0;  // sample by sample: its own phase is kept
            for (std::size_t n = 0; n < x.size(); ++n) error += std::pow(out.alone[n] - whine[n], 2);
            worst_error_db = std::max(
                worst_error_db, 10 * std::log10(error / static_cast<double>(x.size()) / mean_square(whine)));
        }
        CAPTURE(wander, mean_db, worst_error_db);
        CHECK(mean_db == Approx(0.0).margin(0.2));
        CHECK(worst_error_db < -13.5);
    }
}

TEST_CASE("what is taken out and what is left are the sound", "[extraction]") {
    auto x = noise(3.0, 0.01, 5);
    add_tone(x, 300.0, 0.2, 0.02);
    const Apart out = apart(x, true_track(300.0, 0.02, 3.0), {{1.0, 3.0}, {2.0, 3.0}, {7.5, 9.0}});
    double worst = 0;
    for (std::size_t n = 0; n < x.size(); ++n) worst = std::max(worst, std::abs(out.left[n] + out.alone[n] - x[n]));
    CHECK(worst < 1e-15);
    CHECK(mean_square(out.alone) == Approx(0.02).epsilon(0.01));
}

TEST_CASE("fifty hertz from a taken line nothing is harmed", "[extraction]") {
    for (const double frequency_hz : {400.0, 1240.0, 6300.0}) {
        auto x = noise(15.0, 0.01, 11);
        add_tone(x, frequency_hz, 0.05, 0.0);
        const Apart out = apart(x, steady_track(frequency_hz), {{1.0, followed_half_width_hz(frequency_hz)}});
        const auto before = spectrum_of(x), after = spectrum_of(out.left);
        for (const double away_hz : {-400.0, -100.0, -60.0, 60.0, 100.0, 400.0}) {  // bands of 20 Hz, from 50 Hz on
            const double f = frequency_hz + away_hz;
            INFO(frequency_hz << " Hz, at " << away_hz);
            CHECK(10 * std::log10(after.band_mean_square(f - 10, f + 10) / before.band_mean_square(f - 10, f + 10)) ==
                  Approx(0.0).margin(0.05));
        }
        CHECK(10 * std::log10(after.band_mean_square(frequency_hz - 2, frequency_hz + 2) /
                              before.band_mean_square(frequency_hz - 2, frequency_hz + 2)) < -40.0);
    }
}

TEST_CASE("a line's multiple a first rate away stays where it is", "[extraction]") {
    // 1500 Hz is the rate to which lines are brought down first: what folds there must not be taken along
    std::vector<double> x(static_cast<std::size_t>(4 * kRate)), other(x.size());
    add_tone(x, 1500.0, 0.01, 0.0);
    add_tone(other, 3005.0, 1.0, 0.0);
    for (std::size_t n = 0; n < x.size(); ++n) x[n] += other[n];
    const Apart out = apart(x, steady_track(1500.0), {{1.0, 6.0}});
    const auto inner = std::span(out.alone).subspan(24000, x.size() - 48000);
    CHECK(10 * std::log10(mean_square(inner) / (0.01 * 0.01 / 2)) == Approx(0.0).margin(0.05));
}

TEST_CASE("amplitude that swells and falls is followed", "[extraction]") {
    std::vector<double> x(static_cast<std::size_t>(6 * kRate));
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        x[n] = (1.0 + 0.5 * std::sin(2 * std::numbers::pi * 1.5 * t)) * std::cos(2 * std::numbers::pi * 800.0 * t + 0.7);
    }
    const Apart out = apart(x, steady_track(800.0), {{1.0, followed_half_width_hz(800.0)}});
    const auto inner = std::span(out.left).subspan(24000, x.size() - 48000);
    CHECK(10 * std::log10(mean_square(inner) / mean_square(x)) < -50.0);
}

TEST_CASE("bands of lines that stand close do not reach into each other", "[extraction]") {
    std::vector<LineBand> lines = {{1.0, 25.0}, {1.01, 25.0}, {3.0, 25.0}};
    keep_apart(lines, 1000.0);
    CHECK(lines[0].half_width_hz == Approx(4.5));
    CHECK(lines[1].half_width_hz == Approx(4.5));
    CHECK(lines[2].half_width_hz == Approx(25.0));
}

TEST_CASE("lines at the ends of the band are left in, and nonsense is refused", "[extraction]") {
    const auto x = noise(1.0, 0.1, 3);
    CHECK(mean_square(apart(x, steady_track(23900.0), {{1.0, 25.0}}).alone) == 0.0);
    CHECK(mean_square(apart(x, steady_track(4.0), {{1.0, 5.0}}).alone) == 0.0);
    CHECK(apart({}, steady_track(440.0), {{1.0, 5.0}}).alone.empty());
    CHECK(mean_square(apart(std::vector<double>(1, 0.5), steady_track(440.0), {{1.0, 5.0}}).left) < 0.26);
    CHECK_THROWS_AS(apart(x, Track{}, {{1.0, 5.0}}), Error);
    CHECK_THROWS_AS(apart(x, steady_track(0.0), {{1.0, 5.0}}), Error);
    CHECK_THROWS_AS(apart(x, steady_track(440.0), {{-1.0, 5.0}}), Error);
    CHECK_THROWS_AS(apart(x, steady_track(440.0), {{1.0, 0.0}}), Error);
    std::vector<double> left(5), alone(4);
    CHECK_THROWS_AS(take_out_lines(left, alone, kRate, steady_track(440.0), {}), Error);
}

TEST_CASE("a train's clicks are taken out by their times", "[extraction]") {
    auto x = noise(8.0, 0.001, 9);
    std::vector<double> clicks(x.size());
    const std::size_t count = add_clicks(clicks, 25.0, 0.05, 0.01, 4);
    for (std::size_t n = 0; n < x.size(); ++n) x[n] += clicks[n];
    const auto train = find_impulse_train(x, kRate);
    REQUIRE(train);
    const auto bursts = clicks_of_train(x, kRate, *train);
    CHECK(std::abs(static_cast<double>(bursts.size()) - static_cast<double>(count)) <= 0.02 * static_cast<double>(count));
    std::vector<double> left = x, alone(x.size());
    take_out_bursts(left, alone, kRate, bursts);
    CHECK(10 * std::log10(mean_square(alone) / mean_square(clicks)) == Approx(0.0).margin(0.3));
    CHECK(10 * std::log10(mean_square(left) / 1e-6) == Approx(0.0).margin(0.7));  // the noise, less what the gates took
    double worst = 0, share = 0;
    for (std::size_t n = 0; n < x.size(); ++n) worst = std::max(worst, std::abs(left[n] + alone[n] - x[n]));
    for (const SoundSpan& one : bursts) share += (one.to_s - one.from_s) / 8.0;
    CHECK(worst < 1e-15);
    CHECK(share < 0.15);
}

TEST_CASE("bursts are found where they are, and none in noise alone", "[extraction]") {
    auto x = noise(6.0, 0.001, 10);
    CHECK(bursts_in(x, kRate).empty());
    const std::vector<double> truth_s = {0.5, 1.7, 1.71, 4.25};
    for (const double t : truth_s)
        for (std::size_t k = 0; k < 480; ++k)
            x[static_cast<std::size_t>(t * kRate) + k] += 0.05 * std::exp(-static_cast<double>(k) / 100) * (k % 3 == 0 ? 1 : -0.5);
    const auto found = bursts_in(x, kRate);
    REQUIRE(found.size() == 3);  // two of them are 10 ms apart
    CHECK(found[0].from_s == Approx(0.5).margin(0.001));
    CHECK(found[1].from_s == Approx(1.7).margin(0.001));
    CHECK(found[2].from_s == Approx(4.25).margin(0.001));
    CHECK(bursts_in(std::vector<double>(48000), kRate).empty());
    CHECK(bursts_in({}, kRate).empty());
}

TEST_CASE("how far lines may stray, and how far bands reach", "[extraction]") {
    // 0.4 % of the frequency, 3 to 25 Hz; steady ones 0.1 %, 1 to 4 Hz
    CHECK(followed_half_width_hz(500.0) == 3.0);
    CHECK(followed_half_width_hz(1000.0) == Approx(4.0));
    CHECK(followed_half_width_hz(9000.0) == 25.0);
    CHECK(steady_half_width_hz(500.0) == 1.0);
    CHECK(steady_half_width_hz(2000.0) == Approx(2.0));
    CHECK(steady_half_width_hz(9000.0) == 4.0);
    // at most 0.45 of the way to the next line, on either side
    std::vector<LineBand> lines = {{3.0, 9.0}, {1.0, 9.0}, {1.1, 9.0}, {1.1, 8.0}};
    keep_apart(lines, 100.0);
    REQUIRE(lines.size() == 4);
    CHECK(lines[0].ratio == 1.0);
    CHECK(lines[0].half_width_hz == Approx(4.5));
    CHECK(lines[1].half_width_hz == Approx(4.5));
    CHECK(lines[2].ratio == 1.1);
    CHECK(lines[2].half_width_hz + lines[1].half_width_hz >= 4.5 + 8.0);   // two of one place are not kept apart
    CHECK(lines[3].ratio == 3.0);
    CHECK(lines[3].half_width_hz == 9.0);
    const Track still = steady_track(50.0);
    CHECK(still.at(0.0) == 50.0);
    CHECK(still.at(9.0) == 50.0);
    CHECK(still.time_s == std::vector<double>{0.0, 1.0});
}

TEST_CASE("a track smoothed is a Hann window's mean, alike on both sides", "[extraction]") {
    Track track;
    for (int i = 0; i < 41; ++i) {
        track.time_s.push_back(0.1 * i);
        track.frequency_hz.push_back(100.0 + 2.0 * i);
    }
    for (const double f : {smoothed(track, 0.8).frequency_hz[0], smoothed(track, 0.0).frequency_hz[0]}) CHECK(f == Approx(100.0));
    CHECK(smoothed(track, 0.8).time_s == track.time_s);
    for (std::size_t i = 0; i < 41; ++i) CHECK(smoothed(track, 0.8).frequency_hz[i] == Approx(track.frequency_hz[i]));   // a rise stays
    // of one point that sticks out by 10 four points either way take 1 + cos(pi k / 5) of 10 = the sum of all
    track.frequency_hz.assign(41, 100.0);
    track.frequency_hz[20] = 110.0;
    const Track spread = smoothed(track, 0.8);
    for (int k = -6; k <= 6; ++k) {
        const double share = std::abs(k) > 4 ? 0.0 : (1.0 + std::cos(std::numbers::pi * k / 5.0)) / 10.0;
        CHECK(spread.frequency_hz[static_cast<std::size_t>(20 + k)] == Approx(100.0 + 10.0 * share));
    }
    // at the ends as many as there are: one either way of the second
    track.frequency_hz[20] = 100.0;
    track.frequency_hz[0] = 110.0;
    const double tap = 1.0 + std::cos(std::numbers::pi / 5.0);
    CHECK(smoothed(track, 0.8).frequency_hz[1] == Approx(100.0 + 10.0 * tap / (2.0 + 2.0 * tap)));
    CHECK(smoothed(track, 0.8).frequency_hz[0] == 110.0);
    CHECK(smoothed(Track{{0.0, 1.0}, {1.0, 5.0}}, 9.0).frequency_hz == std::vector<double>{1.0, 5.0});
    CHECK(smoothed(Track{{1.0, 1.0, 1.0}, {1.0, 5.0, 1.0}}, 9.0).frequency_hz == std::vector<double>{1.0, 5.0, 1.0});
}

TEST_CASE("a line's band passes half of the amplitude at its half width, all inside and none beyond 1.5 times", "[extraction]") {
    const double rate = 8000.0;
    // amplitude of what comes out of a steady sine so far off the track
    const auto passed = [&](double off_hz, double half_width_hz, double ratio = 2.0) {
        std::vector<double> left(24000), alone(24000, 0.0);
        const double turn = 2 * std::numbers::pi * (800.0 + off_hz) / rate;
        for (std::size_t n = 0; n < left.size(); ++n) left[n] = std::cos(turn * static_cast<double>(n) + 0.4);
        take_out_lines(left, alone, rate, steady_track(800.0 / ratio), std::vector<LineBand>{{ratio, half_width_hz}});
        return std::sqrt(2.0 * mean_square(std::span<const double>(alone).subspan(8000, 8000)));
    };
    for (const double half_width_hz : {5.0, 20.0}) {
        CAPTURE(half_width_hz);
        CHECK(passed(0.0, half_width_hz) == Approx(1.0).epsilon(0.0012));              // within 0.01 dB
        CHECK(passed(0.45 * half_width_hz, half_width_hz) == Approx(1.0).epsilon(0.01));
        CHECK(passed(half_width_hz, half_width_hz) == Approx(0.5).margin(0.03));
        CHECK(passed(-half_width_hz, half_width_hz) == Approx(0.5).margin(0.03));
        CHECK(passed(1.5 * half_width_hz, half_width_hz) < 0.0012);   // 60 dB
        CHECK(passed(-1.6 * half_width_hz, half_width_hz) < 0.0012);
        CHECK(passed(100.0, half_width_hz) < 0.001);
    }
}

TEST_CASE("a line that climbs is taken out with its own phase, from the first sample to the last", "[extraction]") {
    // f = 500 + 40 t at 8 kHz, the double of the track, its amplitude swelling from 0.1 to 0.3
    const double rate = 8000.0;
    std::vector<double> line(16000);
    Track track;
    for (int i = 0; i <= 20; ++i) {
        track.time_s.push_back(0.1 * i);
        track.frequency_hz.push_back(250.0 + 2.0 * i);
    }
    for (std::size_t n = 0; n < line.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        line[n] = (0.1 + 0.1 * t) * std::cos(2 * std::numbers::pi * (500.0 * t + 20.0 * t * t) + 1.0);
    }
    std::vector<double> left = line, alone(line.size(), 0.0);
    take_out_lines(left, alone, rate, track, std::vector<LineBand>{{2.0, 10.0}});
    double worst = 0, worst_at_ends = 0, sum = 0;
    for (std::size_t n = 0; n < line.size(); ++n) {
        double& so_far = n > 1000 && n + 1000 < line.size() ? worst : worst_at_ends;
        so_far = std::max(so_far, std::abs(alone[n] - line[n]));
        sum = std::max(sum, std::abs(left[n] + alone[n] - line[n]));
    }
    CHECK(worst < 0.002);          // a hundredth of it
    CHECK(worst_at_ends < 0.012);  // the low-pass reads its inner half alone there: what swells is a little off
    CHECK(sum < 1e-15);
    // what is there already stays
    std::vector<double> more(line.size(), 7.0);
    left = line;
    take_out_lines(left, more, rate, track, std::vector<LineBand>{{2.0, 10.0}});
    CHECK(more[8000] == Approx(7.0 + alone[8000]));
    // a band that reaches beyond 0.49 of the rate or below 0 Hz is left in
    const auto left_in = [&](double hz, double half_width_hz) {
        std::vector<double> x(4000, 0.0), y(4000, 0.0);
        for (std::size_t n = 0; n < x.size(); ++n) x[n] = std::cos(2 * std::numbers::pi * hz * static_cast<double>(n) / rate);
        take_out_lines(x, y, rate, steady_track(hz), std::vector<LineBand>{{1.0, half_width_hz}});
        return mean_square(y) == 0.0;
    };
    CHECK_FALSE(left_in(3890.0, 19.9));   // 0.49 of 8 kHz are 3920 Hz, 1.5 times the half width beyond
    CHECK(left_in(3890.0, 20.1));
    CHECK_FALSE(left_in(30.0, 19.9));
    CHECK(left_in(30.0, 20.1));
}
