#include "../../src/diagnose/order_reading.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 24000.0;

/// Idle, up to twice that, back: dwells at both ends.
double speed(double t) { return 1.0 + std::clamp(std::min((t - 2.0) / 3.0, (10.0 - t) / 3.0), 0.0, 1.0); }

struct Sweep {
    std::vector<double> samples;
    Track track;
};
Sweep sweep_of(double leading_hz) {
    Sweep out;
    std::mt19937_64 engine(5);
    std::normal_distribution<double> noise(0.0, 1e-4);
    double turns = 0;
    const auto sine = [](double phase) { return std::sin(2 * std::numbers::pi * phase); };
    for (std::size_t n = 0; n < static_cast<std::size_t>(12 * kRate); ++n) {
        const double t = static_cast<double>(n) / kRate;
        out.samples.push_back(noise(engine) + 0.02 * sine(turns) + 0.005 * sine(2 * turns) + 0.003 * sine(turns / 6) +
                              0.01 * sine(997.0 * t) + 0.02 * sine(50.0 * t));
        turns = turns + leading_hz * speed(t + 0.5 / kRate) / kRate;
    }
    for (double t = 0; t <= 12.0; t += 0.02) {
        out.track.time_s.push_back(t);
        out.track.frequency_hz.push_back(leading_hz * speed(t));
    }
    return out;
}

}  // namespace

TEST_CASE("in a sweep the lines that turn are told from those that hold still, with their levels", "[orders]") {
    const Sweep sweep = sweep_of(900.0);
    SpectrumAccumulator accumulator(kRate, 24000);
    accumulator.add(sweep.samples);
    const PowerSpectrum spectrum = accumulator.result();
    const auto floor = noise_under_lines(spectrum);
    const OrderView view = view_orders(sweep.samples, kRate, sweep.track, spectrum, floor,
                                       find_lines(spectrum, floor, 15.0, 10000.0));
    const double mean_hz = sweep.track.mean_hz();
    struct Truth {
        double ratio, amplitude;
        bool follows;
    };
    std::vector<Truth> truth = {{1.0, 0.02, true}, {2.0, 0.005, true}, {1.0 / 6, 0.003, true},
                                {997.0 / mean_hz, 0.01, false}, {50.0 / mean_hz, 0.02, false}};
    for (const Truth& one : truth) {
        INFO("ratio " << one.ratio);
        bool told = false;
        for (const ReadOrder& line : view.lines)
            if (std::abs(line.ratio - one.ratio) < 0.002 * std::max(1.0, one.ratio)) {
                told = true;
                CHECK(line.follows == one.follows);
                CHECK((line.sharpening_db > 0) == one.follows);
                CHECK(line.mean_square == Approx(one.amplitude * one.amplitude / 2).epsilon(0.12));  // 0.5 dB
            }
        CHECK(told);
    }
    for (const ReadOrder& line : view.lines) {
        INFO("told: ratio " << line.ratio << ", " << 10 * std::log10(2 * line.mean_square) << " dBFS");
        CHECK(std::any_of(truth.begin(), truth.end(), [&](const Truth& one) {
            return std::abs(line.ratio - one.ratio) < 0.004 * std::max(1.0, one.ratio);
        }));
    }
    CHECK(!view.map.empty());
}

TEST_CASE("a family that hardly moves gives no verdict", "[orders]") {
    Sweep sweep = sweep_of(900.0);
    for (double& f : sweep.track.frequency_hz) f = 997.0;
    SpectrumAccumulator accumulator(kRate, 24000);
    accumulator.add(sweep.samples);
    const PowerSpectrum spectrum = accumulator.result();
    const auto floor = noise_under_lines(spectrum);
    for (const ReadOrder& line : view_orders(sweep.samples, kRate, sweep.track, spectrum, floor,
                                             find_lines(spectrum, floor, 15.0, 10000.0)).lines)
        CHECK(!line.follows.has_value());
}
