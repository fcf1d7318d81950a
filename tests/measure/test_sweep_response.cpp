// Response and harmonics from sweeps that were drawn from the closed form.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"
#include "reference/table.hpp"

using namespace hushtrace;
using sweep_maker::Capture;
using sweep_maker::Section;

namespace {

PlayedSweep played(const Capture& c) { return {Sweep{c.from_hz, c.to_hz, c.duration_s, c.level_dbfs}, c.ramp_s}; }
TonePlace place(const Capture& c) { return {c.start_s, 1e-6, c.ppm, 0.1}; }
SweepResponse measured(const Capture& c, const std::vector<double>& samples) {
    return measure_sweep_response(samples, c.rate_hz, played(c), place(c));
}
double db(std::complex<double> gain) { return 20 * std::log10(std::abs(gain)); }

}  // namespace

TEST_CASE("a sweep reads a known filter's magnitude and phase whatever the clocks do", "[response]") {
    Capture c;
    c.ppm = GENERATE(-200.0, 200.0);
    auto samples = c.samples();
    // scipy.signal.butter(2, 3000, fs=48000) as SciPy prints it; magnitude and
    // phase by the definition of the transfer function, which is what freqz evaluates
    const std::vector<Section> path = {{{0.029954582208092474, 0.05990916441618495, 0.029954582208092474},
                                        {1, -1.454243586251585, 0.5740619150839549}},
                                       sweep_maker::high_pass_rc(5, c.rate_hz)};
    sweep_maker::filter(samples, path);
    const SweepResponse response = measured(c, samples);
    CHECK(response.transfer.size() > 220);
    double worst_db = 0, worst_rad = 0, at = 0;
    for (const TransferPoint& p : response.transfer) {
        const auto truth = sweep_maker::response(path, p.frequency_hz, c.rate_hz);
        const double off = std::abs(db(p.gain) - db(truth));
        if (db(truth) < -50) continue;
        if (off > worst_db) { worst_db = off; at = p.frequency_hz; }
        worst_rad = std::max(worst_rad, std::abs(std::arg(p.gain / truth)));
    }
    UNSCOPED_INFO("worst " << worst_db << " dB at " << at << " Hz, " << worst_rad << " rad, ppm " << c.ppm);
    CHECK(worst_db < 0.05);
    CHECK(worst_rad < 0.01);
}

TEST_CASE("an RC corner reads as its formula says", "[response]") {
    Capture c;
    c.rate_hz = GENERATE(44100.0, 96000.0);
    c.from_hz = c.rate_hz == 96000 ? 20 : 10;
    c.ppm = 150;
    auto samples = c.samples();
    const double corner_hz = 33;
    sweep_maker::filter(samples, {sweep_maker::high_pass_rc(corner_hz, c.rate_hz)});
    const SweepResponse response = measured(c, samples);
    for (const TransferPoint& p : response.transfer) {
        if (p.frequency_hz > 1000) break;  // above it the bilinear filter isn't the RC's formula
        const double formula_db = -10 * std::log10(1 + std::pow(corner_hz / p.frequency_hz, 2));
        CAPTURE(c.rate_hz, c.from_hz, p.frequency_hz);
        CHECK(p.magnitude_db().value == Approx(formula_db).margin(0.05));
    }
}

TEST_CASE("a static curve's harmonics read as on paper", "[response]") {
    Capture c;
    c.ppm = GENERATE(-200.0, 120.0);
    c.duration_s = c.ppm < 0 ? 2 : 5;
    c.level_dbfs = -6;
    // y = x + a2 x^2 + a3 x^3 of x = A sin: 2nd a2 A^2/2, 3rd a3 A^3/4, 1st A + 3 a3 A^3/4 (power reduction formulas;
    // the 2nd as a cosine: its phase doesn't matter here)
    const double a = c.amplitude(), a2 = 0.01, a3 = 0.02;
    const double first = 1 + 0.75 * a3 * a * a, second = 0.5 * a2 * a, third = -0.25 * a3 * a * a;
    c.harmonics = {first, second, third};
    const SweepResponse response = measured(c, c.samples());
    REQUIRE(response.harmonics.size() >= 2);
    for (const HarmonicResponse& harmonic : response.harmonics) {
        if (harmonic.number > 3) {
            for (const HarmonicPoint& p : harmonic.points)
                if (p.frequency_hz > 100) CHECK(p.ratio_db.value < -80);
            continue;
        }
        const double truth = 20 * std::log10(std::abs((harmonic.number == 2 ? second : third) / first));
        for (const HarmonicPoint& p : harmonic.points) {
            if (p.frequency_hz < 30) continue;
            CAPTURE(c.duration_s, harmonic.number, p.frequency_hz);
            CHECK(p.ratio_db.value == Approx(truth).margin(0.1));
        }
        CHECK(harmonic.points.back().frequency_hz > 18000.0 / static_cast<double>(harmonic.number));
    }
    const auto thd = response.thd_percent(1000);
    REQUIRE(thd);
    CHECK(thd->value == Approx(100 * std::hypot(second, third) / first).epsilon(0.01));
}

TEST_CASE("a sweep without markers tells its place and the clocks' difference", "[response]") {
    Capture c;
    c.ppm = GENERATE(-200.0, 200.0);
    c.duration_s = c.ppm < 0 ? 3 : 5;
    c.start_s = 7.1234567;
    auto samples = c.samples();
    bool subwoofer = false, rolled_off = false;
    SECTION("white noise 40 dB below") {}
    SECTION("behind a coupling capacitor and a roll-off") {
        sweep_maker::filter(samples, {sweep_maker::high_pass_rc(8, c.rate_hz), sweep_maker::low_pass(9000, c.rate_hz)});
        rolled_off = true;
    }
    SECTION("behind a subwoofer's low-pass, 80 Hz, 24 dB an octave") {
        sweep_maker::filter(samples, {sweep_maker::low_pass(80, c.rate_hz), sweep_maker::low_pass(80, c.rate_hz)});
        subwoofer = true;
    }
    sweep_maker::add_noise(samples, 0.01 * c.amplitude() / std::numbers::sqrt2, 5);
    SweepFinder finder(c.rate_hz, played(c));
    for (std::size_t from = 0; from < samples.size(); from += 6000)
        finder.add(std::span(samples).subspan(from, std::min<std::size_t>(6000, samples.size() - from)));
    const auto found = finder.result();
    REQUIRE(found);
    CAPTURE(c.ppm, found->strength, found->place.clock_ppm_sd, found->place.start_sd_s);
    CHECK(found->place.clock_ppm == Approx(c.ppm).margin(subwoofer ? 400 : rolled_off ? 25 : 2));
    CHECK(found->place.start_s == Approx(c.start_s).margin(subwoofer ? 5e-3 : 50e-6));
    CHECK(std::abs(found->place.clock_ppm - c.ppm) < 4 * found->place.clock_ppm_sd + 0.05);
}

TEST_CASE("what is no sweep is not taken for one", "[response]") {
    const Capture c;
    std::vector<double> samples(static_cast<std::size_t>(14 * c.rate_hz), 0.0);
    SECTION("digital silence") {}
    SECTION("dc") { std::fill(samples.begin(), samples.end(), 0.5); }
    SECTION("white noise") { sweep_maker::add_noise(samples, 0.1, 9); }
    SECTION("a full-scale square") {
        for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = (i / 48) % 2 == 0 ? 1.0 : -1.0;
    }
    SECTION("clicks") {
        for (std::size_t i = 0; i < samples.size(); i += 4801) samples[i] = 0.9;
    }
    SECTION("a sweep of another length") {
        Capture other;
        other.duration_s = 7;
        samples = other.samples();
    }
    SweepFinder finder(c.rate_hz, played(c));
    finder.add(samples);
    const auto found = finder.result();
    if (found) UNSCOPED_INFO("strength " << found->strength << " at " << found->place.start_s);
    CHECK_FALSE(found.has_value());
}

TEST_CASE("a sweep cut off in the middle reads up to where it got", "[response]") {
    Capture c;
    c.ppm = 80;
    auto samples = c.samples();
    samples.resize(static_cast<std::size_t>((c.start_s + 3.5) * c.rate_hz));
    const SweepResponse response = measured(c, samples);
    CHECK(response.cut_short);
    REQUIRE(!response.transfer.empty());
    CHECK(response.transfer.back().frequency_hz > 1800);  // 20 exp(3.5/0.7238) = 2518 Hz was reached
    CHECK(response.transfer.back().frequency_hz < 2518);
    for (const TransferPoint& p : response.transfer)
        CHECK(p.magnitude_db().value == Approx(0).margin(0.05));
}

TEST_CASE("what can't be measured is refused, and what isn't there reads as noise", "[response]") {
    Capture c;
    auto samples = c.samples();
    CHECK_THROWS_AS(measured(c, {}), Error);
    samples[100000] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(measured(c, samples), Error);
    samples = c.samples();
    TonePlace early = place(c);
    early.start_s = -1;
    CHECK_THROWS_AS(measure_sweep_response(samples, c.rate_hz, played(c), early), Error);
    const auto with = [&](double from, double to, double seconds) {
        return measure_sweep_response(samples, c.rate_hz, {Sweep{from, to, seconds, -20}, 0.01}, place(c));
    };
    CHECK_THROWS_AS(with(2000, 20, 5), Error);   // falls
    CHECK_THROWS_AS(with(1000, 1500, 5), Error);  // less than an octave
    CHECK_THROWS_AS(with(20, 20000, 4000), Error);
    CHECK_THROWS_AS(with(30000, 80000, 5), Error);  // beyond the rate's half
    for (const auto& fill : {0.0, 0.5}) {
        std::fill(samples.begin(), samples.end(), fill);
        const SweepResponse response = measured(c, samples);
        for (const TransferPoint& p : response.transfer)
            if (p.frequency_hz > 40) CHECK(p.magnitude_db().limited_by == LimitedBy::noise);
    }
}

TEST_CASE("any rate from 8 to 384 kHz", "[response]") {
    Capture c;
    c.rate_hz = GENERATE(8000.0, 384000.0);
    c.duration_s = 2;
    c.ppm = -100;
    const SweepResponse response = measured(c, c.samples());
    CHECK(response.transfer.back().frequency_hz > (c.rate_hz == 8000 ? 3200 : 18000));
    for (const TransferPoint& p : response.transfer) {
        CAPTURE(c.rate_hz, p.frequency_hz);
        if (p.frequency_hz > 35) CHECK(p.magnitude_db().value == Approx(0).margin(0.05));
    }
}

TEST_CASE("a copy of the sweep that comes early by the published advance reads as that harmonic", "[response]") {
    // tests/reference/pink_and_sweep.csv (Farina 2000): f(t + L ln n) is n f(t), so a sweep that is ahead by L ln n is
    // the n-th harmonic of the one behind.
    Capture c;
    const auto sound = c.samples();
    std::size_t rows = 0;
    for (const reference::Row& row : reference::table("pink_and_sweep.csv")) {
        if (row.text("quantity") != "sweep_harmonic_advance" || row.text("status") != "computed") continue;
        const std::string inputs = row.text("inputs"), wanted = "f1=20 Hz; f2=20000 Hz; T=5 s; n=";
        if (inputs.rfind(wanted, 0) != 0) continue;
        const auto number = static_cast<std::size_t>(std::stoul(inputs.substr(wanted.size())));
        if (number > 5) continue;  // 7 and 9: the early copy's own first second is cut off by the take's start
        ++rows;
        Capture early = c;
        early.start_s = c.start_s - row.number("value");
        if (early.start_s < 0) continue;
        auto samples = sound;
        const auto ahead = early.samples();
        for (std::size_t i = 0; i < std::min(samples.size(), ahead.size()); ++i) samples[i] += 0.01 * ahead[i];
        const SweepResponse response = measured(c, samples);
        std::size_t points = 0;
        for (const HarmonicResponse& one : response.harmonics)
            for (const HarmonicPoint& p : one.points) {
                if (p.frequency_hz < 60 || p.frequency_hz > 18000.0 / static_cast<double>(number)) continue;
                CAPTURE(number, one.number, p.frequency_hz);
                if (one.number == number) {
                    CHECK(p.ratio_db.value == Approx(-40).margin(0.1));
                    ++points;
                } else {
                    CHECK(p.power_ratio < 2e-6);  // and as no other
                }
            }
        CHECK(points > 20);
    }
    CHECK(rows >= 4);
}
