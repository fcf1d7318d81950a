#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <map>
#include <numbers>
#include <sstream>
#include <string>
#include <vector>

#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/signal/error.hpp"
#include "tone_maker.hpp"

using namespace hushtrace;

namespace {

using Row = std::map<std::string, std::string>;
std::vector<Row> reference(const std::string& name) {
    std::ifstream file(std::string(HUSHTRACE_REFERENCE_DIR) + "/" + name);
    REQUIRE(file.is_open());
    std::vector<std::string> heads;
    std::vector<Row> rows;
    for (std::string line; std::getline(file, line);) {
        std::stringstream cells(line);
        std::vector<std::string> values;
        for (std::string cell; std::getline(cells, cell, ',');) values.push_back(cell);
        if (heads.empty()) {
            heads = values;
            continue;
        }
        Row row;
        for (std::size_t i = 0; i < heads.size() && i < values.size(); ++i) row[heads[i]] = values[i];
        rows.push_back(row);
    }
    REQUIRE(rows.size() > 5);
    return rows;
}
double number(const Row& row, const std::string& column) {
    return std::strtod(row.at(column).c_str(), nullptr);
}
double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// Fundamental of amplitude a and its harmonics, as sines, or as cosines.
std::vector<double> series(double frequency_hz, double a, const std::map<int, double>& ratios,
                           std::size_t frames, bool cosines = false) {
    const double phase = cosines ? 0.0 : -0.5 * std::numbers::pi;
    auto out = tone_maker::sine(frequency_hz, a, frames, 48000, phase);
    for (const auto& [order, ratio] : ratios)
        tone_maker::add(out, tone_maker::sine(order * frequency_hz, a * ratio, frames, 48000, phase));
    return out;
}

}  // namespace

TEST_CASE("THD of the clipped sine's series to the 9th harmonic", "[distortion]") {
    // clipped_sine.csv: harmonic ratios in, thd_h2_to_h9 out. Its seven digits allow 0.05 dB in every row.
    double worst = 0;
    for (const Row& row : reference("clipped_sine.csv")) {
        const std::map<int, double> ratios = {{3, number(row, "h3_re_fundamental")},
                                              {5, number(row, "h5_re_fundamental")},
                                              {7, number(row, "h7_re_fundamental")},
                                              {9, number(row, "h9_re_fundamental")}};
        for (const double frequency : {997.013, 61.37}) {
            auto samples = series(frequency, 0.4, ratios, 30000);
            const double expected = decibels(number(row, "thd_h2_to_h9_percent") / 100);
            CAPTURE(row.at("case"), row.at("drive_over_ceiling_db"), frequency);
            const double clean = decibels(measure_distortion(samples, 48000).thd_ratio);
            tone_maker::add_noise(samples, 0.4e-5, 3);  // 97 dB below the tone
            tone_maker::quantise_24_bit(samples);
            const Distortion noisy = measure_distortion(samples, 48000);
            CHECK(clean == Approx(expected).margin(0.002));
            CHECK(decibels(noisy.thd_ratio) == Approx(expected).margin(0.05));
            CHECK(noisy.harmonics.at(1).level_dbfs ==
                  Approx(decibels(0.4) + number(row, "h3_db")).margin(0.05));
            worst = std::max(worst, std::abs(decibels(noisy.thd_ratio) - expected));
        }
    }
    WARN("clipped sine, worst deviation with noise and 24 bit: " << worst << " dB");
}

TEST_CASE("clipping from -80 dB of THD upwards reads to 0.05 dB in noise and 24 bit", "[distortion]") {
    // The series of tests/reference/README.md section 4: phi = asin(ceiling / amplitude), harmonics up to 20 kHz.
    double worst = 0;
    for (const double drive_db : {0.0075, 0.02, 0.037, 0.1, 0.25, 1.0, 3.0, 12.0, 60.0}) {
        const double a = std::pow(10.0, drive_db / 20.0), phi = std::asin(1.0 / a);
        const double b1 = 2 * a / std::numbers::pi * (phi + std::sin(phi) * std::cos(phi));
        std::map<int, double> ratios;
        double squares = 0;
        for (int n = 3; n <= 19; n += 2) {
            const double bn = 2 * a / (std::numbers::pi * n) *
                              (std::sin((n - 1) * phi) / (n - 1) + std::sin((n + 1) * phi) / (n + 1));
            ratios[n] = bn / b1;
            squares += bn * bn / (b1 * b1);
        }
        auto samples = series(997.0, 0.4, ratios, 48000);
        tone_maker::add_noise(samples, 0.4 / std::sqrt(2.0) * 1e-5, 11);  // 100 dB below the tone
        tone_maker::quantise_24_bit(samples);
        const Distortion reading = measure_distortion(samples, 48000);
        const double expected = decibels(std::sqrt(squares));
        CAPTURE(drive_db, expected);
        CHECK(decibels(reading.thd_ratio) == Approx(expected).margin(0.05));
        CHECK(reading.harmonics.size() == 19);
        if (drive_db < 0.01) CHECK(expected < -80.0);  // the series starts where the title says
        worst = std::max(worst, std::abs(decibels(reading.thd_ratio) - expected));
    }
    WARN("clipped sine from -80 dB up, worst deviation: " << worst << " dB");
}

TEST_CASE("what can't be read has no distortion, and a full-scale square has its own", "[distortion]") {
    const auto refused = [](const std::vector<double>& samples, double rate_hz) {
        try {
            measure_distortion(samples, rate_hz);
        } catch (const Error& error) {
            return std::string(error.what()).size() > 10;
        }
        return false;
    };
    CHECK(refused({}, 48000));
    CHECK(refused(std::vector<double>(4800, 0.0), 48000));
    CHECK(refused(std::vector<double>(4800, 0.7), 48000));
    CHECK(refused(tone_maker::sine(20.0, 0.5, 4800), 48000));
    std::vector<double> broken = tone_maker::sine(997.0, 0.5, 4800);
    broken[0] = std::nan("");
    CHECK(refused(broken, 48000));
    for (const double rate_hz : {8000.0, 22050.0, 44100.0, 96000.0, 192000.0, 384000.0}) {
        // A square of 2 x 509 samples a period. On paper the ratio of the n-th harmonic of a sampled square is
        // sin(pi/1018) / sin(n pi/1018), 1/n nearly.
        std::vector<double> square(40720);
        for (std::size_t n = 0; n < square.size(); ++n) square[n] = n / 509 % 2 == 0 ? 1.0 : -1.0;
        const Distortion reading = measure_distortion(square, rate_hz);
        double squares = 0;
        for (std::size_t n = 3; n <= reading.harmonics.size() + 1; n += 2)
            squares += std::pow(std::sin(std::numbers::pi / 1018) /
                                    std::sin(static_cast<double>(n) * std::numbers::pi / 1018), 2);
        CAPTURE(rate_hz);
        REQUIRE(reading.harmonics.size() > 40);
        CHECK(decibels(reading.thd_ratio) == Approx(decibels(std::sqrt(squares))).margin(0.01));
    }
}

TEST_CASE("a low tone clipped sample by sample reads the whole series", "[distortion]") {
    // clipped_sine.csv, thd_all. 40.3 Hz counts 495 harmonics; what lies above is under 0.03 dB even of a
    // square.
    for (const Row& row : reference("clipped_sine.csv")) {
        const double drive = number(row, "drive_over_ceiling_db");
        if (drive < 0.2) continue;  // the rest of the series weighs more in slight clipping
        auto samples = tone_maker::sine(40.3, 0.5 * std::pow(10.0, std::min(drive, 120.0) / 20), 96000);
        for (double& x : samples) x = std::clamp(x, -0.5, 0.5);
        const Distortion reading = measure_distortion(samples, 48000);
        CAPTURE(row.at("case"), drive, reading.thd_ratio);
        CHECK(reading.harmonics.size() == 495);
        CHECK(reading.harmonics_missing == 0);
        CHECK(decibels(reading.thd_ratio) == Approx(number(row, "thd_all_db")).margin(0.05));
    }
}

TEST_CASE("a sine clipped on one side reads its series to the 5th harmonic", "[distortion]") {
    for (const Row& row : reference("clipped_sine_onesided.csv")) {
        std::map<int, double> ratios;
        double squares = 0;
        for (const int order : {2, 3, 4, 5}) {
            const std::string column = "h" + std::to_string(order) + "_re_fundamental";
            ratios[order] = number(row, column);
            squares += ratios[order] * ratios[order];
        }
        auto samples = series(997.0, 0.3, ratios, 48000, true);
        for (double& x : samples) x += 0.02;
        tone_maker::quantise_24_bit(samples);
        const Distortion reading = measure_distortion(samples, 48000);
        CAPTURE(row.at("drive_over_ceiling_db"));
        CHECK(decibels(reading.thd_ratio) == Approx(decibels(std::sqrt(squares))).margin(0.01));
        CHECK(decibels(reading.harmonics.at(0).ratio) == Approx(number(row, "h2_db")).margin(0.01));
        CHECK(decibels(reading.harmonics.at(3).ratio) == Approx(number(row, "h5_db")).margin(0.01));
    }
}

TEST_CASE("few cycles give the same harmonics by a joint fit", "[distortion]") {
    for (const double cycles : {3.6, 5.0, 8.3, 10.9}) {
        const auto frames = static_cast<std::size_t>(cycles / 50.3 * 48000);
        auto samples = series(50.3, 0.5, {{2, 0.004}, {3, 0.01}, {7, 0.002}}, frames);
        const Distortion reading = measure_distortion(samples, 48000);
        CAPTURE(cycles);
        CHECK(decibels(reading.thd_ratio) ==
              Approx(decibels(std::sqrt(0.004 * 0.004 + 0.01 * 0.01 + 0.002 * 0.002))).margin(0.01));
        CHECK(reading.harmonics.size() == 60);
        CHECK(reading.harmonics_missing ==
              336);  // 397 multiples lie below 20 kHz; the fit tells 60 harmonics apart
    }
}

TEST_CASE("a noise-free tone has no harmonic above -165 dB", "[distortion]") {
    for (const double frequency : {997.0, 41.3, 6000.7}) {
        const Distortion reading = measure_distortion(tone_maker::sine(frequency, 0.9, 65536), 48000);
        CAPTURE(frequency, decibels(reading.thd_noise_ratio));
        for (const ToneHarmonic& one : reading.harmonics) CHECK(one.ratio < std::pow(10.0, -165.0 / 20));
    }
}

TEST_CASE("noise is not taken for distortion, and the claimed spread holds", "[distortion]") {
    // Noise 50 dB below the tone: without its removal 18 harmonics would read 0.09 %. True THD 0 and 0.3 %.
    for (const double truth : {0.0, 0.003}) {
        int covered = 0, limited = 0;
        constexpr int kRuns = 40;
        for (unsigned run = 0; run < kRuns; ++run) {
            auto samples = series(997.03, 0.5, {{3, truth}}, 24000);
            tone_maker::add_noise(samples, 0.5 / std::sqrt(2.0) * std::pow(10.0, -50.0 / 20), 500 + run);
            const Distortion reading = measure_distortion(samples, 48000);
            covered += truth <= reading.thd_upper_ratio() &&
                       truth >= reading.thd_ratio - 2.0 * reading.thd_sd_ratio - 1e-12;
            limited += reading.limited_by_noise;
            // the noise lies in 0..24 kHz, 19.98 kHz of it in the band
            CHECK(reading.thd_noise_ratio ==
                  Approx(std::hypot(truth, std::pow(10.0, -50.0 / 20) * std::sqrt(19980.0 / 24000)))
                      .epsilon(0.05));
        }
        CAPTURE(truth, covered, limited);
        CHECK(covered >= 36);
        if (truth == 0.0) CHECK(limited >= 36);
        if (truth > 0.0) CHECK(limited <= 2);
    }
}

TEST_CASE("hum beside the harmonics is noise, not distortion", "[distortion]") {
    auto samples = series(997.0, 0.5, {{3, 0.001}}, 96000);
    for (const double hum : {50.0, 150.0, 250.0, 2050.0})
        tone_maker::add(samples, tone_maker::sine(hum, 0.5 * 0.003, 96000));
    const Distortion reading = measure_distortion(samples, 48000);
    CHECK(decibels(reading.thd_ratio) == Approx(-60.0).margin(0.02));
    CHECK(reading.thd_noise_ratio == Approx(std::sqrt(4 * 0.003 * 0.003 + 1e-6)).epsilon(0.001));
}

TEST_CASE("harmonics above the capture's band are said to be missing", "[distortion]") {
    const Distortion low_rate = measure_distortion(tone_maker::sine(997.0, 0.5, 16000, 16000), 16000);
    CHECK(low_rate.harmonics.size() == 6);    // 7 x 997 < 7600 < 8 x 997
    CHECK(low_rate.harmonics_missing == 13);  // 20 x 997 < 20000
    const Distortion high_tone = measure_distortion(tone_maker::sine(15000.0, 0.5, 48000), 48000);
    CHECK(high_tone.harmonics.empty());
    CHECK(high_tone.harmonics_missing == 0);
}
