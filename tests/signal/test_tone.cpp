// Test tones held against closed forms.
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <fstream>
#include <limits>
#include <map>
#include <numbers>
#include <numeric>
#include <sstream>

#include <catch2/catch.hpp>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/tone.hpp"
#include "hushtrace/signal/tone_programme.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

std::vector<double> rendered(const Waveform& waveform, std::size_t count, double rate_hz) {
    std::vector<double> samples(count);
    ToneGenerator(waveform, rate_hz).render(samples);
    return samples;
}
double level_dbfs(std::span<const double> samples) {
    const double power = std::inner_product(samples.begin(), samples.end(), samples.begin(), 0.0);
    return dbfs_from_mean_square(power / static_cast<double>(samples.size()));
}
// Amplitude and phase of one frequency, by the defining sum (whole cycles).
std::complex<double> component(std::span<const double> samples, double frequency_hz, double rate_hz) {
    std::complex<double> sum = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        sum += samples[i] * std::polar(1.0, -2 * pi * frequency_hz * static_cast<double>(i) / rate_hz);
    }
    return 2.0 * sum / static_cast<double>(samples.size());
}
// The value in a row of tests/reference/pink_and_sweep.csv.
double published(const std::string& quantity, const std::string& inputs) {
    std::ifstream file(HUSHTRACE_REFERENCE_DIR "/pink_and_sweep.csv");
    for (std::string line; std::getline(file, line);) {
        std::stringstream cells(line);
        std::string name, equation, with, value;
        std::getline(cells, name, ','), std::getline(cells, equation, ','), std::getline(cells, with, ','),
            std::getline(cells, value, ',');
        if (name == quantity && with == inputs) return std::stod(value);
    }
    FAIL("no row " << quantity << " " << inputs);
    return 0;
}

}  // namespace

TEST_CASE("a sine at 0 dBFS peaks at 1.0 and reads 0 dBFS", "[tone]") {
    // AES17: 0 dBFS is the rms of a full-scale sine.
    const auto samples = rendered(Sine{1000, 0}, 48000, 48000);
    CHECK(level_dbfs(samples) == Approx(0).margin(1e-9));
    CHECK(*std::max_element(samples.begin(), samples.end()) == Approx(1.0).margin(1e-12));
    CHECK(level_dbfs(rendered(Sine{1000, -37.5}, 48000, 48000)) == Approx(-37.5).margin(1e-9));
}

TEST_CASE("a sine is the sine of its time, and an hour later still is", "[tone]") {
    const double frequency_hz = 997.0, rate_hz = 44100;
    ToneGenerator generator(Sine{frequency_hz, 0}, rate_hz);
    std::vector<double> block(44100);
    for (int second = 0; second <= 3600; ++second) {
        generator.render(block);
        if (second != 0 && second != 3600) continue;
        for (std::size_t i = 0; i < block.size(); i += 441) {
            // 997 cycles fit a second, so the whole seconds drop out of the phase.
            const double exact =
                std::sin(2 * pi * std::fmod(frequency_hz * static_cast<double>(i) / rate_hz, 1.0));
            REQUIRE(block[i] == Approx(exact).margin(1e-9));
        }
    }
}

TEST_CASE("a stepped tone holds each level for its time", "[tone]") {
    const double rate_hz = 48000;
    const auto samples = rendered(Stepped{1000, {-40, -20, -6}, 0.5}, 3 * 24000, rate_hz);
    const std::array levels = {-40.0, -20.0, -6.0};
    for (std::size_t step = 0; step < 3; ++step) {
        CHECK(level_dbfs(std::span(samples).subspan(step * 24000 + 480, 23040)) ==
              Approx(levels[step]).margin(1e-6));
    }
    CHECK(natural_duration_s(Stepped{1000, {-40, -20, -6}, 0.5}) == Approx(1.5));
    // No sample differs from the last by more than the loudest sine's steepest slope allows, plus the ramp's
    // own.
    const double steepest =
        amplitude_from_decibels(-6) * (2 * pi * 1000 / rate_hz + pi / (2 * 0.005 * rate_hz));
    for (std::size_t i = 1; i < samples.size(); ++i)
        REQUIRE(std::abs(samples[i] - samples[i - 1]) < steepest);
}

TEST_CASE("two tones have their levels each", "[tone]") {
    const auto samples = rendered(TwoTone{{60, 7000}, {-12, -24}}, 48000, 48000);
    CHECK(std::abs(component(samples, 60, 48000)) == Approx(amplitude_from_decibels(-12)).epsilon(1e-9));
    CHECK(std::abs(component(samples, 7000, 48000)) == Approx(amplitude_from_decibels(-24)).epsilon(1e-9));
    CHECK(peak_of(TwoTone{}) == Approx(amplitude_from_decibels(-12) + amplitude_from_decibels(-24)));
}

TEST_CASE("an exponential sweep passes its published points", "[tone]") {
    // tests/reference/pink_and_sweep.csv, Farina 2000
    const double rate_hz = 192000, duration_s = 5;
    const auto samples = rendered(Sweep{20, 20000, duration_s, 0}, 5 * 192000, rate_hz);
    std::vector<double> crossings;  // upward, one a cycle [s]
    for (std::size_t i = 1; i < samples.size(); ++i) {
        if (samples[i - 1] < 0 && samples[i] >= 0) {
            const double part = -samples[i - 1] / (samples[i] - samples[i - 1]);
            crossings.push_back((static_cast<double>(i) - 1 + part) / rate_hz);
        }
    }
    CHECK(static_cast<double>(crossings.size()) ==
          Approx(published("sweep_cycles", "f1=20 Hz; f2=20000 Hz; T=5 s"))
              .margin(1.1));  // the first cycle starts at a crossing that isn't counted
    const auto frequency_at = [&](double time_s) {
        const auto after = std::lower_bound(crossings.begin(), crossings.end(), time_s) - crossings.begin();
        const auto from = static_cast<std::size_t>(after) - 3, to = static_cast<std::size_t>(after) + 2;
        return 5.0 / (crossings[to] - crossings[from]);
    };
    CHECK(frequency_at(2.5) ==
          Approx(published("sweep_frequency_at_half_time", "f1=20 Hz; f2=20000 Hz; T=5 s; t=T/2"))
              .epsilon(1e-3));
    CHECK(frequency_at(published("sweep_time_of_1khz", "f1=20 Hz; f2=20000 Hz; T=5 s; f=1000 Hz")) ==
          Approx(1000).epsilon(1e-3));
}

TEST_CASE("pink noise falls 10 dB a decade and keeps within 0.5 dB in each third octave", "[tone]") {
    const double rate_hz = GENERATE(8000.0, 44100.0, 192000.0);
    CAPTURE(rate_hz);
    // Levels of thirds by the defining sum over many short frames would be slow; a bank of bins spaced in the
    // band is averaged over frames under a Hann window instead.
    const std::size_t length = 8192, frames = 200;
    const auto samples = rendered(Pink{-20, 7}, length * frames, rate_hz);
    CHECK(level_dbfs(samples) ==
          Approx(-20).margin(0.35));  // low frequencies have few cycles: sd about 0.1 dB
    std::vector<double> window(length);
    for (std::size_t i = 0; i < length; ++i)
        window[i] = 0.5 - 0.5 * std::cos(2 * pi * static_cast<double>(i) / static_cast<double>(length));
    double slope_top = 0, slope_bottom = 0, mean_x = 0, mean_y = 0;
    std::vector<std::pair<double, double>> bands;  // log10 f, density in dB with 1/f taken out
    const double bin_hz = rate_hz / static_cast<double>(length);
    for (double centre_hz = 50 * bin_hz; centre_hz * std::pow(10, 0.05) < std::min(0.48 * rate_hz, 22000.0);
         centre_hz *= std::pow(10, 0.1)) {
        double sum = 0;
        int count = 0;
        for (int part = -2; part <= 2; ++part) {
            const double bin = std::round(centre_hz * std::pow(10, 0.1 * part / 5.0) / bin_hz);
            if (bin < 4) continue;  // the window's main lobe would reach down to 0 Hz
            const auto turn = std::polar(1.0, -2 * pi * bin / static_cast<double>(length));
            for (std::size_t frame = 0; frame < frames; ++frame) {
                std::complex<double> spun = 1, value = 0;
                for (std::size_t i = 0; i < length; ++i) {
                    value += samples[frame * length + i] * window[i] * spun;
                    spun *= turn;
                }
                sum += std::norm(value) * bin * bin_hz;
                ++count;
            }
        }
        if (count > 0) bands.emplace_back(std::log10(centre_hz), decibels_from_power(sum / count));
    }
    REQUIRE(bands.size() >= 12);
    for (const auto& [x, y] : bands)
        mean_x += x / static_cast<double>(bands.size()), mean_y += y / static_cast<double>(bands.size());
    for (const auto& [x, y] : bands)
        slope_top += (x - mean_x) * (y - mean_y), slope_bottom += (x - mean_x) * (x - mean_x);
    const double slope = published("pink_slope_per_decade", "-") + slope_top / slope_bottom;
    CHECK(slope == Approx(-10).margin(0.2));
    for (const auto& [x, y] : bands) {
        CAPTURE(std::pow(10, x));
        CHECK(y == Approx(mean_y).margin(0.5));
    }
}

TEST_CASE("the same seed gives the same noise, another another", "[tone]") {
    CHECK(rendered(Pink{-20, 3}, 1000, 48000) == rendered(Pink{-20, 3}, 1000, 48000));
    CHECK(rendered(Pink{-20, 3}, 1000, 48000) != rendered(Pink{-20, 4}, 1000, 48000));
}

TEST_CASE("near-silence is triangular dither of one 16-bit step", "[tone]") {
    const auto samples = rendered(NearSilence{}, 480000, 48000);
    for (const double sample : samples) REQUIRE(std::abs(sample) <= 1.0 / 32768);
    // A triangular distribution of half-width q has variance q^2/6.
    CHECK(level_dbfs(samples) == Approx(dbfs_from_mean_square(std::pow(1.0 / 32768, 2) / 6)).margin(0.05));
}

TEST_CASE("polarity pulses are one-sided, evenly spaced and of the asked height", "[tone]") {
    const double rate_hz = 44100;
    const auto samples = rendered(PolarityPulse{-12, 0.25, 0.002}, 10 * 44100, rate_hz);
    std::size_t pulses = 0;
    double last_s = 0;
    for (std::size_t i = 1; i + 1 < samples.size(); ++i) {
        REQUIRE(samples[i] >= 0);
        if (samples[i] > samples[i - 1] && samples[i] >= samples[i + 1]) {
            CHECK(samples[i] == Approx(amplitude_from_decibels(-12)).epsilon(0.001));
            if (pulses++ > 0)
                CHECK(static_cast<double>(i) / rate_hz - last_s == Approx(0.25).margin(1 / rate_hz));
            last_s = static_cast<double>(i) / rate_hz;
        }
    }
    CHECK(pulses == 40);
}

TEST_CASE("what can't be played is refused", "[tone]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const std::vector<Waveform> bad = {Sine{0, -20},
                                       Sine{-5, -20},
                                       Sine{24000, -20},
                                       Sine{nan, -20},
                                       Sine{997, 0.1},
                                       Sine{997, nan},
                                       Sine{997, -std::numeric_limits<double>::infinity()},
                                       Stepped{997, {}, 1},
                                       Stepped{997, {-20}, 0},
                                       Stepped{997, {-20}, nan},
                                       Stepped{997, {-20, 1}, 1},
                                       TwoTone{{60, 7000}, {-6, -6}},
                                       TwoTone{{60, nan}, {-20, -20}},
                                       Sweep{20, 24000, 5, -20},
                                       Sweep{20, 20000, 0, -20},
                                       Sweep{100, 100, 5, -20},
                                       Pink{-6, 1},
                                       Pink{nan, 1},
                                       PolarityPulse{-12, 0.001, 0.002},
                                       PolarityPulse{-12, 0.25, 1e-5},
                                       PolarityPulse{-12, nan, 0.002}};
    for (const auto& waveform : bad) {
        CAPTURE(waveform.index());
        CHECK_THROWS_AS(ToneGenerator(waveform, 48000), Error);
    }
    CHECK_NOTHROW(ToneGenerator(
        TwoTone{{60, 7000}, {decibels_from_amplitude(0.5), decibels_from_amplitude(0.5)}}, 48000));
    CHECK_THROWS_AS(ToneGenerator(Sine{}, nan), Error);
    CHECK_THROWS_AS(render_programme(Sine{}, 0, 48000), Error);  // no duration known
    CHECK_THROWS_AS(render_programme(Sine{}, nan, 48000), Error);
    CHECK_THROWS_AS(render_programme(Sine{}, -1, 48000), Error);
}

TEST_CASE("a programme holds markers, gaps and the tone where it says", "[tone_programme]") {
    const double rate_hz = GENERATE(8000.0, 44100.0, 48000.0);
    CAPTURE(rate_hz);
    const auto samples = render_programme(Sine{997, -6}, 2.0, rate_hz);
    const ProgrammeTimes times = programme_times(2.0);
    CHECK(static_cast<double>(samples.size()) == Approx(times.total_s * rate_hz).margin(1));
    const auto part = [&](double from_s, double to_s) {
        return level_dbfs(std::span(samples).subspan(static_cast<std::size_t>(from_s * rate_hz),
                                                     static_cast<std::size_t>((to_s - from_s) * rate_hz)));
    };
    CHECK(part(times.tone_start_s + 0.05, times.tone_end_s - 0.05) == Approx(-6).margin(0.01));
    CHECK(part(times.opening_marker_s, times.opening_marker_s + Marker::duration_s) ==
          Approx(-12).margin(1.5));
    CHECK(part(times.closing_marker_s, times.closing_marker_s + Marker::duration_s) ==
          Approx(-12).margin(1.5));
    CHECK(part(0, times.opening_marker_s) < -90);
    CHECK(part(0, times.opening_marker_s) > -100);  // near-silence, not digital silence
    CHECK(part(times.opening_marker_s + Marker::duration_s + 0.01, times.tone_start_s) < -90);
    for (const double sample : samples) REQUIRE(std::abs(sample) <= 1.0);
}

TEST_CASE("the closing marker is the opening one backwards", "[tone_programme]") {
    const auto opening = marker_samples(Marker::End::opening, 48000);
    const auto closing = marker_samples(Marker::End::closing, 48000);
    REQUIRE(opening.size() == closing.size());
    for (std::size_t i = 1; i < opening.size(); ++i)
        REQUIRE(closing[i] == Approx(opening[opening.size() - i]).margin(1e-9));
}
