#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "hushtrace/measure/quasi_peak.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

namespace {

std::vector<double> tone(double rate_hz, double frequency_hz, double duration_s) {
    std::vector<double> out(static_cast<std::size_t>(duration_s * rate_hz));
    for (std::size_t n = 0; n < out.size(); ++n)
        out[n] = 0.1 * std::sin(2 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate_hz);
    return out;
}

/// 5 kHz bursts that start at a zero crossing: one of them, or `per_second`
std::vector<double> bursts(double rate_hz, double burst_s, double per_second) {
    std::vector<double> out = tone(rate_hz, 5000, per_second > 0 ? 3.0 : burst_s + 0.4);
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = static_cast<double>(n) / rate_hz;
        const double since = per_second > 0 ? std::fmod(t, 1 / per_second) : t;
        if (since >= burst_s - 1e-9) out[n] = 0;
    }
    return out;
}

double highest(double rate_hz, const std::vector<double>& sound) {
    QuasiPeakMeter meter(rate_hz);
    meter.add(sound);
    return meter.highest();
}

}  // namespace

TEST_CASE("tone bursts read within the limits of ITU-R BS.468-4", "[quasi_peak]") {
    // Section 2, single and repeated 5 kHz bursts, in percent of the steady tone; the table here is from memory
    // (tests/reference/README.md section 2 says how it was checked).
    const double rate_hz = GENERATE(16000.0, 32000.0, 44100.0, 48000.0, 96000.0, 192000.0);
    CAPTURE(rate_hz);
    const double steady = highest(rate_hz, tone(rate_hz, 5000, 3));
    std::size_t checked = 0;
    for (const auto& row : reference::table("weighting_bs468_quasipeak.csv")) {
        const double burst_s = row.number("burst_duration_ms") / 1000;
        const double per_second =
            row.text("burst_kind") == "repeated" ? row.number("bursts_per_second") : 0;
        CAPTURE(burst_s, per_second);
        const double percent = 100 * highest(rate_hz, bursts(rate_hz, burst_s, per_second)) / steady;
        CHECK(percent >= row.number("lower_limit_percent"));
        CHECK(percent <= row.number("upper_limit_percent"));
        ++checked;
    }
    CHECK(checked == 11);
}

TEST_CASE("a steady sine of 1 kHz reads its rms, whatever the rate", "[quasi_peak]") {
    // ITU-R BS.468-4: 0.775 V rms at 1 kHz reads 0.775 V
    const double rate_hz = GENERATE(8000.0, 22050.0, 44100.0, 48000.0, 96000.0, 384000.0);
    CAPTURE(rate_hz);
    QuasiPeakMeter meter(rate_hz);
    meter.add(tone(rate_hz, 1000, 4));
    REQUIRE(meter.mean());
    CHECK(decibels_from_amplitude(meter.mean()->value / (0.1 / std::numbers::sqrt2)) == Approx(0).margin(0.06));
    CHECK(decibels_from_amplitude(meter.indication() / (0.1 / std::numbers::sqrt2)) == Approx(0).margin(0.06));
    CHECK(meter.mean()->sd < 0.001 * meter.mean()->value);
}

TEST_CASE("tones of other frequencies read along the 468 curve", "[quasi_peak]") {
    for (const auto& row : reference::table("weighting_bs468.csv")) {
        const double f = row.number("frequency_hz");
        if (f > 20000) continue;
        CAPTURE(f);
        const double off = decibels_from_amplitude(highest(48000, tone(48000, f, 2.5)) / (0.1 / std::numbers::sqrt2)) -
                           row.number("response_table_db");
        // the needle rides a little higher on the wide pulses of low tones than on their mean
        CHECK(off <= std::max(row.number("tolerance_upper_db"), 0.1));
        CHECK(off >= std::min(row.number("tolerance_lower_db"), -0.1));
    }
}

TEST_CASE("an overload of the meter by 20 dB changes no reading but by 20 dB", "[quasi_peak]") {
    const auto soft = bursts(48000, 0.005, 10);
    std::vector<double> loud = soft;
    for (double& s : loud) s *= 10;
    CHECK(highest(48000, loud) == Approx(10 * highest(48000, soft)).epsilon(1e-9));
}

TEST_CASE("silence, a start in silence and too short a take", "[quasi_peak]") {
    QuasiPeakMeter meter(48000);
    meter.add(std::vector<double>(48000, 0.0));
    CHECK_FALSE(meter.mean());  // 1 s
    CHECK(meter.indication() == 0);
    meter.add(std::vector<double>(3 * 48000, 0.0));
    REQUIRE(meter.mean());
    CHECK(meter.mean()->value == 0);
    CHECK(meter.mean()->sd == 0);
}

TEST_CASE("the mean is the needle's once it has risen, and as sure as its own unrest leaves it", "[quasi_peak]") {
    // a swelling tone in pieces of 10 ms, after each of which the needle is read: 200 readings in the two seconds after the first
    constexpr double rate_hz = 8000;
    std::vector<double> sound = tone(rate_hz, 1000, 3.0), needle;
    for (std::size_t n = 0; n < sound.size(); ++n) sound[n] *= 1 + 0.5 * std::sin(2 * std::numbers::pi * 1.3 * static_cast<double>(n) / rate_hz);
    QuasiPeakMeter meter(rate_hz), whole(rate_hz);
    double highest_seen = 0;
    for (std::size_t at = 0; at < sound.size(); at += 80) {
        CHECK_FALSE((at < 23800 - 80 && meter.mean().has_value()));   // 3 s, less two readings
        meter.add(std::span(sound).subspan(at, 80));
        highest_seen = std::max(highest_seen, meter.indication());
        if (at >= 8000) needle.push_back(meter.indication());
    }
    REQUIRE(needle.size() == 200);
    REQUIRE(meter.mean());
    double mean = 0, variance = 0;
    for (const double one : needle) mean += one / 200;
    for (const double one : needle) variance += (one - mean) * (one - mean) / 200;
    CHECK(meter.mean()->value == Approx(mean).epsilon(1e-3));
    // one look takes 0.36 s: 5.56 of them, whose own mean takes one; a squared spread has 10.1 degrees of freedom, Student's 2.228 over 1.96
    const double looks = 2.0 / 0.36;
    CHECK(meter.mean()->sd == Approx(std::sqrt(variance / (1 - 1 / looks) / looks) * 2.228 / 1.960).epsilon(0.01));
    CHECK(meter.mean()->limited_by == LimitedBy::length);
    CHECK(meter.highest() >= highest_seen);
    CHECK(meter.highest() == Approx(highest_seen).epsilon(0.01));
    whole.add(sound);   // pieces don't matter
    CHECK(whole.mean()->value == Approx(meter.mean()->value).epsilon(1e-9));
    CHECK(whole.highest() == Approx(meter.highest()).epsilon(1e-9));
    // silence: the needle falls, its highest stays
    meter.add(std::vector<double>(8000, 0.0));
    CHECK(meter.indication() < 0.2 * highest_seen);
    CHECK(meter.highest() == whole.highest());
    sound[20000] = std::nan("");
    QuasiPeakMeter spoilt(rate_hz);
    spoilt.add(sound);
    CHECK_FALSE(spoilt.mean());
    QuasiPeakMeter steady(rate_hz);
    steady.add(tone(rate_hz, 1000, 6.0));
    CHECK(steady.mean()->limited_by == LimitedBy::nothing);
}
