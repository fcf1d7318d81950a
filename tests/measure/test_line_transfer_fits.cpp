#include "hushtrace/measure/line_transfer.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <random>

using namespace hushtrace;
using Complex = std::complex<double>;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

LineTransferPoint point(double frequency_hz, Complex gain, double relative_sd) {
    return {1.0, frequency_hz, gain, 0.99, 50.0, relative_sd};
}

}  // namespace

TEST_CASE("a slope's interval is as wide as its span is short", "[line_transfer]") {
    std::vector<LineTransferPoint> points;
    for (const double f : {500.0, 1000.0, 2000.0, 4000.0, 8000.0}) points.push_back(point(f, 1e-6 * f, 0.02));
    const auto wide = fit_slope(points);
    REQUIRE(wide);
    CHECK(wide->db_per_decade.value == Approx(20.0).margin(1e-6));  // a gain that grows as f
    CHECK(wide->decades == Approx(std::log10(16.0)));
    // sd of a slope: sigma / sqrt(sum u^2), sigma = 0.02 * 8.686 dB, u = -2..2 octaves of log10 2
    CHECK(wide->db_per_decade.sd == Approx(0.02 * 8.6859 / (std::sqrt(10.0) * std::log10(2.0))).epsilon(0.01));
    std::vector<LineTransferPoint> narrow;
    for (const double f : {1000.0, 1050.0, 1100.0, 1150.0}) narrow.push_back(point(f, 1e-6 * f, 0.02));
    const auto short_one = fit_slope(narrow);
    REQUIRE(short_one);
    CHECK(short_one->db_per_decade.sd > 3.5);
    CHECK(short_one->db_per_decade.low() < 20.0);
    CHECK(short_one->db_per_decade.high() > 20.0);
}

TEST_CASE("points that scatter by more than they state widen the interval: 95 % hold the truth", "[line_transfer]") {
    std::mt19937_64 engine(11);
    std::normal_distribution<double> normal(0.0, 1.5);  // dB, beyond the stated 0.1
    int held = 0;
    constexpr int runs = 2000;
    for (int run = 0; run < runs; ++run) {
        std::vector<LineTransferPoint> points;
        for (int k = 0; k < 5; ++k) {
            const double f = 800.0 * std::pow(2.0, 0.5 * k);
            points.push_back(point(f, std::pow(10.0, (normal(engine) - 20.0 * std::log10(f)) / 20.0), 0.0115));
        }
        const auto fitted = fit_slope(points);
        REQUIRE(fitted);
        if (fitted->db_per_decade.low() < -20.0 && fitted->db_per_decade.high() > -20.0) ++held;
    }
    INFO(held << " of " << runs);
    CHECK(held > 0.93 * runs);
    CHECK(held < 0.985 * runs);
}

TEST_CASE("a resistance and an inductance in series are told apart, with their corner", "[line_transfer]") {
    std::mt19937_64 engine(12);
    std::normal_distribution<double> normal(0.0, 0.02);
    std::vector<LineTransferPoint> points;
    for (double f = 150.0; f < 5000.0; f *= 1.25) {
        const Complex z(0.020, kTurn * f * 5e-6);
        points.push_back(point(f, z + std::abs(z) * Complex(normal(engine), normal(engine)), 0.02));
    }
    const auto fitted = fit_series_impedance(points);
    REQUIRE(fitted);
    CHECK_FALSE(fitted->capacitance_f);
    CHECK(fitted->resistance_ohm.value == Approx(0.020).margin(2.5 * fitted->resistance_ohm.sd));
    CHECK(fitted->inductance_h.value == Approx(5e-6).margin(2.5 * fitted->inductance_h.sd));
    CHECK(fitted->resistance_ohm.sd < 0.001);
    CHECK(fitted->inductance_h.sd < 2e-7);
    CHECK(fitted->corner_hz.value == Approx(0.020 / (kTurn * 5e-6)).epsilon(0.06));
}

TEST_CASE("the capacitors at a feed's end are not taken for an inductance", "[line_transfer]") {
    std::vector<LineTransferPoint> points;
    for (double f = 300.0; f < 9000.0; f *= 1.3) points.push_back(point(f, Complex(0.03, kTurn * f * 2.2e-6 - 1.0 / (kTurn * f * 6e-3)), 0.01));
    const auto fitted = fit_series_impedance(points);
    REQUIRE(fitted);
    REQUIRE(fitted->capacitance_f);
    CHECK(fitted->resistance_ohm.value == Approx(0.03).epsilon(0.01));
    CHECK(fitted->inductance_h.value == Approx(2.2e-6).epsilon(0.01));
    CHECK(fitted->capacitance_f->value == Approx(6e-3).epsilon(0.01));
}

TEST_CASE("a point's gain in decibels is limited by noise from 6 % on", "[line_transfer]") {
    const Reading reading = point(1000.0, {0.0, 0.1}, 0.0599).magnitude_db();
    CHECK(reading.value == Approx(-20.0));
    CHECK(reading.sd == Approx(20.0 / std::log(10.0) * 0.0599));
    CHECK(reading.limited_by == LimitedBy::nothing);
    CHECK(point(1000.0, 1.0, 0.0601).magnitude_db().limited_by == LimitedBy::noise);
}

TEST_CASE("a slope's uncertainty is that of least squares, with Student's t for so few points", "[line_transfer]") {
    // t of 97.5 % for n - 2 degrees of freedom, from any table; twice the standard deviation is the least
    const auto [n, student] = GENERATE(
        table<int, double>({{3, 12.706}, {4, 4.303}, {5, 3.182}, {6, 2.776}, {7, 2.571}, {12, 2.228}, {32, 2.042}, {202, 2.0}}));
    const double exact_to = n == 5 ? 0.008 : 0.003;
    CAPTURE(n);
    // A parabola about the line, which neither its height nor its slope takes up: steps of an eighth of an octave, 3 dB per octave
    std::vector<LineTransferPoint> points;
    double u_squares = 0, left = 0;
    const double step = std::log10(2.0) / 8.0, middle = 0.5 * (n - 1), curve = (n * n - 1) / 12.0;
    for (int k = 0; k < n; ++k) {
        const double x = k - middle, off_db = 0.5 * (x * x - curve) / curve;
        points.push_back(point(1000.0 * std::pow(2.0, 0.125 * k), std::pow(10.0, (3.0 * 0.125 * k + off_db) / 20.0), 1e-3));
        u_squares += x * x * step * step;
        left += off_db * off_db;
    }
    const auto fitted = fit_slope(points);
    REQUIRE(fitted);
    const double own_db = 20.0 / std::log(10.0) * 1e-3, scatter = std::sqrt(left / (n - 2));   // chi squared is n - 2 with this
    CHECK(fitted->db_per_decade.value == Approx(3.0 / std::log10(2.0)));
    CHECK(fitted->db_per_decade.sd == Approx(0.5 * student * scatter / std::sqrt(u_squares)).epsilon(exact_to));
    CHECK(fitted->db_per_decade.limited_by == LimitedBy::nothing);
    CHECK(fitted->middle_db.value == Approx(3.0 * 0.125 * middle).margin(1e-9));
    CHECK(fitted->middle_db.sd == Approx(0.5 * student * scatter / std::sqrt(n)).epsilon(exact_to));
    CHECK(fitted->middle_hz == Approx(1000.0 * std::pow(2.0, 0.125 * middle)));
    CHECK(fitted->decades == Approx((n - 1) * step));
    CHECK(fitted->scatter_db == Approx(std::sqrt(scatter * scatter - own_db * own_db)).epsilon(1e-6));
}

TEST_CASE("surer points weigh more in a slope's middle, in no order", "[line_transfer]") {
    // weights 1, 4, 1 at 4000, 1000 and 2000 Hz: log2 of f / 1000 is 3/6 on the mean
    const std::vector<LineTransferPoint> points = {point(4000.0, 4.0, 0.04), point(1000.0, 1.0, 0.02), point(2000.0, 2.0, 0.04)};
    const auto fitted = fit_slope(points);
    REQUIRE(fitted);
    CHECK(fitted->scatter_db == 0.0);
    CHECK(fitted->middle_hz == Approx(1000.0 * std::sqrt(2.0)).epsilon(1e-3));
    CHECK(fitted->middle_db.value == Approx(20.0 * std::log10(std::sqrt(2.0))).epsilon(2e-3));
    CHECK(fitted->middle_db.sd == Approx(20.0 / std::log(10.0) * 0.04 / std::sqrt(6.0)).epsilon(2e-3));
    CHECK(fitted->decades == Approx(std::log10(4.0)));
    const std::vector<LineTransferPoint> exact = {point(1000.0, 1.0, 0.0), point(2000.0, 1.0, 0.0), point(4000.0, 1.0, 0.0)};
    CHECK(fit_slope(exact)->middle_db.sd == Approx(0.01 / std::sqrt(3.0)));   // none is known to better than 0.01 dB
}

TEST_CASE("what a slope or an impedance can't be read from", "[line_transfer]") {
    const auto three = [](double highest_hz, Complex gain = {0.02, 0.03}) {
        return std::vector<LineTransferPoint>{point(1000.0, gain, 0.01), point(1020.0, {0.02, 0.03}, 0.01), point(highest_hz, {0.02, 0.03}, 0.01)};
    };
    CHECK(fit_slope(three(1051.0)));
    CHECK_FALSE(fit_slope(three(1049.0)));   // within 5 %
    for (const double gain : {0.0, std::numeric_limits<double>::infinity()}) CHECK_FALSE(fit_slope(three(2000.0, gain)));
    auto at_nought = three(2000.0);
    at_nought[0].frequency_hz = 0.0;
    CHECK_FALSE(fit_slope(at_nought));
    CHECK(fit_series_impedance(three(1415.0)));
    CHECK_FALSE(fit_series_impedance(three(1413.0)));   // within half an octave
    // Neither R nor L may drown: at 10 % of |Z|, 1 ohm at 1 kHz, R is known to 0.1 / sqrt(1 + 1 + 1/2) ohm beside much L, the reactance
    // to 0.1 / sqrt(1 + 1 + 2) ohm beside much R.
    const auto of = [](double ohm, double reactance) {
        std::vector<LineTransferPoint> out;
        for (const double f : {999.0, 1000.0, 1414.0}) out.push_back(point(f, {ohm, reactance * f / 1000.0}, 0.1));
        return out;
    };
    CHECK(fit_series_impedance(of(0.070, 1.0)));
    CHECK_FALSE(fit_series_impedance(of(0.058, 1.0)));
    CHECK(fit_series_impedance(of(1.0, 0.055)));
    CHECK_FALSE(fit_series_impedance(of(1.0, 0.047)));
}

TEST_CASE("an impedance's figures and uncertainties are those of weighted least squares", "[line_transfer]") {
    // Each frequency twice, turned to and fro by an angle: the magnitudes stay, the mean is Z times its cosine, and what is left is
    // its sine of |Z| everywhere. Chi squared is then n sin^2 / (own^2 + misfit^2).
    const bool capacitance = GENERATE(false, true);
    const double angle = GENERATE(0.0, 0.05);
    CAPTURE(capacitance, angle);
    const double own = 0.004, ohm = 0.02, henry = 5e-6, farad = 2e-3;
    std::vector<LineTransferPoint> points;
    double over_z = 0, omega_over_z = 0, over_omega_z = 0;   // sums of 1, omega^2 and 1 / omega^2 over |Z|^2
    for (const double f : {3000.0, 300.0, 700.0, 1500.0}) {
        const double omega = kTurn * f;
        const Complex z(ohm, omega * henry - (capacitance ? 1.0 / (omega * farad) : 0.0));
        for (const double sign : {-1.0, 1.0}) {
            points.push_back(point(f, z * std::polar(1.0, sign * angle), own));
            over_z += 1.0 / std::norm(z);
            omega_over_z += omega * omega / std::norm(z);
            over_omega_z += 1.0 / (omega * omega * std::norm(z));
        }
    }
    const auto fitted = fit_series_impedance(points);
    REQUIRE(fitted);
    const double n = 8, freedom = 2 * n - (capacitance ? 3 : 2), sine = std::sin(angle), cosine = std::cos(angle);
    const double misfit = angle > 0.0 ? std::sqrt(n * sine * sine / freedom - own * own) : 0.0;
    const double student = angle > 0.0 ? 0.5 * (capacitance ? 2.160 : 2.145) : 1.0;   // 13 and 14 degrees of freedom
    const double noise = student * std::hypot(own, std::max(misfit, 1e-4));
    CHECK(fitted->misfit == Approx(misfit).epsilon(1e-6));
    CHECK(fitted->resistance_ohm.value == Approx(ohm * cosine));
    CHECK(fitted->resistance_ohm.sd == Approx(noise / std::sqrt(over_z)).epsilon(0.004));
    CHECK(fitted->inductance_h.value == Approx(henry * cosine));
    CHECK(fitted->from_hz == 300.0);
    CHECK(fitted->to_hz == 3000.0);
    CHECK(fitted->corner_hz.value == Approx(ohm / (kTurn * henry)));
    CHECK(fitted->corner_hz.sd / fitted->corner_hz.value ==
          Approx(std::hypot(fitted->resistance_ohm.sd / (ohm * cosine), fitted->inductance_h.sd / (henry * cosine))));
    REQUIRE(fitted->capacitance_f.has_value() == capacitance);
    if (!capacitance) {
        CHECK(fitted->inductance_h.sd == Approx(noise / std::sqrt(omega_over_z)).epsilon(0.004));
        return;
    }
    // two unknowns, L and 1/C: the inverse of their normal matrix [a, b; b, c], b = -sum of 1 / |Z|^2
    const double determinant = omega_over_z * over_omega_z - over_z * over_z;
    CHECK(fitted->inductance_h.sd == Approx(noise * std::sqrt(over_omega_z / determinant)).epsilon(0.004));
    CHECK(fitted->capacitance_f->value == Approx(farad / cosine));
    CHECK(fitted->capacitance_f->sd / fitted->capacitance_f->value ==
          Approx(noise * std::sqrt(omega_over_z / determinant) * farad / cosine).epsilon(0.004));
}
