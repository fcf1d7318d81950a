#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/error.hpp"
#include "reference/table.hpp"
#include "tone_maker.hpp"
#include "tone_population.hpp"

using namespace hushtrace;

namespace {

constexpr double kRates[] = {8000, 11025, 16000, 22050, 44100, 48000, 88200, 96000, 176400, 192000, 384000};

/// A tone somewhere between 5 Hz and 0.45 fs, of 10 to 1000 cycles, as a take of at most 200000 samples.
struct DrawnTone {
    double rate_hz = 0, frequency_hz = 0, amplitude = 0, phase = 0;
    std::size_t frames = 0;
};
DrawnTone draw_tone(std::mt19937_64& draw, std::size_t run) {
    std::uniform_real_distribution<double> unit(0.0, 1.0);
    DrawnTone tone;
    tone.rate_hz = kRates[run % std::size(kRates)];
    do {
        tone.frequency_hz = 5.0 * std::pow(0.45 * tone.rate_hz / 5.0, unit(draw));
        const double cycles = 10.0 * std::pow(100.0, unit(draw));
        tone.frames = static_cast<std::size_t>(std::ceil(cycles * tone.rate_hz / tone.frequency_hz));
    } while (tone.frames > 200000 || tone.frames < 16);
    tone.amplitude = std::pow(10.0, -60.0 * unit(draw) / 20.0);
    tone.phase = 2.0 * std::numbers::pi * unit(draw);
    return tone;
}

}  // namespace

TEST_CASE("any tone of 10 to 1000 cycles, 5 Hz to 0.45 fs, 8 to 384 kHz, reads to 0.01 dB and 0.1 bin", "[tone]") {
    // Two kinds of take: as it is, and with dc, a 2nd and a 3rd harmonic and 24 bit. Deviations are kept apart.
    double worst_db[2] = {}, worst_bins[2] = {};
    std::mt19937_64 draw(20);
    for (std::size_t run = 0; run < 110; ++run) {
        const DrawnTone made = draw_tone(draw, run);
        auto samples = tone_maker::sine(made.frequency_hz, made.amplitude, made.frames, made.rate_hz, made.phase);
        const bool spoilt = run / std::size(kRates) % 2 == 1;
        if (spoilt) {
            for (const int order : {2, 3})
                if (order * made.frequency_hz < 0.45 * made.rate_hz)
                    tone_maker::add(samples, tone_maker::sine(order * made.frequency_hz,
                                                              made.amplitude * 0.02 * order, made.frames,
                                                              made.rate_hz, order * made.phase));
            for (double& x : samples) x += 0.1 * made.amplitude;
            tone_maker::quantise_24_bit(samples);
        }
        const ToneReading tone = read_tone(samples, made.rate_hz);
        CAPTURE(run, made.rate_hz, made.frequency_hz, made.frames, made.amplitude);
        const double off_db = std::abs(tone.level_dbfs - 20.0 * std::log10(made.amplitude));
        const double off_bins = std::abs(tone.frequency_hz - made.frequency_hz) *
                                static_cast<double>(made.frames) / made.rate_hz;
        CHECK(off_db < 0.01);
        CHECK(off_bins < 0.1);
        worst_db[spoilt] = std::max(worst_db[spoilt], off_db);
        worst_bins[spoilt] = std::max(worst_bins[spoilt], off_bins);
    }
    // the corner that the draw leaves out: 10 cycles of 5 Hz at 384 kHz
    const ToneReading corner = read_tone(tone_maker::sine(5.0, 0.1, 768000, 384000), 384000);
    CHECK(corner.level_dbfs == Approx(-20.0).margin(0.01));
    CHECK(corner.frequency_hz == Approx(5.0).margin(0.1 * 0.5));
    WARN("worst deviation, clean: " << worst_db[0] << " dB, " << worst_bins[0] << " bin; with dc, harmonics, 24 bit: "
                                    << worst_db[1] << " dB, " << worst_bins[1] << " bin");
}

TEST_CASE("the Cramer-Rao bound of the tests is that of the reference table", "[tone]") {
    for (const auto& row : reference::table("estimator_limits_crlb.csv")) {
        const double n = row.number("samples"), snr = std::pow(10.0, row.number("snr_db") / 10.0);
        CHECK(frequency_bound_hz(snr, n, 48000) == Approx(row.number("real_frequency_sd_hz")).epsilon(1e-5));
        CHECK(100.0 / std::sqrt(snr * n) == Approx(row.number("real_amplitude_sd_percent")).epsilon(1e-5));
    }
}

TEST_CASE("a reading states the spread that the reference table gives for its noise", "[tone]") {
    // The noise beside the tone is known from some 40 independent bins: 8 % of a standard deviation. Four takes a row.
    for (const auto& row : reference::table("estimator_limits_crlb.csv")) {
        const double n = row.number("samples"), snr_db = row.number("snr_db");
        if (n > 48000 || (n > 4800 && snr_db != 10) || snr_db < -10) continue;
        double stated_hz = 0, stated_percent = 0;
        for (unsigned take = 0; take < 4; ++take) {
            auto samples = tone_maker::sine(1234.567, 0.5, static_cast<std::size_t>(n));
            tone_maker::add_noise(samples, 0.5 / std::sqrt(2.0) * std::pow(10.0, -snr_db / 20.0), 70 + take);
            const ToneReading tone = read_tone(samples, 48000);
            stated_hz += tone.frequency_sd_hz / 4;
            stated_percent += 25.0 * tone.amplitude_sd / tone.amplitude;
        }
        CAPTURE(n, snr_db);
        CHECK(stated_hz == Approx(row.number("real_frequency_sd_hz")).epsilon(0.12));
        CHECK(stated_percent == Approx(row.number("real_amplitude_sd_percent")).epsilon(0.12));
    }
}

TEST_CASE("from 21 dB of SNR times samples on, a frequency spreads by its Cramer-Rao bound", "[tone]") {
    // The small part of tests/bench/frequency_bound.cpp. 400 takes: a spread is known to 3.5 %; 1.1 is what must hold.
    for (const double point_db : {21.0, 24.0, 40.0, 86.8}) {
        TonePopulation population;
        population.samples = 480;
        population.snr_db = point_db - 10.0 * std::log10(480.0);
        population.takes = 400;
        const ToneSpread spread = read_population(population);
        CAPTURE(point_db);
        CHECK(spread.outliers == 0);
        CHECK(spread.frequency_over_bound < 1.1);
        CHECK(spread.frequency_over_bound > 0.9);
        CHECK(spread.level_over_bound < 1.1);
        CHECK(spread.frequency_covered_percent >= 90);
        CHECK(spread.frequency_covered_percent <= 99);
        CHECK(spread.level_covered_percent >= 90);
        CHECK(spread.level_covered_percent <= 99);
    }
}

TEST_CASE("deeper in noise, a wrong frequency says so in its uncertainty", "[tone]") {
    TonePopulation population;
    population.samples = 480;
    population.snr_db = 12.0 - 10.0 * std::log10(480.0);
    population.takes = 400;
    const ToneSpread spread = read_population(population);
    CHECK(spread.outliers > 50);  // else this proves nothing
    CHECK(spread.outliers_recognised >= 0.95 * spread.outliers);
    CHECK(spread.frequency_covered_percent >= 95);
}

TEST_CASE("a full-scale square, a NaN and wrong rates read or are refused with a reason", "[tone]") {
    for (const double rate_hz : kRates) {
        // 41 samples a period: the square's alternating signs are exact, and its fundamental lies at fs/82.
        std::vector<double> square(8200);
        for (std::size_t n = 0; n < square.size(); ++n) square[n] = n / 41 % 2 == 0 ? 1.0 : -1.0;
        const ToneReading tone = read_tone(square, rate_hz);
        CAPTURE(rate_hz);
        const double bin_hz = rate_hz / 8200;
        CHECK(tone.frequency_hz == Approx(rate_hz / 82).margin(0.001 * bin_hz));
        // the harmonics above the 10th, which are not fitted, lean on the fit; the reading says so
        CHECK(tone.frequency_hz == Approx(rate_hz / 82).margin(2.5 * tone.frequency_sd_hz));
        CHECK(tone.frequency_sd_hz < 0.001 * bin_hz);
        // the fundamental of a square of 82 samples a period: 4/82 / sin(pi/82), 4/pi when continuous
        CHECK(tone.level_dbfs == Approx(20 * std::log10(4.0 / 82 / std::sin(std::numbers::pi / 82))).margin(0.01));
    }
    std::vector<double> broken = tone_maker::sine(997.0, 0.5, 4800);
    broken[4799] = std::nan("");
    CHECK_THROWS_AS(read_tone(broken, 48000), Error);
    const auto good = tone_maker::sine(997.0, 0.5, 4800);
    for (const double rate_hz : {0.0, -48000.0, double(NAN), double(INFINITY)}) {
        CAPTURE(rate_hz);
        CHECK_THROWS_AS(read_tone(good, rate_hz), Error);
    }
}
