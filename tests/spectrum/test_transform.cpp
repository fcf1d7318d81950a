#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

using namespace hushtrace;

namespace {

std::vector<double> random_samples(std::size_t count, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal;
    std::vector<double> samples(count);
    for (double& sample : samples) sample = normal(engine);
    return samples;
}

}  // namespace

TEST_CASE("the fast transform equals the plain sum, at lengths of every kind of factor", "[spectrum]") {
    for (const std::size_t n : {2u, 4u, 6u, 10u, 14u, 16u, 22u, 30u, 48u, 60u, 210u, 256u, 500u}) {
        CAPTURE(n);
        const auto x = random_samples(n, static_cast<unsigned>(n));
        RealTransform transform(n);
        std::vector<std::complex<double>> bins(transform.bins());
        transform.forward(x, bins);
        for (std::size_t k = 0; k < bins.size(); ++k) {
            std::complex<double> sum = 0;
            for (std::size_t i = 0; i < n; ++i)
                sum += x[i] * std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>((i * k) % n) /
                                                  static_cast<double>(n));
            CHECK(std::abs(sum - bins[k]) < 1e-12 * static_cast<double>(n));
        }
        std::vector<double> back(n);
        transform.inverse(bins, back);
        for (std::size_t i = 0; i < n; ++i)
            CHECK(back[i] == Approx(x[i]).margin(1e-13 * static_cast<double>(n)));
    }
}

TEST_CASE("a transform refuses odd lengths and spans of another length", "[spectrum]") {
    CHECK_THROWS_AS(RealTransform(0), Error);
    CHECK_THROWS_AS(RealTransform(7), Error);
    RealTransform transform(8);
    std::vector<double> x(7);
    std::vector<std::complex<double>> bins(5);
    CHECK_THROWS_AS(transform.forward(x, bins), Error);
}

TEST_CASE("the rounding floor of the transform lies below -165 dB of a full-scale tone", "[spectrum]") {
    // 65536 points, a tone on a bin: every other bin holds rounding alone. The float build reads -142 to
    // -148.
    constexpr std::size_t n = 65536;
    std::vector<double> x(n);
    for (std::size_t i = 0; i < n; ++i)
        x[i] =
            std::sin(2.0 * std::numbers::pi * static_cast<double>((i * 1361) % n) / static_cast<double>(n));
    RealTransform transform(n);
    std::vector<std::complex<double>> bins(transform.bins());
    transform.forward(x, bins);
    double worst = 0;
    for (std::size_t k = 0; k < bins.size(); ++k)
        if (k != 1361) worst = std::max(worst, std::abs(bins[k]));
    CHECK(20 * std::log10(worst / std::abs(bins[1361])) < -165.0);
}

TEST_CASE("under HFT248D a tone between two bins leaves nothing above -165 dB beyond its lobe", "[spectrum]") {
    constexpr std::size_t n = 65536;
    const std::vector<double> window = window_samples(WindowKind::hft248d, n);
    const auto lobe = static_cast<std::ptrdiff_t>(window_facts(WindowKind::hft248d).main_lobe_bins);
    RealTransform transform(n);
    std::vector<std::complex<double>> bins(transform.bins());
    double worst_db = -1000;
    for (const double place : {1361.0, 1361.5, 57.31, 14000.77, 29491.2}) {
        std::vector<double> x(n);
        for (std::size_t i = 0; i < n; ++i)
            x[i] = window[i] * std::sin(2.0 * std::numbers::pi *
                                        std::fmod(place * static_cast<double>(i), static_cast<double>(n)) /
                                        static_cast<double>(n));
        transform.forward(x, bins);
        const auto centre = static_cast<std::ptrdiff_t>(std::lround(place));
        double worst = 0;
        for (std::ptrdiff_t k = 0; k < static_cast<std::ptrdiff_t>(bins.size()); ++k)
            if (std::abs(k - centre) > lobe) worst = std::max(worst, std::abs(bins[static_cast<std::size_t>(k)]));
        const double db = 20 * std::log10(worst / std::abs(bins[static_cast<std::size_t>(centre)]));
        CAPTURE(place);
        CHECK(db < -165.0);
        worst_db = std::max(worst_db, db);
    }
    WARN("worst bin beyond the lobe: " << worst_db << " dB of the tone");
}

TEST_CASE("fast_length gives the next even product of 2, 3 and 5", "[spectrum]") {
    CHECK(fast_length(1) == 2);
    CHECK(fast_length(2) == 2);
    CHECK(fast_length(7) == 8);
    CHECK(fast_length(11) == 12);
    CHECK(fast_length(97) == 100);
    CHECK(fast_length(4097) == 4320);
    CHECK(fast_length(48000) == 48000);
    for (std::size_t least = 1; least < 3000; ++least) {
        std::size_t n = fast_length(least);
        REQUIRE(n >= least);
        REQUIRE(n % 2 == 0);
        for (const std::size_t factor : {2u, 3u, 5u})
            while (n % factor == 0) n /= factor;
        REQUIRE(n == 1);
    }
}
