// Delay, polarity, balance and crosstalk between channels whose paths are known on paper.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>

#include "coverage_runs.hpp"
#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;
using sweep_maker::Capture;

namespace {

struct Path {
    double gain = 1, delay_s = 0;
    std::vector<sweep_maker::Section> filters;
};
struct Measured {
    std::vector<SweepResponse> responses;
    std::vector<ChannelPath> paths() const {
        std::vector<ChannelPath> out;
        for (const auto& r : responses) out.push_back({r.transfer, r.coarse_delay_s});
        return out;
    }
};
std::vector<double> through(const Capture& c, const Path& path, double noise_db, std::uint64_t seed) {
    auto samples = c.samples(path.delay_s);
    for (double& x : samples) x *= path.gain;
    sweep_maker::filter(samples, path.filters);
    if (noise_db < 0)
        sweep_maker::add_noise(samples, c.amplitude() / std::numbers::sqrt2 * std::pow(10, noise_db / 20), seed);
    return samples;
}
Measured measure(const Capture& c, const std::vector<Path>& paths, double noise_db = -40, std::uint64_t seed = 1,
                 std::size_t harmonics = 1) {
    Measured out;
    for (std::size_t i = 0; i < paths.size(); ++i)
        out.responses.push_back(measure_sweep_response(
            through(c, paths[i], noise_db, seed * 10 + i), c.rate_hz,
            {Sweep{c.from_hz, c.to_hz, c.duration_s, c.level_dbfs}, c.ramp_s}, {c.start_s, 1e-6, c.ppm, 0.1}, harmonics));
    return out;
}
Capture capture() {
    Capture c;
    c.duration_s = 3;
    return c;
}

}  // namespace

TEST_CASE("delay, polarity and balance between channels, noise 40 dB below the tone", "[channels]") {
    Capture c = capture();
    c.ppm = GENERATE(-200.0, 200.0);
    const double delay_s = c.ppm < 0 ? 0.0203456 : -0.0001234;
    Path first, second{-0.5, delay_s, {}};
    SECTION("wide paths") {}
    SECTION("a coupling capacitor in the second") { second.filters = {sweep_maker::high_pass_rc(16, c.rate_hz)}; }
    SECTION("coupling capacitors in both") {
        first.filters = {sweep_maker::high_pass_rc(5, c.rate_hz)};
        second.filters = {sweep_maker::high_pass_rc(3, c.rate_hz)};
    }
    if (delay_s < 0) first.delay_s = 0.001;
    const Measured m = measure(c, {first, second});
    const auto paths = m.paths();
    const ChannelDifference difference = compare(paths[1], paths[0]);
    REQUIRE(difference.delay);
    CAPTURE(c.ppm, difference.delay->delay_s.sd, difference.delay->intercept_rad);
    CHECK(difference.delay->delay_s.value == Approx(delay_s - first.delay_s).margin(1e-6));
    CHECK(std::abs(difference.delay->delay_s.value - delay_s + first.delay_s) < 4 * difference.delay->delay_s.sd);
    CHECK(difference.delay->inverted);
    CHECK(difference.delay->sure);
    REQUIRE(difference.balance);
    CHECK(difference.balance->centre_hz == 1000);
    CHECK(difference.balance->level_db.value == Approx(-6.0206).margin(0.03));
    CHECK(std::abs(difference.balance->level_db.value + 6.0206) < 4 * difference.balance->level_db.sd);
    const auto absolute = delay_after_tone(paths[0], {c.start_s, 1e-6, c.ppm, 0.1});
    REQUIRE(absolute);
    CHECK_FALSE(absolute->inverted);
    CHECK(absolute->sure);
    CHECK(absolute->delay_s.value == Approx(first.delay_s).margin(5e-6));
}

TEST_CASE("a channel behind a subwoofer's low-pass has the delay of its path, not of its filter", "[channels]") {
    Capture c = capture();
    c.duration_s = 5;
    c.ppm = 120;
    const double gain = GENERATE(0.8, -0.8), delay_s = 0.012;
    const Path full{1, 0, {sweep_maker::high_pass_rc(5, c.rate_hz)}};
    const Path sub{gain, delay_s, {sweep_maker::low_pass(80, c.rate_hz), sweep_maker::low_pass(80, c.rate_hz)}};
    const Measured m = measure(c, {full, sub});
    const auto paths = m.paths();
    const ChannelDifference difference = compare(paths[1], paths[0]);
    REQUIRE(difference.delay);
    CAPTURE(difference.delay->delay_s.sd, difference.delay->intercept_rad, difference.delay->to_hz);
    CHECK(difference.delay->sure);
    CHECK(difference.delay->inverted == (gain < 0));
    CHECK(difference.delay->delay_s.value == Approx(delay_s).margin(0.5e-3));
    REQUIRE(difference.balance);
    CHECK(difference.balance->centre_hz < 60);
    const auto level = passband_level(m.responses[1].transfer);
    REQUIRE(level);
    CHECK(level->level_db.value == Approx(20 * std::log10(0.8)).margin(0.3));
    CHECK(roles_of(paths).carries == std::vector<bool>{true, true});
}

TEST_CASE("swapped, missing and quiet channels are told, crosstalk to its floor", "[channels]") {
    Capture c = capture();
    c.ppm = -60;
    const double crosstalk_db = -55;
    // second channel carries; the first hears it by a coupling capacitance, 6 dB an octave: -55 dB at 1 kHz
    const double corner_hz = 20000;
    const auto capacitor = sweep_maker::high_pass_rc(corner_hz, c.rate_hz);
    Path quiet{std::pow(10, crosstalk_db / 20) / std::abs(capacitor.at(1000, c.rate_hz)), 0, {capacitor}};
    SECTION("heard") {
        const Measured m = measure(c, {quiet, Path{}}, -70);
        const ChannelRoles roles = roles_of(m.paths());
        CHECK(roles.loudest == 1U);
        CHECK(roles.carries == std::vector<bool>{false, true});
        CHECK(roles.silent == std::vector<bool>{false, false});
        const Crosstalk crosstalk = crosstalk_of(m.responses[0].transfer, m.responses[1].transfer);
        REQUIRE(crosstalk.at_1khz_db);
        REQUIRE(crosstalk.at_10khz_db);
        const auto truth_db = [&](double hz) {
            return 20 * std::log10(std::abs(quiet.gain * quiet.filters[0].at(hz, c.rate_hz)));
        };
        CHECK(crosstalk.at_1khz_db->value == Approx(truth_db(1000)).margin(0.3));
        CHECK(crosstalk.at_1khz_db->limited_by == LimitedBy::nothing);
        CHECK(crosstalk.at_10khz_db->value == Approx(truth_db(10000)).margin(0.3));
    }
    SECTION("nothing but noise there") {
        const Measured m = measure(c, {Path{0, 0, {}}, Path{}}, -60);
        const ChannelRoles roles = roles_of(m.paths());
        CHECK(roles.silent == std::vector<bool>{true, false});
        const Crosstalk crosstalk = crosstalk_of(m.responses[0].transfer, m.responses[1].transfer);
        REQUIRE(crosstalk.at_1khz_db);
        CHECK(crosstalk.at_1khz_db->limited_by == LimitedBy::noise);
        CHECK(crosstalk.at_1khz_db->value < -60);
    }
    SECTION("digital silence") {
        const Measured m = measure(c, {Path{0, 0, {}}, Path{}}, 0);
        CHECK(roles_of(m.paths()).silent == std::vector<bool>{true, false});
        CHECK_FALSE(compare(m.paths()[0], m.paths()[1]).delay.has_value());
        CHECK_FALSE(compare(m.paths()[0], m.paths()[1]).balance.has_value());
    }
    SECTION("both silent") {
        const Measured m = measure(c, {Path{0, 0, {}}, Path{0, 0, {}}}, 0);
        CHECK_FALSE(roles_of(m.paths()).loudest.has_value());
        CHECK_FALSE(passband_level(m.responses[0].transfer).has_value());
    }
}

TEST_CASE("polarity pulses tell polarity and delay", "[channels]") {
    const PolarityPulse pulse{-12, 0.25, 0.002};
    const double rate_hz = 48000, tone_s = 6, start_s = 1.2345678, delay_s = 0.0051234;
    const double ppm = GENERATE(-200.0, 200.0), sign = ppm < 0 ? 1 : -1;
    std::vector<double> samples(static_cast<std::size_t>(rate_hz * (start_s + tone_s + 1)), 0.0);
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double t = (static_cast<double>(i) / rate_hz - start_s - delay_s) / (1 + 1e-6 * ppm);
        if (t < 0 || t >= tone_s) continue;
        const double about = std::fmod(t, pulse.spacing_s) - 0.5 * pulse.spacing_s;
        if (std::abs(about) < 0.5 * pulse.width_s)
            samples[i] = sign * std::pow(10, -12.0 / 20) * 0.5 * (1 + std::cos(2 * sweep_maker::pi * about / pulse.width_s));
    }
    const TonePlace place{start_s, 1e-6, ppm, 0.1};
    double margin_s = 5e-6;
    SECTION("a wide path") {}
    SECTION("a coupling capacitor") { sweep_maker::filter(samples, {sweep_maker::high_pass_rc(10, rate_hz)}); }
    SECTION("a subwoofer's low-pass") {
        sweep_maker::filter(samples, {sweep_maker::low_pass(80, rate_hz), sweep_maker::low_pass(80, rate_hz)});
        margin_s = 1e-3;
    }
    sweep_maker::add_noise(samples, 0.25 * 0.01 / std::numbers::sqrt2, 4);
    const Transfer transfer = measure_pulse_response(samples, rate_hz, pulse, place, tone_s);
    const auto fit = delay_after_tone({transfer, delay_s}, place);
    REQUIRE(fit);
    CAPTURE(ppm, fit->delay_s.sd, fit->intercept_rad);
    CHECK(fit->inverted == (sign < 0));
    CHECK(fit->sure);
    CHECK(fit->delay_s.value == Approx(delay_s).margin(margin_s + 4 * fit->delay_s.sd));
    CHECK(fit->delay_s.sd < 1.2e-3);
    CHECK_THROWS_AS(measure_pulse_response(std::span(samples).first(60000), rate_hz, pulse, place, tone_s), Error);
}

TEST_CASE("claimed uncertainties of delay, balance, response and crosstalk hold", "[channels]") {
    // 200 seeded captures: sd counts as an interval of +-2; 95.4 % of a normal's values lie inside. 90 to 99 % of 200
    // is what chance allows to within three of its own standard deviations of 1.5 %.
    Capture c;
    c.rate_hz = 8000;
    c.to_hz = 3500;
    c.from_hz = 40;
    c.duration_s = 1;
    c.start_s = 0.5;
    c.tail_s = 0.4;
    const int runs = coverage_runs::takes_or(200);
    std::array<int, 7> inside{};
    std::array<double, 7> unit{};
    for (int run = 0; run < runs; ++run) {
        std::mt19937_64 engine(static_cast<std::uint64_t>(run) + coverage_runs::seed_or(77));
        std::uniform_real_distribution<double> even(0, 1);
        c.ppm = 400 * even(engine) - 200;
        c.start_s = 0.4 + 0.2 * even(engine);
        const double delay_s = 0.02 * even(engine), gain = 0.5 + even(engine);
        const double crosstalk = std::pow(10, -(20 + 10 * even(engine)) / 20);
        const std::vector<sweep_maker::Section> filters = {sweep_maker::high_pass_rc(10 + 20 * even(engine), c.rate_hz)};
        const Measured m = measure(c, {Path{1, 0, filters}, Path{gain, delay_s, {}}, Path{crosstalk, 0, {}}},
                                   -30, static_cast<std::uint64_t>(run) + coverage_runs::seed_or(1));
        const auto paths = m.paths();
        std::size_t at = 0;
        const auto judge = [&](const Reading& reading, double truth) {
            inside[at] += truth >= reading.low() && truth <= reading.high();
            unit[at] += std::pow((reading.value - truth) / reading.sd, 2) / runs;
            ++at;
        };
        for (const double hz : {100.0, 500.0, 2000.0}) {
            const auto point = point_at(m.responses[0].transfer, hz);
            judge(point->magnitude_db(),
                  20 * std::log10(std::abs(sweep_maker::response(filters, point->frequency_hz, c.rate_hz))));
        }
        const ChannelDifference d = compare(paths[1], paths[0]);
        judge(d.delay->delay_s, delay_s);
        const double hp_db = 20 * std::log10(std::abs(sweep_maker::response(filters, 1000, c.rate_hz)));
        judge(d.balance->level_db, 20 * std::log10(gain) - hp_db);
        const Crosstalk x = crosstalk_of(m.responses[2].transfer, m.responses[1].transfer);
        judge(*x.at_1khz_db, 20 * std::log10(crosstalk / gain));
        judge(delay_after_tone(paths[1], {c.start_s, 1e-7, c.ppm, 0.1})->delay_s, delay_s);
    }
    const char* names[] = {"response 100 Hz", "response 500 Hz", "response 2 kHz", "delay", "balance", "crosstalk", "absolute delay"};
    for (std::size_t i = 0; i < inside.size(); ++i) {
        if (coverage_runs::asked())
            WARN(names[i] << ": " << runs << " takes, covered " << 100.0 * inside[i] / runs << " %, mean square " << unit[i]);
        CAPTURE(names[i], inside[i], unit[i]);
        CHECK(inside[i] >= 0.90 * runs);
        CHECK(inside[i] <= 0.99 * runs);
    }
}
