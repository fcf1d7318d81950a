#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/error.hpp"
#include "tone_maker.hpp"

using namespace hushtrace;

TEST_CASE("a pure tone reads exactly, wherever it lies between two bins", "[tone]") {
    // On paper: amplitude 0.5 is -6.0206 dBFS (AES17).
    for (const double rate : {8000.0, 48000.0, 192000.0})
        for (const double share : {5.0 / rate, 40.3 / rate, 997.0 / rate, 0.25, 0.2500013, 0.333, 0.45}) {
            const double frequency = share * rate;
            for (const double cycles : {10.0, 10.37, 33.5, 250.25}) {
                const auto frames = static_cast<std::size_t>(std::ceil(cycles / share));
                if (frames < 100 || frames > 100000) continue;
                CAPTURE(rate, frequency, cycles);
                const auto samples = tone_maker::sine(frequency, 0.5, frames, rate, 1.234);
                const ToneReading tone = read_tone(samples, rate);
                CHECK(tone.level_dbfs == Approx(-6.0205999).margin(1e-6));
                CHECK(tone.frequency_hz ==
                      Approx(frequency).margin(1e-6 * rate / static_cast<double>(frames)));
                CHECK(tone.phase_rad == Approx(1.234).margin(1e-6));
            }
        }
}

TEST_CASE("few cycles of a tone with harmonics, dc and hum read within 0.01 dB", "[tone]") {
    for (const double cycles : {4.3, 7.5, 10.0, 12.7, 20.5}) {
        const double frequency = 41.7;
        const auto frames = static_cast<std::size_t>(cycles / frequency * 48000);
        auto samples = tone_maker::sine(frequency, 0.4, frames);
        tone_maker::add(samples, tone_maker::sine(3 * frequency, 0.12, frames, 48000, 2.0));
        tone_maker::add(samples, tone_maker::sine(2 * frequency, 0.05, frames, 48000, -1.0));
        for (double& x : samples) x += 0.03;
        const ToneReading tone = read_tone(samples, 48000);
        CAPTURE(cycles);
        CHECK(tone.level_dbfs == Approx(20 * std::log10(0.4)).margin(0.001));
        CHECK(tone.frequency_hz == Approx(frequency).margin(0.001 * frequency / cycles));
        CHECK(tone.mean == Approx(0.03).margin(1e-4));
    }
    auto hummed = tone_maker::sine(997.0, 0.1, 2400);
    tone_maker::add(hummed, tone_maker::sine(50.0, 0.001, 2400));
    CHECK(read_tone(hummed, 48000).level_dbfs == Approx(-20.0).margin(0.01));
}

TEST_CASE("24-bit steps cost a tone at -90 dBFS nothing that counts", "[tone]") {
    auto samples = tone_maker::sine(997.003, std::pow(10.0, -90.0 / 20.0), 48000);
    tone_maker::quantise_24_bit(samples);
    const ToneReading tone = read_tone(samples, 48000);
    CHECK(tone.level_dbfs == Approx(-90.0).margin(0.01));
    CHECK(tone.frequency_hz == Approx(997.003).margin(0.001));
}

TEST_CASE("in white noise the spread is the Cramer-Rao bound, and is what the reading claims", "[tone]") {
    // tests/reference/README.md section 5 (Rife and Boorstyn 1974; Kay 1993 eq. 3.41):
    // sd(f) = fs/(2 pi) sqrt(12/(s N (N^2-1))), sd(A)/A = sqrt(1/(s N)), s = tone power over noise power.
    constexpr std::size_t kFrames = 4800, kRuns = 200;
    const double rate = 48000, amplitude = 0.5, n = kFrames;
    const double s = 100.0;  // 20 dB
    const double bound_hz = rate / (2 * std::numbers::pi) * std::sqrt(12.0 / (s * n * (n * n - 1)));
    double squares_hz = 0, squares_level = 0;
    int frequency_covered = 0, level_covered = 0;
    for (unsigned run = 0; run < kRuns; ++run) {
        const double frequency = 900.0 + 1.37 * run;
        auto samples = tone_maker::sine(frequency, amplitude, kFrames, rate, 0.03 * run);
        tone_maker::add_noise(samples, amplitude / std::sqrt(2.0 * s), 1000 + run);
        const ToneReading tone = read_tone(samples, rate);
        const double off_hz = tone.frequency_hz - frequency, off = tone.amplitude / amplitude - 1;
        squares_hz += off_hz * off_hz;
        squares_level += off * off;
        frequency_covered += std::abs(off_hz) < 1.96 * tone.frequency_sd_hz;
        level_covered += std::abs(off) < 1.96 * tone.amplitude_sd / amplitude;
        CHECK(tone.snr_db == Approx(20.0).margin(0.4));
    }
    // 200 runs: the sd of an sd is 5 %; the reference gives 0.9 to 1.15 of the bound.
    CHECK(std::sqrt(squares_hz / kRuns) / bound_hz == Approx(1.02).margin(0.13));
    CHECK(std::sqrt(squares_level / kRuns) / std::sqrt(1 / (s * n)) == Approx(1.02).margin(0.13));
    CHECK(frequency_covered >= 180);
    CHECK(frequency_covered <= 198);
    CHECK(level_covered >= 180);
    CHECK(level_covered <= 198);
}

TEST_CASE("noise alone is not called a tone, and a search range keeps a louder neighbour out", "[tone]") {
    std::vector<double> noise(9600, 0.0);
    tone_maker::add_noise(noise, 0.01, 5);
    CHECK(read_tone(noise, 48000).false_tone_probability > 0.5);
    CHECK(read_tone(noise, 48000).frequency_sd_hz > 1000);

    auto two = tone_maker::sine(50.0, 0.5, 48000);
    tone_maker::add(two, tone_maker::sine(200.1, 0.05, 48000));
    ToneSearch near_200;
    near_200.from_hz = 190;
    near_200.to_hz = 210;
    const ToneReading tone = read_tone(two, 48000, near_200);
    CHECK(tone.frequency_hz == Approx(200.1).margin(0.001));
    CHECK(tone.level_dbfs == Approx(-26.0206).margin(0.002));
    CHECK(tone.false_tone_probability < 1e-6);
    CHECK(read_tone(two, 48000).frequency_hz == Approx(50.0).margin(0.01));
}

TEST_CASE("what can't be read is refused by kind", "[tone]") {
    const auto kind_of = [](const std::vector<double>& samples, ToneSearch search = {}) {
        try {
            read_tone(samples, 48000, search);
        } catch (const Error& error) {
            return error.kind();
        }
        FAIL("was read");
        return ErrorKind::device_failed;
    };
    CHECK(kind_of({}) == ErrorKind::empty_input);
    CHECK(kind_of(std::vector<double>(15, 0.1)) == ErrorKind::too_short);
    CHECK(kind_of(std::vector<double>(4800, 0.0)) == ErrorKind::invalid_input);
    CHECK(kind_of(std::vector<double>(4800, 0.25)) == ErrorKind::invalid_input);
    CHECK(kind_of(std::vector<double>(48000, 0.3)) == ErrorKind::invalid_input);  // whose mean is not exact
    std::vector<double> broken(4800, 0.0);
    broken[77] = std::numeric_limits<double>::infinity();
    CHECK(kind_of(broken) == ErrorKind::not_finite);
    CHECK(kind_of(tone_maker::sine(20.0, 0.5, 4000)) == ErrorKind::too_short);  // 1.7 cycles
    ToneSearch backwards;
    backwards.from_hz = 500;
    backwards.to_hz = 400;
    CHECK(kind_of(tone_maker::sine(450.0, 0.5, 4800), backwards) == ErrorKind::invalid_request);
}
