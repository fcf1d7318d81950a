// Response by pink noise that a player with its own clock played, through filters known on paper.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/measure/noise_response.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;
using sweep_maker::pi;

namespace {

// The file's noise at the capture's instants by a sinc of 400 taps under a Gaussian: another window than the code's.
std::vector<double> capture(double file_rate, double rate, double seconds, double start_s, double ppm, double delay_s) {
    std::vector<double> file(static_cast<std::size_t>(seconds * file_rate));
    ToneGenerator(Pink{-20, 1}, file_rate).render(file);
    std::vector<double> out(static_cast<std::size_t>((start_s + seconds + 0.5) * rate), 0.0);
    constexpr std::ptrdiff_t half = 60;
    for (std::size_t i = 0; i < out.size(); ++i) {
        const double place = (static_cast<double>(i) / rate - start_s - delay_s) / (1 + 1e-6 * ppm) * file_rate;
        const auto centre = static_cast<std::ptrdiff_t>(std::floor(place));
        const double part = place - static_cast<double>(centre), sine = std::sin(pi * part) / pi;
        for (std::ptrdiff_t k = -half; k <= half; ++k) {
            const std::ptrdiff_t from = centre + k;
            if (from < 0 || from >= static_cast<std::ptrdiff_t>(file.size())) continue;
            const double t = part - static_cast<double>(k);
            const double sinc = std::abs(t) < 1e-12 ? 1.0 : (k % 2 == 0 ? sine : -sine) / t;
            out[i] += file[static_cast<std::size_t>(from)] * sinc * std::exp(-t * t / (2 * 18.0 * 18.0));
        }
    }
    return out;
}

}  // namespace

TEST_CASE("pink noise reads a filter, its delay and its own uncertainty whatever the clock does", "[noise response]") {
    const double rate = 48000, file_rate = 44100, seconds = 10, start_s = 0.7654321, delay_s = 0.0123;
    const double ppm = GENERATE(-200.0, 150.0);
    auto samples = capture(file_rate, rate, seconds, start_s, ppm, delay_s);
    const std::vector<sweep_maker::Section> path = {sweep_maker::high_pass_rc(20, rate), sweep_maker::low_pass(4000, rate)};
    sweep_maker::filter(samples, path);
    sweep_maker::add_noise(samples, 0.1 / std::sqrt(2.0) * 0.01, 3);
    const NoiseResponse response = measure_noise_response(samples, rate, Pink{-20, 1}, {start_s, 1e-6, ppm, 0.1}, seconds);
    CHECK(response.file_rate_hz == file_rate);
    CHECK(response.coarse_delay_s == Approx(delay_s).margin(1e-3));
    REQUIRE(response.transfer.size() > 200);
    double worst = 0;
    int within = 0, points = 0;
    for (const TransferPoint& p : response.transfer) {
        const auto truth = sweep_maker::response(path, p.frequency_hz, rate);
        const Reading reading = p.magnitude_db();
        const double off = reading.value - 20 * std::log10(std::abs(truth));
        if (p.frequency_hz < 40 || p.frequency_hz > 15000) continue;
        if (reading.sd < 0.012) worst = std::max(worst, std::abs(off));
        within += std::abs(off) < 2 * reading.sd;
        ++points;
    }
    UNSCOPED_INFO("worst " << worst << " dB, " << within << " of " << points << " within two sd");
    CHECK(worst < 0.05);
    CHECK(within > 0.85 * points);
    const auto fit = fit_delay(response.transfer, {response.coarse_delay_s, 0, 3000, {}, {}});
    REQUIRE(fit);
    // the low-pass is bilinear, so its slope beyond the noise's band isn't that at its end: the sd must hold that
    CHECK(fit->delay_s.value == Approx(delay_s).margin(60e-6));
    CHECK(std::abs(fit->delay_s.value - delay_s) < 4 * fit->delay_s.sd);
    CHECK_FALSE(fit->inverted);
}

TEST_CASE("noise that was not played is not read", "[noise response]") {
    const double rate = 48000;
    std::vector<double> samples(static_cast<std::size_t>(6 * rate), 0.0);
    const TonePlace place{0.5, 1e-6, 0, 0.1};
    SECTION("silence") {}
    SECTION("dc") { std::fill(samples.begin(), samples.end(), 0.5); }
    SECTION("other noise") { sweep_maker::add_noise(samples, 0.1, 7); }
    CHECK_THROWS_AS(measure_noise_response(samples, rate, Pink{-20, 1}, place, 5), Error);
    CHECK_THROWS_AS(measure_noise_response(std::span(samples).first(60000), rate, Pink{-20, 1}, place, 5), Error);
    samples[99999] = std::nan("");
    CHECK_THROWS_AS(measure_noise_response(samples, rate, Pink{-20, 1}, place, 5), Error);
}
