#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <string>

#include "coverage_runs.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/quasi_peak.hpp"
#include "measure/noise_maker.hpp"

// Simulated takes: what was claimed to be a 95 % interval must hold the truth in 90 to 99 % of 200 takes. The truth is
// the density that the noise was made of, integrated here; for the quasi-peak meter, which has no formula, its mean
// over takes that the others don't share.
using namespace hushtrace;

namespace {

constexpr double kRate_hz = 16000;  // low, to be quick: the band then ends at 8 kHz
const int kTakes = coverage_runs::takes_or(200);
constexpr double kHum_hz = 50.3, kHum = 2e-9;  // mean square; beside the bins, well above the noise

double white(double) {
    return 1e-13;
}
double pink(double f) {
    return f > 5 ? 4e-10 / f : 0;
}

const std::array<const char*, 4> kNames = {"unweighted", "A", "C", "468"};
std::array<Reading, 4> in_a_row(const WeightedFigures& f) {
    return {f.unweighted, f.a_weighted, f.c_weighted, f.itu468};
}

/// the same four figures by adding up 0.25 Hz steps of the density
std::array<double, 4> truth(double (*density)(double)) {
    std::array<double, 4> sum{};
    for (double f = 20.125; f < kRate_hz / 2; f += 0.25) {
        sum[0] += 0.25 * density(f);
        sum[1] += 0.25 * density(f) * a_weighting_power(f);
        sum[2] += 0.25 * density(f) * c_weighting_power(f);
        sum[3] += 0.25 * density(f) * itu468_weighting_power(f);
    }
    return sum;
}

void add_hum(std::vector<double>& take, double phase) {
    for (std::size_t n = 0; n < take.size(); ++n)
        take[n] += std::sqrt(2 * kHum) *
                   std::sin(phase + 2 * std::numbers::pi * kHum_hz * static_cast<double>(n) / kRate_hz);
}

void tell(const std::string& what, int held) {
    if (coverage_runs::asked()) WARN(what << ": " << kTakes << " takes, covered " << 100.0 * held / kTakes << " %");
}

}  // namespace

TEST_CASE("each figure's 95 % interval holds the truth in 90 to 99 % of takes", "[noise_floor][coverage]") {
    const auto [name, density, hum] = GENERATE(table<const char*, double (*)(double), bool>(
        {{"white", white, false},
         {"pink", pink, false},
         {"white with hum", white, true},
         {"pink with hum", pink, true}}));
    CAPTURE(name);
    const double duration_s = hum ? 3.0 : 2.0;
    const auto frames = static_cast<std::size_t>(duration_s * kRate_hz);
    NoiseMaker maker(kRate_hz, frames, density);
    std::mt19937 random(static_cast<unsigned>(coverage_runs::seed_or(20261126)));
    const auto broad_truth = truth(density);
    const std::array<double, 4> hum_weights = {1, a_weighting_power(kHum_hz), c_weighting_power(kHum_hz),
                                               itu468_weighting_power(kHum_hz)};
    std::array<int, 4> all_held{}, broad_held{};
    for (int t = 0; t < kTakes; ++t) {
        std::vector<double> take = maker.take(random);
        if (hum) add_hum(take, static_cast<double>(t));
        SpectrumAccumulator spectrum(kRate_hz, 16000);
        spectrum.add(take);
        const NoiseFloor floor = noise_floor(spectrum.result());
        for (std::size_t i = 0; i < 4; ++i) {
            const Reading all = in_a_row(floor.all)[i], broad = in_a_row(floor.broadband)[i];
            const double all_truth = broad_truth[i] + (hum ? kHum * hum_weights[i] : 0.0);
            all_held[i] += all.low() <= all_truth && all_truth <= all.high();
            broad_held[i] += broad.low() <= broad_truth[i] && broad_truth[i] <= broad.high();
        }
    }
    for (std::size_t i = 0; i < 4; ++i) {
        CAPTURE(kNames[i]);
        tell(std::string(name) + ", " + kNames[i], all_held[i]);
        tell(std::string(name) + " without tones, " + kNames[i], broad_held[i]);
        CHECK(all_held[i] >= 0.90 * kTakes);
        CHECK(all_held[i] <= 0.99 * kTakes);
        CHECK(broad_held[i] >= 0.90 * kTakes);
        CHECK(broad_held[i] <= 0.99 * kTakes);
    }
}

TEST_CASE("the quasi-peak figure's 95 % interval holds the truth in 90 to 99 % of takes",
          "[quasi_peak][coverage]") {
    const auto [name, density] =
        GENERATE(table<const char*, double (*)(double)>({{"white with hum", white}, {"pink with hum", pink}}));
    CAPTURE(name);
    const auto read = [](const std::vector<double>& take) {
        QuasiPeakMeter meter(kRate_hz);
        meter.add(take);
        return meter.mean().value();
    };
    std::mt19937 random(static_cast<unsigned>(coverage_runs::seed_or(468)));
    NoiseMaker maker(kRate_hz, static_cast<std::size_t>(3.5 * kRate_hz), density);
    const auto next = [&](int t) {
        std::vector<double> take = maker.take(random);
        add_hum(take, static_cast<double>(t));
        return read(take);
    };
    double mean = 0;
    for (int t = 0; t < kTakes / 2; ++t) mean += next(t).value / (kTakes / 2);
    int held = 0;
    for (int t = 0; t < kTakes; ++t) {
        const Reading reading = next(t);
        held += reading.low() <= mean && mean <= reading.high();
    }
    tell(std::string(name) + ", quasi-peak", held);
    CHECK(held >= 0.90 * kTakes);
    CHECK(held <= 0.99 * kTakes);
}
