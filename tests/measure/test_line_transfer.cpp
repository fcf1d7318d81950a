#include "hushtrace/measure/line_transfer.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;
using Complex = std::complex<double>;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

/// An engine that is revved from one line frequency to another, evenly in the logarithm.
double swept_hz(double t, double from_hz, double to_hz, double seconds) {
    return from_hz * std::pow(to_hz / from_hz, std::clamp(t / seconds, 0.0, 1.0));
}
Track swept_track(double from_hz, double to_hz, double seconds) {
    Track track;
    for (double t = 0; t <= seconds; t += 0.01) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(swept_hz(t, from_hz, to_hz, seconds));
    }
    return track;
}
/// A line through a path: at each moment it shows |H| and the phase of H at its frequency. Right while that changes slowly.
template <class Path>
std::vector<double> through(const Path& path, double ratio, double from_hz, double to_hz, double seconds, double amplitude) {
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    double turns = 0;
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double f = ratio * swept_hz(static_cast<double>(n) / kRate, from_hz, to_hz, seconds);
        const Complex h = path(f);
        out[n] = amplitude * std::abs(h) * std::cos(kTurn * turns + std::arg(h));
        turns = std::fmod(turns + f / kRate, 1.0);
    }
    return out;
}
void add(std::vector<double>& into, const std::vector<double>& what) {
    for (std::size_t n = 0; n < into.size(); ++n) into[n] += what[n];
}
Complex nothing_done(double) {
    return 1.0;
}

LineTransferPoint point(double frequency_hz, Complex gain, double relative_sd) {
    return {1.0, frequency_hz, gain, 0.99, 50.0, relative_sd};
}

}  // namespace

TEST_CASE("a known path is read at the lines of an engine that is revved", "[line_transfer]") {
    // a first-order low-pass of 2 kHz: |H| = 1 / sqrt(1 + (f/fc)^2), its phase -atan(f/fc), both on paper
    const auto path = [](double f) { return 0.01 / Complex(1.0, f / 2000.0); };
    const double seconds = 12.0;
    auto x = noise(seconds, 1e-4, 1), y = noise(seconds, 1e-5, 2);
    for (const double ratio : {1.0, 2.0}) {
        add(x, through(nothing_done, ratio, 400.0, 2000.0, seconds, 0.02));
        add(y, through(path, ratio, 400.0, 2000.0, seconds, 0.02));
    }
    LineTransferRequest request;
    request.ratios = {1.0, 2.0};
    const LineTransfer read = line_transfer(x, y, kRate, swept_track(400.0, 2000.0, seconds), request);
    REQUIRE(read.points.size() > 20);
    CHECK(read.points.front().frequency_hz < 430.0);
    CHECK(read.points.back().frequency_hz > 3500.0);
    CHECK(read.delay_s > 0.0);  // the path's own group delay at 400 Hz is 1 / (2 pi 2000 (1 + 0.04)) = 77 us, less further up
    CHECK(read.delay_s < 8e-5);
    for (const LineTransferPoint& one : read.points) {
        const Complex true_gain = path(one.frequency_hz);
        INFO(one.frequency_hz << " Hz, ratio " << one.ratio);
        CHECK(20.0 * std::log10(std::abs(one.gain / true_gain)) == Approx(0.0).margin(0.15));
        CHECK(std::abs(std::arg(one.gain / true_gain)) < 0.03);
        CHECK(one.coherence > 0.97);
    }
}

TEST_CASE("a delay between the channels costs no coherence", "[line_transfer]") {
    const double delay_s = 16.0 / kRate, seconds = 12.0;
    const auto late = [delay_s](double f) { return 0.01 * std::polar(1.0, -kTurn * f * delay_s); };
    auto x = noise(seconds, 1e-4, 3), y = noise(seconds, 1e-6, 4);
    add(x, through(nothing_done, 1.0, 1500.0, 6000.0, seconds, 0.02));
    add(y, through(late, 1.0, 1500.0, 6000.0, seconds, 0.02));
    const LineTransfer read = line_transfer(x, y, kRate, swept_track(1500.0, 6000.0, seconds), {});
    CHECK(read.delay_s == Approx(delay_s).margin(2e-5));
    REQUIRE(read.points.size() >= 8);
    for (const LineTransferPoint& one : read.points) {
        CHECK(std::abs(one.gain) == Approx(0.01).epsilon(0.01));
        CHECK(one.coherence > 0.99);
    }
}

TEST_CASE("noise in either channel leaves the gain unbiased, and its stated uncertainty holds", "[line_transfer]") {
    // in y it lowers the coherence to S / (S + N), in x it would lower H1 by the same: its power is taken off
    const double seconds = 20.0;
    double squares = 0, mean = 0;
    int count = 0;
    for (unsigned seed = 0; seed < 30; ++seed) {
        auto x = noise(seconds, 0.01, 100 + seed), y = noise(seconds, 0.012, 200 + seed);
        add_tone(x, 1200.0, 0.003, 0.005);
        add_tone(y, 1200.0, 0.001, 0.005);
        const LineTransfer read = line_transfer(x, y, kRate, true_track(1200.0, 0.005, seconds), {});
        REQUIRE(read.points.size() >= 1);
        for (const LineTransferPoint& one : read.points) {
            if (one.averages < 100) continue;
            const double off = std::abs(one.gain) * 3.0 - 1.0;  // a third of x
            squares += std::pow(off / one.relative_sd, 2);
            mean += off;
            ++count;
            CHECK(one.coherence < 0.97);
        }
    }
    REQUIRE(count == 30);
    INFO("mean " << mean / count << ", rms in sd " << std::sqrt(squares / count));
    CHECK(std::abs(mean / count) < 0.009);  // three of its own sd; noise of x left in would make it -0.014
    // the mean of 30 squares lies between 0.39 and 1.99 in all but two of a thousand (chi squared)
    CHECK(squares / count > 0.39);
    CHECK(squares / count < 1.99);
}

TEST_CASE("channels that have nothing in common show no points", "[line_transfer]") {
    std::size_t bins = 0, points = 0;
    for (unsigned seed = 0; seed < 6; ++seed) {
        const double seconds = 12.0;
        auto x = noise(seconds, 1e-4, 300 + seed);
        const auto y = noise(seconds, 1e-3, 400 + seed);
        add(x, through(nothing_done, 1.0, 400.0, 3000.0, seconds, 0.02));
        LineTransferRequest request;
        request.ratios = {0.5, 1.0, 2.0, 3.0};
        const LineTransfer read = line_transfer(x, y, kRate, swept_track(400.0, 3000.0, seconds), request);
        bins += read.bins;
        points += read.points.size();
    }
    CHECK(bins > 150);
    CHECK(points == 0);
}

TEST_CASE("what can't be read along a track is refused or has no points", "[line_transfer]") {
    const auto x = noise(4.0, 0.01, 5);
    const Track track = true_track(1000.0, 0.01, 4.0);
    const std::vector<double> silence(x.size(), 0.0), shorter(x.begin(), x.begin() + 100);
    CHECK(line_transfer(x, silence, kRate, track, {}).points.empty());
    CHECK(line_transfer(silence, x, kRate, track, {}).points.empty());
    CHECK(line_transfer(silence, silence, kRate, track, {}).points.empty());
    CHECK_THROWS_AS(line_transfer(x, shorter, kRate, track, {}), Error);
    CHECK_THROWS_AS(line_transfer(shorter, shorter, kRate, track, {}), Error);
    CHECK_THROWS_AS(line_transfer(x, x, kRate, {}, {}), Error);
    auto broken = x;
    broken[77] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(line_transfer(x, broken, kRate, track, {}), Error);
    LineTransferRequest request;
    request.ratios = {1e-3, 30.0, 0.0, -1.0};  // below the band, above it, nonsense
    CHECK(line_transfer(x, x, kRate, track, request).points.empty());
}

TEST_CASE("too few points, or too close ones, give no fit", "[line_transfer]") {
    const std::vector<LineTransferPoint> two = {point(1000.0, 1.0, 0.01), point(2000.0, 1.0, 0.01)};
    CHECK_FALSE(fit_slope(two));
    CHECK_FALSE(fit_series_impedance(two));
    const std::vector<LineTransferPoint> close = {point(1000.0, {0.02, 0.03}, 0.01), point(1010.0, {0.02, 0.03}, 0.01),
                                                  point(1020.0, {0.02, 0.03}, 0.01)};
    CHECK_FALSE(fit_slope(close));
    CHECK_FALSE(fit_series_impedance(close));
    CHECK_FALSE(fit_slope({}));
    CHECK(joined_by_frequency({}).empty());
}

TEST_CASE("lines that meet in a bin count as one point, as unsure as they are apart", "[line_transfer]") {
    const std::vector<LineTransferPoint> alike = {point(1000.0, 2.0, 0.02), point(1001.0, 2.0, 0.02), point(5000.0, 1.0, 0.02)};
    const auto joined = joined_by_frequency(alike);
    REQUIRE(joined.size() == 2);
    CHECK(joined[0].relative_sd == Approx(0.02 / std::sqrt(2.0)).epsilon(0.01));
    CHECK(std::abs(joined[0].gain) == Approx(2.0));
    const std::vector<LineTransferPoint> apart = {point(1000.0, 2.0, 0.02), point(1001.0, 1.0, 0.02)};
    CHECK(joined_by_frequency(apart)[0].relative_sd > 0.2);
}

TEST_CASE("every figure of joined points is their weighted mean, in bins of so many an octave from 1 kHz", "[line_transfer]") {
    std::vector<LineTransferPoint> points = {point(1020.0, std::polar(2.0, 0.1), 0.02), point(1080.0, std::polar(3.0, 0.4), 0.04)};
    points[0].coherence = 0.9;
    points[1].coherence = 0.8;
    points[1].averages = 30.0;
    const auto joined = joined_by_frequency(points);
    REQUIRE(joined.size() == 1);
    const double w0 = 1.0 / (4e-4 + 1e-6), w1 = 1.0 / (16e-4 + 1e-6), w = w0 + w1;   // a thousandth of its own beside
    const double log_gain = (w0 * std::log(2.0) + w1 * std::log(3.0)) / w;
    CHECK(joined[0].frequency_hz == Approx(std::exp((w0 * std::log(1020.0) + w1 * std::log(1080.0)) / w)));
    CHECK(std::abs(joined[0].gain) == Approx(std::exp(log_gain)));
    CHECK(std::arg(joined[0].gain) == Approx(std::arg(w0 * std::polar(1.0, 0.1) + w1 * std::polar(1.0, 0.4))));
    CHECK(joined[0].coherence == Approx((w0 * 0.9 + w1 * 0.8) / w));
    CHECK(joined[0].averages == 80.0);
    const double chi_squared = w0 * std::pow(std::log(2.0) - log_gain, 2) + w1 * std::pow(std::log(3.0) - log_gain, 2);
    CHECK(joined[0].relative_sd == Approx(std::sqrt(chi_squared / w)));
    CHECK(joined_by_frequency(std::vector{points[1]})[0].relative_sd == 0.04);
    // 2^(1/6) of 1000 Hz is 1122.46
    const auto count = [](double a, double b, int an_octave) {
        return joined_by_frequency(std::vector{point(a, 1.0, 0.1), point(b, 1.0, 0.1)}, an_octave).size();
    };
    CHECK(count(1001.0, 1122.0, 6) == 1);
    CHECK(count(1001.0, 1123.0, 6) == 2);
    CHECK(count(999.0, 1001.0, 6) == 2);
    CHECK(count(1001.0, 1123.0, 3) == 1);
}

TEST_CASE("a steady line's point has the figures that its noise gives it", "[line_transfer]") {
    // x: amplitude 0.1; y: a quarter of it, and noise
    constexpr double seconds = 6.0;
    const double noise_rms = GENERATE(0.01, 0.1);
    std::vector<double> x(static_cast<std::size_t>(seconds * kRate));
    for (std::size_t n = 0; n < x.size(); ++n) x[n] = 0.1 * std::cos(kTurn * 1010.0 * static_cast<double>(n) / kRate);
    auto y = noise(seconds, noise_rms, 8);
    for (std::size_t n = 0; n < x.size(); ++n) y[n] += 0.25 * x[n];
    const Track track{{0.0, 6.0}, {505.0, 505.0}};
    LineTransferRequest request;
    request.ratios = {2.0};
    const LineTransfer read = line_transfer(x, y, kRate, track, request);
    CHECK(read.bins == 1);
    CHECK(read.delay_s == 0.0);
    REQUIRE(read.points.size() == 1);
    const LineTransferPoint& one = read.points[0];
    CHECK(one.ratio == 2.0);
    CHECK(one.frequency_hz == Approx(1010.0));
    // blocks of 0.1 s, half overlapping: 119, worth 0.95 of that
    CHECK(one.averages == Approx(0.95 * 119).epsilon(0.02));
    // a Hann block of 4800 samples holds noise of 1.5 / 4800 of its power beside a line's of a^2 / 4
    const double noise_to_line = noise_rms * noise_rms * 1.5 / 4800.0 / (0.025 * 0.025 / 4.0), coherence = 1.0 / (1.0 + noise_to_line);
    CHECK(1.0 - one.coherence == Approx(1.0 - coherence).epsilon(0.4));
    CHECK(one.relative_sd == Approx(std::sqrt((1.0 - coherence) / (2.0 * one.averages * coherence))).epsilon(0.25));
    CHECK(std::abs(one.gain - 0.25) < 4.0 * 0.25 * one.relative_sd);
}

TEST_CASE("which blocks of a line are read, and in which bins", "[line_transfer]") {
    // amplitude 0.1 along the track, y half of it
    const auto read = [](double seconds, const Track& track, LineTransferRequest request = {}) {
        std::vector<double> x(static_cast<std::size_t>(seconds * 8000.0)), y(x.size());
        double turns = 0;
        for (std::size_t n = 0; n < x.size(); ++n) {
            x[n] = 0.1 * std::cos(kTurn * turns);
            y[n] = 0.5 * x[n];
            turns = std::fmod(turns + track.at(static_cast<double>(n) / 8000.0) / 8000.0, 1.0);
        }
        return line_transfer(x, y, 8000.0, track, request);
    };
    const auto steady = [](double hz) { return Track{{0.0, 9.0}, {hz, hz}}; };
    const LineTransfer plain = read(1.0, steady(900.0));
    REQUIRE(plain.points.size() == 1);
    CHECK(std::abs(plain.points[0].gain - 0.5) < 1e-3);
    CHECK(plain.points[0].coherence == Approx(1.0).epsilon(1e-6));
    // five blocks of 0.1 s in 0.3 s are worth more than four, four in 0.25 s aren't; less than 2.5 of them is refused
    CHECK(read(0.31, steady(900.0)).bins == 1);
    CHECK(read(0.29, steady(900.0)).bins == 0);
    CHECK_THROWS_AS(read(0.249, steady(900.0)), Error);
    LineTransferRequest short_blocks;
    short_blocks.block_s = 7.9 / 8000.0;   // eight samples at least
    CHECK_THROWS_AS(read(1.0, steady(900.0), short_blocks), Error);
    // seven bins of a block, 70 Hz, from 0 Hz and from 0.45 of the rate
    CHECK(read(1.0, steady(71.0)).bins == 1);
    CHECK(read(1.0, steady(69.0)).bins == 0);
    CHECK(read(1.0, steady(3529.0)).bins == 1);
    CHECK(read(1.0, steady(3531.0)).bins == 0);
    LineTransferRequest band;
    band.least_hz = 500.0;
    band.most_hz = 1500.0;
    CHECK(read(1.0, steady(499.0), band).bins == 0);
    CHECK(read(1.0, steady(501.0), band).bins == 1);
    CHECK(read(1.0, steady(1499.0), band).bins == 1);
    CHECK(read(1.0, steady(1501.0), band).bins == 0);
    // bins of a sixth of an octave from 1 kHz: 891 to 1000 and 1000 to 1122 Hz; a twelfth: 944, 1000, 1059
    const Track climbs{{0.0, 2.0}, {950.0, 1050.0}};
    const LineTransfer two = read(2.0, climbs);
    REQUIRE(two.points.size() == 2);
    CHECK(two.points[0].frequency_hz == Approx(975.0).margin(3.0));
    CHECK(two.points[1].frequency_hz == Approx(1025.0).margin(3.0));
    CHECK(two.points[0].averages == Approx(0.95 * 19.5).epsilon(0.06));
    LineTransferRequest wide;
    wide.bins_per_octave = 1;
    CHECK(read(2.0, Track{{0.0, 2.0}, {550.0, 950.0}}, wide).points.size() == 1);
}

TEST_CASE("noise of x beside the line is taken off its power, and is part of what is unsure", "[line_transfer]") {
    // y is a quarter of the line alone; x has noise of 5 % of the line's power in a block: H1 would read 5 % low
    constexpr double seconds = 3.0;
    const auto read = [](double noise_share, unsigned seed) {
        std::vector<double> y(static_cast<std::size_t>(seconds * kRate));
        for (std::size_t n = 0; n < y.size(); ++n) y[n] = 0.025 * std::cos(kTurn * 1010.0 * static_cast<double>(n) / kRate);
        auto x = noise(seconds, std::sqrt(noise_share * 0.01 / 4.0 * 4800.0 / 1.5), seed);
        for (std::size_t n = 0; n < y.size(); ++n) x[n] += 4.0 * y[n];
        return line_transfer(x, y, kRate, Track{{0.0, 3.0}, {1010.0, 1010.0}}, {});
    };
    double mean = 0, sd = 0;
    for (unsigned seed = 1; seed <= 4; ++seed) {
        const LineTransfer one = read(0.05, seed);
        REQUIRE(one.points.size() == 1);
        mean += std::abs(one.points[0].gain) / 4.0;
        sd += one.points[0].relative_sd / 4.0;
    }
    CHECK(mean == Approx(0.25).epsilon(0.025));
    // half of the 5 % beside the averaging's sqrt(0.05 / (2 n)), n = 0.95 of 59 blocks
    CHECK(sd == Approx(std::hypot(0.025, std::sqrt(0.05 / (2.0 * 0.95 * 59)))).epsilon(0.2));
    CHECK(read(0.15, 1).points.empty());   // 10 dB at least
    CHECK(read(0.15, 1).bins == 1);
}

TEST_CASE("a delay that betters the coherences no more than chance does is none", "[line_transfer]") {
    for (unsigned seed = 1; seed <= 3; ++seed) {
        const auto x = through(nothing_done, 1.0, 950.0, 1050.0, 2.0, 0.1);
        auto y = noise(2.0, 0.2, seed);
        for (std::size_t n = 0; n < x.size(); ++n) y[n] += 0.5 * x[n];
        const LineTransfer read = line_transfer(x, y, kRate, swept_track(950.0, 1050.0, 2.0), {});
        CHECK(read.points.size() == 2);
        CHECK(read.delay_s == 0.0);
    }
}
