#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "coverage_runs.hpp"
#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/intermodulation.hpp"
#include "tone_maker.hpp"

using namespace hushtrace;

// A stated 95 % interval must hold the truth in 90 to 99 % of many takes that differ in everything. More takes than the
// few of everyday: coverage_runs.hpp.
using coverage_runs::seed_or;
using coverage_runs::takes_or;

namespace {

struct Count {
    int takes = 0, covered = 0, below = 0, above = 0;
    void add(double truth, double low, double high) {
        ++takes;
        covered += truth >= low && truth <= high;
        below += truth < low;
        above += truth > high;
    }
    double percent() const { return 100.0 * covered / takes; }
};

void judge(const char* what, const Count& count) {
    WARN(what << ": " << count.takes << " takes, covered " << count.percent() << " %, truth below " << count.below
              << ", above " << count.above);
    CHECK(count.percent() >= 90.0);
    CHECK(count.percent() <= 99.0);
}

struct Dice {
    std::mt19937_64 engine;
    double between(double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(engine);
    }
    double log_between(double low, double high) { return low * std::pow(high / low, between(0.0, 1.0)); }
};

}  // namespace

TEST_CASE("level, frequency and THD of a distorted tone in noise lie in their 95 % intervals", "[coverage]") {
    Count level, frequency, thd, thd_noise;
    Dice dice{std::mt19937_64(seed_or(9))};
    for (int take = 0; take < takes_or(200); ++take) {
        const double rate_hz = take % 2 == 0 ? 48000 : 44100;
        const double tone_hz = dice.log_between(40, 3000), cycles = dice.log_between(12, 300);
        const auto frames = static_cast<std::size_t>(
            std::clamp(cycles * rate_hz / tone_hz, 4096.0, 20000.0));
        if (tone_hz * static_cast<double>(frames) / rate_hz < 12) continue;
        const double amplitude = dice.log_between(0.003, 0.9);
        auto samples = tone_maker::sine(tone_hz, amplitude, frames, rate_hz, dice.between(0, 6));
        double squares = 0;
        for (const int order : {2, 3, 4, 5, 7}) {
            const double ratio = dice.log_between(1e-4, 3e-2);
            squares += ratio * ratio;
            tone_maker::add(samples, tone_maker::sine(order * tone_hz, ratio * amplitude, frames, rate_hz,
                                                      dice.between(0, 6)));
        }
        const double snr_db = dice.between(20, 80);
        tone_maker::add_noise(samples, amplitude / std::sqrt(2.0) * std::pow(10.0, -snr_db / 20.0),
                              static_cast<unsigned>(dice.engine()));
        const Distortion reading = measure_distortion(samples, rate_hz);
        const ToneReading& tone = reading.tone;
        level.add(20 * std::log10(amplitude), tone.level_dbfs - 2 * tone.level_sd_db,
                  tone.level_dbfs + 2 * tone.level_sd_db);
        frequency.add(tone_hz, tone.frequency_hz - 2 * tone.frequency_sd_hz,
                      tone.frequency_hz + 2 * tone.frequency_sd_hz);
        const double noise = std::pow(10.0, -snr_db / 10.0) * 19980.0 / (0.5 * rate_hz);
        thd_noise.add(std::sqrt((squares + noise) / (1 + squares + noise)),
                      reading.thd_noise_ratio - 2 * reading.thd_noise_sd_ratio,
                      reading.thd_noise_ratio + 2 * reading.thd_noise_sd_ratio);
        if (!reading.limited_by_noise)
            thd.add(std::sqrt(squares), reading.thd_ratio - 2 * reading.thd_sd_ratio,
                    reading.thd_ratio + 2 * reading.thd_sd_ratio);
    }
    judge("level", level);
    judge("frequency", frequency);
    judge("THD", thd);
    judge("THD+N", thd_noise);
}

TEST_CASE("intermodulation in noise lies in its 95 % interval", "[coverage]") {
    // On paper: test_intermodulation.cpp. The figures lie from the noise up to 60 dB above it.
    for (const auto method : {TwoToneMethod::difference_frequency, TwoToneMethod::modulation}) {
        const bool equal = method == TwoToneMethod::difference_frequency;
        Count second, third, total;
        Dice dice{std::mt19937_64(seed_or(4))};
        for (int take = 0; take < takes_or(100); ++take) {
            const double low_hz = equal ? dice.between(11000, 15000) : dice.between(55, 90);
            const double high_hz = equal ? low_hz + dice.between(400, 1100) : dice.between(6000, 8000);
            const double low = equal ? 0.3 : 0.6, high = equal ? 0.3 : 0.15;
            const double a2 = dice.log_between(1e-3, 0.1), a3 = dice.log_between(1e-3, 0.1);
            const std::size_t frames = equal ? 4800 : 16000;
            auto samples = tone_maker::sine(low_hz, low, frames, 48000, dice.between(0, 6));
            tone_maker::add(samples, tone_maker::sine(high_hz, high, frames, 48000, dice.between(0, 6)));
            for (double& x : samples) x += a2 * x * x + a3 * x * x * x;
            tone_maker::add_noise(samples, dice.log_between(1e-4, 1e-2), static_cast<unsigned>(dice.engine()));
            IntermodulationRequest request;
            request.method = method;
            request.low_hz = low_hz;
            request.high_hz = high_hz;
            const Intermodulation reading = measure_intermodulation(samples, 48000, request);
            const double out_low = low + a3 * (0.75 * low * low * low + 1.5 * high * high * low);
            const double out_high = high + a3 * (0.75 * high * high * high + 1.5 * low * low * high);
            const double reference = equal ? out_low + out_high : out_high;
            const double d2 = (equal ? 1 : 2) * a2 * low * high / reference;
            const double d3 = (equal ? 0.75 * a3 * low * high * (low + high) : 1.5 * a3 * low * low * high) / reference;
            second.add(d2, reading.second_order_ratio.low(), reading.second_order_ratio.high());
            third.add(d3, reading.third_order_ratio.low(), reading.third_order_ratio.high());
            total.add(std::hypot(d2, d3), reading.total_ratio.low(), reading.total_ratio.high());
        }
        judge(equal ? "difference frequency, 2nd order" : "modulation, 2nd order", second);
        judge("3rd order", third);
        judge("total", total);
    }
}
