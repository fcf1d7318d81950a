#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

namespace {

std::vector<double> noise(std::size_t count, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> samples(count);
    for (double& sample : samples) sample = normal(engine);
    return samples;
}
std::vector<double> tone(std::size_t count, double frequency_hz, double amplitude, double rate) {
    std::vector<double> samples(count);
    for (std::size_t n = 0; n < count; ++n)
        samples[n] =
            amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate);
    return samples;
}

}  // namespace

TEST_CASE("a tone on a bin reads its mean square, whatever the window", "[spectrum]") {
    // a sine of amplitude A has mean square A²/2
    const auto x = tone(96000, 1000.0, 0.5, 48000);
    for (const WindowKind kind : {WindowKind::hann, WindowKind::blackman_harris, WindowKind::hft144d}) {
        SpectrumAccumulator spectrum(48000, 4800, kind, 0.5);
        spectrum.add(x);
        const auto result = spectrum.result();
        CHECK(result.tone_mean_square(result.bin_of(1000.0)) == Approx(0.125).epsilon(1e-9));
        CHECK(result.band_mean_square(800, 1200) == Approx(0.125).epsilon(1e-4));
    }
}

TEST_CASE("white noise reads its density in every band and its power in all of it", "[spectrum]") {
    // unit variance spread over 0..fs/2: density 2/fs. 400 averages: 5 %, a tenth of a band 0.3 %
    const auto x = noise(48000 * 20, 1.0, 7);
    SpectrumAccumulator spectrum(48000, 4096);
    spectrum.add(x);
    const auto result = spectrum.result();
    CHECK(result.band_mean_square(0, 24000) == Approx(1.0).epsilon(0.01));
    CHECK(result.band_mean_square(1000, 3000) == Approx(2000.0 / 24000.0).epsilon(0.02));
    CHECK(result.band_mean_square(1000, 1000.5) == Approx(0.5 / 24000.0).epsilon(0.3));
}

// Welch 1967, IEEE Trans. AU-15(2): tests/reference/estimator_limits_welch.csv, formula tolerance 1e-5.
TEST_CASE("effective averages are Welch's", "[spectrum]") {
    std::size_t checked = 0;
    for (const auto& row : reference::table("estimator_limits_welch.csv")) {
        const auto kind = row.text("window") == "hann" ? WindowKind::hann : WindowKind::rectangular;
        const double overlap = row.number("overlap_percent") / 100.0;
        const auto segments = static_cast<std::size_t>(row.number("segments"));
        constexpr std::size_t length = 1024;
        SpectrumAccumulator spectrum(48000, length, kind, overlap);
        const auto hop = static_cast<std::size_t>(std::lround((1.0 - overlap) * length));
        spectrum.add(std::vector<double>(length + (segments - 1) * hop, 0.0));
        REQUIRE(spectrum.segments() == segments);
        CHECK(spectrum.result().effective_averages == Approx(row.number("effective_averages")).epsilon(2e-4));
        ++checked;
    }
    CHECK(checked > 40);
}

TEST_CASE("the spread of a density estimate is what its effective averages say", "[spectrum]") {
    SpectrumAccumulator spectrum(48000, 512, WindowKind::hann, 0.5);
    spectrum.add(noise(512 * 200, 1.0, 11));
    const auto result = spectrum.result();
    double sum = 0, squares = 0;
    for (std::size_t k = 2; k + 2 < result.density.size(); ++k) {
        sum += result.density[k];
        squares += result.density[k] * result.density[k];
    }
    const double count = static_cast<double>(result.density.size() - 4);
    const double mean = sum / count;
    const double relative_sd = std::sqrt(squares / count - mean * mean) / mean;
    CHECK(relative_sd == Approx(1.0 / std::sqrt(result.effective_averages)).epsilon(0.15));
}

TEST_CASE("a spectrum does not depend on how its samples were cut into blocks", "[spectrum]") {
    const auto x = noise(30000, 0.1, 3);
    SpectrumAccumulator whole(48000, 2000), pieces(48000, 2000);
    whole.add(x);
    for (std::size_t at = 0, size = 1; at < x.size(); at += size, size = size * 7 % 1009 + 1)
        pieces.add(std::span(x).subspan(at, std::min(size, x.size() - at)));
    REQUIRE(whole.segments() == pieces.segments());
    CHECK(whole.result().density == pieces.result().density);
}

TEST_CASE("less than one segment is too short, not zero", "[spectrum]") {
    SpectrumAccumulator spectrum(48000, 4096);
    spectrum.add(std::vector<double>(4095));
    CHECK_THROWS_AS(spectrum.result(), Error);
}

TEST_CASE("a delayed half-size copy has transfer one half with the delay's phase, coherence 1",
          "[spectrum]") {
    const auto x = noise(48000 * 4 + 5, 1.0, 5);
    std::vector<double> from(x.begin() + 5, x.end()), to(x.begin(), x.end() - 5);  // `to` is 5 samples later
    for (double& sample : to) sample *= 0.5;
    CrossAccumulator cross(48000, 4096);
    for (std::size_t at = 0; at < from.size(); at += 1000)
        cross.add(std::span(from).subspan(at, std::min<std::size_t>(1000, from.size() - at)),
                  std::span(to).subspan(at, std::min<std::size_t>(1000, to.size() - at)));
    const auto result = cross.result();
    const std::size_t bin = result.x.bin_of(3000.0);
    CHECK(result.coherence(bin) == Approx(1.0).margin(0.001));
    CHECK(std::abs(result.transfer(bin)) == Approx(0.5).epsilon(0.01));
    CHECK(std::arg(result.transfer(bin)) ==
          Approx(-2 * std::numbers::pi * result.x.frequency_hz(bin) * 5 / 48000).margin(0.01));
}

TEST_CASE("unrelated channels have a coherence of one over the averages", "[spectrum]") {
    CrossAccumulator cross(48000, 1024, WindowKind::hann, 0.0);
    cross.add(noise(1024 * 100, 1.0, 1), noise(1024 * 100, 1.0, 2));
    const auto result = cross.result();
    double mean = 0;
    for (std::size_t k = 1; k < 512; ++k) mean += result.coherence(k) / 511.0;
    CHECK(mean == Approx(0.01).margin(0.002));
}

TEST_CASE("a spectrogram stays bounded and keeps the power of what came", "[spectrum]") {
    const auto x = noise(512 * 1000, 1.0, 9);
    SpectrogramAccumulator picture(48000, 512, 64);
    picture.add(x);
    const auto result = picture.result();
    CHECK(result.columns.size() < 64);
    CHECK(result.columns.size() >= 31);
    CHECK(result.column_s * static_cast<double>(result.columns.size()) ==
          Approx(512.0 * 1000 / 48000).epsilon(0.04));
    double mean = 0;
    for (const auto& column : result.columns)
        mean += column[100] / static_cast<double>(result.columns.size());
    CHECK(mean == Approx(2.0 / 48000).epsilon(0.15));
}

TEST_CASE("a spectrogram does not depend on how its samples were cut into blocks", "[spectrum]") {
    std::vector<double> x(20000);
    for (std::size_t i = 0; i < x.size(); ++i) x[i] = std::sin(0.01 * static_cast<double>(i * (i % 97)));
    for (const std::size_t hop : {std::size_t{250}, std::size_t{600}, std::size_t{1000}, std::size_t{1700}}) {
        const auto columns = [&](std::size_t first, std::size_t block) {
            std::vector<std::pair<double, std::vector<double>>> out;
            SpectrogramStream stream(8000.0, 1000, hop, WindowKind::hann, [&](double time_s, std::span<const double> density) {
                out.emplace_back(time_s, std::vector<double>(density.begin(), density.end()));
            });
            std::size_t at = 0;
            while (at < x.size()) {
                const std::size_t count = std::min(at == 0 ? first : block, x.size() - at);
                stream.add(std::span<const double>(x).subspan(at, count));
                at += count;
            }
            return out;
        };
        const auto whole = columns(x.size(), 1);
        CHECK(whole.size() == (x.size() - 1000) / hop + 1);
        for (const std::size_t block : {std::size_t{1}, std::size_t{77}, std::size_t{999}, std::size_t{1000}, std::size_t{1001}, std::size_t{4096}})
            for (const std::size_t first : {std::size_t{1}, std::size_t{999}, std::size_t{3333}}) CHECK(columns(first, block) == whole);
    }
}

TEST_CASE("a spectrogram puts a chirp where it was", "[spectrum]") {
    // 1000 Hz in the first half, 5000 Hz in the second
    auto x = tone(48000, 1000, 1, 48000);
    const auto second = tone(48000, 5000, 1, 48000);
    x.insert(x.end(), second.begin(), second.end());
    std::vector<std::pair<double, double>> peaks;
    SpectrogramStream stream(
        48000, 2400, 1200, WindowKind::hann, [&](double time_s, std::span<const double> density) {
            const auto top = std::max_element(density.begin(), density.end()) - density.begin();
            peaks.emplace_back(time_s, static_cast<double>(top) * 20.0);
        });
    stream.add(x);
    REQUIRE(peaks.size() == 79);
    for (const auto& [time_s, frequency_hz] : peaks)
        if (std::abs(time_s - 1.0) > 0.03) CHECK(frequency_hz == (time_s < 1.0 ? 1000.0 : 5000.0));
}
