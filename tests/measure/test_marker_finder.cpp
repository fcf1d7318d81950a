// Markers found in captures of tone files.
#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

#include "hushtrace/measure/marker_finder.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

// A capture of a tone file: played from `start_s` on by a clock that is `ppm` off, at `gain`, in white noise.
// The file is drawn at the capture's own rate as the player's clock makes it appear, so no resampler has a
// part in the result.
struct Capture {
    double rate_hz = 48000, tone_s = 4, start_s = 1.2345678, ppm = 0, gain = 0.5, noise_rms = 1e-5,
           clip_at = 10;
    std::uint64_t seed = 1;

    std::vector<double> samples() const {
        const auto file = render_programme(Sine{997, -12}, tone_s, rate_hz * (1 + 1e-6 * ppm));
        const auto first = static_cast<std::size_t>(std::floor(start_s * rate_hz));
        const double part = start_s * rate_hz - static_cast<double>(first);
        std::vector<double> result(first + file.size() + static_cast<std::size_t>(rate_hz));
        std::mt19937_64 generator(seed);
        std::normal_distribution<double> noise(0, noise_rms);
        // Shifted by part of a sample with a windowed sinc of 64 taps: exact to some 1e-4 sample below 8 kHz.
        const int half = 32;
        std::vector<double> taps;
        for (int k = -half; k <= half; ++k) {
            const double x = k - part;
            const double sinc = x == 0 ? 1 : std::sin(pi * x) / (pi * x);
            taps.push_back(sinc * (0.5 + 0.5 * std::cos(pi * x / (half + 1))));
        }
        for (std::size_t i = 0; i < result.size(); ++i) {
            double sum = 0;
            for (int k = -half; k <= half; ++k) {
                const auto from = static_cast<std::ptrdiff_t>(i) - static_cast<std::ptrdiff_t>(first) - k;
                if (from >= 0 && from < static_cast<std::ptrdiff_t>(file.size())) {
                    sum += file[static_cast<std::size_t>(from)] * taps[static_cast<std::size_t>(k + half)];
                }
            }
            result[i] = std::clamp(gain * sum, -clip_at, clip_at) + noise(generator);
        }
        return result;
    }
    double opening_s() const { return start_s + programme_times(tone_s).opening_marker_s * (1 + 1e-6 * ppm); }
};

std::vector<FoundMarker> markers_in(const std::vector<double>& samples, double rate_hz = 48000) {
    MarkerFinder finder(rate_hz);
    for (std::size_t from = 0; from < samples.size(); from += 5000) {
        finder.add(std::span(samples).subspan(from, std::min<std::size_t>(5000, samples.size() - from)));
    }
    return finder.result();
}
LinedUp lined_up(const std::vector<double>& samples, double tone_s = 4, double rate_hz = 48000) {
    const auto found = markers_in(samples, rate_hz);
    for (const auto& m : found) {
        UNSCOPED_INFO((m.end == Marker::End::opening ? "opening" : "closing")
                      << " at " << m.time_s << " s, strength " << m.strength << ", up to " << m.band_to_hz
                      << " Hz");
    }
    const auto pair = line_up(found, programme_times(tone_s));
    REQUIRE(pair.has_value());
    return *pair;
}
// Second-order low-pass sections, bilinear: as a subwoofer's crossover has them (Butterworth, Q 0.707).
void low_pass(std::vector<double>& samples, double corner_hz, int sections, double rate_hz = 48000) {
    const double k = std::tan(pi * corner_hz / rate_hz), q = 1 / std::sqrt(2.0),
                 norm = 1 / (1 + k / q + k * k);
    for (int section = 0; section < sections; ++section) {
        double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
        for (double& sample : samples) {
            const double x = sample;
            const double y =
                norm * (k * k * (x + 2 * x1 + x2) - 2 * (k * k - 1) * y1 - (1 - k / q + k * k) * y2);
            x2 = x1, x1 = x, y2 = y1, y1 = y;
            sample = y;
        }
    }
}

}  // namespace

TEST_CASE("markers are found to a tenth of a sample, the clocks' ratio to a tenth of a ppm", "[marker]") {
    Capture capture;
    capture.rate_hz = GENERATE(44100.0, 48000.0, 96000.0);
    capture.ppm = GENERATE(-200.0, 37.0, 200.0);
    capture.tone_s = 2;
    capture.start_s = capture.ppm == 37.0 ? 0.0 : 1.2345678;
    CAPTURE(capture.rate_hz, capture.ppm, capture.start_s);
    const LinedUp pair = lined_up(capture.samples(), capture.tone_s, capture.rate_hz);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(0.1));
    CHECK(pair.clock_ppm == Approx(capture.ppm).margin(0.2));
    CHECK(std::abs(pair.clock_ppm - capture.ppm) < 5 * pair.clock_ppm_sd + 0.1);
    CHECK_FALSE(pair.opening.inverted);
    CHECK(pair.opening.band_to_hz == 8000);
    const ProgrammeTimes times = programme_times(capture.tone_s);
    CHECK(pair.tone_start_s ==
          Approx(capture.start_s + times.tone_start_s * (1 + 1e-6 * capture.ppm)).margin(1e-5));
}

TEST_CASE("markers are found whatever the path does to them", "[marker]") {
    Capture capture;
    capture.ppm = 50;
    double sample_margin = 0.3, ppm_margin = 1;
    std::function<void(std::vector<double>&)> spoil = [](std::vector<double>&) {};
    bool inverted = false;
    SECTION("60 dB down") {
        capture.gain = 5e-4;
        capture.noise_rms = 1e-6;
    }
    SECTION("noise as loud as the marker") {
        capture.noise_rms = capture.gain * 0.25 / std::sqrt(2.0);
        sample_margin = 1;
        ppm_margin = 5;
    }
    SECTION("polarity turned") {
        capture.gain = -0.5;
        inverted = true;
    }
    SECTION("clipped by the source") {
        capture.clip_at = 0.04;
    }
    SECTION("a subwoofer's low-pass at 80 Hz, 24 dB an octave, in noise 40 dB below") {
        capture.noise_rms = 0;
        spoil = [](std::vector<double>& s) {
            low_pass(s, 80, 2);
            std::mt19937_64 generator(3);
            std::normal_distribution<double> noise(0, 4e-4);
            for (double& sample : s) sample += noise(generator);
        };
        sample_margin = 960;  // the filter's own delay: some 10 ms
        ppm_margin = 200;
    }
    SECTION("under a wandering whine as loud") {
        spoil = [](std::vector<double>& s) {
            for (std::size_t i = 0; i < s.size(); ++i) {
                const double t = static_cast<double>(i) / 48000;
                const double cycles = 700 * t + 3 * std::sin(2 * pi * 0.6 * t);
                for (int line = 1; line <= 6; ++line) s[i] += 0.06 * std::sin(2 * pi * line * cycles) / line;
            }
        };
    }
    SECTION("with the tone muted in between") {
        spoil = [](std::vector<double>& s) { std::fill(s.begin() + 200000, s.begin() + 250000, 0.0); };
    }
    auto samples = capture.samples();
    spoil(samples);
    const LinedUp pair = lined_up(samples);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(sample_margin));
    CHECK(pair.clock_ppm == Approx(capture.ppm).margin(ppm_margin));
    if (sample_margin < 100) CHECK(pair.opening.inverted == inverted);
}

TEST_CASE("low rates find the part of the marker that they hold", "[marker]") {
    Capture capture;
    capture.rate_hz = GENERATE(8000.0, 16000.0, 22050.0);
    const LinedUp pair = lined_up(capture.samples(), capture.tone_s, capture.rate_hz);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(0.1));
}

TEST_CASE("no marker is reported where there is none", "[marker]") {
    std::vector<double> samples(48000 * 20);
    std::mt19937_64 generator(GENERATE(1U, 2U));
    std::normal_distribution<double> normal(0, 0.05);
    std::uniform_real_distribution<double> even(0, 1);
    const auto each = [&](const std::function<double(double)>& sound) {
        for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = sound(static_cast<double>(i) / 48000);
    };
    SECTION("white noise") {
        each([&](double) { return normal(generator); });
    }
    SECTION("rumble") {
        double state = 0;
        each([&](double) { return state += 0.002 * (normal(generator) - state); });
    }
    SECTION("a tone that starts and stops") {
        each([](double t) { return std::fmod(t, 3.0) < 1.5 ? 0.5 * std::sin(2 * pi * 997 * t) : 0.0; });
    }
    SECTION("an engine that revs up and down") {
        each([&](double t) {
            const double cycles = 600 * t - 400 / (2 * pi * 0.25) * std::cos(2 * pi * 0.25 * t);
            double sum = 0;
            for (int line = 1; line <= 10; ++line) sum += 0.1 * std::sin(2 * pi * line * cycles) / line;
            return sum + 0.01 * normal(generator);
        });
    }
    SECTION("a slow sweep as tone files have it") {
        ToneGenerator sweep(Sweep{20, 20000, 5, -12}, 48000);
        sweep.render(samples);
    }
    SECTION("music-like: decaying notes, drums whose pitch falls, hiss") {
        std::vector<double> sound(samples.size());
        for (int note = 0; note < 160; ++note) {
            const double start_s = 0.125 * note,
                         pitch_hz = 110 * std::pow(2, std::floor(36 * even(generator)) / 12);
            const bool drum = note % 4 == 0;
            for (std::size_t i = static_cast<std::size_t>(start_s * 48000); i < sound.size(); ++i) {
                const double t = static_cast<double>(i) / 48000 - start_s;
                if (t > 0.7) break;
                const double cycles = drum ? 50 * t + 6 * (1 - std::exp(-t / 0.05)) : pitch_hz * t;
                sound[i] +=
                    0.2 * std::exp(-t / 0.15) * (std::sin(2 * pi * cycles) + 0.3 * std::sin(4 * pi * cycles));
            }
        }
        std::size_t i = 0;
        each([&](double) { return sound[i++] + 0.01 * normal(generator); });
    }
    SECTION("clicks") {
        each([](double t) { return std::fmod(t, 0.04) < 5e-5 ? 0.8 : 0.0; });
    }
    SECTION("digital silence") {}
    const auto found = markers_in(samples);
    for (const auto& marker : found)
        UNSCOPED_INFO(marker.time_s << " s, strength " << marker.strength << " " << marker.band_to_hz);
    CHECK(found.empty());
}

TEST_CASE("an opening marker without its closing one is reported, and lines nothing up", "[marker]") {
    auto samples = Capture{}.samples();
    samples.resize(48000 * 5);
    const auto found = markers_in(samples);
    REQUIRE(found.size() == 1);
    CHECK(found[0].end == Marker::End::opening);
    CHECK_FALSE(line_up(found, programme_times(4)).has_value());
    CHECK_FALSE(line_up(markers_in(Capture{}.samples()), programme_times(7)).has_value());
    CHECK(markers_in({}).empty());
    CHECK_THROWS_AS(MarkerFinder(0), Error);
}
