#include <catch2/catch.hpp>

#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <string>

#include "hushtrace/job/calibration.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using Catch::Contains;

namespace {

constexpr double kRate_hz = 48000;

/// One channel as a function of time, two channels, rendered to memory.
using Sound = std::function<double(double time_s)>;
MemoryReader rendered(double duration_s, const Sound& left, const Sound& right) {
    const auto frames = static_cast<std::size_t>(duration_s * kRate_hz);
    Block block(2, frames);
    for (std::size_t i = 0; i < frames; ++i) {
        block.channel(0)[i] = left(static_cast<double>(i) / kRate_hz);
        block.channel(1)[i] = right(static_cast<double>(i) / kRate_hz);
    }
    return {std::move(block), kRate_hz};
}
Sound sine(double amplitude, double frequency_hz = 200) {
    return [=](double t) { return amplitude * std::sin(2 * std::numbers::pi * frequency_hz * t + 0.3); };
}
Take two_channels(std::vector<double> pads = {}) {
    Take take;
    take.file = "takes/cal.flac";
    take.channels = {Channel::left, Channel::right};
    take.attenuation_db = std::move(pads);
    return take;
}
CalibrationRequest volts(double reading) {
    CalibrationRequest request;
    request.volts = reading;
    return request;
}
std::string refusal(MemoryReader sound, const Take& take, const CalibrationRequest& request) {
    try {
        calibrate(sound, take, request);
    } catch (const Error& error) {
        return error.what();
    }
    return "accepted";
}

}  // namespace

TEST_CASE("one volt rms that peaks at 0.5 makes 2 sqrt 2 volts at full scale", "[calibration]") {
    // definition of volts_full_scale: volts at sample value 1.0; a sine of 1 V rms peaks at sqrt 2 V
    auto sound = rendered(3, sine(0.5), sine(0.4));
    const Calibration found = calibrate(sound, two_channels(), volts(1.0));
    REQUIRE(found.channels.size() == 2);
    CHECK(found.channels[0].volts_full_scale == Approx(2 * std::sqrt(2.0)).epsilon(1e-6));
    CHECK(found.channels[1].volts_full_scale == Approx(2.5 * std::sqrt(2.0)).epsilon(1e-6));
    CHECK(found.channels[0].level_dbfs == Approx(decibels_from_amplitude(0.5)).margin(1e-4));
    CHECK(found.warnings.empty());
    // and the other way round: what reads 0.5 of full scale is 1 V
    Job job;
    job.interface.volts_full_scale = {found.channels[0].volts_full_scale};
    CHECK(volts_from_dbv(
              dbv_from_dbfs(found.channels[0].level_dbfs, *job.volts_full_scale(two_channels(), 0))) ==
          Approx(1.0).epsilon(1e-6));
}

TEST_CASE(
    "a pad's loss is no part of the interface's scale, and a take's volts come out right with another pad",
    "[calibration]") {
    // 2 V at the probe; behind 20 dB of pad the interface sees 0.2 V, which peaks at 0.1: full scale is 2
    // sqrt 2 V
    auto sound = rendered(3, sine(0.1), sine(0.1));
    const Calibration found = calibrate(sound, two_channels({20, 20}), volts(2.0));
    CHECK(found.channels[0].volts_full_scale == Approx(2 * std::sqrt(2.0)).epsilon(1e-6));
    Job job;
    job.interface.volts_full_scale = {found.channels[0].volts_full_scale};
    const Take other = two_channels({10, 10});
    // the same 2 V behind 10 dB: the interface sees 0.632 V, a tone of amplitude 0.632 sqrt 2 / (2 sqrt 2)
    const double level_dbfs = decibels_from_amplitude(2.0 / std::sqrt(10.0) / 2.0);
    CHECK(volts_from_dbv(dbv_from_dbfs(level_dbfs, *job.volts_full_scale(other, 0))) ==
          Approx(2.0).epsilon(1e-6));
}

TEST_CASE("ramps, pauses and other tones round the steady stretch don't count", "[calibration]") {
    const Sound shaped = [](double t) {
        if (t < 0.6) return 0.5 * std::sin(2 * std::numbers::pi * (40 + 800 * t) * t);  // like a marker
        if (t < 1.0) return 1e-4 * std::sin(3000 * t);
        const double gain = std::min({1.0, (t - 1.0) / 0.5, (6.0 - t) / 0.3});  // ramp up, ramp down
        return 0.4 * std::max(gain, 0.0) *
               std::sin(2 * std::numbers::pi * 200.006 * t);  // and a clock 30 ppm off
    };
    auto sound = rendered(7, shaped, shaped);
    const Calibration found = calibrate(sound, two_channels(), volts(1.0));
    CHECK(found.channels[0].volts_full_scale == Approx(std::sqrt(2.0) / 0.4).epsilon(2e-4));
    CHECK(found.channels[0].from_s > 1.3);
    CHECK(found.channels[0].to_s < 5.9);
    CHECK(found.channels[0].frequency_hz == Approx(200.006).margin(0.001));
}

TEST_CASE("the short ramps of a tone file, which lie inside a steady piece, don't count either", "[calibration]") {
    const Sound shaped = [](double t) {
        const double done = std::clamp(std::min(t - 2.0, 5.0 - t) / 0.01, 0.0, 1.0);
        return 0.4 * (0.5 - 0.5 * std::cos(std::numbers::pi * done)) * std::sin(2 * std::numbers::pi * 200 * t);
    };
    auto sound = rendered(6, shaped, shaped);
    const Calibration found = calibrate(sound, two_channels(), volts(1.0));
    CHECK(found.channels[0].volts_full_scale == Approx(std::sqrt(2.0) / 0.4).epsilon(1e-6));
    CHECK(found.warnings.empty());
}

TEST_CASE("the meter's limits are a rectangular distribution, and the scale carries them", "[calibration]") {
    // JCGM 100:2008 (GUM) 4.3.7: limits of +-a leave a standard uncertainty of a / sqrt 3. By hand: 1.2 % and 3 counts of
    // 1 mV on 0.5 V are 0.6 % more, 1.8 % together.
    CHECK(meter_sd_percent({1.2, 3}, 0.5, 0.001) == Approx(1.8 / std::sqrt(3.0)));
    CHECK(meter_sd_percent({0, 0}, 0.5, 0.001) == 0);
    CalibrationRequest request = volts(1.0);
    request.meter_sd_percent = 1.0;
    auto sound = rendered(3, sine(0.5), sine(0.5));
    const Calibration found = calibrate(sound, two_channels(), request);
    CHECK(found.channels[0].volts_full_scale_sd_db == Approx(20 * std::log10(1.01)).epsilon(1e-3));
    // meters whose error is anywhere within their limits: the truth lies within two standard uncertainties
    request.meter_sd_percent = meter_sd_percent({1.2, 0}, 1.0, 0.001);
    int within = 0;
    for (int i = -5; i <= 5; ++i) {
        request.volts = 1.0 + 0.012 * i / 5.0;
        auto again = rendered(1.5, sine(0.5), sine(0.5));
        const ChannelCalibration one = calibrate(again, two_channels(), request).channels[0];
        within += std::abs(decibels_from_amplitude(one.volts_full_scale / (2 * std::sqrt(2.0)))) <
                  1.96 * one.volts_full_scale_sd_db;
    }
    CHECK(within == 11);  // limits, not a bell: two standard uncertainties hold all of it
}

TEST_CASE("hum and hiss 40 dB down move the scale by less than a hundredth of a decibel", "[calibration]") {
    std::mt19937 random(3);
    std::normal_distribution<double> hiss(0, 0.002);
    const Sound noisy = [&](double t) { return sine(0.5)(t) + 0.003 * std::sin(314 * t) + hiss(random); };
    auto sound = rendered(4, noisy, noisy);
    const Calibration found = calibrate(sound, two_channels(), volts(1.0));
    CHECK(decibels_from_amplitude(found.channels[0].volts_full_scale / (2 * std::sqrt(2.0))) ==
          Approx(0).margin(0.01));
}

TEST_CASE("a take that can't calibrate is refused, by name and with the reason", "[calibration]") {
    const Sound silence = [](double) { return 0.0; };
    const Sound clipped = [](double t) { return std::clamp(1.4 * sine(1)(t), -1.0, 1.0); };
    const Sound clipped_early = [](double t) { return std::clamp(1.4 * sine(1)(t), -0.5, 0.5); };
    const Sound moving = [](double t) { return (0.1 + 0.1 * t) * sine(1)(t); };
    std::mt19937 random(4);
    std::normal_distribution<double> hiss(0, 0.1);
    const Sound noise = [&](double) { return hiss(random); };
    const Take take = two_channels();
    const CalibrationRequest one = volts(1);

    CHECK_THAT(refusal(rendered(3, clipped, clipped), take, one),
               Contains("takes/cal.flac: ") && Contains("the left channel is overloaded at 0.00 s"));
    CHECK_THAT(refusal(rendered(3, clipped_early, clipped_early), take, one),
               Contains("noise and distortion"));
    CHECK_THAT(refusal(rendered(3, sine(0.5, 1000), sine(0.5)), take, one),
               Contains("strongest tone in the left channel is at 1000.0 Hz, not at 200 Hz"));
    CHECK_THAT(refusal(rendered(3, moving, moving), take, one),
               Contains("is steady for") && Contains("1 s or more"));
    CHECK_THAT(refusal(rendered(0.5, sine(0.5), sine(0.5)), take, one), Contains("is steady for 0.5 s"));
    CHECK_THAT(refusal(rendered(3, silence, silence), take, one), Contains("no tone in the left channel"));
    CHECK_THAT(refusal(rendered(3, noise, noise), take, one), Contains("the left channel"));
    CHECK_THAT(refusal(rendered(3, sine(0.5), silence), take, one), Contains("no tone in the right channel"));
    CHECK_THAT(refusal(rendered(3, sine(0.5), sine(0.2)), take, one),
               Contains("left channel stands 8.0 dB above the right") && Contains("--channel left"));

    Take marked = take;
    marked.faults = {TakeFault::overload};
    CHECK_THAT(refusal(rendered(3, sine(0.5), sine(0.5)), marked, one), Contains("marked 'overload'"));
    Take three = take;
    three.channels.push_back(Channel::sub);
    CHECK_THAT(refusal(rendered(3, sine(0.5), sine(0.5)), three, one),
               Contains("names 3 channels, the file has 2"));
    CHECK_THAT(refusal(rendered(3, sine(0.5), sine(0.5)), take, volts(0)), Contains("no meter reading"));
    CHECK_THAT(refusal(rendered(3, sine(0.5), sine(0.5)), take, volts(std::nan(""))),
               Contains("no meter reading"));
    CalibrationRequest high = one;
    high.frequency_hz = 997;
    CHECK_THAT(refusal(rendered(3, sine(0.5, 997), sine(0.5, 997)), take, high),
               Contains("read low above 400 Hz"));
    high.meter_good_to_hz = 20000;
    CHECK(refusal(rendered(3, sine(0.5, 997), sine(0.5, 997)), take, high) == "accepted");
}

TEST_CASE("a named channel is read alone, whatever the other one does", "[calibration]") {
    CalibrationRequest request = volts(1);
    request.channel = Channel::right;
    auto sound = rendered(
        3, [](double t) { return std::clamp(3 * sine(1)(t), -1.0, 1.0); }, sine(0.25));
    const Calibration found = calibrate(sound, two_channels(), request);
    REQUIRE(found.channels.size() == 1);
    CHECK(found.channels[0].index == 1);
    CHECK(found.channels[0].volts_full_scale == Approx(4 * std::sqrt(2.0)).epsilon(1e-6));
    request.channel = Channel::sub;
    CHECK_THAT(refusal(std::move(sound), two_channels(), request), Contains("has no channel 'sub'"));
}

TEST_CASE("white noise of known power reads as own noise by its share of the band", "[calibration]") {
    // white noise of variance v over 0..24 kHz: 20 Hz to 20 kHz holds 19980/24000 of it
    std::mt19937 random(5);
    const double sigma = 1e-5;
    std::normal_distribution<double> hiss(0, sigma);
    const Sound noise = [&](double) { return hiss(random); };
    Take take = two_channels({6, 6});
    take.conditions.hookup = {Hookup::inputs_shorted};
    Job job;
    job.interface.volts_full_scale = {7.0, std::nullopt};
    auto sound = rendered(5, noise, noise);
    const OwnNoise found = read_own_noise(sound, take, job);
    REQUIRE(found.floors.own_noise_dbv.size() == 2);
    // the pad is not counted: 7 V times the rms in the band
    CHECK(*found.floors.own_noise_dbv[0] ==
          Approx(decibels_from_amplitude(7.0 * sigma * std::sqrt(19980.0 / 24000.0))).margin(0.1));
    CHECK_FALSE(found.floors.own_noise_dbv[1]);
    // tests/reference/weighting_noise_gain.csv: white noise over that band gains -2.05 (A), -3.45 (C), 7.30 dB (468);
    // the quasi-peak meter reads Gaussian noise some 4 to 5 dB above its rms (common practice, no source)
    const double flat = *found.floors.own_noise_dbv[0];
    CHECK(*found.floors.own_noise_a_dbv[0] - flat == Approx(-2.048).margin(0.1));
    CHECK(*found.floors.own_noise_c_dbv[0] - flat == Approx(-3.450).margin(0.1));
    CHECK(*found.floors.own_noise_itu468_dbv[0] - flat == Approx(7.301).margin(0.1));
    const double quasi_peak = *found.floors.own_noise_itu468_quasi_peak_dbv[0];
    CHECK(quasi_peak - *found.floors.own_noise_itu468_dbv[0] > 3.5);
    CHECK(quasi_peak - *found.floors.own_noise_itu468_dbv[0] < 6.5);
    CHECK(found.warnings.empty());
}

TEST_CASE("a floor that is none is refused", "[calibration]") {
    const Sound silence = [](double) { return 0.0; };
    Take take = two_channels();
    Job job;
    const auto refused = [&](MemoryReader sound) {
        try {
            read_own_noise(sound, take, job);
        } catch (const Error& error) {
            return std::string(error.what());
        }
        return std::string("accepted");
    };
    CHECK_THAT(refused(rendered(3, sine(1e-4), sine(1e-4))), Contains("inputs shorted"));
    take.conditions.hookup = {Hookup::inputs_shorted};
    CHECK_THAT(refused(rendered(3, sine(1e-4), sine(1e-4))), Contains("volts come first"));
    job.interface.volts_full_scale = {7.0, 7.0};
    CHECK_THAT(refused(rendered(3, silence, silence)), Contains("digital silence"));
    CHECK_THAT(refused(rendered(1, sine(1e-4), sine(1e-4))), Contains("2 s or more"));
    CHECK_THAT(refused(rendered(3, sine(1), sine(1))), Contains("overloaded"));
    auto humming = rendered(3, sine(0.01), sine(0.01));
    const OwnNoise found = read_own_noise(humming, take, job);
    REQUIRE(found.warnings.size() == 2);
    CHECK(found.warnings[0].code == "floor_high");
}

TEST_CASE("a hum's multiple at the tone's frequency, steadier and longer than the tone, is not the tone", "[calibration]") {
    // 14 s of 200 Hz 50 dB below, then 3 s of the tone
    auto sound = rendered(17, [](double t) { return (t < 14 ? 0.0016 : 0.5) * std::sin(2 * std::numbers::pi * 200 * t); }, sine(0.5));
    const Calibration found = calibrate(sound, two_channels(), volts(1.0));
    CHECK(found.channels[0].level_dbfs == Approx(found.channels[1].level_dbfs).margin(0.01));
}

TEST_CASE("a floor of digital zeros but for its very end tells no figure", "[calibration]") {
    Take take = two_channels();
    take.conditions.hookup = {Hookup::inputs_shorted};
    Job job;
    job.interface.volts_full_scale = {7.0, 7.0};
    const Sound last = [](double t) { return t > 4.005 ? 1e-3 : 0.0; };
    auto zeros = rendered(4.01, last, last);
    const OwnNoise found = read_own_noise(zeros, take, job);
    CHECK_FALSE(found.floors.own_noise_dbv[0]);
    CHECK(found.warnings.empty());
}
