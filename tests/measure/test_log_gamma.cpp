#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/log_gamma.hpp"

using namespace hushtrace;

TEST_CASE("the logarithm of the gamma function is that of factorials and of half a turn's root", "[statistics]") {
    // NIST DLMF 5.4.1: Gamma(n + 1) = n!; 5.4.6: Gamma(1/2) = sqrt(pi)
    CHECK(log_gamma(10.0) == Approx(std::log(362880.0)).epsilon(1e-14));
    CHECK(log_gamma(0.5) == Approx(0.5 * std::log(std::numbers::pi)).epsilon(1e-14));
    CHECK(log_gamma(1.0) == Approx(0.0).margin(1e-15));
    for (const double x : {0.1, 1.7, 33.3, 1e5}) CHECK(log_gamma(x) == std::lgamma(x));
}

TEST_CASE("ways to choose are counted as Pascal's triangle has them", "[statistics]") {
    CHECK(std::exp(log_choose(10, 3)) == Approx(120.0).epsilon(1e-12));
    CHECK(std::exp(log_choose(52, 5)) == Approx(2598960.0).epsilon(1e-12));
    CHECK(log_choose(7, 0) == Approx(0.0).margin(1e-14));
    CHECK(log_choose(7, 7) == Approx(0.0).margin(1e-14));
}
