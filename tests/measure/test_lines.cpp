#include "hushtrace/measure/lines.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

PowerSpectrum spectrum_of(const std::vector<double>& x) {
    SpectrumAccumulator spectrum(kRate, 48000);
    spectrum.add(x);
    return spectrum.result();
}

}  // namespace

TEST_CASE("tones between bins read their frequency within a tenth of a bin and their level within 0.3 dB",
          "[lines]") {
    auto x = noise(10.0, 0.001, 2);
    const std::vector<double> frequencies = {50.02, 99.5, 150.31, 997.25, 5000.5, 15999.9};
    for (const double f : frequencies) add_tone(x, f, 0.001, 0.0);
    const auto spectrum = spectrum_of(x);
    const auto lines = find_lines(spectrum, noise_under_lines(spectrum), 15.0, 20000.0);
    REQUIRE(lines.size() == frequencies.size());
    for (std::size_t i = 0; i < lines.size(); ++i) {
        CHECK(lines[i].frequency_hz == Approx(frequencies[i]).margin(0.1));
        CHECK(10 * std::log10(lines[i].mean_square / 0.5e-6) == Approx(0.0).margin(0.3));
        CHECK(std::abs(lines[i].frequency_hz - frequencies[i]) < 5 * lines[i].frequency_sd_hz);
    }
}

TEST_CASE("noise alone has no lines, and its floor reads its density", "[lines]") {
    std::size_t false_alarms = 0;
    for (unsigned seed = 50; seed < 58; ++seed) {
        const auto spectrum = spectrum_of(noise(6.0, 0.1, seed));
        const auto floor = noise_under_lines(spectrum);
        false_alarms += find_lines(spectrum, floor, 15.0, 20000.0).size();
        double mean = 0;
        for (std::size_t k = 100; k < 20000; ++k) mean += floor[k] / 19900.0;
        CHECK(mean == Approx(0.01 * 2.0 / kRate).epsilon(0.03));
    }
    CHECK(false_alarms <= 1);
}

TEST_CASE("a strong tone's own skirt is not taken for lines", "[lines]") {
    auto x = noise(10.0, 1e-6, 2);
    add_tone(x, 1000.37, 0.5, 0.0);
    const auto spectrum = spectrum_of(x);
    std::size_t near = 0;
    for (const auto& line : find_lines(spectrum, noise_under_lines(spectrum), 15.0, 20000.0))
        if (std::abs(line.frequency_hz - 1000.37) < 30) ++near;
    CHECK(near == 1);
}

TEST_CASE("a wandering tone is read by its band within 0.3 dB, by one bin far too low", "[lines]") {
    const auto [frequency_hz, share] = GENERATE(table<double, double>(
        {{400.0, 0.01}, {400.0, 0.03}, {1240.0, 0.02}, {3700.0, 0.01}, {3700.0, 0.03}, {8000.0, 0.03}}));
    CAPTURE(frequency_hz, share);
    const double amplitude = 0.002, truth = amplitude * amplitude / 2;
    auto x = noise(10.0, 0.001, 12);
    add_tone(x, frequency_hz, amplitude, share);
    add_tone(x, 50.0, 0.01, 0.0);  // a still one elsewhere doesn't count
    const auto spectrum = spectrum_of(x);
    const double reach = 2.6 * share * frequency_hz + 3.0;  // the speed is three sines: their peaks add up to 2.45 rms
    const auto line = line_in_band(spectrum, noise_under_lines(spectrum, 120.0, 0.3), frequency_hz - reach,
                                   frequency_hz + reach);
    CHECK(std::abs(10 * std::log10(line.mean_square / truth)) < 0.3);
    CHECK(line.mean_square_sd < 0.05 * truth);
    CHECK(std::abs(line.mean_square - truth) < 4 * line.mean_square_sd + 0.01 * truth);
    CHECK(line.frequency_hz == Approx(frequency_hz).epsilon(0.01));
    double best_bin = 0;
    for (std::size_t k = spectrum.bin_of(line.low_hz); k <= spectrum.bin_of(line.high_hz); ++k)
        best_bin = std::max(best_bin, spectrum.tone_mean_square(k));
    CHECK(10 * std::log10(best_bin / truth) < -6);
}
