#include <catch2/catch.hpp>
#include <cmath>

#include "../../src/measure/bessel_i0.hpp"

using namespace hushtrace;

TEST_CASE("the modified Bessel function of order 0", "[bessel_i0]") {
    // the power series in 40 digits; scipy.special.iv(0, x) gives the same
    const struct {
        double x, i0;
    } rows[] = {{0, 1}, {0.5, 1.063483370741324}, {1, 1.266065877752008}, {2, 2.279585302336067}, {5, 27.23987182360445},
                {10, 2815.716628466254},
                {20, 43558282.55955353}, {29.9, 708478330489.0155}, {30, 781672297823.9775},
                {50, 2.932553783849336e+20}, {100, 1.073751707131074e+42},
                {600, 6.146305403936844e+258}};
    for (const auto& [x, i0] : rows) {
        CAPTURE(x);
        CHECK(bessel_i0(x) == Approx(i0).epsilon(2e-14).margin(0));
    }
    for (double x = 0.0; x < 690.0; x += 0.37) {
        CAPTURE(x);
        CHECK(bessel_i0(x) == Approx(std::cyl_bessel_i(0.0, x)).epsilon(1e-12).margin(0));
    }
}
