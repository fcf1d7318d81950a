#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "../../src/measure/tone_place.hpp"
#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/noise_maker.hpp"
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

TEST_CASE("a reading's figures hang together: what else there is, in decibels, and the uncertainties", "[tone]") {
    // a foreign line that leans on the fit is fitted and taken off, and counts as what else there is: 20 dB below
    auto samples = tone_maker::sine(997.3, 0.5, 4800);
    tone_maker::add(samples, tone_maker::sine(1231.7, 0.05, 4800, 48000, 1.1));
    for (double& x : samples) x += 0.125;
    const ToneReading tone = read_tone(samples, 48000);
    CHECK(tone.frequency_hz == Approx(997.3).margin(1e-4));
    CHECK(tone.amplitude == Approx(0.5).epsilon(1e-5));
    CHECK(tone.phase_rad == Approx(0.3).margin(1e-4));
    CHECK(tone.mean == Approx(0.125).margin(1e-4));
    CHECK(tone.cycles == Approx(99.73).epsilon(1e-6));
    CHECK(tone.snr_db == Approx(20.0).margin(0.01));
    CHECK(tone.level_sd_db == Approx(20 / std::log(10.0) * tone.amplitude_sd / tone.amplitude));
    // a harmonic beyond half the rate is none: what stands where it would fold to is another tone
    auto folded = tone_maker::sine(12480, 0.5, 4800);
    tone_maker::add(folded, tone_maker::sine(48000 - 2 * 12480, 0.05, 4800, 48000, 0.9));
    CHECK(read_tone(folded, 48000).snr_db == Approx(20.0).margin(0.05));
    // three of them
    tone_maker::add(samples, tone_maker::sine(5333.3, 0.2, 4800, 48000, 2.0));
    tone_maker::add(samples, tone_maker::sine(741.9, 0.1, 4800, 48000, -2.0));
    const ToneReading among = read_tone(samples, 48000);
    CHECK(among.level_dbfs == Approx(20 * std::log10(0.5)).margin(1e-3));
    CHECK(among.snr_db == Approx(10 * std::log10(0.25 / (0.0025 + 0.04 + 0.01))).margin(0.02));
}

TEST_CASE("what lies apart and was not fitted bends a reading by as much as it states", "[tone]") {
    // a line of amplitude a, d bins away: a / (pi d) at most, half of it as an rms; as frequency 6 / N of that in rad a sample
    const double a = 1e-3, amplitude = 0.5, n = 9600;
    auto samples = tone_maker::sine(1000, amplitude, 9600);
    tone_maker::add(samples, tone_maker::sine(1000 + 50 * 5.0, a, 9600, 48000, 1.0));
    const double bend = a / (2 * std::numbers::pi * 50);
    const ToneReading beside = read_tone(samples, 48000);
    CHECK(beside.amplitude_sd == Approx(bend).epsilon(0.01));
    CHECK(beside.frequency_sd_hz == Approx(6 * bend / amplitude / n / (2 * std::numbers::pi) * 48000).epsilon(0.01));
    // harmonics above the tenth hang together: as a line, and once more with all of the others added up
    auto bent = tone_maker::sine(1000, amplitude, 9600);
    tone_maker::add(bent, tone_maker::sine(11000, a, 9600, 48000, 0.7));
    tone_maker::add(bent, tone_maker::sine(13000, a, 9600, 48000, 2.7));
    const double eleventh = a / (std::numbers::pi * 10 * 200), thirteenth = a / (std::numbers::pi * 12 * 200);
    CHECK(read_tone(bent, 48000).amplitude_sd ==
          Approx(0.5 * std::hypot(std::hypot(eleventh, thirteenth), eleventh + thirteenth)).epsilon(0.02));
    // up to the tenth they are fitted
    auto fitted = tone_maker::sine(1000, amplitude, 9600);
    for (int k = 2; k <= 10; ++k) tone_maker::add(fitted, tone_maker::sine(1000.0 * k, 0.01 * k, 9600, 48000, 0.4 * k));
    CHECK(read_tone(fitted, 48000).amplitude_sd < 1e-8);
    CHECK(read_tone(fitted, 48000).snr_db > 150);
}

TEST_CASE("a tone that noise may have made says so by the bins that were searched", "[tone]") {
    // Noise far from the tone, so that it is all of the noise and none of it beside: in N samples of variance v a bin's power g = A^2 N / 4v
    // falls short of exp(-g / 2) / 2 (Rife and Boorstyn 1974), and 900 to 1100 Hz are 20 bins of 10 Hz.
    std::mt19937 random(3);
    NoiseMaker maker(48000, 4800, [](double hz) { return hz > 12000 ? 0.0075 / 12000 : 0.0; });
    auto samples = maker.take(random);
    tone_maker::add(samples, tone_maker::sine(1030, 0.01, 4800));
    ToneSearch range;
    range.from_hz = 900;
    range.to_hz = 1100;
    const ToneReading tone = read_tone(samples, 48000, range);
    CHECK(tone.snr_db == Approx(10 * std::log10(0.5e-4 / 0.0075)).margin(0.3));
    const double likely = 0.5 * 20 * std::exp(-0.25 * std::pow(10, tone.snr_db / 10) * 4800);
    REQUIRE(likely > 1e-3);
    REQUIRE(likely < 0.1);
    CHECK(tone.false_tone_probability == Approx(likely).epsilon(1e-6));
    // then it may be anywhere in the range: even over it, about its middle
    const double elsewhere = std::hypot(200 / std::sqrt(12.0), tone.frequency_hz - 1000);
    CHECK(tone.frequency_sd_hz == Approx(std::sqrt(likely) * elsewhere).epsilon(1e-3));
    // rarer than one in a thousand that is left out
    auto likelier = samples;
    tone_maker::add(likelier, tone_maker::sine(1030, 0.0013, 4800));
    const ToneReading surer = read_tone(likelier, 48000, range);
    REQUIRE(surer.false_tone_probability > 1e-4);
    REQUIRE(surer.false_tone_probability < 1e-3);
    CHECK(surer.frequency_sd_hz < 0.1);
    range.from_hz = 1020;
    range.to_hz = 1040;
    CHECK(read_tone(samples, 48000, range).false_tone_probability == Approx(0.1 * likely).epsilon(1e-3));
    // the noise beside it counts where that is louder
    NoiseMaker near(48000, 4800, [](double hz) { return hz < 2000 ? 1e-9 : 0.0; });
    auto hissing = near.take(random);
    tone_maker::add(hissing, tone_maker::sine(1000, 0.01, 4800));
    const ToneReading steady = read_tone(hissing, 48000);
    CHECK(steady.amplitude_sd == Approx(std::sqrt(2 * 1e-9 * 24000 / 4800)).epsilon(0.3));
}

TEST_CASE("a tone's range is searched, and a refusal says what was asked", "[tone]") {
    const auto text_of = [](const std::vector<double>& samples, std::optional<double> from_hz, std::optional<double> to_hz) {
        try {
            read_tone(samples, 48000, {from_hz, to_hz});
        } catch (const Error& error) {
            return std::string(error.what());
        }
        return std::string("read");
    };
    const auto samples = tone_maker::sine(997, 0.5, 4800);
    CHECK(text_of(samples, 24000, 25000) == "tone: 24000 to 25000 Hz is no range to search in");
    CHECK(text_of(samples, 500, 500) == "tone: 500 to 500 Hz is no range to search in");
    CHECK(text_of(samples, -1, 500) == "tone: -1 to 500 Hz is no range to search in");
    CHECK(text_of(samples, 990, 994) == "tone: nothing between 990 and 994 Hz");   // a slope
    CHECK(text_of(tone_maker::sine(20.0, 0.5, 4000), {}, {}).find("cycles of") != std::string::npos);
    CHECK(text_of(tone_maker::sine(20.0, 0.5, 4000), {}, {}).find("are too few, 3 are needed") != std::string::npos);
    CHECK(text_of(samples, 0, 30000) == "read");
    CHECK(text_of(tone_maker::sine(1000.0, 0.5, 16, 5000), 5000, 24000) == "read");
    CHECK(text_of(tone_maker::sine(40.0, 0.5, 3500), {}, {}) == "read");                  // 2.9 cycles
    CHECK(text_of(tone_maker::sine(40.0, 0.5, 3000), {}, {}) != "read");                  // 2.5
}

TEST_CASE("a windowed transform's peaks lie where their bins' parabola has its top", "[tone]") {
    // a sine of whole cycles: (A N / 4)^2 in its bin through a Hann window, a quarter of that in either neighbour
    const HannPower sine = hann_power(tone_maker::sine(1000, 0.5, 480), 0.0, 48000, 1);
    CHECK(sine.bin_hz == Approx(100));
    REQUIRE(sine.power.size() == 241);
    CHECK(sine.power[10] == Approx(3600));
    CHECK(sine.power[9] == Approx(900));
    CHECK(sine.power[11] == Approx(900));
    CHECK(sine.power[13] < 1e-6);
    const HannPower padded = hann_power(tone_maker::sine(1000, 0.5, 480), 0.0, 48000, 2);
    CHECK(padded.bin_hz == Approx(50));
    CHECK(padded.power[20] == Approx(3600));
    auto dc = tone_maker::sine(1000, 0.5, 480);
    for (double& x : dc) x += 0.25;
    CHECK(hann_power(dc, 0.25, 48000, 1).power[0] < 1e-6);
    CHECK(hann_power(dc, 0.0, 48000, 1).power[0] == Approx(0.25 * 0.25 * 240 * 240));
    // Gaussian lobes, whose logarithm is a parabola
    HannPower lobes{std::vector<double>(100, 1e-9), 2.0};
    const auto put = [&lobes](std::size_t bin, double place, double height) {
        for (std::size_t k = bin - 3; k <= bin + 3; ++k) lobes.power[k] = height * std::exp(-0.5 * std::pow(static_cast<double>(k) - place, 2));
    };
    put(20, 20.3, 1.0);
    put(50, 49.8, 2.0);
    CHECK(strongest_peak_hz(lobes, 0, 200).value() == Approx(2 * 49.8));
    CHECK(strongest_peak_hz(lobes, 0, 90).value() == Approx(2 * 20.3));
    CHECK(strongest_peak_hz(lobes, 40, 90).value() == Approx(2 * 20.3));   // bin 20 is in, and to 40 Hz
    CHECK(strongest_peak_hz(lobes, 30, 40).value() == Approx(2 * 20.3));
    CHECK_FALSE(strongest_peak_hz(lobes, 42, 46).has_value());
    CHECK_FALSE(strongest_peak_hz(lobes, 32, 39).has_value());
    HannPower flat{std::vector<double>(10, 0.0), 2.0};
    flat.power[4] = 1.0;   // alone: no parabola can place it but its bin
    CHECK(strongest_peak_hz(flat, 0, 20).value() == Approx(8).margin(0.01));
}

TEST_CASE("of tones within 6 dB the span itself, without a window, names the strongest", "[tone]") {
    for (const double other : {0.85, 0.45}) {
        auto samples = tone_maker::sine(1000, 0.1, 4800);
        tone_maker::add(samples, tone_maker::sine(3005, 0.1 * other, 4800));
        for (double& x : samples) x += 0.3;
        CHECK(place_of_tone_hz(samples, 0.3, 48000, 100, 20000).value() == Approx(1000).margin(2.6));
        CHECK(place_of_tone_hz(samples, 0.3, 48000, 2000, 20000).value() == Approx(3005).margin(2.6));
    }
    CHECK_FALSE(place_of_tone_hz(tone_maker::sine(1000, 0.1, 4800), 0.0, 48000, 985, 993).has_value());
    // One that sounds at the span's ends, b (1 + cos) / 2, has b / 4 of it without a window and b / 16 through one; a steady one
    // a / 2 and a / 4. So of 1 and 2.4 the window takes the first for the stronger, the span the second.
    for (const double phase : {0.0, 0.5 * std::numbers::pi})
        for (const auto& [ends, loudness] : {std::pair(2.4, 1.0), std::pair(1.6, 1.0), std::pair(2.4, 1e-5), std::pair(1.6, 1e-5)}) {
            auto samples = tone_maker::sine(1000, loudness, 4800, 48000, phase);
            const auto other = tone_maker::sine(3000, ends * loudness, 4800, 48000, phase);
            for (std::size_t n = 0; n < samples.size(); ++n)
                samples[n] += 0.2 + other[n] * 0.5 * (1 + std::cos(2 * std::numbers::pi * static_cast<double>(n) / 4800));
            CHECK(place_of_tone_hz(samples, 0.2, 48000, 100, 20000).value() == Approx(ends > 2 ? 3000 : 1000).margin(2.6));
        }
    // in noise as strong as a span of so few samples bears, ten takes
    for (unsigned seed = 1; seed <= 10; ++seed) {
        auto samples = tone_maker::sine(2000, 0.1, 480);
        tone_maker::add_noise(samples, 0.25, seed);
        double mean = 0;
        for (const double x : samples) mean += x / 480;
        CHECK(place_of_tone_hz(samples, mean, 48000, 500, 20000).value() == Approx(2000).margin(100));
    }
}
