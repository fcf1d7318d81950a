#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "../../src/measure/noise_ratio_map.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0, kTurn = 2.0 * std::numbers::pi;

std::vector<double> white(double seconds, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    for (double& one : out) one = normal(engine);
    return out;
}
void add_sine(std::vector<double>& into, double hz, double amplitude, double from_s = 0.0, double to_s = 1e9) {
    for (std::size_t n = 0; n < into.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        if (t >= from_s && t < to_s) into[n] += amplitude * std::cos(kTurn * hz * t);
    }
}
/// A shape written down: bins of 5 Hz.
NoiseShape flat_shape(std::size_t bins, double density) {
    NoiseShape shape;
    shape.bin_hz = 5.0;
    shape.log_density.assign(bins, std::log(density));
    shape.unsure.assign(bins, false);
    shape.loudest = density;
    return shape;
}
NoiseRatioMap written_map(std::size_t columns, std::size_t bins, float ratio) {
    NoiseRatioMap map;
    map.window_s = 0.1;
    map.hop_s = 0.05;
    map.bin_hz = 10.0;
    map.columns = columns;
    map.bins = bins;
    map.ratio.assign(columns * bins, ratio);
    return map;
}
/// The bins of a column that were left out.
std::vector<std::size_t> left_out(const NoiseRatioMap& map, std::size_t column) {
    std::vector<std::size_t> out;
    for (std::size_t b = 0; b < map.bins; ++b)
        if (map.at(column, b) == NoiseRatioMap::nothing_known) out.push_back(b);
    return out;
}
using Bins = std::vector<std::size_t>;

}  // namespace

TEST_CASE("a line's lobe grows by a power of ten for 60 dB once its side lobes stand out", "[noise_shape]") {
    // 2.6 bins hold Hann's main lobe, side lobes fall by 18 dB an octave; a bin holds 1.5 of its width of noise
    const double a_bin = 10.0 * std::log10(1.5 * 10.0);
    CHECK(lobe_hz(10.0, a_bin - 40.0) == Approx(26.0));
    CHECK(lobe_hz(10.0, a_bin + 15.0) == Approx(26.0));
    CHECK(lobe_hz(10.0, a_bin + 15.0 + 6.0) == Approx(26.0 * std::pow(10.0, 0.1)));
    CHECK(lobe_hz(10.0, a_bin + 75.0) == Approx(260.0));
    CHECK(written_map(1, 4, 1.0F).lobe_hz(a_bin + 75.0) == Approx(260.0));
}

TEST_CASE("noise is seen through a window by its power response", "[noise_shape]") {
    NoiseShape shape = flat_shape(100, 3.0);
    CHECK(shape.seen_through(200.0, 5.0) == Approx(3.0));
    CHECK(shape.seen_through(212.3, 20.0) == Approx(3.0));
    shape.log_density[40] = std::log(93.0);   // 90 more in the bin at 200 Hz
    // Hann: 1 in its middle, 1/4 a bin beside it, 0 further on: 1.5 in all
    CHECK(shape.seen_through(200.0, 5.0) == Approx(3.0 + 90.0 / 1.5));
    CHECK(shape.seen_through(205.0, 5.0) == Approx(3.0 + 90.0 * 0.25 / 1.5));
    CHECK(shape.seen_through(190.0, 5.0) == Approx(3.0).margin(1e-9));
    CHECK(shape.seen_through(200.0, 1.0) == Approx(3.0 + 90.0 / 1.5));   // a narrower window than the shape's bins sees no more
    // sin(pi x) / (pi x (1 - x^2)) squared is 0.7205, 0.02882, 0.000588 half a bin, 1 1/2 and 2 1/2 beside the middle
    const double all = 2 * (0.7205 + 0.02882 + 0.000588 + 0.0000516);
    CHECK(shape.seen_through(202.5, 5.0) == Approx(3.0 + 90.0 * 0.7205 / all).epsilon(1e-3));
    CHECK(shape.seen_through(207.5, 5.0) == Approx(3.0 + 90.0 * 0.02882 / all).epsilon(1e-3));
    // a window of twice the width: 1, 0.7205, 1/4, 0.02882, 0, ...: 3 in all
    CHECK(shape.seen_through(200.0, 10.0) == Approx(3.0 + 90.0 / 3.0).epsilon(1e-3));
    CHECK(shape.seen_through(205.0, 10.0) == Approx(3.0 + 90.0 * 0.7205 / 3.0).epsilon(1e-3));
    // what is unsure is left out, and at the ends what there is counts
    shape.unsure[40] = true;
    CHECK(shape.seen_through(200.0, 5.0) == Approx(3.0));
    CHECK(shape.seen_through(0.0, 5.0) == Approx(3.0));
    CHECK(shape.seen_through(495.0, 5.0) == Approx(3.0));
    shape.unsure.assign(100, true);
    CHECK(shape.seen_through(200.0, 5.0) == 0.0);
    CHECK_FALSE(shape.sure_at(200.0));
    shape.unsure[40] = false;
    CHECK(shape.sure_at(197.6));
    CHECK_FALSE(shape.sure_at(197.4));
    CHECK(shape.sure_at(202.4));
    CHECK_FALSE(shape.sure_at(202.6));
    CHECK_FALSE(flat_shape(10, 1.0).sure_at(47.6));   // beyond the last bin
    CHECK(flat_shape(10, 1.0).sure_at(47.4));
}

TEST_CASE("each bin's mean is what holds still in it, and what passes counts for nothing", "[noise_shape]") {
    // A sine of mean square p in the middle of a Hann bin reads p / (1.5 bin) there and a quarter of it beside; where nothing
    // scatters, cutting off above four times the mean was allowed for in vain: by 1 - 4 e^-4 / (1 - e^-4).
    const double cut_off = 1.0 - 4.0 * std::exp(-4.0) / (1.0 - std::exp(-4.0)), amplitude = 0.1, density = 0.5 * 0.01 / (1.5 * 20.0);
    std::vector<double> sound(16000, 0.0);
    add_sine(sound, 600.0, amplitude);
    add_sine(sound, 1000.0, 0.01);
    const std::vector<PassedLine> still = {{1500.0, -20.0}};
    const NoiseShape shape = noise_of_each_bin(sound, kRate, 2000.0, still);
    CHECK(shape.bin_hz == 20.0);
    REQUIRE(shape.log_density.size() == 110);   // as far as asked for, and ten bins more
    CHECK(std::exp(shape.log_density[30]) * cut_off == Approx(density).epsilon(1e-5));
    CHECK(std::exp(shape.log_density[31]) * cut_off == Approx(density / 4).epsilon(1e-5));
    CHECK(std::exp(shape.log_density[50]) * cut_off == Approx(density / 100).epsilon(1e-4));
    CHECK(shape.log_density[40] < std::log(density) - 15.0);
    CHECK(shape.loudest == Approx(density).epsilon(1e-5));
    for (std::size_t b = 0; b < shape.unsure.size(); ++b) CHECK(shape.unsure[b] == (b >= 73 && b <= 77));   // 2.6 bins either way of 75
    add_sine(sound, 1000.0, 1.0, 0.5, 0.7);   // a tenth of the time 40 dB louder
    const NoiseShape passed = noise_of_each_bin(sound, kRate, 2000.0, still);
    CHECK(std::exp(passed.log_density[50]) * cut_off == Approx(density / 100).epsilon(1e-3));
    CHECK(passed.loudest == Approx(1.01 * 1.01 * 100.0 * density).epsilon(1e-4));
    CHECK(noise_of_each_bin(sound, kRate, 1e6, {}).log_density.size() == 200);   // no farther than half the rate
    const NoiseShape silent = noise_of_each_bin(std::vector<double>(8000, 0.0), kRate, 2000.0, {});
    CHECK(silent.log_density[20] == Approx(std::log(1e-30)));
    CHECK(noise_of_each_bin(std::vector<double>(300, 0.0), kRate, 2000.0, {}).log_density.empty());
    CHECK(noise_shape(std::vector<double>(300, 0.0), kRate, 2000.0, {}).log_density.empty());
}

TEST_CASE("white noise is read flat, a bump and a slope of it are followed", "[noise_shape]") {
    const double density = 2.0 * 1e-4 / kRate;   // of rms 0.01, one-sided
    auto sound = white(12.0, 0.01, 7);
    const NoiseShape plain = noise_shape(sound, kRate, 3600.0, {});
    CHECK(plain.bin_hz == 5.0);
    REQUIRE(plain.log_density.size() == 730);
    double mean = 0, square = 0, count = 0;
    for (std::size_t b = 10; b < 700; ++b, ++count) {
        const double off = plain.log_density[b] - std::log(density);
        mean += off;
        square += off * off;
    }
    // 119 columns: a bin's own standard deviation is 0.1; over the 30 to 300 bins of a stretch some hundredths are left, and one of
    // them is laid on top
    CHECK(mean / count == Approx(0.02).margin(0.02));
    CHECK(std::sqrt(square / count) < 0.06);
    CHECK(std::count(plain.unsure.begin() + 10, plain.unsure.begin() + 700, true) == 0);
    // a line in it lifts the floor under it by little: its bins weigh less the more they stand out
    add_sine(sound, 1000.0, 0.02);
    CHECK(noise_shape(sound, kRate, 3600.0, {}).log_density[200] == Approx(std::log(density)).margin(0.25));
    // one that is known is left out
    const NoiseShape known = noise_shape(sound, kRate, 3600.0, {{1000.0, 40.0}});
    CHECK(known.log_density[200] == Approx(std::log(density)).margin(0.12));
    CHECK(known.sure_at(1000.0));
    // where most of a stretch lies under a loud one's skirts, there is nothing to tell by
    const NoiseShape hidden = noise_shape(sound, kRate, 3600.0, {{1000.0, 140.0}});
    CHECK_FALSE(hidden.sure_at(1000.0));
    CHECK(hidden.sure_at(3300.0));
    // through a pole pair at 2 kHz, 160 Hz wide: |H|^2 = 1 / |1 - 2 r cos(w0) z^-1 + r^2 z^-2|^2
    const double r = std::exp(-std::numbers::pi * 160.0 / kRate), turn = kTurn * 2000.0 / kRate;
    auto bump = white(12.0, 0.01, 8);
    double one = 0, two = 0;
    for (double& x : bump) {
        x += 2.0 * r * std::cos(turn) * one - r * r * two;
        two = one;
        one = x;
    }
    const NoiseShape curved = noise_shape(bump, kRate, 3600.0, {});
    double worst = 0;
    for (double hz = 200.0; hz <= 3500.0; hz += 25.0) {
        const std::complex<double> z = std::polar(1.0, -kTurn * hz / kRate);
        const double truth = density / std::norm(1.0 - 2.0 * r * std::cos(turn) * z + r * r * z * z);
        worst = std::max(worst, std::abs(curved.log_density[static_cast<std::size_t>(hz / 5.0)] - std::log(truth)));
    }
    CHECK(worst < 0.35);   // the top of the bump, 40 dB over its foot, is hit within 1.5 dB
}

TEST_CASE("where nothing scatters the floor lies one standard deviation of its widest stretch over what is there", "[noise_shape]") {
    // An impulse a window of 1600 samples, 400 from its start or its end, where Hann's is 1/2: every bin of every column reads the same.
    // A second tap makes it a gentle curve of 1 + a^2 + 2 a cos(turn).
    const auto train = [](double second) {
        std::vector<double> out(16000, 0.0);
        for (std::size_t n = 400; n + 1 < out.size(); n += 1600) {
            out[n] = 1.0;
            out[n + 1] = second;
        }
        return out;
    };
    const double cut_off = 1.0 - 4.0 * std::exp(-4.0) / (1.0 - std::exp(-4.0));
    const double density = 2.0 * 0.25 / (kRate * 1600.0 * 3.0 / 8.0) / cut_off;   // |X|^2 over the window's energy, one-sided
    const NoiseShape flat = noise_shape(train(0.0), kRate, 3600.0, {});
    // 19 columns, half overlapping worth 0.95 of that, cutting off costs 5 %: ln of a bin is sure to so much
    const double spread = 1.05 / std::sqrt(0.95 * 19.0);
    for (const std::size_t b : {100U, 300U, 500U}) {
        // 180 Hz, 36 bins, or 22 % of the frequency, and four bins more either way; neighbours under a Hann window share. A parabola's middle
        // through n points has 9/4 of one over n of their variance.
        const double n = 2.0 * (4.0 + std::max(36.0, std::floor(0.22 * static_cast<double>(b)))) + 1.0;
        CAPTURE(b);
        CHECK(flat.log_density[b] - std::log(density) == Approx(spread * std::sqrt(1.95 * 9.0 / (4.0 * n))).epsilon(0.01));
        const NoiseShape curve = noise_shape(train(0.3), kRate, 3600.0, {});
        const double truth = 1.09 + 0.6 * std::cos(kTurn * static_cast<double>(b) / 1600.0);
        CHECK(curve.log_density[b] - flat.log_density[b] == Approx(std::log(truth)).margin(0.01));
    }
    CHECK(std::count(flat.unsure.begin() + 20, flat.unsure.begin() + 700, true) == 0);
    // a resonance at 2 kHz, 200 Hz wide, whose top even the narrowest stretch, 4 % and four bins, cuts off: two and a half deviations over it
    auto bump = train(0.0);
    const double r = std::exp(-std::numbers::pi * 200.0 / kRate);
    double one = 0, two = 0;
    for (double& x : bump) {
        x += -r * r * two;   // cos of a quarter of a turn is nought
        two = one;
        one = x;
    }
    const NoiseShape followed = noise_shape(bump, kRate, 3600.0, {});
    const double n = 2.0 * (4.0 + 16.0) + 1.0;
    for (const std::size_t b : {394U, 400U, 406U}) {
        CAPTURE(b);
        const double truth = std::log(density / std::norm(1.0 + r * r * std::polar(1.0, -2.0 * kTurn * static_cast<double>(b) / 1600.0)));
        CHECK(followed.log_density[b] - truth == Approx(2.5 * spread * std::sqrt(1.95 * 9.0 / (4.0 * n))).margin(0.05));
    }
    // With a share h of a stretch of r bins either way hidden in its middle, the parabola's middle has S4 / (S0 S4 - S2^2) / r of the
    // variance, S0 = 2 (1 - h), S2 = 2 (1 - h^3) / 3, S4 = 2 (1 - h^5) / 5: 9/8 where nothing is hidden, twice that for h = 0.235.
    // Beyond it nothing is told. At 1800 Hz r is 83 bins: 97 Hz.
    const auto hidden = [&](double lobe) {   // so many hertz
        const double over_db = 60.0 * std::log10(lobe / 2.6 / 5.0) + 15.0 + 10.0 * std::log10(1.5 * 5.0);
        return noise_shape(train(0.0), kRate, 3600.0, {{1800.0, over_db}});
    };
    CHECK(hidden(92.0).sure_at(1800.0));
    CHECK_FALSE(hidden(110.0).sure_at(1800.0));
    const double share = 18.5 / 83.5, s0 = 2 * (1 - share), s2 = 2 * (1 - std::pow(share, 3)) / 3, s4 = 2 * (1 - std::pow(share, 5)) / 5;
    CHECK((hidden(92.0).log_density[360] - std::log(density)) / (flat.log_density[360] - std::log(density)) ==
          Approx(std::sqrt(s4 / (s0 * s4 - s2 * s2) / 1.125)).epsilon(0.005));
    CHECK(hidden(92.0).log_density[100] == flat.log_density[100]);
}

TEST_CASE("the map is power over the noise, in columns and bins of a Hann window", "[noise_shape]") {
    const double density = 2.0 * 1e-4 / kRate;
    NoiseShape shape = flat_shape(800, density);
    auto sound = white(6.0, 0.01, 9);
    const NoiseRatioMap map = noise_ratio_map(sound, kRate, 0.1, 3000.0, shape);
    CHECK(map.window_s == 0.1);
    CHECK(map.hop_s == 0.05);
    CHECK(map.bin_hz == 10.0);
    CHECK(map.bins == 302);
    CHECK(map.columns == 119);   // 48000 samples, windows of 800, half overlapping
    CHECK(map.ratio.size() == map.bins * map.columns);
    CHECK(map.centre_s(0) == Approx(0.05));
    CHECK(map.centre_s(10) == Approx(0.55));
    CHECK(left_out(map, 0) == Bins{0});   // dc is no noise
    double mean = 0, square = 0, count = 0;
    for (std::size_t t = 0; t < map.columns; ++t)
        for (std::size_t b = 5; b < map.bins; ++b, ++count) {
            mean += static_cast<double>(map.at(t, b));
            square += std::pow(static_cast<double>(map.at(t, b)), 2);
        }
    // exponential: mean 1, mean square 2; some 14000 independent cells
    CHECK(mean / count == Approx(1.0).margin(0.03));
    CHECK(square / count == Approx(2.0).margin(0.12));
    // a sine of mean square p in the middle of a bin stands p / (1.5 bin density) over the noise
    add_sine(sound, 1000.0, 0.02);
    const NoiseRatioMap line = noise_ratio_map(sound, kRate, 0.1, 3000.0, shape);
    mean = 0;
    for (std::size_t t = 0; t < line.columns; ++t) mean += static_cast<double>(line.at(t, 100)) / 119.0;
    CHECK(mean == Approx(1.0 + 0.5 * 4e-4 / (15.0 * density)).epsilon(0.05));
    // known lines, what is unsure and what lies 130 dB under the loudest say nothing
    shape.unsure[400] = true;   // 2000 Hz
    shape.log_density[300] = std::log(1e-40);
    for (std::size_t b = 280; b < 320; ++b) shape.log_density[b] = std::log(density * 0.9e-13);
    const NoiseRatioMap less = noise_ratio_map(sound, kRate, 0.1, 3000.0, shape, {{1000.0, 0.0}});
    for (const std::size_t b : left_out(less, 3)) CHECK((b == 0 || (b >= 98 && b <= 102) || b == 200 || (b >= 138 && b <= 162)));
    CHECK(less.at(3, 150) == NoiseRatioMap::nothing_known);
    CHECK(less.at(3, 100) == NoiseRatioMap::nothing_known);
    CHECK(less.at(3, 98) == NoiseRatioMap::nothing_known);
    CHECK(less.at(3, 97) >= 0.0F);
    CHECK(less.at(3, 103) >= 0.0F);
    CHECK(less.at(3, 200) == NoiseRatioMap::nothing_known);
}

TEST_CASE("noise that swells is divided by its own level, each fifth of the range for itself", "[noise_shape]") {
    // 10 dB louder in the second half; a click of 20 dB in one moment; a tone that swells in one bin changes nothing
    auto sound = white(8.0, 0.01, 10);
    for (std::size_t n = sound.size() / 2; n < sound.size(); ++n) sound[n] *= std::sqrt(10.0);
    for (std::size_t n = 16000; n < 16400; ++n) sound[n] *= 10.0;
    const NoiseShape shape = flat_shape(800, 2.0 * 1e-4 / kRate);
    const NoiseRatioMap map = noise_ratio_map(sound, kRate, 0.1, 3300.0, shape);
    REQUIRE(map.bins == 332);
    const auto mean = [&](std::size_t from, std::size_t to, std::size_t low, std::size_t high) {
        double sum = 0;
        for (std::size_t t = from; t < to; ++t)
            for (std::size_t b = low; b < high; ++b) sum += static_cast<double>(map.at(t, b)) / static_cast<double>((to - from) * (high - low));
        return sum;
    };
    for (std::size_t fifth = 0; fifth < 5; ++fifth) {
        const std::size_t low = std::max<std::size_t>(1, fifth * map.bins / 5), high = (fifth + 1) * map.bins / 5;
        CHECK(mean(5, 35, low, high) == Approx(1.0).margin(0.1));
        CHECK(mean(90, 150, low, high) == Approx(1.0).margin(0.1));
        CHECK(mean(39, 41, low, high) == Approx(1.0).margin(0.3));
    }
    // steady noise is left as it is, whatever a column's median strays by chance: no scatter of level is taken out
    const auto steady = white(4.0, 0.01, 11);
    const NoiseRatioMap still = noise_ratio_map(steady, kRate, 0.1, 3300.0, shape), half = noise_ratio_map(steady, kRate, 0.1, 600.0, shape);
    CHECK(still.at(20, 30) == half.at(20, 30));
}

TEST_CASE("only what chance does not do to a column's level is followed, in one column or in those about it", "[noise_shape]") {
    // An impulse where two windows of 800 samples are 1/2 each: flat columns, alike in pairs. Their bins are the median of noise of
    // level 1, ln 2, where the impulse is 1.
    NoiseShape shape = flat_shape(800, 2.0 * 0.25 / (kRate * 300.0) / std::log(2.0));
    const auto map_of = [&](auto&& ln_level) {   // of the impulse's number
        std::vector<double> out(16000, 0.0);
        for (std::size_t m = 0; 200 + 800 * m < out.size(); ++m) out[200 + 800 * m] = std::exp(0.5 * ln_level(m));
        return noise_ratio_map(out, kRate, 0.1, 3300.0, shape);
    };
    const auto level_at = [](const NoiseRatioMap& map, std::size_t column, std::size_t bin) {
        return std::log(static_cast<double>(map.at(column, bin)) / std::log(2.0));
    };
    // a fifth of 332 bins' median strays by 1 / sqrt(0.48 66) = 0.178: three of that in a column by itself
    for (const double x : {0.52, 0.545, -0.52, -0.545}) {
        const NoiseRatioMap map = map_of([&](std::size_t m) { return m == 10 ? x : 0.0; });
        REQUIRE(map.bins == 332);
        for (const std::size_t bin : {1U, 60U, 70U, 150U, 230U, 300U, 331U}) {
            CAPTURE(x, bin);
            for (const std::size_t column : {19U, 20U}) CHECK(level_at(map, column, bin) == Approx(std::abs(x) < 0.53 ? x : 0.0).margin(1e-4));
            CHECK(level_at(map, 18, bin) == Approx(0.0).margin(1e-4));
            CHECK(level_at(map, 21, bin) == Approx(0.0).margin(1e-4));
        }
    }
    // of eleven columns, a quarter of a second either way, together four times 0.178 / sqrt(11) = 0.214
    for (const double x : {0.205, 0.225, -0.205, -0.225}) {
        const NoiseRatioMap map = map_of([&](std::size_t) { return x; });
        CAPTURE(x);
        for (const std::size_t bin : {70U, 230U}) CHECK(level_at(map, 15, bin) == Approx(std::abs(x) < 0.214 ? x : 0.0).margin(1e-4));
    }
    // half a second at e^0.4: in its middle ten of eleven columns have it, which is divided by their mean; a column well beside is left
    const NoiseRatioMap swell = map_of([](std::size_t m) { return m >= 8 && m < 13 ? 0.4 : 0.0; });
    CHECK(level_at(swell, 20, 150) == Approx(0.4 - 0.4 * 10 / 11).margin(1e-4));
    CHECK(level_at(swell, 8, 150) == Approx(0.0).margin(1e-4));
    std::vector<double> step(16000, 0.0);
    for (std::size_t m = 0; m < 20; ++m) step[200 + 800 * m] = 1.0;
    step[200 + 8000] = std::exp(0.5 * 0.8);
    const NoiseRatioMap narrow = noise_ratio_map(step, kRate, 0.1, 1300.0, shape);   // 132 bins, in two parts of 66
    REQUIRE(narrow.bins == 132);
    CHECK(level_at(narrow, 19, 20) == Approx(0.0).margin(1e-4));
    CHECK(level_at(narrow, 19, 131) == Approx(0.0).margin(1e-4));
    // where fewer than 32 bins are known their level isn't followed
    shape.unsure.assign(800, true);
    for (std::size_t b = 2 * 67; b < 2 * 67 + 2 * 31; ++b) shape.unsure[b] = false;    // 31 bins of 10 Hz in the second fifth
    CHECK(level_at(noise_ratio_map(step, kRate, 0.1, 3300.0, shape), 19, 80) == Approx(0.8).margin(1e-4));
    for (std::size_t b = 2 * 98; b < 2 * 98 + 4; ++b) shape.unsure[b] = false;
    CHECK(level_at(noise_ratio_map(step, kRate, 0.1, 3300.0, shape), 19, 80) == Approx(0.0).margin(1e-4));
}

TEST_CASE("stretches, skirts and followed lines are left out of a map", "[noise_shape]") {
    NoiseRatioMap map = written_map(3, 40, 1.0F);
    map.leave_out(1, 95.0, 130.0);
    CHECK(left_out(map, 0).empty());
    CHECK(left_out(map, 1) == Bins{10, 11, 12, 13});
    CHECK(left_out(map, 2).empty());
    map = written_map(1, 40, 1.0F);
    map.leave_out(0, -20.0, 10.0);
    CHECK(left_out(map, 0) == Bins{0, 1});
    map.leave_out(0, 385.0, 1e4);
    CHECK(left_out(map, 0) == Bins{0, 1, 39});
    map = written_map(1, 40, 1.0F);
    map.leave_out(0, 101.0, 109.0);   // between two bins
    CHECK(left_out(map, 0).empty());
    // a skirt ends where the first bin stands less than 6 dB over the noise
    map = written_map(1, 40, 4.0F);
    map.ratio[15] = 3.99F;
    map.leave_out_skirt(0, 120.0, 1);
    CHECK(left_out(map, 0) == Bins{13, 14});
    map.leave_out_skirt(0, 50.0, -1);
    CHECK(left_out(map, 0) == Bins{1, 2, 3, 4, 13, 14});   // not dc
    map.leave_out_skirt(0, 365.0, 1);
    CHECK(left_out(map, 0) == Bins{1, 2, 3, 4, 13, 14, 37, 38, 39});
    map = written_map(1, 40, 4.0F);
    map.ratio[10] = 1.0F;
    map.leave_out_skirt(0, 135.0, -1);
    CHECK(left_out(map, 0) == Bins{11, 12, 13});
    // a line of 100 Hz that climbs by 200 Hz a second, its double: over a window of 0.1 s it sweeps 40 Hz
    Ridge ridge;
    ridge.snr_db = 0.0;   // a lobe of 26 Hz
    for (double t = -1.0; t <= 1.0; t += 0.05) {
        ridge.track.time_s.push_back(t);
        ridge.track.frequency_hz.push_back(100.0 + 200.0 * t);
    }
    map = written_map(3, 60, 1.0F);
    map.ratio[0 * 60 + 28] = map.ratio[0 * 60 + 29] = 9.0F;   // its skirt, above
    map.ratio[0 * 60 + 16] = 9.0F;                            // and below; 15 is no part of it
    map.leave_out(ridge, 2.0);
    // at 0.05 s the double lies at 220 Hz: 26 + 20 Hz either way are 174 to 266 Hz
    CHECK(left_out(map, 0) == Bins{18, 19, 20, 21, 22, 23, 24, 25, 26});
    map.ratio[0 * 60 + 27] = 9.0F;
    map.ratio[0 * 60 + 17] = 9.0F;
    map.leave_out(ridge, 2.0);
    CHECK(left_out(map, 0) == Bins{16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29});
    // 20 Hz higher in the next column
    CHECK(left_out(map, 1) == Bins{20, 21, 22, 23, 24, 25, 26, 27, 28});
}
