#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/third_octaves.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "measure/noise_maker.hpp"

using namespace hushtrace;

namespace {

PowerSpectrum spectrum_of(double (*density)(double), double rate_hz = 48000, double bin_hz = 1) {
    PowerSpectrum s;
    s.sample_rate_hz = rate_hz;
    s.length = static_cast<std::size_t>(rate_hz / bin_hz);
    s.effective_averages = 50;
    s.effective_duration_s = 25;
    s.noise_bandwidth_hz = 1.5 * bin_hz;
    for (std::size_t k = 0; k <= s.length / 2; ++k) s.density.push_back(density(static_cast<double>(k) * bin_hz));
    return s;
}
PowerSpectrum averaged(const std::vector<double>& samples, double rate_hz) {
    SpectrumAccumulator spectrum(rate_hz, static_cast<std::size_t>(rate_hz));
    spectrum.add(samples);
    return spectrum.result();
}
std::vector<ThirdOctaveLevel> levels_of(const PowerSpectrum& spectrum) {
    const auto under = noise_under_lines(spectrum);
    return third_octaves(spectrum, under, find_lines(spectrum, under, 10, 20000));
}
const ThirdOctaveLevel& band(const std::vector<ThirdOctaveLevel>& levels, double nominal_hz) {
    for (const ThirdOctaveLevel& one : levels)
        if (one.band.nominal_hz == nominal_hz) return one;
    throw std::runtime_error("no such band");
}

}  // namespace

TEST_CASE("bands lie where IEC 61260-1 has them", "[third_octaves]") {
    const auto bands = third_octave_bands();
    REQUIRE(bands.size() == 31);
    CHECK(bands.front().nominal_hz == 20);
    CHECK(bands.back().nominal_hz == 20000);
    // exact mid-band frequencies as the standard prints them for the base ten, five figures (from memory)
    const std::pair<double, double> printed[] = {{25, 25.119},   {31.5, 31.623}, {40, 39.811},   {50, 50.119},     {63, 63.096},     {80, 79.433},
                                                 {100, 100.00},  {125, 125.89},  {160, 158.49},  {200, 199.53},    {250, 251.19},    {315, 316.23},
                                                 {400, 398.11},  {500, 501.19},  {630, 630.96},  {800, 794.33},    {1000, 1000.0},   {1250, 1258.9},
                                                 {1600, 1584.9}, {2000, 1995.3}, {2500, 2511.9}, {3150, 3162.3},   {4000, 3981.1},   {5000, 5011.9},
                                                 {6300, 6309.6}, {8000, 7943.3}, {10000, 10000}, {12500, 12589},   {16000, 15849},   {20000, 19953}};
    for (std::size_t i = 0; i < std::size(printed); ++i) {
        CHECK(bands[i + 1].nominal_hz == printed[i].first);
        CHECK(bands[i + 1].mid_hz == Approx(printed[i].second).epsilon(5e-5));
        CHECK(bands[i + 1].low_hz == Approx(bands[i].high_hz).epsilon(1e-12));
    }
    // 1 kHz: 891.25 to 1122.0 Hz (10^-0.05 and 10^0.05)
    CHECK(bands[17].low_hz == Approx(891.251).margin(0.001));
    CHECK(bands[17].high_hz == Approx(1122.018).margin(0.001));
}

TEST_CASE("white noise rises by a decibel a band, pink noise is level", "[third_octaves]") {
    const auto white = levels_of(spectrum_of([](double) { return 1e-12; }));
    const auto pink = levels_of(spectrum_of([](double f) { return f > 0 ? 1e-9 / f : 0.0; }));
    REQUIRE(white.size() == 31);
    for (const ThirdOctaveLevel& one : white) CHECK(one.mean_square.value == Approx(1e-12 * (one.band.high_hz - one.band.low_hz)).epsilon(1e-9));
    CHECK(decibels_from_power(band(white, 10000).mean_square.value / band(white, 1000).mean_square.value) == Approx(10.0).margin(1e-6));
    // integral of 1/f over a band: ln(10) / 10
    for (const ThirdOctaveLevel& one : pink)
        if (one.band.nominal_hz >= 100) CHECK(one.mean_square.value == Approx(1e-9 * std::numbers::ln10 / 10).epsilon(0.001));
    // together the bands make the whole
    double sum = 0;
    for (const ThirdOctaveLevel& one : white) sum += one.mean_square.value;
    CHECK(sum == Approx(1e-12 * (white.back().band.high_hz - white.front().band.low_hz)).epsilon(1e-9));
}

TEST_CASE("a tone reads true in its band, and at an edge the two bands share it", "[third_octaves]") {
    constexpr double rate = 48000, amplitude = 0.01;
    for (const double tone_hz : {100.0, 1000.3, 1122.018}) {
        std::vector<double> samples(static_cast<std::size_t>(6 * rate));
        for (std::size_t i = 0; i < samples.size(); ++i)
            samples[i] = amplitude * std::sin(2 * std::numbers::pi * tone_hz * static_cast<double>(i) / rate);
        const auto levels = levels_of(averaged(samples, rate));
        const double power = amplitude * amplitude / 2;
        if (tone_hz < 1100) {
            const auto& own = band(levels, tone_hz < 200 ? 100 : 1000);
            CHECK(own.mean_square.value == Approx(power).epsilon(0.001));
            CHECK(band(levels, tone_hz < 200 ? 125 : 1250).mean_square.value < 1e-6 * power);
        } else {
            const double low = band(levels, 1000).mean_square.value, high = band(levels, 1250).mean_square.value;
            CHECK(low + high == Approx(power).epsilon(0.001));
            CHECK(low / power == Approx(0.5).margin(0.25));
        }
    }
}

TEST_CASE("a band's uncertainty is how it scatters from take to take", "[third_octaves]") {
    constexpr double rate = 8000, density = 1e-9;
    std::mt19937 random(20);
    INFO("seed 20");
    NoiseMaker noise(rate, static_cast<std::size_t>(5 * rate), [](double) { return density; });
    constexpr int takes = 150;
    for (const double nominal : {63.0, 1000.0}) {
        double squares = 0, mean = 0;
        for (int i = 0; i < takes; ++i) {
            const auto levels = levels_of(averaged(noise.take(random), rate));
            const auto& one = band(levels, nominal);
            const double truth = density * (one.band.high_hz - one.band.low_hz);
            squares += std::pow((one.mean_square.value - truth) / one.mean_square.sd, 2) / takes;
            mean += one.mean_square.value / truth / takes;
        }
        INFO(nominal);
        CHECK(mean == Approx(1.0).margin(nominal < 100 ? 0.05 : 0.015));
        CHECK(std::sqrt(squares) == Approx(1.0).margin(0.25));
    }
}

TEST_CASE("what a rate can't carry is left out, and narrow bands are named", "[third_octaves]") {
    const auto flat = [](double) { return 1e-12; };
    CHECK(levels_of(spectrum_of(flat, 44100)).back().band.nominal_hz == 16000);  // 20 kHz reaches to 22.4 kHz
    CHECK(levels_of(spectrum_of(flat, 48000)).back().band.nominal_hz == 20000);
    CHECK(levels_of(spectrum_of(flat, 8000)).back().band.nominal_hz == 3150);
    const auto fine = levels_of(spectrum_of(flat)), coarse = levels_of(spectrum_of(flat, 48000, 8));
    for (const ThirdOctaveLevel& one : fine) CHECK_FALSE(one.few_bins);
    // bins of 8 Hz: four make 32 Hz, and the band round 125 Hz is 29 Hz wide
    CHECK(band(coarse, 125).few_bins);
    CHECK_FALSE(band(coarse, 160).few_bins);
    const auto silence = levels_of(spectrum_of([](double) { return 0.0; }));
    CHECK(silence.front().mean_square.value == 0.0);
}

TEST_CASE("a band is as unsure as its noise averages, and its lines scatter with the noise beside them", "[third_octaves]") {
    // noise of density S in a band B over a time T: S sqrt(B / T), less one part in the averages + 1 that the floor's own reading takes
    auto flat = spectrum_of([](double) { return 1e-12; });
    const std::vector<double> floor(flat.density.size(), 1e-12);
    auto levels = third_octaves(flat, floor, {});
    const double width = 1122.018 - 891.251;
    CHECK(band(levels, 1000).bins == Approx(width).epsilon(1e-5));
    CHECK(band(levels, 1000).mean_square.sd == Approx(1e-12 * std::sqrt(width / 25 * 50 / 51)).epsilon(1e-5));
    CHECK(band(levels, 1000).mean_square.limited_by == LimitedBy::nothing);
    // a line in one bin, a hundred times the noise: 2 S N + N^2 there
    flat.density[1000] = 101e-12;
    SpectralLine line;
    line.frequency_hz = line.low_hz = line.high_hz = 1000;
    levels = third_octaves(flat, floor, {line});
    CHECK(band(levels, 1000).mean_square.sd == Approx(1e-12 * std::sqrt((width * 50 / 51 + 200) / 25)).epsilon(1e-5));
    CHECK(band(levels, 1000).mean_square.value == Approx(1e-12 * (width + 100)).epsilon(1e-5));
    // unknown to be one it counts as noise
    levels = third_octaves(flat, floor, {});
    CHECK(band(levels, 1000).mean_square.sd == Approx(1e-12 * std::sqrt((width - 1 + 101 * 101) * 50.0 / 51 / 25)).epsilon(1e-5));
    // more than half a decibel (12.2 %) asks for a longer take: 23 Hz over 2.5 s, 13 % of it, and the band above, 12 %
    flat = spectrum_of([](double) { return 1e-12; });
    flat.effective_duration_s = 2.5;
    levels = third_octaves(flat, floor, {});
    CHECK(band(levels, 100).mean_square.limited_by == LimitedBy::length);
    CHECK(band(levels, 125).mean_square.limited_by == LimitedBy::nothing);
    // bins wider than the lowest bands: each band has its share of the bins it lies in
    const auto coarse = spectrum_of([](double) { return 1e-12; }, 48000, 50);
    for (const ThirdOctaveLevel& one : third_octaves(coarse, std::vector<double>(coarse.density.size(), 1e-12), {})) {
        CHECK(one.mean_square.value == Approx(1e-12 * (one.band.high_hz - one.band.low_hz)));
        CHECK(one.few_bins == (one.band.high_hz - one.band.low_hz < 200));
    }
    // one average at least, and half a bin's time
    flat.effective_averages = 0;
    flat.effective_duration_s = 0;
    levels = third_octaves(flat, floor, {});
    CHECK(band(levels, 1000).mean_square.sd == Approx(1e-12 * std::sqrt(width / 0.5 / 2)).epsilon(1e-5));
}
