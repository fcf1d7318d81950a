#include <catch2/catch.hpp>

#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/tone_meter.hpp"
#include "hushtrace/measure/tone_track.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

/// A sine with the harmonics of a symmetrically clipped one (tests/reference/clipped_sine.csv, README section 4), each made
/// by itself, so that nothing folds back.
std::vector<double> clipped(double rate, double hz, double amplitude, double drive_db, std::size_t harmonics, double seconds) {
    const double a = std::pow(10.0, drive_db / 20), phi = std::asin(1.0 / a);
    std::vector<double> x(static_cast<std::size_t>(seconds * rate));
    for (std::size_t n = 1; n <= harmonics; n += 2) {
        const double m = static_cast<double>(n);
        const double b = n == 1 ? 2 * a / std::numbers::pi * (phi + std::sin(phi) * std::cos(phi))
                                : 2 * a / (std::numbers::pi * m) *
                                      (std::sin((m - 1) * phi) / (m - 1) + std::sin((m + 1) * phi) / (m + 1));
        for (std::size_t i = 0; i < x.size(); ++i)
            x[i] += amplitude * b * std::sin(2 * std::numbers::pi * hz * m * static_cast<double>(i) / rate + 0.3 * m);
    }
    return x;
}
std::vector<double> sine(double rate, double hz, double amplitude, double seconds) {
    std::vector<double> x(static_cast<std::size_t>(seconds * rate));
    for (std::size_t i = 0; i < x.size(); ++i) x[i] = amplitude * std::sin(2 * std::numbers::pi * hz * static_cast<double>(i) / rate);
    return x;
}
ToneMeterReading read(const std::vector<double>& x, double rate, double hz) {
    ToneMeter meter(rate, hz);
    for (std::size_t at = 0; at < x.size(); at += 512)
        meter.add(std::span(x).subspan(at, std::min<std::size_t>(512, x.size() - at)));
    REQUIRE(meter.newest());
    return *meter.newest();
}

}  // namespace

TEST_CASE("the tone meter reads a pure tone's level and frequency wherever it lies between bins", "[tone_meter]") {
    for (const double rate : {44100.0, 48000.0, 192000.0})
        for (const double hz : {31.7, 45.0, 997.0, 999.3, 4003.7}) {
            const auto found = read(sine(rate, hz, 0.25, 0.8), rate, hz);
            INFO(rate << " Hz, tone " << hz);
            CHECK(found.present);
            CHECK(found.level_dbfs == Approx(20 * std::log10(0.25)).margin(0.01));
            CHECK(found.frequency_hz == Approx(hz).epsilon(5e-5));
            CHECK(found.thd_ratio < 3e-4);
        }
}

TEST_CASE("the tone meter reads THD as the long measurement does", "[tone_meter]") {
    struct Row {
        double hz, drive_db;
    };
    for (const Row row : {Row{997, 0.0367}, Row{997, 0.2513}, Row{997, 2.17}, Row{45, 0.2513}, Row{60, 1.0}, Row{400, 0.5}}) {
        // up to the 19th: within both bands, and no more than the meter counts
        const auto x = clipped(48000, row.hz, 0.3, row.drive_db, 19, 1.0);
        DistortionRequest request;
        request.search = {0.9 * row.hz, 1.1 * row.hz};
        const double judge = measure_distortion(x, 48000, request).thd_ratio;
        INFO(row.hz << " Hz, " << row.drive_db << " dB");
        CHECK(read(x, 48000, row.hz).thd_ratio == Approx(judge).epsilon(0.02));
    }
    // the table's own figure: 2nd to 9th harmonic at 1 dB of drive, clipped_sine.csv
    const auto x = clipped(48000, 997, 0.3, 1.0, 9, 1.0);
    CHECK(100 * read(x, 48000, 997).thd_ratio == Approx(4.59706).epsilon(0.005));
}

TEST_CASE("noise leaves the tone meter unsure, not wrong", "[tone_meter]") {
    std::mt19937 generator(5);
    std::normal_distribution<double> noise(0.0, 0.5 / std::sqrt(2.0) * std::pow(10.0, -50.0 / 20));  // -50 dB of the tone
    auto x = clipped(48000, 997, 0.5, 0.2513, 19, 20.0);
    for (double& sample : x) sample += noise(generator);
    ToneMeter meter(48000, 997);
    int within = 0, readings = 0;
    double sum = 0;
    const double truth = 0.00998;  // 1 % less what lies above the 19th; checked against the long measurement below
    DistortionRequest request;
    request.search = {990, 1004};
    CHECK(measure_distortion(x, 48000, request).thd_ratio == Approx(truth).epsilon(0.02));
    for (std::size_t at = 0; at + 4800 <= x.size(); at += 4800) {  // one reading a window, so that they are independent
        meter.add(std::span(x).subspan(at, 4800));
        ++readings;
        sum += meter.newest()->thd_ratio;
        if (std::abs(meter.newest()->thd_ratio - truth) < 2 * meter.newest()->thd_sd_ratio) ++within;
    }
    INFO(within << " of " << readings << ", mean " << sum / readings);
    CHECK(sum / readings == Approx(truth).epsilon(0.01));
    CHECK(within > 0.88 * readings);  // 95 % on average
}

TEST_CASE("the tone meter takes the noise under the harmonics off", "[tone_meter]") {
    DistortionRequest request;
    request.search = {990, 1004};
    auto x = clipped(48000, 997, 0.5, 0.1, 19, 20.0);
    const double truth = measure_distortion(x, 48000, request).thd_ratio;  // 0.3 %
    std::mt19937 generator(6);
    // -40 dB of the tone: what falls under the harmonics is nearly as strong as they are
    std::normal_distribution<double> noise(0.0, 0.5 / std::sqrt(2.0) * 0.01);
    for (double& sample : x) sample += noise(generator);
    ToneMeter meter(48000, 997);
    double squares = 0;
    int readings = 0;
    for (std::size_t at = 0; at + 4800 <= x.size(); at += 4800, ++readings) {
        meter.add(std::span(x).subspan(at, 4800));
        squares += std::pow(meter.newest()->thd_ratio, 2);
    }
    CHECK(std::sqrt(squares / readings) == Approx(truth).epsilon(0.05));
}

TEST_CASE("the tone meter tells no tone, another tone, silence and rubbish", "[tone_meter]") {
    const auto other = read(sine(48000, 440, 0.3, 0.5), 48000, 997);
    CHECK_FALSE(other.present);
    CHECK(other.strongest_hz == Approx(440).margin(0.5));
    CHECK(other.strongest_share > 0.99);
    CHECK(read(sine(48000, 1000, 0.3, 0.5), 48000, 997).frequency_hz == Approx(1000).epsilon(5e-5));
    const auto silent = read(std::vector<double>(24000), 48000, 997);
    CHECK_FALSE(silent.present);
    CHECK(silent.level_dbfs == -std::numeric_limits<double>::infinity());
    auto rubbish = sine(48000, 997, 0.3, 0.5);
    rubbish[20000] = std::nan("");
    CHECK_FALSE(read(rubbish, 48000, 997).present);
    for (const double none : {std::nan(""), std::numeric_limits<double>::infinity()}) {   // reads as digital silence
        rubbish[20000] = none;
        const auto spoilt = read(rubbish, 48000, 997);
        CHECK_FALSE(spoilt.present);
        CHECK(spoilt.level_dbfs == -std::numeric_limits<double>::infinity());
        CHECK(spoilt.largest == 0.0);
        CHECK(spoilt.amplitude == 0.0);
        CHECK(spoilt.strongest_hz == 0.0);
        CHECK(spoilt.strongest_share == 0.0);
        CHECK(spoilt.end_s == Approx(0.5));
    }
    std::mt19937 generator(7);
    std::normal_distribution<double> noise(0.0, 0.1);
    std::vector<double> hiss(48000);
    for (double& sample : hiss) sample = noise(generator);
    CHECK(read(hiss, 48000, 997).strongest_share < 0.2);
    CHECK_THROWS_AS(ToneMeter(48000, 30000), Error);
    CHECK_THROWS_AS(ToneMeter(48000, std::nan("")), Error);
}

TEST_CASE("the converter's end shows in the tone meter", "[tone_meter]") {
    auto x = sine(48000, 997, 1.4, 0.5);
    for (double& sample : x) sample = std::clamp(sample, -1.0, 1.0);
    CHECK(read(x, 48000, 997).pinned_share > 0.3);
    CHECK(read(sine(48000, 997, 0.99, 0.5), 48000, 997).pinned_share == 0);
}

TEST_CASE("the tone meter says when, how long and how loud its window was", "[tone_meter]") {
    ToneMeter meter(48000, 997);
    CHECK(meter.window_s() == Approx(0.1));
    CHECK(meter.hop_s() == Approx(0.025));
    CHECK_FALSE(meter.newest());
    auto x = sine(48000, 997, 0.25, 0.2);
    for (double& sample : x) sample += 0.125;   // dc is no part of it
    x[5000] = -0.75;
    meter.add(std::span(x).first(4799));
    CHECK_FALSE(meter.newest());
    meter.add(std::span(x).subspan(4799, 1));
    REQUIRE(meter.newest());
    CHECK(meter.newest()->end_s == Approx(0.1));
    CHECK(meter.newest()->largest == Approx(0.375).epsilon(1e-3));
    CHECK(meter.newest()->amplitude == Approx(0.25).epsilon(1e-3));
    CHECK(meter.newest()->level_dbfs == Approx(20 * std::log10(0.25)).margin(0.01));
    CHECK(meter.newest()->strongest_hz == Approx(997).margin(0.2));
    CHECK(meter.newest()->strongest_share > 0.999);
    meter.add(std::span(x).subspan(4800, 1200));
    CHECK(meter.newest()->end_s == Approx(0.125));
    CHECK(meter.newest()->largest == 0.75);
    CHECK(ToneMeter(48000, 40).window_s() == Approx(0.25));   // ten cycles
    CHECK(ToneMeter(8000, 3599).window_s() == Approx(0.1));
    CHECK_THROWS_AS(ToneMeter(8000, 3600), Error);
    CHECK_THROWS_AS(ToneMeter(8000, 0), Error);
    CHECK_THROWS_AS(ToneMeter(0, 100), Error);
}

TEST_CASE("the tone meter's frequency is the phase's advance, wherever the bin", "[tone_meter]") {
    // bins of 10 Hz, odd ones and even ones; the parabola alone is some tenths of a hertz off
    for (const double hz : {993.3, 996.6, 1003.4, 1006.7}) {
        const auto x = sine(48000, hz, 0.25, 0.15);
        ToneMeter meter(48000, 1000);
        meter.add(std::span(x).first(4800));
        CHECK(meter.newest()->frequency_hz == Approx(hz).margin(0.5));
        meter.add(std::span(x).subspan(4800));
        CHECK(meter.newest()->frequency_hz == Approx(hz).margin(0.002));
    }
    // after silence the phase begins anew; and a tone that jumps is read by its place alone
    auto x = sine(48000, 1003.4, 0.25, 0.35);
    std::fill(x.begin() + 4800, x.begin() + 9600, 0.0);
    const auto later = sine(48000, 998.2, 0.25, 0.35);
    std::copy(later.begin() + 9600, later.end(), x.begin() + 9600);
    ToneMeter meter(48000, 1000);
    meter.add(std::span(x).first(9600));
    CHECK_FALSE(meter.newest()->present);
    CHECK(meter.newest()->largest == 0.0);
    meter.add(std::span(x).subspan(9600));
    CHECK(meter.newest()->frequency_hz == Approx(998.2).margin(0.01));
    ToneMeter missed(48000, 1000);
    missed.add(std::span(x).first(4800));
    missed.add(sine(48000, 1600, 0.25, 0.1));   // another tone in between
    CHECK_FALSE(missed.newest()->present);
    missed.add(sine(48000, 998.2, 0.25, 0.1));
    CHECK(missed.newest()->frequency_hz == Approx(998.2).margin(0.5));
}

TEST_CASE("the tone meter tells a line within a part in a hundred, or two bins, ten times over what lies beside it", "[tone_meter]") {
    // 100 Hz at 0.1 s: two bins are 20 Hz; 4 kHz: a part in a hundred is 40 Hz
    CHECK(read(sine(48000, 119, 0.25, 0.2), 48000, 100).present);
    CHECK(read(sine(48000, 119, 0.25, 0.2), 48000, 100).frequency_hz == Approx(119).margin(0.01));
    CHECK_FALSE(read(sine(48000, 131, 0.25, 0.2), 48000, 100).present);
    CHECK(read(sine(48000, 4035, 0.25, 0.2), 48000, 4000).present);
    CHECK(read(sine(48000, 3965, 0.25, 0.2), 48000, 4000).present);
    CHECK_FALSE(read(sine(48000, 4052, 0.25, 0.2), 48000, 4000).present);
    // lines of equal height five and six bins off to one side: half of the tone's power, on the average of the four
    for (const double ratio : {12.0, 8.0}) {
        auto x = sine(48000, 1000, 0.25, 0.1);
        const auto add = [&x](double hz, double amplitude) {
            const auto other = sine(48000, hz, amplitude, 0.1);
            for (std::size_t i = 0; i < x.size(); ++i) x[i] += other[i];
        };
        const double beside = 0.25 * std::sqrt(4.0 / ratio);   // one bin of the four has it all
        add(1060, beside);
        // it fills the bin five off as well, (0.48829 / 0.35875 / 2)^2 of its own, the window's first coefficients
        const double both = 1 + std::pow(0.48829 / 0.35875 / 2, 2);
        add(1060, beside / std::sqrt(both) - beside);
        CHECK(read(x, 48000, 1000).present == (ratio > 10));
    }
}

TEST_CASE("the tone meter's THD is the rms of harmonics 2 to 40 up to 20 kHz", "[tone_meter]") {
    const auto with = [](double rate, double hz, std::initializer_list<std::pair<int, double>> harmonics) {
        auto x = sine(rate, hz, 0.25, 0.15);
        for (const auto& [number, share] : harmonics) {
            const auto other = sine(rate, number * hz, 0.25 * share, 0.15);
            for (std::size_t i = 0; i < x.size(); ++i) x[i] += other[i];
        }
        return read(x, rate, hz).thd_ratio;
    };
    CHECK(with(48000, 400, {{2, 0.03}, {40, 0.04}}) == Approx(0.05).epsilon(1e-3));
    CHECK(with(48000, 400, {{3, 0.03}, {41, 0.04}}) == Approx(0.03).epsilon(1e-3));
    CHECK(with(48000, 2000, {{3, 0.03}, {10, 0.04}}) == Approx(0.05).epsilon(1e-3));
    CHECK(with(48000, 2100, {{3, 0.03}, {10, 0.04}}) == Approx(0.03).epsilon(1e-3));   // 21 kHz
    CHECK(with(16000, 900, {{2, 0.03}, {8, 0.04}}) == Approx(0.05).epsilon(1e-3));     // 7200 of 7600 Hz
    CHECK(with(16000, 1000, {{2, 0.03}, {7, 0.04}}) == Approx(0.05).epsilon(1e-3));
    CHECK(with(48000, 100, {{2, 0.03}, {3, 0.04}}) == Approx(0.05).epsilon(2e-3));     // ten bins apart
}

TEST_CASE("noise under the meter's harmonics is taken off on the average, and its spread is stated", "[tone_meter]") {
    // 0.1 s apart readings are independent; spacing of 99.7 bins and of ten
    for (const double hz : {997.0, 100.0}) {
        constexpr double rate = 16000, share = 0.01;
        auto x = sine(rate, hz, 0.5, 6.0);
        const auto second = sine(rate, 2 * hz, 0.5 * share, 6.0);
        std::mt19937 generator(11);
        std::normal_distribution<double> noise(0.0, hz > 500 ? 0.02 : 0.004);
        for (std::size_t i = 0; i < x.size(); ++i) x[i] += second[i] + noise(generator);
        ToneMeter meter(rate, hz);
        double mean = 0, within = 0;
        for (std::size_t at = 0; at + 1600 <= x.size(); at += 1600) {
            meter.add(std::span(x).subspan(at, 1600));
            mean += std::pow(meter.newest()->thd_ratio, 2) / 60;
            within += std::abs(meter.newest()->thd_ratio - share) < 2 * meter.newest()->thd_sd_ratio ? 1.0 / 60 : 0.0;
        }
        CAPTURE(hz);
        CHECK(mean == Approx(share * share).epsilon(0.15));
        CHECK(within > 0.85);
        CHECK(within < 1.0);
    }
}

TEST_CASE("a tone tracker's frames tell the tone, its harmonics and what else is strongest", "[tone_track]") {
    const double rate = 48000, hz = 997;
    auto x = sine(rate, hz, 0.25, 0.2);
    for (int k = 2; k <= 7; ++k) {
        const auto other = sine(rate, hz * k, 0.01 * k, 0.2);
        for (std::size_t i = 0; i < x.size(); ++i) x[i] += other[i];
    }
    ToneTracker tracker(rate, hz);
    tracker.add(std::span(x).first(1000));
    tracker.add(std::span(x).subspan(1000));
    const ToneTrack& track = tracker.track();
    CHECK(track.sample_rate_hz == rate);
    CHECK(track.tone_hz == hz);
    CHECK(track.frame_s == Approx(0.05));
    CHECK(track.hop_s == Approx(0.025));
    CHECK(track.centre_s(2) == Approx(0.075));
    REQUIRE(track.frames.size() == 7);
    for (const ToneFrame& frame : track.frames) {
        CHECK(frame.amplitude == Approx(0.25).epsilon(0.002));
        for (std::size_t i = 0; i < 5; ++i) CHECK(frame.harmonics[i] == Approx(0.01 * static_cast<double>(i + 2)).epsilon(0.005));
        CHECK(frame.present);
        CHECK(frame.strongest_hz == Approx(hz).margin(0.5));
        // squares of 2 to 7 hundredths against 0.25's
        CHECK(frame.strongest_share == Approx(0.0625 / (0.0625 + 0.0139)).epsilon(0.01));
    }
    float largest = 0;
    for (std::size_t i = 1200; i < 3600; ++i) largest = std::max(largest, static_cast<float>(std::abs(x[i])));
    CHECK(track.frames[1].largest == largest);
    auto begins = sine(rate, hz, 0.25, 0.05);
    begins[0] = -0.75;
    ToneTracker first(rate, hz);
    first.add(begins);
    CHECK(first.track().frames[0].largest == 0.75F);
    // six cycles, at a length that a transform likes
    CHECK(ToneTracker(48000, 40).track().frame_s == Approx(0.15));
    const double frames = 44100 * ToneTracker(44100, 997).track().frame_s;   // whole quarters; 2250 would be quick, but are none
    CHECK(std::fmod(frames, 4.0) == Approx(0).margin(1e-6));
    CHECK(frames >= 2205);
    CHECK(frames < 2260);
    // harmonics above 0.475 of the rate read nothing
    ToneTracker high(8000, 900);
    high.add(sine(8000, 900, 0.25, 0.05));
    REQUIRE(high.track().frames.size() == 1);
    CHECK(high.track().frames[0].harmonics[3] == 0.0F);   // the 5th, 4500 Hz
    auto fourth = sine(8000, 900, 0.25, 0.05);
    const auto added = sine(8000, 3600, 0.02, 0.05);
    for (std::size_t i = 0; i < fourth.size(); ++i) fourth[i] += added[i];
    ToneTracker near(8000, 900);
    near.add(fourth);
    CHECK(near.track().frames[0].harmonics[2] == Approx(0.02).epsilon(0.01));
    // another tone, between its bins to either side; silence
    for (const double other_hz : {443.0, 448.0, 456.0}) {
        ToneTracker other(48000, 997);
        other.add(sine(48000, other_hz, 0.25, 0.05));
        CHECK_FALSE(other.track().frames[0].present);
        CHECK(other.track().frames[0].strongest_hz == Approx(other_hz).margin(0.3));
        CHECK(other.track().frames[0].strongest_share > 0.99F);
        CHECK(other.track().frames[0].amplitude < 0.001F);
    }
    ToneTracker silent(48000, 997);
    silent.add(std::vector<double>(2400));
    CHECK_FALSE(silent.track().frames[0].present);
    CHECK(silent.track().frames[0].strongest_hz == 0.0F);
    CHECK(silent.track().frames[0].strongest_share == 0.0F);
    CHECK_THROWS_AS(ToneTracker(8000, 3600), Error);
    CHECK_NOTHROW(ToneTracker(8000, 3590));
    CHECK_THROWS_AS(ToneTracker(8000, 0), Error);
    CHECK_THROWS_AS(ToneTracker(0, 100), Error);
    // ten times over the mean of the bins three and four off, here on one side: a line 60 Hz up is in the third bin
    for (const double ratio : {14.0, 7.0}) {
        auto beside = sine(48000, 1000, 0.25, 0.05);
        // a quarter of its power stands in the fourth bin too
        const auto line = sine(48000, 1060, 0.25 * std::sqrt(4.0 / 1.25 / ratio), 0.05);
        for (std::size_t i = 0; i < beside.size(); ++i) beside[i] += line[i];
        ToneTracker tells(48000, 1000);
        tells.add(beside);
        CHECK(tells.track().frames[0].present == (ratio > 10));
    }
}
