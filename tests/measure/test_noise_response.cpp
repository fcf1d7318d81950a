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

namespace {

constexpr double kSlow = 8000;

/// The file's own samples, so many late, times a gain; with noise of its own colour so much below it.
std::vector<double> as_written(double seconds, std::size_t start, std::size_t late, double gain, double below_db) {
    std::vector<double> file(static_cast<std::size_t>(seconds * kSlow)), other(file.size());
    ToneGenerator(Pink{-20, 1}, kSlow).render(file);
    ToneGenerator(Pink{-20 - below_db, 99}, kSlow).render(other);
    std::vector<double> out(start + late + file.size() + 800, 0.0);
    for (std::size_t n = 0; n < file.size(); ++n) out[start + late + n] = gain * (file[n] + (below_db < 200 ? other[n] : 0.0));
    return out;
}

}  // namespace

TEST_CASE("noise that is written in the capture's own rate is read to rounding", "[noise response]") {
    const std::size_t late = GENERATE(0U, 24U);
    const auto samples = as_written(4.0, 2000, late, -0.3, 300);
    const double start_s = 2000 / kSlow, delay_s = static_cast<double>(late) / kSlow;
    const auto read = measure_noise_response(samples, kSlow, Pink{-20, 1}, {start_s, 1e-6, 0, 0.1}, 4.0, kSlow);
    CHECK(read.file_rate_hz == kSlow);
    CHECK(read.coarse_delay_s == Approx(delay_s).margin(1e-9));
    REQUIRE(read.transfer.size() == read.coherence.size());
    CHECK(read.transfer.front().frequency_hz >= 20.0);
    CHECK(read.transfer.front().frequency_hz < 20.0 * std::exp2(1.0 / 24));
    CHECK(read.transfer.back().frequency_hz <= 0.42 * kSlow);
    CHECK(read.transfer.back().frequency_hz > 0.42 * kSlow / std::exp2(1.0 / 24));
    for (std::size_t i = 0; i < read.transfer.size(); ++i) {
        const TransferPoint& one = read.transfer[i];
        CHECK(std::abs(one.gain + 0.3 * std::polar(1.0, -2 * pi * one.frequency_hz * delay_s)) < 1e-4);
        CHECK(read.coherence[i] == Approx(1.0).margin(1e-6));
        CHECK(one.noise_power < 1e-8);
        CHECK(one.noise_known);
    }
    // 3.8 s in segments of a sixteenth, 0.2375 s, half overlapping: 1900 samples, 1920 with small factors, 30 of them; Hann's overlap
    // makes 0.95 of that
    CHECK(read.averages == Approx(0.95 * 30).epsilon(0.03));
}

TEST_CASE("where no rate is given the usual ones are tried", "[noise response]") {
    const double rate = 48000;   // the second of them
    std::vector<double> samples(static_cast<std::size_t>(2.3 * rate));
    ToneGenerator(Pink{-20, 1}, rate).render(samples);
    const auto read = measure_noise_response(samples, rate, Pink{-20, 1}, {0.0, 1e-6, 0, 0.1}, 2.3);
    CHECK(read.file_rate_hz == rate);
    CHECK(read.transfer.back().frequency_hz <= 20000.0);
    CHECK(read.transfer.back().frequency_hz > 20000.0 / std::exp2(1.0 / 24));
    for (const TransferPoint& one : read.transfer) CHECK(std::abs(one.gain - 1.0) < 1e-4);
}

TEST_CASE("coherence is the played noise's share, and the stated noise is what the gains stray by", "[noise response]") {
    const auto samples = as_written(12.0, 2000, 8, 0.5, 6.0206);   // 4/5 of the power
    const auto read = measure_noise_response(samples, kSlow, Pink{-20, 1}, {2000 / kSlow, 1e-6, 0, 0.1}, 12.0, kSlow);
    double share = 0, ratio = 0;
    for (std::size_t i = 0; i < read.transfer.size(); ++i) {
        const TransferPoint& one = read.transfer[i];
        const double strays = std::norm(one.gain - 0.5 * std::polar(1.0, -2 * pi * one.frequency_hz * 0.001));
        share += read.coherence[i] / static_cast<double>(read.transfer.size());
        ratio += strays / one.noise_power / static_cast<double>(read.transfer.size());
        // |H|^2 (1 - c) / (n c): n averages of Hann bins, of which 1.5 count as one, where the 24th of an octave holds more
        const double bins = std::max(1.0, one.frequency_hz * (std::exp2(1.0 / 48) - std::exp2(-1.0 / 48)) * 0.74 / 1.5);
        const double c = read.coherence[i];
        if (bins > 10) CHECK(one.noise_power == Approx(std::norm(one.gain) * (1 - c) / (read.averages * bins * c)).epsilon(0.12));
        if (one.frequency_hz < 40.0) CHECK(one.noise_power == Approx(std::norm(one.gain) * (1 - c) / (read.averages * c)).epsilon(0.01));
    }
    CHECK(share == Approx(0.8).margin(0.02));
    CHECK(ratio > 0.6);   // 170 points, of which the lower ones share their bins
    CHECK(ratio < 1.5);
}

TEST_CASE("less than two seconds of noise are refused, as is what can't be it", "[noise response]") {
    const auto samples = as_written(3.0, 2000, 0, 0.5, 300);
    const auto kind = [&](double tone_s, std::optional<double> rate) {
        try {
            measure_noise_response(samples, kSlow, Pink{-20, 1}, {2000 / kSlow, 1e-6, 0, 0.1}, tone_s, rate);
        } catch (const Error& error) {
            return error.kind();
        }
        return ErrorKind::device_failed;
    };
    CHECK(kind(2.21, kSlow) == ErrorKind::device_failed);   // none; a tenth of a second is left out at either end
    CHECK(kind(2.19, kSlow) == ErrorKind::too_short);
    // another seed's noise is read as what it is, where the rate is known
    const NoiseResponse other = measure_noise_response(samples, kSlow, Pink{-20, 5}, {2000 / kSlow, 1e-6, 0, 0.1}, 3.0, kSlow);
    CHECK(other.file_rate_hz == kSlow);
    double share = 0;
    for (const double one : other.coherence) share += one / static_cast<double>(other.coherence.size());
    CHECK(share < 0.15);
}

TEST_CASE("a player's clock and rate of its own are followed", "[noise response]") {
    const double ppm = 200, start_s = 0.3, delay_s = 0.003;
    const auto samples = capture(6000, kSlow, 3.0, start_s, ppm, delay_s);
    const auto read = measure_noise_response(samples, kSlow, Pink{-20, 1}, {start_s, 1e-6, ppm, 0.1}, 3.0, 6000);
    CHECK(read.file_rate_hz == 6000);
    CHECK(read.coarse_delay_s == Approx(delay_s).margin(1.0 / kSlow));
    CHECK(read.transfer.back().frequency_hz <= 0.42 * 6000);
    CHECK(read.transfer.back().frequency_hz > 0.42 * 6000 / std::exp2(1.0 / 24));
    for (std::size_t i = 0; i < read.transfer.size(); ++i) {
        const TransferPoint& one = read.transfer[i];
        CHECK(std::abs(one.gain - std::polar(1.0, -2 * pi * one.frequency_hz * delay_s)) < 0.003);
        CHECK(read.coherence[i] > 0.9999);
    }
}
