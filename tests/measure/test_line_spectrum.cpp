#include <array>
#include <catch2/catch.hpp>
#include <cmath>

#include "../../src/measure/line_spectrum.hpp"
#include "hushtrace/measure/noise_statistics.hpp"

using namespace hushtrace;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

/// A spectrum written down: bins of 2 Hz, no window.
LineSpectrum written(std::vector<double> power) {
    LineSpectrum s;
    s.power = std::move(power);
    s.length = 2 * (s.power.size() - 1);
    s.bin_hz = 2.0;
    s.window_sum = s.window_energy = s.window_fourth = static_cast<double>(s.length);
    s.lobe = 3;
    return s;
}

}  // namespace

TEST_CASE("a line's spectrum is of the span's middle, as many samples as have small factors", "[line_spectrum]") {
    // even, and of twos, threes and fives alone
    const std::vector<std::pair<std::size_t, std::size_t>> lengths = {{1000, 1000}, {1001, 1000}, {997, 972}, {1023, 1000},
                                                                      {1024, 1024}, {30, 30},     {7, 6},     {91, 90},     {50, 50},   {18, 18}};
    for (const auto& [samples, length] : lengths)
        CHECK(line_spectrum(std::vector<double>(samples, 0.0), 8000.0, WindowKind::hann).length == length);
    std::vector<double> x(803, 50.0);   // two of 803 are left out in front, one behind
    for (std::size_t n = 0; n < 800; ++n) x[n + 1] = 0.3 * std::cos(kTurn * 40.0 * static_cast<double>(n) / 800.0);
    const LineSpectrum s = line_spectrum(x, 8000.0, WindowKind::hann);
    CHECK(s.length == 800);
    CHECK(s.kind == WindowKind::hann);
    CHECK(s.bin_hz == 10.0);
    CHECK(s.lobe == 2);
    REQUIRE(s.power.size() == 401);
    // a sine of amplitude a has mean square a^2 / 2, a Hann window shows a quarter of it beside its bin
    CHECK(s.power[40] * s.tone_scale() == Approx(0.045));
    CHECK(s.power[41] * s.tone_scale() == Approx(0.045 / 4));
    CHECK(s.power[50] * s.tone_scale() == Approx(0.0).margin(1e-12));
    // over three bins the noise's scale makes the same of it; the window's sums are 1/2, 3/8 and 35/128 of the length
    CHECK((s.power[39] + s.power[40] + s.power[41]) * s.noise_scale() == Approx(0.045));
    CHECK(s.window_sum == Approx(400.0));
    CHECK(s.window_energy == Approx(300.0));
    CHECK(s.window_fourth == Approx(800.0 * 35 / 128));
    CHECK(s.bandwidth_bins() == Approx(1.5));
    CHECK(s.correlation() == Approx(35.0 / 18.0));
}

TEST_CASE("a lobe's shape is its window's power response", "[line_spectrum]") {
    const LobeShape hann(WindowKind::hann);
    CHECK(hann.power(0.0) == Approx(1.0));
    for (const double off : {0.5, -0.5, 1.5, 2.5}) {   // sin(pi x) / (pi x (1 - x^2))
        const double amplitude = std::sin(0.5 * kTurn * off) / (0.5 * kTurn * off * (1.0 - off * off));
        CHECK(hann.power(off) == Approx(amplitude * amplitude).epsilon(1e-4));
    }
    CHECK(hann.power(1.0) == Approx(0.25));
    CHECK(hann.power(2.0) == Approx(0.0).margin(1e-12));
}

TEST_CASE("a bin's noise is its neighbours' median over ln 2", "[line_spectrum]") {
    std::vector<double> none, five = {9.0, 1.0, 3.0, 2.0, 100.0};
    CHECK(noise_from_median(none, 1.5).power == 0.0);
    CHECK(noise_from_median(none, 1.5).sd == 0.0);
    const BinNoise noise = noise_from_median(five, 1.25);   // worth four
    CHECK(noise.power == Approx(3.0 / std::log(2.0)));
    CHECK(noise.sd == Approx(noise.power / (2.0 * std::log(2.0))));
    CHECK(noise_from_median(five, 20.0).sd == Approx(noise.power / std::log(2.0)));   // never fewer than one
}

TEST_CASE("a band's power is its bins', a line's place in it may be taken for noise", "[line_spectrum]") {
    // 101 bins of 2 Hz, length 200: each of power p stands for 2 p / 200^2
    const double scale = 2.0 / (200.0 * 200.0);
    LineSpectrum s = written(std::vector<double>(101, 1.0));
    const BinNoise none;
    BandPower band = band_power(s, 19.9, 60.1, 1e6, none);   // bins 10 to 30
    CHECK(band.power == Approx(21 * scale));
    CHECK(band.sd == Approx(std::sqrt(21.0) * scale));
    CHECK(band_power(s, 20.1, 59.9, 1e6, none).power == Approx(19 * scale));
    std::vector<double> more(110, 1e9);   // what lay behind the last bin is none
    std::fill(more.begin(), more.begin() + 101, 1.0);
    more.resize(101);
    CHECK(band_power(written(std::move(more)), 0.0, 1e4, 1e6, none).power == Approx(101 * scale));
    // three bins' lobe: five bins lie nearer than that to bin 20
    band = band_power(s, 20.0, 60.0, 40.0, {9.0, 0.0});
    CHECK(band.power == Approx((16 + 5 * 9) * scale));
    // a line of 1000 in one of 21: the noise is the median's, ln 2 of its mean, and beats with what stands over it
    s.power[20] = 1000.0;
    band = band_power(s, 20.0, 60.0, 1e6, none);
    const double q = 1.0 / std::log(2.0);
    CHECK(band.power == Approx(1020 * scale));
    CHECK(band.sd == Approx(std::sqrt(21 * q * q + 2.0 * (1020 - 21 * q) * q) * scale));
    // stretches of 64 bins by themselves: bins 10 to 73 of 1, 74 to 100 of 4; a window that correlates raises the variance
    s.power.assign(101, 1.0);
    std::fill(s.power.begin() + 74, s.power.end(), 4.0);
    band = band_power(s, 20.0, 200.0, 1e6, none);
    CHECK(band.power == Approx((64 + 27 * 4) * scale));
    CHECK(band.sd == Approx(std::sqrt(64.0 + 27 * 16.0) * scale));
    s.window_fourth *= 2.0;
    CHECK(band_power(s, 20.0, 200.0, 1e6, none).sd == Approx(std::sqrt(2.0 * (64.0 + 27 * 16.0)) * scale));
}

TEST_CASE("noise round a place is that of bins that belong to no line, from farther away where these are few", "[line_spectrum]") {
    LineSpectrum s = written(std::vector<double>(1001, 2.0));
    std::vector<double> scratch;
    for (std::size_t k = 0; k < 1001; ++k) s.power[k] = k < 300 ? 5.0 : 2.0;
    s.power[0] = s.power[1000] = 1e6;
    const auto no_line = [](double) { return false; };
    CHECK(noise_round(s, 500.0, no_line, scratch).power == Approx(2.0 / std::log(2.0)));
    CHECK(scratch.size() == 181);   // ninety either way
    noise_round(s, 30.4, no_line, scratch);
    CHECK(scratch.size() == 120);   // 1 to 120
    CHECK(noise_round(s, 30.4, no_line, scratch).power == Approx(5.0 / std::log(2.0)));
    noise_round(s, 990.0, no_line, scratch);
    CHECK(scratch.size() == 100);   // 900 to 999
    const auto all_near = [](double bin) { return std::abs(bin - 100.0) < 150.0; };
    CHECK(noise_round(s, 100.0, all_near, scratch).power == Approx(5.0 / std::log(2.0)));
    CHECK(scratch.size() == 31);    // 250 to 280: within 180 of the place
    const auto hardly = [](double bin) { return std::abs(bin - 500.0) > 90.0 || std::lround(bin) % 8 != 0; };
    noise_round(s, 500.0, hardly, scratch);
    CHECK(scratch.size() == 22);    // 416 to 584 by eights: fewer than 24 all over, so these are all
}

TEST_CASE("tails of ratios, gammas and sums over a wide range", "[noise_statistics]") {
    // scipy.stats (1.10): -f.logsf(ratio, 2 a, 2 b)
    struct Row {
        double ratio, averages, floor_averages, surprise;
    };
    for (const Row& row : {Row{0.3, 1, 5, 0.2913445406}, {1.0, 2.5, 7.3, 0.7947847597}, {1.5, 40, 40, 3.329519517}, {6.0, 2.5, 7.3, 5.727296389},
                           {0.05, 3, 12, 0.0006187010602}, {1e3, 4, 9, 49.50409264}, {1.02, 300, 300, 0.9057860524}, {2.0, 0.5, 0.5, 0.9369360064},
                           {0.9, 1000, 20, 0.3459565309}})
        CHECK(surprise_of_ratio(row.ratio, row.averages, row.floor_averages) == Approx(row.surprise).epsilon(1e-7));
    CHECK(surprise_of_ratio(0.0, 3, 3) == 0.0);
    CHECK(surprise_of_ratio(-1.0, 3, 3) == 0.0);
    // -gamma.logsf(ratio * shape, shape)
    for (const auto& [ratio, shape, surprise] : {std::array{0.1, 1.0, 0.1}, {1.0, 1.0, 1.0}, {9.0, 1.0, 9.0}, {0.95, 200.0, 0.2788510835},
                                                 {1.3, 40.5, 3.320034048}, {4.0, 0.5, 3.090037153}, {1.0, 1000.0, 0.7015932366},
                                                 {0.2, 0.5, 0.4235463235}, {30.0, 2.5, 68.78851822}, {1.004, 250.0, 0.762639841},
                                                 {1.0039, 250.0, 0.7612967761}})
        CHECK(surprise_of_gamma(ratio, shape) == Approx(surprise).epsilon(1e-7));
    CHECK(surprise_of_gamma(0.0, 3) == 0.0);
    CHECK(surprise_of_gamma(1e-9, 30) < 1e-200);
    // of one: it counts with p = exp(-least), then by exp(-sum); of two: 2 p (1 - p) exp(-s) + p^2 (1 + s) exp(-s)
    CHECK(surprise_of_sum(4.0, 1, 1.5) == Approx(5.5));
    const double p = std::exp(-0.7);
    CHECK(surprise_of_sum(4.0, 2, 0.7) == Approx(4.0 - std::log(2.0 * p * (1.0 - p) + p * p * 5.0)));
    CHECK(surprise_of_sum(0.0, 5, 1.5) == 0.0);
    CHECK(surprise_of_sum(3.0, 0, 1.5) == 0.0);
    // Wilson and Hilferty: the cube root of a mean of n exponentials is normal, of mean 1 - 1/(9 n), variance 1/(9 n)
    CHECK(gamma_mean_quantile(4.0, 0.0) == Approx(std::pow(35.0 / 36.0, 3)));
    CHECK(gamma_mean_quantile(4.0, 3.0) == Approx(std::pow(35.0 / 36.0 + 0.5, 3)));
    CHECK(gamma_mean_quantile(0.3, 1.0) == gamma_mean_quantile(1.0, 1.0));   // one at least
    CHECK(gamma_mean_quantile(1.0, -9.0) == Approx(0.05 * 0.05 * 0.05));     // never 0
}
