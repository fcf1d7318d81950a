#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <random>
#include <vector>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/spectrum/file_spectra.hpp"
#include "hushtrace/spectrum/pair_spectrum.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

std::vector<double> noise(std::size_t frames, double sigma, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> gauss(0, sigma);
    std::vector<double> out(frames);
    for (double& s : out) s = gauss(random);
    return out;
}

PowerSpectrum alone(const std::vector<double>& samples, std::size_t length, WindowKind kind, double overlap) {
    SpectrumAccumulator one(48000, length, kind, overlap);
    one.add(samples);
    return one.result();
}

void require_same(const PowerSpectrum& got, const PowerSpectrum& want, double least) {
    REQUIRE(got.density.size() == want.density.size());
    CHECK(got.segments == want.segments);
    CHECK(got.effective_averages == want.effective_averages);
    CHECK(got.effective_duration_s == want.effective_duration_s);
    double worst = 0;
    for (std::size_t k = 0; k < want.density.size(); ++k)
        worst = std::max(worst, std::abs(got.density[k] - want.density[k]) / (want.density[k] + least));
    CHECK(worst < 1e-9);
}

}  // namespace

TEST_CASE("two channels at once read as two channels one by one", "[pair]") {
    const auto x = noise(30011, 0.1, 1), y = noise(30011, 1e-7, 2);  // 120 dB apart
    const auto kind = GENERATE(WindowKind::hann, WindowKind::blackman_harris);
    const double overlap = GENERATE(0.0, 0.5, 0.66);
    PairSpectrumAccumulator pair(48000, 2000, kind, overlap);
    for (std::size_t at = 0; at < x.size(); at += 777) {
        const std::size_t count = std::min<std::size_t>(777, x.size() - at);
        pair.add(std::span(x).subspan(at, count), std::span(y).subspan(at, count));
    }
    const auto [of_x, of_y] = pair.result();
    require_same(of_x, alone(x, 2000, kind, overlap), 0);
    require_same(of_y, alone(y, 2000, kind, overlap), 0);
}

TEST_CASE("beside a full-scale tone a silent channel stays silent to 280 dB", "[pair]") {
    std::vector<double> x(20000), y(20000, 0.0);
    for (std::size_t n = 0; n < x.size(); ++n) x[n] = std::sin(0.13 * static_cast<double>(n));
    PairSpectrumAccumulator pair(48000, 4000);
    pair.add(x, y);
    const auto [of_x, of_y] = pair.result();
    CHECK(of_y.band_mean_square(0, 24000) < 1e-28 * of_x.band_mean_square(0, 24000));
}

TEST_CASE("pairs refuse what they can't do", "[pair]") {
    CHECK_THROWS_AS(PairSpectrumAccumulator(48000, 7), Error);
    CHECK_THROWS_AS(PairSpectrumAccumulator(0, 8), Error);
    PairSpectrumAccumulator pair(48000, 8), other(48000, 16);
    CHECK_THROWS_AS(pair.add(std::vector<double>(3), std::vector<double>(4)), Error);
    CHECK_THROWS_AS(pair.merge(other), Error);
    CHECK_THROWS_AS(pair.result(), Error);
}

TEST_CASE("a file read by several threads gives what one pass gives", "[file_spectra]") {
    const TemporaryFolder folder;
    const std::size_t channels = GENERATE(1U, 2U, 3U);
    const char* name = GENERATE("take.flac", "take.wav");
    CAPTURE(channels, name);
    const auto file = folder / name;
    const std::size_t frames = 100123;
    Block sound(channels, frames);
    for (std::size_t c = 0; c < channels; ++c) {
        const auto samples = noise(frames, 0.01, 10 + static_cast<unsigned>(c));
        for (std::size_t n = 0; n < frames; ++n)  // 24 bit exactly, so that FLAC loses nothing
            sound.channel(c)[n] = std::round(samples[n] * 8388608) / 8388608;
    }
    {
        TakeWriter writer(file, 48000, channels);
        writer.write(sound);
        writer.close();
    }
    const auto length = [](double) { return std::size_t{3000}; };
    for (const std::size_t threads : {1U, 2U, 5U}) {
        const auto spectra = spectra_of_file(file, length, threads);
        REQUIRE(spectra.size() == channels);
        for (std::size_t c = 0; c < channels; ++c) {
            const auto samples = sound.channel(c);
            require_same(spectra[c], alone({samples.begin(), samples.end()}, 3000, WindowKind::hann, 0.5), 0);
        }
    }
    CHECK(spectra_of_file(file, [](double) { return std::size_t{200000}; }, 2).empty());
    // cut short: the header promises more than there is
    std::filesystem::resize_file(file, std::filesystem::file_size(file) / 2);
    const auto one = spectra_of_file(file, length, 1), two = spectra_of_file(file, length, 2);
    REQUIRE(one.size() == channels);
    REQUIRE(two.size() == channels);
    CHECK(one[0].segments > 25);
    require_same(two[0], one[0], 0);
}
