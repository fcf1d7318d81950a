#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0;
const PolarityPulse kPulse{-6.0, 0.2, 0.005};

/// Pulses 1/2 (1 + cos) of a gain each, as a player's clock spaces them, so much late; and dc. What a tenth of a second after them
/// holds brings the mean, which is taken off, to the dc alone.
std::vector<double> capture(const std::vector<double>& gains, double start_s, double ppm, double delay_s, double dc = 0.0) {
    const double ratio = 1.0 + 1e-6 * ppm;
    std::vector<double> out(static_cast<std::size_t>((start_s + 0.2 * static_cast<double>(gains.size()) + 0.3) * kRate), dc);
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = (static_cast<double>(n) / kRate - start_s - delay_s) / ratio;
        const double which = std::floor(t / 0.2), away = t - 0.2 * which - 0.1;
        if (which < 0.0 || which >= static_cast<double>(gains.size()) || std::abs(away) >= 0.0025) continue;
        out[n] += gains[static_cast<std::size_t>(which)] * std::pow(10.0, -0.3) * 0.5 * (1.0 + std::cos(2.0 * std::numbers::pi * away / 0.005));
    }
    double sum = 0;
    for (const double x : out) sum += x - dc;
    for (std::size_t i = 1; i <= 800; ++i) out[out.size() - i] -= sum / 800.0;
    return out;
}
Transfer read(const std::vector<double>& samples, double start_s, double ppm, double tone_s) {
    return measure_pulse_response(samples, kRate, kPulse, {start_s, 1e-6, ppm, 0.1}, tone_s);
}
ErrorKind refusal(const std::vector<double>& samples, const PolarityPulse& pulse, double start_s, double tone_s) {
    try {
        measure_pulse_response(samples, kRate, pulse, {start_s, 1e-6, 0.0, 0.1}, tone_s);
    } catch (const Error& error) {
        return error.kind();
    }
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("pulses that come late and turned over read their gain and their delay's phase at every frequency", "[pulse_response]") {
    const double ppm = GENERATE(0.0, 300.0, -300.0), delay_s = GENERATE(0.0, 0.0007), dc = GENERATE(0.0, 0.3);
    CAPTURE(ppm, delay_s, dc);
    const Transfer transfer = read(capture(std::vector<double>(10, -0.4), 0.31, ppm, delay_s, dc), 0.31, ppm, 2.0);
    // from 16 Hz to 0.7 of one over the width: a step is 2^(1/24)
    REQUIRE(transfer.size() > 60);
    CHECK(transfer.front().frequency_hz >= 16.0);
    CHECK(transfer.front().frequency_hz < 16.0 * std::exp2(1.0 / 24));
    CHECK(transfer.back().frequency_hz <= 140.0);
    CHECK(transfer.back().frequency_hz > 140.0 / std::exp2(1.0 / 24));
    for (const TransferPoint& one : transfer) {
        CAPTURE(one.frequency_hz);
        const std::complex<double> truth = -0.4 * std::polar(1.0, -2.0 * std::numbers::pi * one.frequency_hz * delay_s);
        CHECK(std::abs(one.gain - truth) < 2e-5);
        CHECK(one.noise_power < 1e-9);
        CHECK(one.noise_known);
    }
}

TEST_CASE("a pulse response's noise is how its pulses differ, over their number less one", "[pulse_response]") {
    std::vector<double> gains;
    for (int i = 0; i < 8; ++i) gains.push_back(i % 2 == 0 ? 0.55 : 0.45);
    for (const TransferPoint& one : read(capture(gains, 0.31, 0.0, 0.0), 0.31, 0.0, 1.6)) {
        CHECK(std::abs(one.gain) == Approx(0.5).epsilon(1e-4));
        CHECK(one.noise_power == Approx(0.05 * 0.05 / 7.0).epsilon(1e-3));
    }
}

TEST_CASE("soft ends of a pulse's window keep a hum out of other frequencies", "[pulse_response]") {
    // 30 Hz, in step with the pulses, with a tenth of their height: cut off sharply it would leave a tenth of the gain at 100 Hz
    auto samples = capture(std::vector<double>(10, 1.0), 0.31, 0.0, 0.0);
    for (std::size_t n = 0; n < samples.size(); ++n) samples[n] += 0.05 * std::sin(2.0 * std::numbers::pi * 30.0 * static_cast<double>(n) / kRate);
    for (const TransferPoint& one : read(samples, 0.31, 0.0, 2.0)) {
        CAPTURE(one.frequency_hz);
        if (one.frequency_hz > 90.0) CHECK(std::abs(one.gain - 1.0) < 0.02);
    }
}

TEST_CASE("only pulses that lie wholly in the tone and in the take count, the first sixty of them", "[pulse_response]") {
    const auto gain = [](const std::vector<double>& samples, double start_s, double tone_s) {
        const Transfer transfer = read(samples, start_s, 0.0, tone_s);
        return std::abs(point_at(transfer, 100.0)->gain);
    };
    // the tone ends before the fifth
    CHECK(gain(capture({1, 1, 1, 1, 9, 9}, 0.3, 0, 0), 0.3, 0.8) == Approx(1.0).epsilon(0.02));
    CHECK(gain(capture({1, 1, 1, 1, 6, 0}, 0.3, 0, 0), 0.3, 1.0) == Approx(2.0).epsilon(0.02));
    // a pulse that begins before the take does: 0.3 of the spacing must lie before its middle
    auto late = capture({5, 1, 1, 1, 1}, 0.0, 0, 0);
    CHECK(gain(late, 0.0, 1.0) == Approx(1.8).epsilon(0.02));
    late.erase(late.begin(), late.begin() + 360);   // 45 ms off: its middle lies at 55 ms
    CHECK(gain(late, -0.045, 1.0) == Approx(1.0).epsilon(0.02));
    // and 0.6 of it behind: of the last one there must be 120 ms
    auto early = capture({1, 1, 1, 1, 6}, 0.3, 0, 0);
    early.resize(static_cast<std::size_t>((0.3 + 0.9 + 0.121) * kRate));
    CHECK(gain(early, 0.3, 1.0) == Approx(2.0).epsilon(0.02));
    early.resize(static_cast<std::size_t>((0.3 + 0.9 + 0.119) * kRate));
    CHECK(gain(early, 0.3, 1.0) == Approx(1.0).epsilon(0.02));
    std::vector<double> many(62, 1.0);
    many[59] = 4.0;
    many[60] = many[61] = 50.0;
    CHECK(gain(capture(many, 0.3, 0, 0), 0.3, 12.4) == Approx(1.05).epsilon(0.02));
}

TEST_CASE("what no pulse response can be read from is refused", "[pulse_response]") {
    const auto sound = capture({1, 1, 1, 1}, 0.3, 0, 0);
    CHECK(refusal(sound, kPulse, 0.3, 0.8) == ErrorKind::device_failed);   // none
    CHECK(refusal(sound, kPulse, 0.3, 0.6) == ErrorKind::device_failed);   // three are enough
    CHECK(refusal(sound, kPulse, 0.3, 0.4) == ErrorKind::too_short);
    CHECK(refusal(sound, {-6.0, 0.2, 0.0}, 0.3, 0.8) == ErrorKind::invalid_request);
    CHECK(refusal(sound, {-6.0, 0.2, 0.11}, 0.3, 0.8) == ErrorKind::invalid_request);
    CHECK(refusal(sound, {-6.0, 0.2, 0.1}, 0.3, 0.8) == ErrorKind::device_failed);
    auto broken = sound;
    broken.back() = std::numeric_limits<double>::infinity();
    CHECK(refusal(broken, kPulse, 0.3, 0.8) == ErrorKind::not_finite);
}
