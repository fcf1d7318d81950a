#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/measure/comb_stretch.hpp"
#include "hushtrace/measure/humps.hpp"
#include "hushtrace/measure/line_comb.hpp"
#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/measure/still_lines.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 16000.0;

std::vector<double> white(double seconds, double rms, unsigned seed) {
    std::mt19937 generator(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    for (double& sample : out) sample = normal(generator);
    return out;
}

void add_tone(std::vector<double>& to, double frequency_hz, double amplitude, double from_s = 0, double to_s = 1e9) {
    for (std::size_t n = 0; n < to.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        if (t >= from_s && t < to_s) to[n] += amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * t);
    }
}

}  // namespace

TEST_CASE("surprises are the logarithms of the tails that SciPy gives", "[noise_statistics]") {
    // scipy.stats (1.10): -f.logsf(3, 20, 200), -f.logsf(20, 2, 60), -f.logsf(0.8, 10, 100), -f.logsf(40, 20, 140)
    CHECK(surprise_of_ratio(3.0, 10, 100) == Approx(10.0185622).epsilon(1e-6));
    CHECK(surprise_of_ratio(20.0, 1, 30) == Approx(15.3247687).epsilon(1e-6));
    CHECK(surprise_of_ratio(0.8, 5, 50) == Approx(0.463729951).epsilon(1e-6));
    CHECK(surprise_of_ratio(40.0, 10, 70) == Approx(108.675439).epsilon(1e-6));
    // -gamma.logsf(10, 5), -gamma.logsf(360, 300), -gamma.logsf(1.5, 3)
    CHECK(surprise_of_gamma(2.0, 5) == Approx(3.53178381).epsilon(1e-6));
    CHECK(surprise_of_gamma(1.2, 300) == Approx(7.54863603).epsilon(1e-6));
    CHECK(surprise_of_gamma(0.5, 3) == Approx(0.212145712).epsilon(1e-6));
    // -log(sum over j of binom.pmf(j, n, exp(-1.5)) gamma.sf(sum, j))
    CHECK(surprise_of_sum(10.0, 40, 1.5) == Approx(1.03588321).epsilon(1e-6));
    CHECK(surprise_of_sum(30.0, 90, 1.5) == Approx(2.82652032).epsilon(1e-6));
    CHECK(surprise_of_sum(0.5, 3, 1.5) == Approx(1.01734935).epsilon(1e-6));
}

TEST_CASE("noise alone makes no lines, humps, bursts or combs", "[still_lines]") {
    for (unsigned seed = 1; seed <= 12; ++seed) {
        INFO("seed " << seed);
        std::vector<double> x = white(8.0, 0.01, seed);
        if (seed % 2 == 0)   // swelling and fading by 12 dB
            for (std::size_t n = 0; n < x.size(); ++n) x[n] *= std::pow(2.0, std::sin(2e-4 * static_cast<double>(n)));
        const ColumnMap map = column_map(x, kRate);
        const StillSpectrum still = still_spectrum(map);
        CHECK(still.lines.empty());
        CHECK(find_humps(map, still).empty());
        CHECK(find_bursts(x, kRate).events.size() < 3);
        CHECK(find_comb({&still}, 50.0, 0.01, {}).surprise < 7.6);
        CHECK_FALSE(find_comb_stretch(map, still, 650.0 / 3.0, 2e-4, {.most_number = 92, .spoken_for = {}, .doubtful = {}}, 8.3));
    }
}

TEST_CASE("a line that holds still is found with its frequency and power, one that passes is not", "[still_lines]") {
    std::vector<double> x = white(10.0, 0.01, 5);
    add_tone(x, 1234.3, 1.2e-3);
    double phase = 0;   // from 3 to 4 kHz: in each bin for a hundredth of a second
    for (std::size_t n = 0; n < x.size(); ++n) {
        phase += 2.0 * std::numbers::pi * (3000.0 + 100.0 * static_cast<double>(n) / kRate) / kRate;
        x[n] += 0.02 * std::sin(phase);
    }
    const StillSpectrum still = still_spectrum(column_map(x, kRate));
    REQUIRE(still.lines.size() == 1);
    CHECK(still.lines[0].frequency_hz == Approx(1234.3).margin(3.0 * still.lines[0].frequency_sd_hz + 0.02));
    CHECK(10.0 * std::log10(still.lines[0].mean_square / (0.5 * 1.2e-3 * 1.2e-3)) == Approx(0.0).margin(1.5));
    CHECK(still.lines[0].steady);
}

TEST_CASE("a comb is found of which no tooth stands out by itself", "[line_comb]") {
    std::vector<double> x = white(10.0, 0.01, 6);
    for (int n = 1; n <= 15; ++n) add_tone(x, 59.98 * n, 2.4e-4);
    const StillSpectrum still = still_spectrum(column_map(x, kRate));
    CHECK(still.lines.size() < 8);
    const LineComb comb = find_comb({&still}, 60.0, 0.01, {.most_number = 20, .spoken_for = {}, .doubtful = {}});
    CHECK(comb.surprise > 12.0);
    CHECK(comb.spacing_hz == Approx(59.98).margin(0.06));
}

TEST_CASE("a comb that sounds for two seconds of ten is found, with its time", "[comb_stretch]") {
    std::vector<double> x = white(10.0, 0.01, 7);
    for (int n = 1; n <= 30; ++n) add_tone(x, 650.0 / 3.0 * n, 1e-3, 4.0, 6.0);
    const ColumnMap map = column_map(x, kRate);
    const auto stretch = find_comb_stretch(map, still_spectrum(map), 650.0 / 3.0, 2e-4, {.most_number = 60, .spoken_for = {}, .doubtful = {}}, 8.3);
    REQUIRE(stretch);
    CHECK(stretch->from_s == Approx(4.0).margin(0.6));
    CHECK(stretch->to_s == Approx(6.0).margin(0.6));
}

TEST_CASE("even spacing is told from odd times, with an event missing", "[bursts]") {
    const auto at = [](std::initializer_list<double> times) {
        std::vector<Burst> out;
        for (const double t : times) out.push_back({t, 20.0, 1e-9, 1.0, 0.0});
        return out;
    };
    const auto even = even_bursts(at({0.5, 1.1, 1.7, 2.9, 3.5, 4.1}));   // the one at 2.3 s is missing
    REQUIRE(even);
    CHECK(even->rate_hz == Approx(1 / 0.6).epsilon(0.01));
    CHECK(even->filled > 0.8);
    CHECK_FALSE(even_bursts(at({0.5, 0.9, 2.4, 2.6, 4.0, 4.7})));
}
