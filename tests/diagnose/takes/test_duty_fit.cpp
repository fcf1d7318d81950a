#include "../../../src/diagnose/takes/duty_fit.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace hushtrace;

namespace {

/// Lines of a pulse train of 0 dB [20 lg |sin(pi n duty) / (pi n)|, tilted by powers of n], in the second of two channels; those in `left_out`
/// don't stand.
LineComb pulses(double duty, double tilt, int lines, double level_db = -60, const std::vector<int>& left_out = {}) {
    LineComb comb;
    comb.spacing_hz = 100;
    for (int n = 1; n <= lines; ++n) {
        if (std::find(left_out.begin(), left_out.end(), n) != left_out.end()) continue;
        const double shape = std::abs(std::sin(std::numbers::pi * n * duty) / (std::numbers::pi * n)) * std::pow(n, tilt);
        CombTooth tooth;
        tooth.number = n;
        tooth.mean_square = {1e-3, std::pow(10.0, level_db / 10) * shape * shape};
        comb.teeth.push_back(tooth);
    }
    return comb;
}

}  // namespace

TEST_CASE("a comb's lines give the duty and the tilt of the pulses that make it", "[duty]") {
    for (const double duty : {0.11, 0.22, 0.31, 0.43})
        for (const double tilt : {-1.0, 0.0, 0.5}) {
            INFO(duty << " " << tilt);
            const DutyFit fit = fit_duty(pulses(duty, tilt, 12), 1, std::vector<double>(12, 0.0));
            CHECK(fit.lines == 12);
            CHECK(fit.duty == Approx(duty).margin(0.01));
            CHECK(fit.tilt == Approx(tilt).margin(0.15));
            CHECK(fit.misfit_db < 0.5);
            CHECK(fit.duty_sd >= 0.005);   // no better than the steps in which it is tried
            CHECK(fit.duty_sd < 0.02);
        }
    // half on: even lines stand nowhere, and their places say so
    const DutyFit half = fit_duty(pulses(0.5, 0, 11, -60, {2, 4, 6, 8, 10}), 1, std::vector<double>(11, 1e-10));
    CHECK(half.lines == 6);
    CHECK(half.duty == Approx(0.5).margin(0.02));
}

TEST_CASE("what a comb leaves open is as wide as its lines allow", "[duty]") {
    const auto fit = [](const LineComb& comb, std::size_t places, double least = 0) { return fit_duty(comb, 1, std::vector<double>(places, least)); };
    const DutyFit none = fit(pulses(0.31, 0, 1), 1);
    CHECK(none.lines == 1);   // one line fits any pulse
    CHECK(none.duty == 0.5);
    CHECK(none.duty_sd == 0.3);
    CHECK(none.tilt == 0);
    CHECK(none.misfit_db == 0);
    CHECK(fit(pulses(0.31, 0, 2), 2).lines == 2);
    CHECK(fit(pulses(0.31, 0, 2), 2).duty_sd > 5 * fit(pulses(0.31, 0, 12), 12).duty_sd);
    CHECK(fit(pulses(0.31, 0, 12), 5).lines == 5);   // no place that wasn't looked at
    CHECK(fit_duty(pulses(0.31, 0, 12), 2, std::vector<double>(12, 0.0)).lines == 0);   // no such channel
    CHECK(fit_duty(pulses(0.31, 0, 12), 0, std::vector<double>(12, 0.0)).duty < 0.05);   // lines alike: the edges of a short pulse through a coil
    // three lines on one slope: places where a wide pulse would show a line and none stands speak for its null there
    const LineComb three = pulses(0.25, 0, 3);
    CHECK(fit(three, 8).duty_sd > fit(three, 8, 1e-10).duty_sd);
    CHECK(fit(three, 8, 1e-3).duty_sd == Approx(fit(three, 8).duty_sd));   // where no line could be seen, none tells nothing
    const DutyFit nulls = fit_duty(three, 1, {0, 0, 0, 1e-12, 1e-6, 1e-6, 1e-6, 1e-12});
    CHECK(nulls.duty == Approx(0.25).margin(0.01));
    CHECK(nulls.lines == 3);
}

TEST_CASE("no odd line decides, and what lies off is told", "[duty]") {
    LineComb comb = pulses(0.22, 0, 12);
    comb.teeth[4].mean_square[1] *= 100;   // 20 dB too high
    const DutyFit odd = fit_duty(comb, 1, std::vector<double>(12, 0.0));
    CHECK(odd.duty == Approx(0.22).margin(0.03));
    CHECK(odd.misfit_db == Approx(20 * std::sqrt(11.0) / 12).margin(0.7));   // of twelve, about their mean
    // lines by 2 dB up and down in turn: their rms is about that
    LineComb rough = pulses(0.22, 0, 12);
    for (CombTooth& tooth : rough.teeth) tooth.mean_square[1] *= std::pow(10.0, tooth.number % 2 == 0 ? 0.2 : -0.2);
    const DutyFit wide = fit_duty(rough, 1, std::vector<double>(12, 0.0));
    CHECK(wide.duty == Approx(0.22).margin(0.03));
    CHECK(wide.misfit_db == Approx(2).margin(0.6));
}
