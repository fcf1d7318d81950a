// Distortion, intermodulation and folding, every field of them, of tones in noise of a known power: what a line in noise reads
// and how far it strays (Rice 1945: power P in noise of power N has the variance N^2 + 2 P N).
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/folding.hpp"
#include "hushtrace/measure/intermodulation.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/window.hpp"
#include "tone_maker.hpp"

using namespace hushtrace;

namespace {

struct Line {
    double hz, amplitude;
};
std::vector<double> lines(const std::vector<Line>& all, std::size_t frames, double rate_hz, double noise_rms = 0, unsigned seed = 1) {
    std::vector<double> out(frames, 0.0);
    double phase = 0.3;
    for (const Line& one : all) {
        std::complex<double> wave = std::polar(one.amplitude, phase += 1.1);
        const std::complex<double> turn = std::polar(1.0, 2 * std::numbers::pi * one.hz / rate_hz);
        for (double& x : out) {
            x += wave.real();
            wave *= turn;
        }
    }
    if (noise_rms > 0) tone_maker::add_noise(out, noise_rms, seed);
    return out;
}
double db(double ratio) { return 20 * std::log10(ratio); }
/// Noise bandwidth of Heinzel's HFT248D (Heinzel, Ruediger, Schilling 2002): 5.5567 bins.
double noise_of_line(double rms, std::size_t frames) { return 2 * rms * rms * 5.5567 / static_cast<double>(frames); }

ErrorKind refusal(const IntermodulationRequest& request, const std::vector<double>& samples, double rate_hz, const std::string& words) {
    try {
        measure_intermodulation(samples, rate_hz, request);
    } catch (const Error& error) {
        CHECK_THAT(error.what(), Catch::Contains(words));
        return error.kind();
    }
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("harmonics by transform: each with its number, level and uncertainty", "[distortion]") {
    const std::size_t frames = 9600;
    const double rms = 1e-3, fundamental = 0.125;
    const auto read = measure_distortion(lines({{997, 0.5}, {1994, 0.01}, {2991, 0.005}}, frames, 48000, rms), 48000);
    REQUIRE(read.harmonics.size() == 19);   // 20 times 997 Hz is 19940
    CHECK(read.harmonics_missing == 0);
    for (std::size_t i = 0; i < 19; ++i) {
        CHECK(read.harmonics[i].number == i + 2);
        CHECK(read.harmonics[i].frequency_hz == Approx(997.0 * static_cast<double>(i + 2)).epsilon(1e-5));
    }
    const double noise = noise_of_line(rms, frames), second = 0.5e-4, third = 0.5 * 25e-6;
    CHECK(read.harmonics[0].ratio == Approx(0.02).epsilon(0.02));
    CHECK(read.harmonics[0].level_dbfs == Approx(-40.0).margin(0.15));
    CHECK(read.harmonics[0].above_noise);
    CHECK(read.harmonics[0].power_ratio_sd == Approx(std::sqrt(2 * second * noise) / fundamental).epsilon(0.15));
    CHECK(read.harmonics[1].power_ratio_sd == Approx(std::sqrt(2 * third * noise) / fundamental).epsilon(0.15));
    std::size_t hidden = 0;
    for (std::size_t i = 2; i < 19; ++i) {
        const ToneHarmonic& one = read.harmonics[i];
        CHECK(one.ratio < 3 * std::sqrt(noise / fundamental));
        CHECK(one.level_dbfs < 10 * std::log10(2 * 9 * noise));
        // what is there: at most some noise; read from some thirty independent bins round it, by a quarter
        const double power = one.ratio * one.ratio * fundamental, by_noise = std::sqrt(noise * noise + 2 * power * noise) / fundamental;
        CHECK(one.power_ratio_sd > 0.55 * by_noise);
        CHECK(one.power_ratio_sd < 1.9 * by_noise);
        hidden += one.above_noise ? 0 : 1;
    }
    CHECK(hidden >= 14);
    CHECK(read.thd_ratio == Approx(std::sqrt((second + third) / fundamental)).epsilon(0.02));
    CHECK(read.thd_percent() == Approx(100 * read.thd_ratio));
    // of the sum of powers 2 N times them, and 17 times N^2 of the empty places
    const double sum_sd = std::sqrt(2 * (second + third) * noise + 19 * noise * noise), sum = second + third;
    CHECK(read.thd_sd_ratio == Approx((std::sqrt(sum + sum_sd) - std::sqrt(sum)) / std::sqrt(fundamental)).epsilon(0.15));
    CHECK(read.thd_upper_ratio() == Approx(read.thd_ratio + 2 * read.thd_sd_ratio));
    CHECK_FALSE(read.limited_by_noise);
    // 20 Hz to 20 kHz of 24 kHz hold the noise
    const double rest = sum + rms * rms * 19980 / 24000;
    CHECK(read.thd_noise_ratio == Approx(std::sqrt(rest / (rest + fundamental))).epsilon(0.01));
    CHECK(read.sinad_db == Approx(-db(read.thd_noise_ratio)));
}

TEST_CASE("noise alone limits THD, and THD+N strays as so much noise in so short a time does", "[distortion]") {
    const std::size_t frames = 9600;
    for (const double rms : {0.003, 0.3}) {
        const auto read = measure_distortion(lines({{997, 0.5}}, frames, 48000, rms, 4), 48000);
        CHECK(read.limited_by_noise);
        // the window leaves fewer independent values: by the mean of its fourth powers over its squares' squared mean
        double squares = 0, fourth = 0;
        for (const double w : window_samples(WindowKind::hft248d, 4096)) squares += w * w / 4096, fourth += w * w * w * w / 4096;
        const double band = 19980.0 / 24000, relative = std::sqrt(2 / (band * static_cast<double>(frames)) * fourth / (squares * squares));
        const double rest = rms * rms * band, everything = rest + 0.125;
        CAPTURE(rms);
        CHECK(read.thd_noise_ratio == Approx(std::sqrt(rest / everything)).epsilon(0.05));
        CHECK(read.thd_noise_sd_ratio == Approx(read.thd_noise_ratio * 0.5 * relative * (1 - rest / everything)).epsilon(0.12));
        CHECK(read.sinad_sd_db == Approx(20 / std::numbers::ln10 * read.thd_noise_sd_ratio / read.thd_noise_ratio));
    }
}

TEST_CASE("harmonics by a fit of few cycles: ratios exact, uncertainties those of least squares", "[distortion]") {
    const std::size_t frames = 481;   // 9.99 cycles
    const double fundamental = 0.125;
    const std::vector<Line> all = {{997, 0.5}, {1994, 0.01}, {2991, 0.005}, {19940, 0.002}};
    auto offset = lines(all, frames, 48000);
    for (double& x : offset) x += 0.05;
    for (const auto& samples : {lines(all, frames, 48000), offset}) {
        const auto exact = measure_distortion(samples, 48000);
        REQUIRE(exact.harmonics.size() == 19);
        CHECK(exact.harmonics[0].ratio == Approx(0.02).epsilon(1e-4));
        CHECK(exact.harmonics[1].ratio == Approx(0.01).epsilon(1e-4));
        CHECK(exact.harmonics[18].ratio == Approx(0.004).epsilon(1e-4));
        CHECK(exact.harmonics[5].ratio < 1e-6);
        CHECK(exact.thd_ratio == Approx(std::sqrt(0.02 * 0.02 + 0.01 * 0.01 + 0.004 * 0.004)).epsilon(1e-4));
        CHECK(exact.thd_noise_ratio == Approx(exact.thd_ratio / std::hypot(1, exact.thd_ratio)).epsilon(1e-4));
    }
    // each of a harmonic's two amplitudes strays by 2 s^2 / n: a power of that
    const double rms = 1e-3, n = static_cast<double>(frames), noise = 2 * rms * rms / n, second = 0.5e-4;
    const auto read = measure_distortion(lines({{997, 0.5}, {1994, 0.01}}, frames, 48000, rms), 48000);
    CHECK(read.harmonics[0].power_ratio_sd == Approx(std::sqrt(noise * noise + 2 * second * noise) / fundamental).epsilon(0.1));
    const double freedom = n - 41, alone = read.harmonics[7].ratio * read.harmonics[7].ratio * fundamental;   // 20 multiples and dc
    CHECK(read.harmonics[7].power_ratio_sd == Approx(std::sqrt(noise * noise * (1 + 2 / freedom) + 2 * alone * noise) / fundamental).epsilon(0.25));
    CHECK(read.harmonics[0].level_dbfs == Approx(-40).margin(0.2));
    const double in_band = rms * rms * 19980 / 24000;
    CHECK(read.thd_noise_ratio == Approx(std::sqrt((second + in_band) / (second + in_band + fundamental))).epsilon(0.02));
    const double rest_sd = std::sqrt(in_band * in_band * 2 / freedom + 4 * second * rms * rms / n);
    CHECK(read.thd_noise_sd_ratio == Approx(0.5 * rest_sd / (second + in_band) * read.thd_noise_ratio).epsilon(0.1));
    const auto loud = measure_distortion(lines({{997, 0.5}}, frames, 48000, 0.05, 3), 48000);
    CHECK(loud.thd_noise_sd_ratio / loud.thd_noise_ratio == Approx(0.5 * std::sqrt(2 / freedom)).epsilon(0.1));
    // a band that ends at 5 kHz, or begins at 10 kHz
    DistortionRequest narrow;
    narrow.highest_hz = 5000;
    const auto low = measure_distortion(lines({{997, 0.5}}, frames, 48000, rms, 5), 48000, narrow);
    CHECK(low.harmonics.size() == 4);
    DistortionRequest upper;
    upper.lowest_hz = 10000;
    CHECK(measure_distortion(lines({{997, 0.5}}, frames, 48000, rms, 5), 48000, upper).thd_noise_ratio
          == Approx(std::sqrt(rms * rms * 10000 / 24000 / fundamental)).epsilon(0.1));
    CHECK(measure_distortion(lines({{997, 0.5}}, 9600, 48000, rms, 5), 48000, upper).thd_noise_ratio
          == Approx(std::sqrt(rms * rms * 10000 / 24000 / fundamental)).epsilon(0.05));
    CHECK(low.thd_noise_ratio == Approx(std::sqrt(rms * rms * 4980 / 24000 / fundamental)).epsilon(0.1));
}

TEST_CASE("harmonics that can't be counted are told: above the band, or too many for so few cycles", "[distortion]") {
    const auto counted = [](double hz, std::size_t frames, double rate_hz, double highest_hz = 20000) {
        DistortionRequest request;
        request.highest_hz = highest_hz;
        const auto read = measure_distortion(lines({{hz, 0.5}}, frames, rate_hz, 1e-4), rate_hz, request);
        return std::pair(read.harmonics.size(), read.harmonics_missing);
    };
    using Counts = std::pair<std::size_t, std::size_t>;
    CHECK(counted(997, 4000, 16000) == Counts(6, 13));       // 0.95 times 8 kHz holds seven multiples
    CHECK(counted(999.9, 4800, 48000) == Counts(19, 0));
    CHECK(counted(1000.1, 4800, 48000) == Counts(18, 0));
    CHECK(counted(99.9, 2400, 48000) == Counts(60, 139));    // five cycles: 60 at most
    CHECK(counted(40, 320, 4000, 1900) == Counts(40, 6));    // 3.2 cycles: one for eight samples
    CHECK(counted(997, 4800, 48000, 1500) == Counts(0, 0));
    CHECK(counted(997, 4800, 48000, 2100) == Counts(1, 0));
    const auto samples = lines({{997, 0.5}}, 4800, 48000);
    for (const auto& [low, high] : {std::pair(-1.0, 2000.0), std::pair(3000.0, 3000.0), std::pair(3000.0, 2000.0)}) {
        DistortionRequest request;
        request.lowest_hz = low, request.highest_hz = high;
        CHECK_THROWS_AS(measure_distortion(samples, 48000, request), Error);
    }
    DistortionRequest from_dc;
    from_dc.lowest_hz = 0;
    CHECK_NOTHROW(measure_distortion(samples, 48000, from_dc));
}

TEST_CASE("products of two tones: each with its place, ratio and uncertainty, and the orders' sums", "[intermodulation]") {
    // against 0.3 + 0.2: f2 - f1 0.4 %, 2 f1 - f2 0.2 %, 2 f2 - f1 0.6 %
    const std::size_t frames = 8000;
    const double rate = 8000, rms = 2e-4;
    const auto samples = lines({{2900, 0.3}, {3210, 0.2}, {310, 0.002}, {2590, 0.001}, {3520, 0.003}}, frames, rate, rms);
    const auto read = measure_intermodulation(samples, rate, {});
    CHECK(read.low.frequency_hz == Approx(2900).margin(0.01));
    CHECK(read.high.frequency_hz == Approx(3210).margin(0.01));
    REQUIRE(read.products.size() == 3);
    CHECK(read.products_missing == 0);
    const int numbers[][2] = {{-1, 1}, {2, -1}, {-1, 2}};
    const double hz[] = {310, 2590, 3520}, amplitudes[] = {0.002, 0.001, 0.003};
    // a line's amplitude strays by the root of the noise's power under it
    const double each = std::sqrt(noise_of_line(rms, frames)) / 0.5;
    for (std::size_t i = 0; i < 3; ++i) {
        const IntermodulationProduct& one = read.products[i];
        CAPTURE(i);
        CHECK(one.of_low == numbers[i][0]);
        CHECK(one.of_high == numbers[i][1]);
        CHECK(one.order() == (i == 0 ? 2 : 3));
        CHECK(one.frequency_hz == Approx(hz[i]).margin(0.05));
        CHECK(one.ratio.value == Approx(amplitudes[i] / 0.5).margin(3 * each));
        CHECK(one.ratio.sd == Approx(each).epsilon(0.12));
        CHECK(one.ratio.limited_by == LimitedBy::nothing);
        CHECK(one.above_noise);
        CHECK(one.level_dbfs == Approx(db(one.ratio.value * 0.5)).margin(0.001));
    }
    CHECK(read.second_order_ratio.value == Approx(read.products[0].ratio.value));
    CHECK(read.second_order_ratio.sd == Approx(each).epsilon(0.12));
    CHECK(read.third_order_ratio.value == Approx(read.products[1].ratio.value + read.products[2].ratio.value));
    CHECK(read.third_order_ratio.sd == Approx(std::sqrt(2.0) * each).epsilon(0.12));
    CHECK(read.third_order_ratio.limited_by == LimitedBy::nothing);
    const double second = 0.004, third = 0.008, total = std::hypot(second, third);
    CHECK(read.total_ratio.value == Approx(std::hypot(read.second_order_ratio.value, read.third_order_ratio.value)));
    CHECK(read.total_ratio.sd == Approx(std::hypot(second * each, third * std::sqrt(2.0) * each) / total).epsilon(0.12));
    CHECK(read.total_ratio.limited_by == LimitedBy::nothing);
    CHECK(read.total_percent() == Approx(100 * read.total_ratio.value));
    // 2 f2 - f1 above 0.95 of half the rate
    const auto above = measure_intermodulation(lines({{2900, 0.3}, {3400, 0.3}, {500, 0.002}}, frames, rate, rms), rate, {});
    CHECK(above.products.size() == 2);
    CHECK(above.products_missing == 1);
    CHECK(above.products[1].of_low == 2);
}

TEST_CASE("what the tones' own uncertainty adds is common to all products", "[intermodulation]") {
    // sidebands nearly as strong as the high tone: what that is unsure by is a third of what noise makes of them, and adds up
    IntermodulationRequest request;
    request.method = TwoToneMethod::modulation;
    request.sideband_pairs = 1;
    request.low_hz = 90, request.high_hz = 2800;
    const auto read = measure_intermodulation(lines({{90, 0.4}, {2800, 0.1}, {2710, 0.09}, {2890, 0.09}}, 8000, 8000, 0.003, 7), 8000, request);
    const double common = read.high.amplitude_sd / read.high.amplitude, alone = std::sqrt(noise_of_line(0.003, 8000)) / read.high.amplitude;
    double own = 0, value = 0;
    for (const IntermodulationProduct& one : read.products) {
        value += one.ratio.value;
        own += one.ratio.sd * one.ratio.sd - std::pow(one.ratio.value * common, 2);
        CHECK(one.ratio.sd == Approx(std::hypot(alone, one.ratio.value * common)).epsilon(0.35));
    }
    CHECK(value == Approx(1.8).epsilon(0.01));
    CHECK(common == Approx(0.003 * std::sqrt(2 / 8000.0) / 0.1).epsilon(0.1));
    CHECK(read.second_order_ratio.sd == Approx(std::sqrt(own + std::pow(value * common, 2))).epsilon(1e-4));
    CHECK(read.total_ratio.sd == Approx(read.second_order_ratio.sd).epsilon(1e-4));
}

TEST_CASE("products that the noise hides are bounds: limited by length, their interval down to 0", "[intermodulation]") {
    const std::size_t frames = 8000;
    const double rms = 1e-3, each = std::sqrt(noise_of_line(rms, frames)) / 0.6;
    std::size_t hidden = 0;
    double power = 0;   // of the noise's own; its mean is taken off, and what falls below 0 left at 0: 1/e of it is left
    for (const unsigned seed : {1U, 2U, 3U}) {
        const auto read = measure_intermodulation(lines({{2900, 0.3}, {3210, 0.3}}, frames, 8000, rms, seed), 8000, {});
        for (const IntermodulationProduct& one : read.products) {
            CHECK(one.above_noise == (one.ratio.limited_by == LimitedBy::nothing));
            power += one.ratio.value * one.ratio.value / (2 * each * each) / 9;
            if (one.above_noise) continue;
            ++hidden;
            CHECK(one.ratio.low() <= 1e-12);
            CHECK(one.ratio.high() > each);
            CHECK(one.ratio.high() < 6 * each);
            if (one.ratio.value == 0) CHECK(std::isinf(one.level_dbfs));
            // power up to the noise's own: sd of it sqrt(N^2 + 2 P N), and 2 N over the reference squared is the ratio's square
            const double value = one.ratio.value, by_noise = std::sqrt(value * value + 2 * each * std::hypot(each, value)) - value;
            CHECK(one.ratio.sd == Approx(std::max(by_noise, 0.5 * value)).epsilon(0.35));
        }
        if (!read.products[0].above_noise) CHECK(read.second_order_ratio.limited_by == LimitedBy::length);
        CHECK((read.third_order_ratio.limited_by == LimitedBy::length) == (!read.products[1].above_noise && !read.products[2].above_noise));
        if (read.total_ratio.limited_by == LimitedBy::length) CHECK(read.total_ratio.low() <= 1e-12);
    }
    CHECK(hidden >= 7);
    CHECK(power > 0.05);
    CHECK(power < 1.1);
}

TEST_CASE("sidebands are held against the high tone, pair by pair", "[intermodulation]") {
    IntermodulationRequest request;
    request.method = TwoToneMethod::modulation;
    request.sideband_pairs = 2;
    const auto samples = lines({{90, 0.4}, {2800, 0.1}, {2710, 0.001}, {2890, 0.002}, {2620, 0.0005}, {2980, 0.0008}}, 8000, 8000, 1e-5);
    const auto read = measure_intermodulation(samples, 8000, request);
    REQUIRE(read.products.size() == 4);
    const int of_low[] = {-1, 1, -2, 2};
    const double amplitudes[] = {0.001, 0.002, 0.0005, 0.0008};
    for (std::size_t i = 0; i < 4; ++i) {
        CHECK(read.products[i].of_low == of_low[i]);
        CHECK(read.products[i].of_high == 1);
        CHECK(read.products[i].ratio.value == Approx(10 * amplitudes[i]).epsilon(0.01));
    }
    CHECK(read.second_order_ratio.value == Approx(0.03).epsilon(0.005));
    CHECK(read.third_order_ratio.value == Approx(0.013).epsilon(0.005));
    CHECK(read.total_ratio.value == Approx(std::hypot(0.03, 0.013)).epsilon(0.005));
    CHECK(to_word(TwoToneMethod::modulation) == "modulation");
    CHECK(to_word(TwoToneMethod::difference_frequency) == "difference_frequency");
    for (const std::size_t pairs : {0U, 21U}) {
        request.sideband_pairs = pairs;
        CHECK(refusal(request, samples, 8000, "1 to 20 pairs") == ErrorKind::invalid_request);
    }
    for (const std::size_t pairs : {1U, 20U}) {
        request.sideband_pairs = pairs;
        const auto counted = measure_intermodulation(samples, 8000, request);
        CHECK(counted.products.size() + counted.products_missing == 2 * pairs);
    }
}

TEST_CASE("two tones that can't be read say why", "[intermodulation]") {
    const auto samples = lines({{2900, 0.3}, {3210, 0.3}}, 4000, 8000, 1e-4);
    const auto named = [](std::optional<double> low, std::optional<double> high) {
        return IntermodulationRequest{TwoToneMethod::difference_frequency, low, high};
    };
    const std::string both = "name both tones";
    CHECK(refusal(named(2900, {}), samples, 8000, both) == ErrorKind::invalid_request);
    CHECK(refusal(named({}, 3210), samples, 8000, both) == ErrorKind::invalid_request);
    CHECK(refusal(named(3210, 2900), samples, 8000, both) == ErrorKind::invalid_request);
    CHECK(refusal(named(2900, 2900), samples, 8000, both) == ErrorKind::invalid_request);
    CHECK(refusal(named(0, 2900), samples, 8000, both) == ErrorKind::invalid_request);
    CHECK(refusal({}, lines({{2900, 0.3}}, 4000, 8000, 1e-2), 8000, "no second tone") == ErrorKind::invalid_input);
    CHECK(refusal(named(1500, 2900), lines({{2900, 0.3}}, 4000, 8000, 1e-2), 8000, "no second tone") == ErrorKind::invalid_input);
    // a tone and its own third harmonic, unless both were named
    const auto third = lines({{700, 0.3}, {2100, 0.05}}, 4000, 8000, 1e-4);
    CHECK(refusal({}, third, 8000, "2100.0 Hz is a harmonic of 700.0 Hz") == ErrorKind::invalid_input);
    CHECK(refusal(named(700, 2100), third, 8000, "falls on another") == ErrorKind::invalid_request);
    const auto high = lines({{3000, 0.3}, {3850, 0.3}}, 4000, 8000, 1e-4);
    CHECK(refusal({}, high, 8000, "3850 Hz is above the band") == ErrorKind::invalid_request);
    // 2 f1 - f2 and f2 - f1 lie 20 Hz apart: two main lobes of Blackman-Harris, 4 bins either way, and a tenth: 0.44 s
    const auto near = [](std::size_t frames) { return lines({{1000, 0.3}, {1510, 0.3}}, frames, 8000, 1e-5); };
    CHECK(refusal({}, near(2400), 8000, "0.30 s are too few") == ErrorKind::too_short);
    CHECK(refusal({}, near(2400), 8000, "0.44 s are needed") == ErrorKind::too_short);
    CHECK(measure_intermodulation(near(3700), 8000, {}).products.size() == 3);
}

TEST_CASE("folded lines are counted and summed, the stage's rate and clock told", "[folding]") {
    // odd multiples of 997 Hz from the 25th on, folded at 44.1 kHz whose clock is 60 ppm fast: twelve of them played
    const double rate = 48000, stage = 44100 * (1 + 60e-6);
    std::vector<Line> all = {{997, 0.5}};
    for (int k = 25; k <= 47; k += 2) all.push_back({std::abs(stage - k * 997.0), 1e-3});
    const auto samples = lines(all, 24000, rate, 1e-5);
    const auto found = find_folding(samples, rate, 997);
    REQUIRE(found);
    CHECK(found->clipped_at_hz == 44100);
    CHECK(found->clock_ppm == Approx(60).margin(25));   // half a bin of 2 Hz is 23 ppm
    CHECK(found->lines == 12);
    // multiples between half and one and a half times the rate, those that fold below 20 kHz but for the tone's own
    std::size_t places = 0;
    for (int k = 23; k * 997.0 < 1.5 * stage; ++k) {
        const double hz = std::abs(stage - k * 997.0), beside = std::abs(std::remainder(hz, 997.0));
        if (hz > 498.5 && hz < 20000 && beside >= 10) ++places;
    }
    CHECK(found->looked_for == places);
    CHECK(found->level_db == Approx(10 * std::log10(12 * 1e-6 / 0.25)).margin(1.0));   // a line between two bins reads up to 0.8 dB low
    // a quarter of those looked for must stand
    REQUIRE(places == Approx(39).margin(2));
    all.resize(1 + 9);
    CHECK_FALSE(find_folding(lines(all, 24000, rate, 1e-5), rate, 997));
    // a stage at 32 kHz: what lies below half its rate does not fold, though it would fall below 20 kHz
    std::vector<Line> slow = {{997, 0.5}};
    for (int k = 19; k <= 45; k += 2) slow.push_back({std::abs(32000 - k * 997.0), 1e-3});
    const auto low = find_folding(lines(slow, 24000, rate, 1e-5), rate, 997);
    REQUIRE(low);
    CHECK(low->clipped_at_hz == 32000);
    places = 0;
    for (int k = 17; k * 997.0 < 48000; ++k)
        if (std::abs(32000 - k * 997.0) > 498.5 && std::abs(std::remainder(32000, 997.0)) >= 10) ++places;
    CHECK(low->looked_for == places);
    // 100 cycles
    CHECK(find_folding(std::span(samples).first(4830), rate, 997));
    CHECK_FALSE(find_folding(std::span(samples).first(4800), rate, 997));
}

TEST_CASE("a stage's clock may be 250 ppm off", "[folding]") {
    for (const double ppm : {240.0, 300.0}) {
        std::vector<Line> off = {{997, 0.5}};
        for (int k = 31; k <= 65; k += 2) off.push_back({std::abs(48000 * (1 - 1e-6 * ppm) - k * 997.0), 1e-3});
        // lines 18 dB over the noise in a bin: two bins aside none stands ten times over it
        const auto clock = find_folding(lines(off, 44100, 44100, 0.0095), 44100, 997);
        REQUIRE(clock.has_value() == (ppm < 250));
        if (clock) CHECK(clock->clock_ppm == Approx(-ppm).margin(12));
        if (clock) CHECK(clock->clipped_at_hz == 48000);
    }
}
