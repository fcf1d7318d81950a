#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <map>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

namespace {

PowerSpectrum spectrum_of(double (*density)(double), double rate_hz = 48000) {
    PowerSpectrum s;
    s.sample_rate_hz = rate_hz;
    s.length = static_cast<std::size_t>(rate_hz);
    s.effective_averages = 50;
    s.effective_duration_s = 25;
    s.noise_bandwidth_hz = 1.5;
    for (std::size_t k = 0; k <= s.length / 2; ++k) s.density.push_back(density(static_cast<double>(k)));
    return s;
}

}  // namespace

TEST_CASE("white and pink noise gain what the weightings' noise gains say", "[noise_floor]") {
    // tests/reference/weighting_noise_gain.csv (computed by quadrature there), tolerance 0.02 dB
    const auto white = noise_floor(spectrum_of([](double) { return 1e-12; }));
    const auto pink = noise_floor(spectrum_of([](double f) { return f > 0 ? 1e-9 / f : 0.0; }));
    CHECK(white.all.unweighted.value == Approx(1e-12 * 19980).epsilon(1e-6));
    CHECK(pink.all.unweighted.value == Approx(1e-9 * std::log(1000.0)).epsilon(1e-4));
    std::size_t checked = 0;
    for (const auto& row : reference::table("weighting_noise_gain.csv")) {
        const WeightedFigures& figures = row.text("noise_colour") == "white" ? white.all : pink.all;
        const std::map<std::string, Reading> by_name = {{"A", figures.a_weighted},
                                                        {"C", figures.c_weighted},
                                                        {"BS468_0dB_at_1kHz", figures.itu468}};
        const auto found = by_name.find(row.text("weighting"));
        if (found == by_name.end()) continue;  // the AES17 rows are the 468 ones, 5.63 dB lower
        CHECK(decibels_from_power(found->second.value / figures.unweighted.value) ==
              Approx(row.number("weighted_minus_unweighted_rms_db")).margin(0.02));
        ++checked;
    }
    CHECK(checked == 6);
}

TEST_CASE("the broadband floor leaves a line out, the other floor keeps it", "[noise_floor]") {
    // the window's three bins of a steady 100 Hz tone of mean square 1e-8 in a flat floor
    PowerSpectrum s = spectrum_of([](double) { return 1e-14; });
    s.density[100] += 1e-8 * 2 / 3;
    s.density[99] += 1e-8 / 6;
    s.density[101] += 1e-8 / 6;
    const NoiseFloor floor = noise_floor(s);
    CHECK(floor.all.unweighted.value == Approx(1e-8 + 1e-14 * 19980).epsilon(1e-6));
    CHECK(floor.broadband.unweighted.value == Approx(1e-14 * 19980).epsilon(1e-3));
    CHECK(floor.all.a_weighted.value - floor.broadband.a_weighted.value ==
          Approx(1e-8 * a_weighting_power(100)).epsilon(0.01));
    // the tone itself adds only its beating with the noise: 2 p S / T
    CHECK(floor.all.unweighted.sd ==
          Approx(std::sqrt((1e-28 * 19980 * 50 / 51 + 2 * 1e-8 * 1e-14) / 25)).epsilon(0.01));
}

TEST_CASE("the band ends where the rate does, and says so", "[noise_floor]") {
    CHECK(noise_floor(spectrum_of([](double) { return 1e-12; }, 8000)).upper_hz == 4000);
    CHECK(noise_floor(spectrum_of([](double) { return 1e-12; }, 44100)).upper_hz == 20000);
    CHECK(noise_floor(spectrum_of([](double) { return 1e-12; }, 8000)).all.unweighted.value ==
          Approx(1e-12 * 3980).epsilon(1e-6));
}

TEST_CASE("silence has a floor of minus infinity, known exactly", "[noise_floor]") {
    const NoiseFloor floor = noise_floor(spectrum_of([](double) { return 0.0; }));
    CHECK(as_level_dbfs(floor.all.unweighted).value == -std::numeric_limits<double>::infinity());
    CHECK(as_level_dbfs(floor.all.unweighted).sd == 0);
    CHECK(floor.broadband.itu468.value == 0);
}

TEST_CASE("the interface's floor comes off in power, or is said to be the limit", "[noise_floor]") {
    const Reading clear = less_interface({10.0, 0.3, LimitedBy::nothing}, {1.0, 0.4, LimitedBy::nothing});
    CHECK(clear.value == Approx(9.0));
    CHECK(clear.sd == Approx(0.5));
    CHECK(clear.limited_by == LimitedBy::nothing);
    const Reading near = less_interface({1.9, 0.1, LimitedBy::nothing}, {1.0, 0.1, LimitedBy::nothing});
    CHECK(near.value == Approx(1.9));
    CHECK(near.limited_by == LimitedBy::interface);
    CHECK(less_interface({0.5, 0.1, LimitedBy::nothing}, {1.0, 0.1, LimitedBy::nothing}).limited_by ==
          LimitedBy::interface);
}

TEST_CASE("every weighting's uncertainty is that of its own power over the time", "[noise_floor]") {
    // flat noise of density d over T: variance of a mean square d^2 times the sum of the squared weights over T, less 1/51 that the
    // estimate's own scatter of 50 averages adds
    const double d = 1e-12;
    const NoiseFloor floor = noise_floor(spectrum_of([](double) { return 1e-12; }));
    const auto check = [&](const Reading& all, const Reading& broadband, double (*weight)(double)) {
        double power = 0, square = 0;
        for (int f = 20; f <= 20000; ++f) {
            const double w = weight(f), width = f == 20 || f == 20000 ? 0.5 : 1.0;   // the bins at the ends lie half in it
            power += w * d * width;
            square += w * w * d * d * width;
        }
        CHECK(all.value == Approx(power).epsilon(1e-9));
        CHECK(broadband.value == Approx(power).epsilon(1e-9));
        CHECK(all.sd == Approx(std::sqrt(square * 50.0 / 51.0 / 25.0)).epsilon(1e-6));
        CHECK(broadband.sd == Approx(all.sd));
        CHECK(all.limited_by == LimitedBy::nothing);
    };
    check(floor.all.unweighted, floor.broadband.unweighted, [](double) { return 1.0; });
    check(floor.all.a_weighted, floor.broadband.a_weighted, a_weighting_power);
    check(floor.all.c_weighted, floor.broadband.c_weighted, c_weighting_power);
    check(floor.all.itu468, floor.broadband.itu468, itu468_weighting_power);
    CHECK(floor.from_hz == 20.0);
    CHECK(floor.upper_hz == 20000.0);
    // a thousandth of a second tells little; no time known is half a bin's
    PowerSpectrum brief = spectrum_of([](double) { return 1e-12; });
    brief.effective_duration_s = 1e-3;
    CHECK(noise_floor(brief).all.unweighted.sd == Approx(floor.all.unweighted.sd * std::sqrt(25.0 / 0.5)));
    brief.effective_averages = 0.1;   // one at least: half of the square is scatter
    CHECK(noise_floor(brief).all.unweighted.sd == Approx(std::sqrt(d * d * 19980 * 0.5 / 0.5)));
    brief.density[77] = std::numeric_limits<double>::infinity();
    CHECK_THROWS_AS(noise_floor(brief), Error);
}

TEST_CASE("a line's bins hold no less than the spectrum shows, and a level says how unsure it is", "[noise_floor]") {
    PowerSpectrum s = spectrum_of([](double) { return 1e-12; });
    std::vector<double> under(s.density.size(), 3e-12);   // a floor above what lies in a line's bins counts no more than that
    SpectralLine line;
    line.frequency_hz = 100;
    line.low_hz = 98;
    line.high_hz = 102;
    s.density[100] = 1e-9;
    const NoiseFloor floor = noise_floor(s, under, {line});
    CHECK(floor.all.unweighted.value == Approx(1e-12 * 19979 + 1e-9).epsilon(1e-9));
    CHECK(floor.broadband.unweighted.value == Approx(1e-12 * 19979 + 3e-12).epsilon(1e-9));
    const Reading level = as_level_dbfs({0.5, 0.05, LimitedBy::length});
    CHECK(level.value == Approx(0.0).margin(1e-12));   // a full-scale sine's mean square
    CHECK(level.sd == Approx(10.0 * std::log10(1.1)));
    CHECK(level.limited_by == LimitedBy::length);
    CHECK(as_level_dbfs({0.5, 0.0, LimitedBy::interface}).limited_by == LimitedBy::interface);
    // twice the interface's own is enough to take it off
    CHECK(less_interface({2.0, 0.3, LimitedBy::length}, {1.0, 0.4, LimitedBy::nothing}).value == 1.0);
    CHECK(less_interface({2.0, 0.3, LimitedBy::length}, {1.0, 0.4, LimitedBy::nothing}).limited_by == LimitedBy::length);
    CHECK(less_interface({1.99, 0.3, LimitedBy::length}, {1.0, 0.4, LimitedBy::nothing}).value == 1.99);
    CHECK(less_interface({1.99, 0.3, LimitedBy::length}, {1.0, 0.4, LimitedBy::nothing}).sd == 0.3);
}
