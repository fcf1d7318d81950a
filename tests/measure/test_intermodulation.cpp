#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

#include "hushtrace/measure/intermodulation.hpp"
#include "hushtrace/signal/error.hpp"
#include "tone_maker.hpp"

using namespace hushtrace;

namespace {

/// Two cosines through y = x + a2 x^2 + a3 x^3. On paper (product formulas of the cosine): the amplitude of f2 -+ f1 is
/// a2 A1 A2, that of 2 f1 - f2 and f2 +- 2 f1 is 3/4 a3 A1^2 A2, that of 2 f2 - f1 is 3/4 a3 A1 A2^2; f2 itself comes
/// out as A2 + a3 (3/4 A2^3 + 3/2 A1^2 A2), and f1 likewise.
struct Curved {
    double low_hz = 0, high_hz = 0, low = 0, high = 0, a2 = 0, a3 = 0;

    std::vector<double> samples(std::size_t frames, double rate_hz) const {
        auto out = tone_maker::sine(low_hz, low, frames, rate_hz, 0.7);
        tone_maker::add(out, tone_maker::sine(high_hz, high, frames, rate_hz, 2.1));
        for (double& x : out) x += a2 * x * x + a3 * x * x * x;
        return out;
    }
    double out_low() const { return low + a3 * (0.75 * low * low * low + 1.5 * high * high * low); }
    double out_high() const { return high + a3 * (0.75 * high * high * high + 1.5 * low * low * high); }
    double second() const { return std::abs(a2) * low * high; }
    double third_low() const { return 0.75 * std::abs(a3) * low * low * high; }   // 2 f1 - f2, f2 +- 2 f1
    double third_high() const { return 0.75 * std::abs(a3) * low * high * high; }  // 2 f2 - f1
};

double db(double ratio) {
    return 20.0 * std::log10(ratio);
}
IntermodulationRequest asked(TwoToneMethod method, double low_hz = 0, double high_hz = 0) {
    IntermodulationRequest request;
    request.method = method;
    if (low_hz > 0) request.low_hz = low_hz;
    if (high_hz > 0) request.high_hz = high_hz;
    return request;
}
ErrorKind kind_of(const std::vector<double>& samples, const IntermodulationRequest& request, double rate_hz = 48000) {
    try {
        measure_intermodulation(samples, rate_hz, request);
    } catch (const Error& error) {
        CHECK_FALSE(std::string(error.what()).empty());
        return error.kind();
    }
    FAIL("was read");
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("difference-frequency products of a square and a cube read as worked out on paper", "[intermodulation]") {
    double worst = 0;
    for (const double scale : {1e-4, 1e-3, 0.1})
        for (const bool spoilt : {false, true})
            for (const bool named : {false, true}) {
                if (spoilt && scale < 1e-3) continue;  // products at the noise: see test_coverage.cpp
                const Curved made{19000, 20000, 0.4, 0.4, 0.5 * scale, -scale};
                auto samples = made.samples(24000, 48000);
                if (spoilt) {
                    tone_maker::add_noise(samples, 4e-6, 7);  // 97 dB below a tone
                    tone_maker::quantise_24_bit(samples);
                }
                const auto reading = measure_intermodulation(
                    samples, 48000,
                    named ? asked(TwoToneMethod::difference_frequency, 19010, 19990)
                          : asked(TwoToneMethod::difference_frequency));
                const double reference = made.out_low() + made.out_high();
                const double second = made.second() / reference;
                const double third = (made.third_low() + made.third_high()) / reference;
                CAPTURE(scale, spoilt, named);
                const double margin = spoilt ? 0.05 : 0.002;
                CHECK(db(reading.second_order_ratio.value) == Approx(db(second)).margin(margin));
                CHECK(db(reading.third_order_ratio.value) == Approx(db(third)).margin(margin));
                CHECK(db(reading.total_ratio.value) == Approx(db(std::hypot(second, third))).margin(margin));
                CHECK(reading.low.frequency_hz == Approx(19000).margin(0.001));
                CHECK(reading.low.level_dbfs == Approx(db(made.out_low())).margin(0.001));
                CHECK(reading.high.level_dbfs == Approx(db(made.out_high())).margin(0.001));
                CHECK(reading.products.size() == 3);
                CHECK(reading.products_missing == 0);
                CHECK(reading.products[0].frequency_hz == Approx(1000).margin(0.001));
                CHECK(reading.products[0].level_dbfs == Approx(db(made.second())).margin(margin));
                CHECK(reading.total_ratio.limited_by == LimitedBy::nothing);
                worst = std::max(worst, std::abs(db(reading.total_ratio.value) - db(std::hypot(second, third))));
            }
    WARN("difference frequency, worst deviation of the total: " << worst << " dB");
}

TEST_CASE("sidebands of the 4:1 pair read as worked out on paper, at every rate", "[intermodulation]") {
    double worst = 0;
    for (const double rate_hz : {22050.0, 44100.0, 48000.0, 96000.0, 192000.0, 384000.0})
        for (const double seconds : {0.4, 1.0}) {
            if (rate_hz > 48000 && seconds > 0.5) continue;
            const Curved made{60.3, 7003.7, 0.6, 0.15, 0.01, 0.004};
            const auto samples = made.samples(static_cast<std::size_t>(seconds * rate_hz), rate_hz);
            const auto reading = measure_intermodulation(samples, rate_hz, asked(TwoToneMethod::modulation));
            const double second = 2 * made.second() / made.out_high(), third = 2 * made.third_low() / made.out_high();
            CAPTURE(rate_hz, seconds);
            CHECK(db(reading.second_order_ratio.value) == Approx(db(second)).margin(0.005));
            CHECK(db(reading.third_order_ratio.value) == Approx(db(third)).margin(0.005));
            CHECK(db(reading.total_ratio.value) == Approx(db(std::hypot(second, third))).margin(0.005));
            CHECK(reading.products.size() == 10);
            worst = std::max(worst, std::abs(db(reading.total_ratio.value) - db(std::hypot(second, third))));
        }
    WARN("4:1 pair, worst deviation of the total: " << worst << " dB");
}

TEST_CASE("amplitude modulation of depth m reads m, which is what SMPTE RP 120 states", "[intermodulation]") {
    for (const double depth : {0.001, 0.03, 0.5}) {
        auto samples = tone_maker::sine(7000, 0.1, 48000);
        const auto low = tone_maker::sine(60, 1.0, 48000, 48000, 1.1);
        for (std::size_t n = 0; n < samples.size(); ++n) samples[n] = samples[n] * (1 + depth * low[n]) + 0.4 * low[n];
        const auto reading = measure_intermodulation(samples, 48000, asked(TwoToneMethod::modulation, 60, 7000));
        CAPTURE(depth);
        CHECK(reading.second_order_ratio.value == Approx(depth).epsilon(1e-4));
        CHECK(reading.total_ratio.value == Approx(depth).epsilon(1e-4));
        CHECK(reading.third_order_ratio.value < 1e-6);
    }
}

TEST_CASE("linear takes read what the noise allows and say what limits them", "[intermodulation]") {
    const Curved linear{19000, 20000, 0.4, 0.4, 0, 0};
    const auto clean = measure_intermodulation(linear.samples(65536, 48000), 48000,
                                               asked(TwoToneMethod::difference_frequency));
    CHECK(db(clean.total_ratio.value) < -165.0);
    int hidden = 0, covered = 0;
    for (unsigned take = 0; take < 30; ++take) {
        auto samples = linear.samples(12000, 48000);
        tone_maker::add_noise(samples, 1e-3, 900 + take);
        const auto reading = measure_intermodulation(samples, 48000, asked(TwoToneMethod::difference_frequency));
        hidden += reading.total_ratio.limited_by == LimitedBy::length;
        covered += reading.total_ratio.low() <= 0 && reading.total_ratio.high() > 0;
        CHECK(reading.total_ratio.high() < 5e-4);
    }
    CHECK(hidden >= 27);
    CHECK(covered >= 27);
}

TEST_CASE("products above the capture's band are said to be missing", "[intermodulation]") {
    const Curved made{19000, 20000, 0.3, 0.3, 0.01, 0.01};
    const auto reading =
        measure_intermodulation(made.samples(44100, 44100), 44100, asked(TwoToneMethod::difference_frequency));
    CHECK(reading.products_missing == 1);  // 2 f2 - f1 = 21000 above 0.95 x 22050 = 20947.5
    CHECK(reading.products.size() == 2);
    const double reference = made.out_low() + made.out_high();
    CHECK(db(reading.third_order_ratio.value) == Approx(db(made.third_low() / reference)).margin(0.002));
}

TEST_CASE("two tones that can't be read are refused with a reason", "[intermodulation]") {
    const auto difference = asked(TwoToneMethod::difference_frequency);
    const auto pair = asked(TwoToneMethod::modulation);
    const auto two = [](double low_hz, double high_hz, std::size_t frames) {
        return Curved{low_hz, high_hz, 0.4, 0.4, 0.01, 0.01}.samples(frames, 48000);
    };
    CHECK(kind_of({}, difference) == ErrorKind::empty_input);
    CHECK(kind_of(std::vector<double>(48000, 0.0), difference) == ErrorKind::invalid_input);
    CHECK(kind_of(std::vector<double>(48000, 0.3), pair) == ErrorKind::invalid_input);
    std::vector<double> broken = two(19000, 20000, 48000);
    broken[5] = std::numeric_limits<double>::quiet_NaN();
    CHECK(kind_of(broken, difference) == ErrorKind::not_finite);
    CHECK(kind_of(two(60, 7000, 4800), pair) == ErrorKind::too_short);
    CHECK(kind_of(two(19000, 19020, 9600), difference) == ErrorKind::too_short);
    CHECK(kind_of(two(4000, 6000, 12000), difference) == ErrorKind::invalid_request);  // f2 - f1 is 2 f1 - f2
    CHECK(kind_of(two(3000, 9000, 12000), asked(TwoToneMethod::difference_frequency, 3000, 9000)) ==
          ErrorKind::invalid_request);  // f2 - f1 is 2 f1
    CHECK(kind_of(two(19000, 23500, 48000), difference) == ErrorKind::invalid_request);
    CHECK(kind_of(two(19000, 20000, 12000), asked(TwoToneMethod::difference_frequency, 20000, 19000)) ==
          ErrorKind::invalid_request);
    // one tone: alone, with noise, distorted, and as a full-scale square
    auto alone = tone_maker::sine(997.0, 0.5, 12000);
    CHECK(kind_of(alone, difference) == ErrorKind::invalid_input);
    tone_maker::add_noise(alone, 1e-4, 3);
    CHECK(kind_of(alone, difference) == ErrorKind::invalid_input);
    CHECK(kind_of(alone, asked(TwoToneMethod::modulation, 60, 7000)) == ErrorKind::invalid_input);
    for (double& x : alone) x = std::clamp(x, -0.3, 0.3);
    CHECK(kind_of(alone, difference) == ErrorKind::invalid_input);
    for (double& x : alone) x = x > 0 ? 1.0 : -1.0;
    CHECK(kind_of(alone, difference) == ErrorKind::invalid_input);
}
