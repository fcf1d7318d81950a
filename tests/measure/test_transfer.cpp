// Transfers drawn from closed forms: a path's figures are then known on paper.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "../../src/measure/unwrap.hpp"
#include "hushtrace/measure/transfer.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

using Complex = std::complex<double>;

template <class Gain>
Transfer path(double from_hz, double to_hz, Gain&& gain, double noise_power = 0) {
    Transfer out;
    for (const double hz : transfer_frequencies(from_hz, to_hz)) out.push_back({hz, gain(hz), noise_power, true});
    return out;
}
Complex delayed(double hz, double delay_s) { return std::polar(1.0, -2 * pi * std::fmod(hz * delay_s, 1.0)); }
constexpr double kNeper_db = 8.685889638;

}  // namespace

TEST_CASE("a transfer's frequencies are 1 kHz times whole 24ths of an octave, ends included", "[transfer]") {
    const auto octave = transfer_frequencies(500, 1000);
    REQUIRE(octave.size() == 25);
    CHECK(octave.front() == Approx(500));
    CHECK(octave[12] == Approx(1000 / std::sqrt(2.0)));
    CHECK(octave.back() == Approx(1000));
    CHECK(transfer_frequencies(501, 999).size() == 23);
    const auto high = transfer_frequencies(2000, 2100);
    REQUIRE(high.size() == 2);   // 2000 and 2058.6; 2118.9 lies beyond
    CHECK(high[1] == Approx(2000 * std::exp2(1.0 / 24)));
    CHECK(transfer_frequencies(0, 1000).empty());
    CHECK(transfer_frequencies(1000, 1000).empty());
    CHECK(transfer_frequencies(-5, 1000).empty());
}

TEST_CASE("a point's level has the noise's power taken off, and says what limits it", "[transfer]") {
    const TransferPoint clear{100, {0.0, 0.5}, 0.0025, true};   // 20 dB over the noise
    CHECK(clear.seen());
    CHECK(clear.magnitude_db().value == Approx(10 * std::log10(0.2475)));
    // of the amplitude, the noise's part in line with it: half its power; 0.005 dB is the method's own
    CHECK(clear.magnitude_db().sd == Approx(std::hypot(0.005, kNeper_db * std::sqrt(0.5 * 0.01))));
    CHECK(clear.magnitude_db().limited_by == LimitedBy::nothing);
    CHECK(clear.phase_rad().value == Approx(pi / 2));
    CHECK(clear.phase_rad().sd == Approx(std::hypot(0.001, std::sqrt(0.5 * 0.01))));
    CHECK(clear.phase_rad().limited_by == LimitedBy::nothing);
    const TransferPoint untold{100, 1.0, 0, false};
    CHECK(untold.magnitude_db().limited_by == LimitedBy::length);
    CHECK(untold.phase_rad().limited_by == LimitedBy::length);
    CHECK(untold.magnitude_db().sd == Approx(0.005));
    CHECK(untold.phase_rad().sd == Approx(0.001));
    // ten times the noise's power is the limit of what is seen
    CHECK(TransferPoint{100, std::sqrt(0.101), 0.01, true}.seen());
    CHECK_FALSE(TransferPoint{100, std::sqrt(0.099), 0.01, true}.seen());
    const TransferPoint drowned{100, {-0.1, 0.0}, 0.04, true};
    CHECK(drowned.magnitude_db().value == Approx(10 * std::log10(0.04)));   // what may be there at most
    CHECK(drowned.magnitude_db().sd == Approx(10 / std::log(10.0)));
    CHECK(drowned.magnitude_db().limited_by == LimitedBy::noise);
    CHECK(drowned.phase_rad().value == Approx(pi));
    CHECK(drowned.phase_rad().sd == Approx(pi / std::sqrt(3.0)));           // even over the whole turn
    CHECK(drowned.phase_rad().limited_by == LimitedBy::noise);
    const TransferPoint loud_noise{100, {0.3, 0.0}, 0.04, true};
    CHECK(loud_noise.magnitude_db().value == Approx(10 * std::log10(0.09)));
    const TransferPoint silence{};
    CHECK(silence.magnitude_db().value == -std::numeric_limits<double>::infinity());
    CHECK(silence.magnitude_db().sd == 0.0);
    CHECK(silence.magnitude_db().limited_by == LimitedBy::noise);
}

TEST_CASE("the nearest point of a transfer is found, a step beyond its ends at most", "[transfer]") {
    const Transfer some = path(500, 2000, [](double hz) { return Complex(hz); });
    const double step = std::exp2(1.0 / 24);
    CHECK(point_at(some, 1000)->frequency_hz == Approx(1000));
    CHECK(point_at(some, 1000 * std::pow(step, 0.45))->frequency_hz == Approx(1000));
    CHECK(point_at(some, 1000 * std::pow(step, 0.55))->frequency_hz == Approx(1000 * step));
    CHECK(point_at(some, 1000 * std::pow(step, -0.55))->frequency_hz == Approx(1000 / step));
    CHECK(point_at(some, 500 / step)->frequency_hz == Approx(500));
    CHECK_FALSE(point_at(some, 500 / step / step));
    CHECK(point_at(some, 2000 * step)->frequency_hz == Approx(2000));
    CHECK_FALSE(point_at(some, 2000 * step * step));
    CHECK_FALSE(point_at({}, 1000));
}

TEST_CASE("one path over another is their quotient where both are known", "[transfer]") {
    const Transfer over = path(500, 2000, [](double) { return Complex(0, 2); }, 0.01);
    Transfer under = path(700, 4000, [](double) { return Complex(4); }, 0.02);
    under[3].noise_known = false;
    under[5].gain = 0.1;   // drowned
    const Transfer ratio = ratio_of(over, under);
    REQUIRE(ratio.size() == transfer_frequencies(700, 2000).size());
    CHECK(ratio.front().frequency_hz == Approx(under.front().frequency_hz));
    CHECK(ratio.back().frequency_hz == Approx(2000));
    CHECK(ratio[0].gain.real() == Approx(0).margin(1e-12));
    CHECK(ratio[0].gain.imag() == Approx(0.5));
    // errors in quadrature: (0.01 + 0.5^2 0.02) / 4^2
    CHECK(ratio[0].noise_power == Approx((0.01 + 0.25 * 0.02) / 16));
    CHECK(ratio[0].noise_known);
    CHECK_FALSE(ratio[3].noise_known);
    CHECK(ratio[5].gain == Complex(0));
    CHECK(ratio[5].noise_power == 0);
    const Transfer other_way = ratio_of(under, over);
    REQUIRE(other_way.size() == ratio.size());
    CHECK(other_way.front().frequency_hz == Approx(under.front().frequency_hz));
    CHECK(other_way[0].gain.imag() == Approx(-2.0));
    CHECK(ratio_of({}, under).empty());
    CHECK(ratio_of(over, {}).empty());
}

TEST_CASE("a delay's phase slope is its group delay, as sure as five points make it", "[transfer]") {
    const double delay_s = 0.7e-3, noise = 1e-4;   // against the gain's power
    Transfer some = path(500, 2000, [&](double hz) { return 0.5 * delayed(hz, delay_s); }, 0.25 * noise);
    some[30].noise_power = 1.0;
    const auto delays = group_delay_s(some);
    REQUIRE(delays.size() == 49);
    for (std::size_t k = 0; k < delays.size(); ++k) {
        const bool told = k >= 2 && k + 2 < delays.size() && (k + 2 < 30 || k > 32);
        REQUIRE(delays[k].has_value() == told);
        if (!told) continue;
        CHECK(delays[k]->value == Approx(delay_s).epsilon(1e-9));
        // a line's slope through five phases of variance noise / 2, of which two are independent
        double mean = 0, under = 0;
        for (std::size_t i = k - 2; i <= k + 2; ++i) mean += some[i].frequency_hz / 5;
        for (std::size_t i = k - 2; i <= k + 2; ++i) under += std::pow(some[i].frequency_hz - mean, 2);
        CHECK(delays[k]->sd == Approx(std::sqrt(5.0 / 2.0 * noise / 2 / under) / (2 * pi)));
    }
    for (const auto& none : group_delay_s(Transfer(some.begin(), some.begin() + 4))) CHECK_FALSE(none);
}

TEST_CASE("a minimum phase follows from the magnitude", "[transfer]") {
    // a slope of n times 6 dB an octave throughout turns the phase by n quarter turns (Bode 1940)
    for (const double n : {-2.0, 1.0}) {
        const Transfer straight = path(100, 6400, [n](double hz) { return Complex(std::pow(hz / 1000, n)); });
        for (const double phase : minimum_phase_rad(straight)) CHECK(phase == Approx(n * pi / 2).epsilon(1e-3));
    }
    // an RC low-pass: -atan(f / corner); a high-pass: atan(corner / f)
    const double corner_hz = 800;
    const Transfer low = path(50, 12800, [&](double hz) { return 1.0 / std::hypot(1.0, hz / corner_hz); });
    const auto of_low = minimum_phase_rad(low);
    for (std::size_t k = 0; k < low.size(); ++k) CHECK(of_low[k] == Approx(-std::atan(low[k].frequency_hz / corner_hz)).margin(0.01));
    const Transfer high = path(50, 12800, [&](double hz) { return 1.0 / std::hypot(1.0, corner_hz / hz); });
    const auto of_high = minimum_phase_rad(high);
    for (std::size_t k = 0; k < high.size(); ++k) CHECK(of_high[k] == Approx(std::atan(corner_hz / high[k].frequency_hz)).margin(0.01));
}

TEST_CASE("a minimum phase is told from the first to the last point that stands out of the noise", "[transfer]") {
    Transfer some = path(100, 6400, [](double hz) { return Complex(1000 / hz); });
    for (std::size_t k = 0; k < 10; ++k) some[k].noise_power = 0.011 * std::norm(some[k].gain);   // 19.6 dB
    some[50].noise_power = 0.02 * std::norm(some[50].gain);                                        // one within does no harm
    for (std::size_t k = 130; k < some.size(); ++k) some[k].noise_power = std::norm(some[k].gain);
    const auto phase = minimum_phase_rad(some);
    REQUIRE(phase.size() == some.size());
    for (std::size_t k = 0; k < phase.size(); ++k) CHECK(phase[k] == Approx(k < 10 || k >= 130 ? 0.0 : -pi / 2).epsilon(1e-3));
    // nine points at least
    Transfer few(some.begin() + 60, some.begin() + 69);
    CHECK(minimum_phase_rad(few)[4] == Approx(-pi / 2).epsilon(1e-3));
    few.pop_back();
    for (const double one : minimum_phase_rad(few)) CHECK(one == 0.0);
    CHECK(minimum_phase_rad({}).empty());
}

TEST_CASE("a path's delay and polarity are told, its filter's phase taken off", "[transfer]") {
    for (const bool inverted : {false, true})
        for (const double delay_s : {-1.3e-3, 0.0, 2.4e-3}) {
            CAPTURE(inverted, delay_s);
            const double corner_hz = 120;
            const Transfer some = path(40, 9000, [&](double hz) {
                return (inverted ? -0.5 : 0.5) * delayed(hz, delay_s) / Complex(1.0, -corner_hz / hz);
            }, 1e-7);
            const auto fit = fit_delay(some, {.around_s = delay_s + 0.2e-3, .sweep_from_hz = {}, .sweep_constant_s = {}});
            REQUIRE(fit);
            CHECK(fit->delay_s.value == Approx(delay_s).margin(3e-6));
            CHECK(fit->delay_s.sd > 0);
            CHECK(fit->delay_s.sd < 1e-5);
            CHECK(fit->inverted == inverted);
            CHECK(fit->sure);
            CHECK(fit->intercept_rad == Approx(0).margin(0.02));
            CHECK_FALSE(fit->clock_ppm);
            CHECK(fit->from_hz == Approx(some.front().frequency_hz));
            CHECK(fit->to_hz == Approx(some.back().frequency_hz));
        }
    // a phase half-way between the two polarities leaves it open
    const auto turned = fit_delay(path(40, 9000, [](double hz) { return std::polar(1.0, 0.4 * pi) * delayed(hz, 1e-3); }),
                                  {.around_s = 1e-3, .sweep_from_hz = {}, .sweep_constant_s = {}});
    REQUIRE(turned);
    CHECK(turned->intercept_rad == Approx(0.4 * pi).epsilon(1e-3));
    CHECK_FALSE(turned->sure);
    CHECK_FALSE(turned->inverted);
    const auto nearly = fit_delay(path(40, 9000, [](double hz) { return std::polar(1.0, 0.28 * pi) * delayed(hz, 1e-3); }),
                                  {.around_s = 1e-3, .sweep_from_hz = {}, .sweep_constant_s = {}});
    CHECK(nearly->sure);
    const auto hardly = fit_delay(path(40, 9000, [](double hz) { return std::polar(1.0, -0.32 * pi) * delayed(hz, 1e-3); }),
                                  {.around_s = 1e-3, .sweep_from_hz = {}, .sweep_constant_s = {}});
    CHECK(hardly->intercept_rad == Approx(-0.32 * pi).epsilon(1e-3));
    CHECK_FALSE(hardly->sure);
}

TEST_CASE("a delay is read from the band asked for, with twelve points in it", "[transfer]") {
    const Transfer some = path(100, 6400, [](double hz) { return delayed(hz, hz < 790 ? 3e-3 : 1e-3); }, 1e-6);
    const auto upper = fit_delay(some, {.around_s = 1e-3, .lowest_hz = 800, .highest_hz = 3000, .sweep_from_hz = {}, .sweep_constant_s = {}});
    REQUIRE(upper);
    CHECK(upper->delay_s.value == Approx(1e-3).margin(1e-8));
    CHECK(upper->from_hz == Approx(transfer_frequencies(800, 3000).front()));
    CHECK(upper->to_hz == Approx(transfer_frequencies(800, 3000).back()));
    const double step = std::exp2(1.0 / 24);
    for (const int steps : {10, 11}) {
        const DelayFitRequest request{.around_s = 1e-3, .lowest_hz = 999, .highest_hz = 1001 * std::pow(step, steps),
                                      .sweep_from_hz = {}, .sweep_constant_s = {}};
        CHECK(fit_delay(some, request).has_value() == (steps == 11));
    }
    CHECK_FALSE(fit_delay({}, {}));
}

TEST_CASE("a delay is as sure as the noise leaves a line's slope", "[transfer]") {
    // Flat, so that no filter has a part. Phases of variance noise / 2 plus the minimum phase's own 3 mrad; the best line
    // through 0 Hz then has 1 / sum of (2 pi f)^2 / variance. Points that share noise widen it by sqrt 3.4, and the slope
    // of the end, which noise feigns, adds to it: 7 points of noise / 2 (1.6 count as one), a delay of slope / (pi^2 f).
    for (const double noise : {1e-5, 1e-3}) {
        const Transfer some = path(100, 6400, [](double) { return Complex(1.0); }, noise);
        const auto fit = fit_delay(some);
        REQUIRE(fit);
        double sum = 0;
        for (const TransferPoint& p : some) sum += std::pow(2 * pi * p.frequency_hz, 2) / (0.5 * noise + 9e-6);
        const double slope_sd = std::sqrt(1.6 * 0.5 * noise / 28) / (std::log(2.0) / 24);
        CHECK(fit->delay_s.value == Approx(0).margin(1e-12));
        CHECK(fit->delay_s.sd == Approx(std::hypot(std::sqrt(3.4 / sum), slope_sd / (pi * pi * some.back().frequency_hz))).epsilon(1e-6));
    }
    // what scatters more than it says widens it: alternately 0.1 rad to either side of the line
    Transfer rough = path(100, 6400, [](double) { return Complex(1.0); }, 1e-5);
    double sum = 0;
    for (std::size_t k = 0; k < rough.size(); ++k) {
        rough[k].gain = std::polar(1.0, k % 2 == 0 ? 0.1 : -0.1);
        sum += std::pow(2 * pi * rough[k].frequency_hz, 2);
    }
    const auto wide = fit_delay(rough);
    const double slope_sd = std::sqrt(1.6 * 0.5e-5 / 28) / (std::log(2.0) / 24);
    const double spread_s = std::sqrt(3.4 * 0.01 * 145 / 144 / sum), end_s = slope_sd / (pi * pi * rough.back().frequency_hz);
    CHECK(wide->delay_s.sd == Approx(std::hypot(spread_s, end_s)).epsilon(0.01));
    CHECK(wide->sure);
}

TEST_CASE("the clocks' difference is told from a phase that grows with a sweep's own time", "[transfer]") {
    // d = ppm 1e-6 L ln(f / f1) late at f: the phase is minus the integral of 2 pi d over f, 2 pi ppm 1e-6 L f (ln(f / f1) - 1)
    const double from_hz = 20, constant_s = 0.7, ppm = 40, delay_s = 0.5e-3;
    const auto gain = [&](double hz) {
        return delayed(hz, delay_s) * std::polar(1.0, -2 * pi * 1e-6 * ppm * constant_s * hz * (std::log(hz / from_hz) - 1.0));
    };
    const DelayFitRequest with_clock{.around_s = 0.4e-3, .sweep_from_hz = from_hz, .sweep_constant_s = constant_s};
    const auto fit = fit_delay(path(100, 6400, gain, 1e-6), with_clock);
    REQUIRE(fit);
    REQUIRE(fit->clock_ppm);
    CHECK(fit->clock_ppm->value == Approx(ppm).margin(0.01));
    CHECK(fit->clock_ppm->sd > 0.01);
    CHECK(fit->clock_ppm->sd < 2);
    CHECK(fit->delay_s.value == Approx(delay_s).margin(1e-8));
    CHECK(fit->sure);
    const auto without = fit_delay(path(100, 6400, gain, 1e-6), {.around_s = 0.4e-3, .sweep_from_hz = from_hz, .sweep_constant_s = {}});
    REQUIRE(without);
    CHECK_FALSE(without->clock_ppm);
    // two unknowns' normal equations, with the phases' variance and the share of the end's slope as for a delay alone
    const Transfer noisy = path(100, 6400, gain, 4e-3);
    const auto unsure = fit_delay(noisy, with_clock);
    double of_delay = 0, of_both = 0, of_clock = 0;
    for (const TransferPoint& p : noisy) {
        const double by_delay = -2 * pi * p.frequency_hz;
        const double by_clock = 1e-6 * constant_s * by_delay * (std::log(p.frequency_hz / from_hz) - 1.0);
        of_delay += by_delay * by_delay / (2e-3 + 9e-6);
        of_both += by_delay * by_clock / (2e-3 + 9e-6);
        of_clock += by_clock * by_clock / (2e-3 + 9e-6);
    }
    const double determinant = of_delay * of_clock - of_both * of_both;
    const double slope_sd = std::sqrt(1.6 * 2e-3 / 28) / (std::log(2.0) / 24);
    CHECK(unsure->clock_ppm->sd == Approx(std::sqrt(3.4 * of_delay / determinant)).epsilon(1e-4));
    const double from_end_s = slope_sd / (pi * pi * noisy.back().frequency_hz);
    CHECK(unsure->delay_s.sd == Approx(std::hypot(std::sqrt(3.4 * of_clock / determinant), from_end_s)).epsilon(1e-4));
}

TEST_CASE("noise leaves a polarity open that is nearly so, and a filter's own phase is known to three parts in a hundred", "[transfer]") {
    // 0.295 half turns off, 0.3 being the limit: the intercept's own uncertainty decides
    for (const double noise : {1e-6, 9e-3}) {
        const auto fit = fit_delay(path(40, 9000, [](double hz) { return std::polar(1.0, 0.295 * pi) * delayed(hz, 1e-3); }, noise),
                                   {.around_s = 1e-3, .sweep_from_hz = {}, .sweep_constant_s = {}});
        REQUIRE(fit);
        CHECK(fit->sure == (noise < 1e-3));
    }
    // An RC high-pass turns the phase by atan(corner / f), of which 3 mrad and 3 % are not known. That doesn't average: its weighted mean, at the
    // points' rms frequency, is the delay's. With a clock beside it, each loses certainty to the other by the root of 1 / (1 - their correlation^2).
    const double corner_hz = 300, from_hz = 20, constant_s = 0.7;
    const Transfer some = path(60, 9000, [&](double hz) { return 1.0 / Complex(1.0, -corner_hz / hz); }, 1e-8);
    double weights = 0, model = 0, squares_hz = 0, clocks = 0, both = 0;
    for (const TransferPoint& p : some) {
        const double phase = std::atan(corner_hz / p.frequency_hz), weight = std::pow(0.003 + 0.03 * phase, -2);
        const double clock = 1e-6 * constant_s * p.frequency_hz * (std::log(p.frequency_hz / from_hz) - 1.0);
        weights += weight;
        model += weight * 0.03 * phase;
        squares_hz += weight * p.frequency_hz * p.frequency_hz;
        clocks += weight * clock * clock;
        both += weight * clock * p.frequency_hz;
    }
    const double model_s = model / weights / (2 * pi * std::sqrt(squares_hz / weights)), scatter_s = std::sqrt(3.4 / squares_hz) / (2 * pi);
    const auto alone = fit_delay(some);
    REQUIRE(alone);
    CHECK(alone->delay_s.sd == Approx(std::hypot(model_s, scatter_s)).epsilon(0.03));
    const auto clocked = fit_delay(some, {.around_s = 0, .sweep_from_hz = from_hz, .sweep_constant_s = constant_s});
    const double inflation = 1 / std::sqrt(1 - both * both / (clocks * squares_hz));
    REQUIRE(clocked);
    CHECK(clocked->delay_s.sd == Approx(inflation * std::hypot(model_s, scatter_s)).epsilon(0.03));
    const double model_ppm = model / weights / (2 * pi * std::sqrt(clocks / weights)), scatter_ppm = std::sqrt(3.4 / clocks) / (2 * pi);
    CHECK(clocked->clock_ppm->sd == Approx(inflation * std::hypot(model_ppm, scatter_ppm)).epsilon(0.03));
}

TEST_CASE("a slope that the band ends in leaves a delay unsure by half of it", "[transfer]") {
    // 6 dB an octave to the end, a neper a neper: gone on with, it looks like 1 / (pi^2 f) of delay
    const Transfer falls = path(100, 6400, [](double hz) { return Complex(0, -1000 / hz); });
    const auto fit = fit_delay(falls);
    REQUIRE(fit);
    const double end_s = 0.5 / (pi * pi * falls.back().frequency_hz);
    double weights = 0, squares_hz = 0;
    for (const TransferPoint& p : falls) {
        weights += 1;
        squares_hz += p.frequency_hz * p.frequency_hz;
    }
    const double model_s = 0.03 * pi / 2 / (2 * pi * std::sqrt(squares_hz / weights));
    const double scatter_s = std::sqrt(3.4 / squares_hz) * (0.003 + 0.03 * pi / 2) / (2 * pi);
    CHECK(fit->delay_s.sd == Approx(std::hypot(end_s, std::hypot(model_s, scatter_s))).epsilon(0.01));
    // what noise may have made of it is not counted twice: two sd of the slope are taken off
    const double noise = 5e-3, slope_sd = std::sqrt(1.6 * 0.5 * noise / 28) / (std::log(2.0) / 24);
    Transfer noisy = falls;
    for (TransferPoint& p : noisy) p.noise_power = noise * std::norm(p.gain);
    const double variance = 0.5 * noise + std::pow(0.003 + 0.03 * pi / 2, 2);
    const double end_noisy_s = std::hypot(slope_sd, 0.5 * (1 - 2 * slope_sd)) / (pi * pi * falls.back().frequency_hz);
    CHECK(fit_delay(noisy)->delay_s.sd ==
          Approx(std::hypot(end_noisy_s, std::hypot(model_s, std::sqrt(3.4 * variance / squares_hz) / (2 * pi)))).epsilon(0.01));
}

TEST_CASE("an angle's nearest turn, and phases without their jumps", "[transfer]") {
    CHECK(nearest_turn(0.3) == Approx(0.3));
    CHECK(nearest_turn(2 * pi + 0.3) == Approx(0.3));
    CHECK(nearest_turn(-7 * pi + 0.2) == Approx(-pi + 0.2));
    // steps of 100 Hz and of 5 ms less a whole number of turns: the smallest lag that explains them wins
    for (const double delay_s : {0.0, 0.4e-3, 3e-3, -3.5e-3}) {
        CAPTURE(delay_s);
        std::vector<double> hz = transfer_frequencies(100, 15000), wrapped;
        for (const double f : hz) wrapped.push_back(nearest_turn(1.0 - 2 * pi * f * delay_s));
        const auto phase = unwrapped(hz, wrapped);
        REQUIRE(phase.size() == hz.size());
        CHECK(std::abs(phase[0]) <= pi);
        for (std::size_t k = 0; k < hz.size(); ++k)
            CHECK(phase[k] - phase[0] == Approx(-2 * pi * (hz[k] - hz[0]) * delay_s).margin(1e-6));
    }
    CHECK(unwrapped({}, {}).empty());
    CHECK(unwrapped(std::vector<double>{100.0}, std::vector<double>{7.0})[0] == Approx(7.0 - 2 * pi));
}
