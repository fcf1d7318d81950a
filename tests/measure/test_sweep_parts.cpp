// The parts of the sweep's measurement on short sweeps at a low rate, and figures worked out by hand.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "../../src/measure/sweep_deconvolution.hpp"
#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;
using std::numbers::pi;
using sweep_maker::Capture;

namespace {

constexpr double kRate = 8000;

PlayedSweep played(const Capture& c) { return {Sweep{c.from_hz, c.to_hz, c.duration_s, c.level_dbfs}, c.ramp_s}; }
TonePlace place(const Capture& c) { return {c.start_s, 1e-6, c.ppm, 0.1}; }
Capture short_sweep() {
    Capture c;
    c.rate_hz = kRate;
    c.from_hz = 50;
    c.to_hz = 3200;   // six octaves
    c.duration_s = 1.2;
    c.start_s = 0.5012345;
    c.tail_s = 0.5;
    return c;
}
SweepResponse measured(const Capture& c, const std::vector<double>& samples) { return measure_sweep_response(samples, kRate, played(c), place(c)); }
template <class Do>
ErrorKind kind_of(Do&& what) {
    try {
        what();
    } catch (const Error& error) {
        return error.kind();
    }
    FAIL("was done");
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("a sweep is held as far as the rate and the capture go", "[response]") {
    const PlayedSweep six_octaves{Sweep{50, 3200, 1.2, -20}, 0.01};
    const HeldSweep whole = held_sweep(six_octaves, kRate);
    CHECK(whole.rate_constant_s == Approx(1.2 / (6 * std::numbers::ln2)));
    CHECK(whole.duration_s() == 1.2);
    CHECK(whole.played.sweep.to_hz == 3200);
    CHECK(whole.reached_at_s(50) == Approx(0).margin(1e-12));
    CHECK(whole.reached_at_s(400) == Approx(0.6));
    // cut at 0.8 s: four octaves; at 0.49 of 4 kHz: 1960 Hz
    const HeldSweep cut = held_sweep(six_octaves, kRate, 0.8);
    CHECK(cut.duration_s() == Approx(0.8));
    CHECK(cut.played.sweep.to_hz == Approx(800));
    CHECK(cut.rate_constant_s == Approx(whole.rate_constant_s));
    const HeldSweep low = held_sweep(six_octaves, 4000);
    CHECK(low.played.sweep.to_hz == Approx(1960));
    CHECK(low.duration_s() == Approx(whole.reached_at_s(1960)));
    CHECK(kind_of([&] { held_sweep(six_octaves, kRate, 0.199); }) == ErrorKind::too_short);   // less than an octave
    CHECK(held_sweep(six_octaves, kRate, 0.201).played.sweep.to_hz == Approx(100).epsilon(0.01));
    CHECK(held_sweep({Sweep{50, 100, 1, -20}, 0.01}, kRate).played.sweep.to_hz == 100);
    const auto refused = [](double from_hz, double to_hz, double seconds, double rate_hz) {
        return kind_of([&] { held_sweep({Sweep{from_hz, to_hz, seconds, -20}, 0.01}, rate_hz); });
    };
    CHECK(refused(50, 99, 1, kRate) == ErrorKind::invalid_request);
    CHECK(refused(0, 100, 1, kRate) == ErrorKind::invalid_request);
    CHECK(refused(-1, 100, 1, kRate) == ErrorKind::invalid_request);
    CHECK(refused(50, 100, 0, kRate) == ErrorKind::invalid_request);
    CHECK(refused(50, 100, -1, kRate) == ErrorKind::invalid_request);
    CHECK(refused(50, 100, 1, 999) == ErrorKind::invalid_request);
    CHECK(refused(50, 100, 1, 1000001) == ErrorKind::invalid_request);
    CHECK(refused(50, 3000, 2098, kRate) == ErrorKind::invalid_request);   // 2^24 samples are 2097.152 s
    CHECK_NOTHROW(held_sweep({Sweep{50, 3000, 2097, -20}, 0.01}, kRate));
    CHECK_NOTHROW(held_sweep({Sweep{50, 100, 1, -20}, 0.01}, 1000));
    CHECK_NOTHROW(held_sweep({Sweep{50, 100, 1, -20}, 0.01}, 1000000));
}

TEST_CASE("a sweep's samples follow its closed form, with soft ends, as the player's clock makes it appear", "[response]") {
    const HeldSweep sweep = held_sweep({Sweep{50, 3200, 1.2, -20}, 0.01}, kRate);
    for (const double ppm : {0.0, 500.0}) {
        const auto samples = sweep_samples(sweep, kRate, ppm);
        const double apparent_hz = kRate * (1 + 1e-6 * ppm);
        REQUIRE(samples.size() == static_cast<std::size_t>(std::lround(1.2 * apparent_hz)));
        const double constant_s = 1.2 / std::log(64.0);
        for (std::size_t i = 100; i < 9500; i += 17) {
            const double t = static_cast<double>(i) / apparent_hz;
            CHECK(samples[i] == Approx(0.1 * std::sin(2 * pi * 50 * constant_s * std::expm1(t / constant_s))).margin(1e-6));
        }
        // raised cosines over 10 ms
        const std::size_t last = samples.size() - 1;
        for (const std::size_t i : {3U, 20U, 60U}) {
            const double gain = 0.5 * (1 - std::cos(pi * (static_cast<double>(i) + 0.5) / (0.01 * apparent_hz)));
            const double t = static_cast<double>(i) / apparent_hz, end_t = static_cast<double>(last - i) / apparent_hz;
            CHECK(samples[i] == Approx(gain * 0.1 * std::sin(2 * pi * 50 * constant_s * std::expm1(t / constant_s))).margin(1e-6));
            CHECK(samples[last - i] == Approx(gain * 0.1 * std::sin(2 * pi * 50 * constant_s * std::expm1(end_t / constant_s))).margin(1e-5));
        }
    }
}

TEST_CASE("a window is one over its inner half and falls to nothing by a quintic", "[response]") {
    // single samples at a time: their weight, and their phase by their own time
    const auto weight = [](double time_s, double frequency_hz) {
        ImpulseResponse response;
        response.sample_rate_hz = 1000;
        response.samples.assign(2000, 0.0);
        const auto i = static_cast<std::ptrdiff_t>(std::lround(time_s * 1000));
        response.samples[static_cast<std::size_t>(i < 0 ? i + 2000 : i)] = 1.0;
        return at_frequency(response, {0.01, 0.2, 0.4}, frequency_hz);
    };
    for (const double time_s : {-0.09, -0.04, 0.01, 0.2, 0.21}) CHECK(weight(time_s, 0).real() == Approx(1));
    CHECK(weight(0.31, 0).real() == Approx(0.5));    // three quarters out, either side
    CHECK(weight(-0.14, 0).real() == Approx(0.5));
    const double s = 0.25;                           // of the falling part that is left: 6 s^5 - 15 s^4 + 10 s^3
    CHECK(weight(0.36, 0).real() == Approx(s * s * s * (10 - 15 * s + 6 * s * s)));
    CHECK(weight(-0.165, 0).real() == Approx(s * s * s * (10 - 15 * s + 6 * s * s)));
    CHECK(weight(0.42, 0).real() == 0.0);
    CHECK(weight(-0.2, 0).real() == 0.0);
    for (const double time_s : {-0.09, 0.2, 0.21}) {
        CHECK(weight(time_s, 37).real() == Approx(std::cos(2 * pi * 37 * time_s)));
        CHECK(weight(time_s, 37).imag() == Approx(-std::sin(2 * pi * 37 * time_s)));
    }
    // longer than a thousand samples the phase stays true
    ImpulseResponse late;
    late.sample_rate_hz = 1000;
    late.samples.assign(4000, 0.0);
    late.samples[1900] = 1.0;
    CHECK(at_frequency(late, {1.0, 1.0, 2.0}, 41.3).imag() == Approx(-std::sin(2 * pi * 41.3 * 1.9)));
}

TEST_CASE("a deconvolved sweep's delay and gain stand at their time", "[response]") {
    Capture c = short_sweep();
    const HeldSweep sweep = held_sweep(played(c), kRate);
    for (const double delay_s : {-0.03, 0.0, 0.0625, 0.12}) {
        auto samples = c.samples(delay_s);
        for (double& x : samples) x = 0.5 * x + 0.25;   // dc has no part in it
        const ImpulseResponse response = deconvolve(samples, kRate, sweep, place(c));
        CAPTURE(delay_s);
        CHECK(response.sample_rate_hz == kRate);
        CHECK(response.peak_s == Approx(delay_s).margin(0.51 / kRate));
        const auto gain = at_frequency(response, {response.peak_s, 0.03, 0.03}, 700);
        CHECK(std::abs(gain) == Approx(0.5).epsilon(0.002));
        CHECK(std::arg(gain * std::polar(1.0, 2 * pi * 700 * delay_s)) == Approx(0).margin(0.005));
        // within the band alone
        CHECK(std::abs(at_frequency(response, {response.peak_s, 0.1, 0.1}, 3400)) < 0.005);
        CHECK(std::abs(at_frequency(response, {response.peak_s, 0.1, 0.1}, 8)) < 0.01);
    }
    auto broken = c.samples();
    broken[8000] = std::numeric_limits<double>::infinity();
    CHECK(kind_of([&] { deconvolve(broken, kRate, sweep, place(c)); }) == ErrorKind::not_finite);
}

TEST_CASE("a short sweep reads a path's gain, delay and band, and what limits it", "[response]") {
    Capture c = short_sweep();
    c.ppm = 120;
    const SweepResponse response = measured(c, c.samples(0.004));
    CHECK_FALSE(response.cut_short);
    CHECK(response.sample_rate_hz == kRate);
    CHECK(response.coarse_delay_s == Approx(0.004).margin(0.51 / kRate));
    CHECK(response.transfer.at(0).frequency_hz == Approx(transfer_frequencies(57.5, 3000).front()));
    // windows of 16 cycles, 5 ms at the top: two of their widths below the end, 400 Hz, are left out
    CHECK(response.transfer.back().frequency_hz == Approx(transfer_frequencies(57.5, 2800).back()));
    for (const TransferPoint& p : response.transfer) {
        CAPTURE(p.frequency_hz);
        CHECK(std::abs(p.gain) == Approx(1).epsilon(0.01));
        if (p.frequency_hz > 100) CHECK(std::arg(p.gain * std::polar(1.0, 2 * pi * p.frequency_hz * 0.004)) == Approx(0).margin(0.02));
        CHECK(p.noise_power < 1e-4);
    }
    CHECK(response.transfer.front().noise_known);
    // a third as long and nothing after the end: the highest frequencies have no stretch that tells their noise
    Capture quick = c;
    quick.duration_s = 0.4;
    quick.tail_s = 0.002;
    const SweepResponse bare = measured(quick, quick.samples());
    CHECK_FALSE(bare.cut_short);
    CHECK_FALSE(bare.transfer.back().noise_known);
    CHECK(bare.transfer.front().noise_known);
    CHECK(response.transfer.back().noise_known);
    // ended after four of its six octaves, less 20 ms: up to 0.85 of 50 * 2^(5 * 0.78) Hz
    auto cut = c.samples();
    cut.resize(static_cast<std::size_t>((c.start_s + 0.8) * kRate));
    const SweepResponse half = measured(c, cut);
    CHECK(half.cut_short);
    CHECK(half.transfer.back().frequency_hz == Approx(transfer_frequencies(57.5, 0.85 * 50 * std::exp2(5 * 0.78)).back()));
    CHECK(std::abs(point_at(half.transfer, 350)->gain) == Approx(1).epsilon(0.005));
}

TEST_CASE("white noise beside a sweep reads as the error that it makes", "[response]") {
    // the gain's error from white noise, averaged over many frequencies, against the noise power that is stated
    Capture c = short_sweep();
    c.tail_s = 1.0;
    auto samples = c.samples();
    sweep_maker::add_noise(samples, 0.003, 5);
    const SweepResponse response = measured(c, samples);
    double error = 0, stated = 0;
    int count = 0;
    for (const TransferPoint& p : response.transfer) {
        if (p.frequency_hz < 100 || !p.noise_known) continue;
        error += std::norm(p.gain - 1.0) / p.noise_power;
        stated += p.noise_power;
        ++count;
    }
    REQUIRE(count > 90);
    CHECK(error / count == Approx(1).epsilon(0.35));   // some 40 of them are independent
    CHECK(stated / count > 1e-6);
    // four times the amplitude: sixteen times the power
    auto louder = c.samples();
    sweep_maker::add_noise(louder, 0.012, 5);
    double other = 0;
    for (const TransferPoint& p : measured(c, louder).transfer)
        if (p.frequency_hz >= 100 && p.noise_known) other += p.noise_power;
    CHECK(other / stated == Approx(16).epsilon(0.02));
}

TEST_CASE("harmonics of a short sweep read their amplitude, and noise's part is taken off and stated", "[response]") {
    Capture c = short_sweep();
    c.duration_s = 2.5;
    c.harmonics = {1.0, 0.02, 0.005};
    const SweepResponse clean = measured(c, c.samples());
    REQUIRE(clean.harmonics.size() >= 2);
    CHECK(clean.harmonics[0].number == 2);
    CHECK(clean.harmonics[1].number == 3);
    CHECK(clean.harmonics.size() <= 8);
    CHECK(measure_sweep_response(c.samples(), kRate, played(c), place(c), 1).harmonics.empty());
    CHECK(measure_sweep_response(c.samples(), kRate, played(c), place(c), 2).harmonics.size() == 1);
    for (const std::size_t i : {0U, 1U}) {
        const double truth = i == 0 ? 0.02 : 0.005;
        std::size_t seen = 0;
        for (const HarmonicPoint& p : clean.harmonics[i].points) {
            if (p.frequency_hz < 150 || p.frequency_hz > 2500.0 / static_cast<double>(i + 2)) continue;
            CAPTURE(i, p.frequency_hz);
            CHECK(p.ratio_db.value == Approx(20 * std::log10(truth)).margin(0.25));
            CHECK(p.power_ratio == Approx(truth * truth).epsilon(0.06));
            CHECK(p.power_ratio_sd < 0.1 * truth * truth);
            ++seen;
        }
        CHECK(seen > 40);
        CHECK(clean.harmonics[i].points.back().frequency_hz * static_cast<double>(i + 2) <= 2800);
    }
    // noise alone: as often below as above nothing, and about as far as its sd says
    c.harmonics = {1.0};
    auto noisy = c.samples();
    sweep_maker::add_noise(noisy, 0.002, 8);
    const SweepResponse unsure = measured(c, noisy);
    double mean = 0, squares = 0;
    int count = 0;
    for (const HarmonicPoint& p : unsure.harmonics[0].points) {
        if (p.frequency_hz < 100) continue;
        mean += p.power_ratio / p.power_ratio_sd;
        squares += std::pow(p.power_ratio / p.power_ratio_sd, 2);
        ++count;
    }
    REQUIRE(count > 40);
    CHECK(mean / count == Approx(0).margin(0.5));
    CHECK(squares / count == Approx(1).margin(0.6));
}

TEST_CASE("THD over a third of an octave is the root of the harmonics' mean powers", "[response]") {
    SweepResponse response;
    CHECK_FALSE(response.thd_percent(1000));
    const auto point = [](double hz, double power, double sd) {
        HarmonicPoint p;
        p.frequency_hz = hz;
        p.power_ratio = power;
        p.power_ratio_sd = sd;
        return p;
    };
    // of the 2nd 1e-4 and 3e-4 lie within a sixth of an octave (891 to 1122 Hz), of the 3rd 1e-4; what lies beyond doesn't count
    response.harmonics = {{2, {point(880, 1, 1), point(900, 1e-4, 1e-5), point(1110, 3e-4, 3e-5), point(1130, 1, 1)}}, {3, {point(1000, 1e-4, 2e-5)}},
                          {4, {point(500, 1, 1)}}};
    const auto thd = response.thd_percent(1000);
    REQUIRE(thd);
    CHECK(thd->value == Approx(100 * std::sqrt(3e-4)));
    // means of sd, half of whose squares count: 2e-5 and 2e-5; a root's sd is half of its square's over itself
    const double sd = std::sqrt(0.5 * 4e-10 + 0.5 * 4e-10);
    CHECK(thd->sd == Approx(100 * 0.5 * sd / std::sqrt(3e-4)));
    CHECK(thd->limited_by == LimitedBy::nothing);
    CHECK_FALSE(response.thd_percent(2000));
    // within two sd of nothing: at most so much
    response.harmonics = {{2, {point(1000, 1e-6, 1e-6)}}};
    const auto unsure = response.thd_percent(1000);
    const double spread = std::sqrt(0.5) * 1e-6;
    CHECK(unsure->value == Approx(100 * 1e-3));
    CHECK(unsure->sd == Approx(50 * (std::sqrt(1e-6 + 2 * spread) - 1e-3)));
    CHECK(unsure->limited_by == LimitedBy::noise);
    response.harmonics[0].points[0].power_ratio = -1e-6;
    CHECK(response.thd_percent(1000)->value == 0.0);
    CHECK(response.thd_percent(1000)->sd == Approx(50 * std::sqrt(2 * spread)));
}

TEST_CASE("a response is refused by kind", "[response]") {
    const Capture c = short_sweep();
    const auto samples = c.samples();
    CHECK(kind_of([&] { measured(c, {}); }) == ErrorKind::empty_input);
    const auto at = [&](double start_s, double ppm) {
        return kind_of([&] { measure_sweep_response(samples, kRate, played(c), {start_s, 0, ppm, 0}); });
    };
    CHECK(at(-0.002, 0) == ErrorKind::too_short);
    CHECK(at(std::nan(""), 0) == ErrorKind::too_short);
    CHECK(at(0.5, std::nan("")) == ErrorKind::too_short);
    CHECK(at(0.5, 10001) == ErrorKind::too_short);
    CHECK(at(0.5, -10001) == ErrorKind::too_short);
    CHECK(at(2.1, 0) == ErrorKind::too_short);   // less than an octave is left
    // half a millisecond before the capture may be a clock's doing
    CHECK_NOTHROW(measure_sweep_response(samples, kRate, played(c), {-0.0005, 0, 0, 0}));
    CHECK_NOTHROW(measure_sweep_response(samples, kRate, played(c), {c.start_s, 0, 9999, 0}));
}

TEST_CASE("a short sweep is found, with its start and its clock", "[response]") {
    Capture c = short_sweep();
    for (const double ppm : {0.0, 300.0}) {
        c.ppm = ppm;
        c.start_s = ppm == 0 ? 1.6512345 : 3.3012345;
        auto samples = c.samples();
        sweep_maker::add_noise(samples, 1e-4, 3);
        for (const bool same_clock : {false, true}) {
            if (same_clock && ppm != 0) continue;
            CAPTURE(ppm, same_clock);
            SweepFinder finder(kRate, played(c), same_clock);
            for (std::size_t from = 0; from < samples.size(); from += 5000)
                finder.add(std::span(samples).subspan(from, std::min<std::size_t>(5000, samples.size() - from)));
            const auto found = finder.result();
            REQUIRE(found);
            CHECK(found->strength > 20);
            CHECK(found->place.start_s == Approx(c.start_s).margin(same_clock ? 5e-6 : 3e-5));
            CHECK(found->place.clock_ppm == Approx(ppm).margin(same_clock ? 0.0 : 25.0));
            CHECK(found->place.start_sd_s > 0);
            CHECK(found->place.start_sd_s < 1e-4);
            CHECK((found->place.clock_ppm_sd > 0) == !same_clock);
            CHECK(found->place.clock_ppm_sd < 30);
            CHECK(std::abs(found->place.clock_ppm - ppm) < 4 * found->place.clock_ppm_sd + 0.5);
        }
    }
    // two of them: the louder one
    c = short_sweep();
    auto two = c.samples();
    c.start_s = 3.2;
    c.level_dbfs = -6;
    auto louder = c.samples();
    for (std::size_t i = 0; i < two.size(); ++i) louder[i] += two[i];
    sweep_maker::add_noise(louder, 1e-3, 4);
    SweepFinder finder(kRate, played(c));
    finder.add(louder);
    CHECK(finder.result()->place.start_s == Approx(3.2).margin(1e-3));
    std::vector<double> hiss(40000, 0.0);
    sweep_maker::add_noise(hiss, 0.1, 5);
    SweepFinder none(kRate, played(c));
    none.add(hiss);
    CHECK_FALSE(none.result());
}

TEST_CASE("behind a low-pass that leaves little of a sweep its clock is not told, and its start only so well", "[response]") {
    Capture c = short_sweep();
    c.ppm = 60;
    auto samples = c.samples();
    for (int i = 0; i < 3; ++i) sweep_maker::filter(samples, {sweep_maker::low_pass(110, kRate)});
    sweep_maker::add_noise(samples, 1e-4, 6);
    SweepFinder finder(kRate, played(c));
    finder.add(samples);
    const auto found = finder.result();
    REQUIRE(found);
    CHECK((found->place.clock_ppm == 0.0 && found->place.clock_ppm_sd == 120.0));   // anything from -200 to 200
    CHECK(found->place.start_s == Approx(c.start_s).margin(5e-3));
    // by so much of what the sweep took to the middle of what is left of it, 50 Hz to some 250
    const double reached_s = 1.2 * std::log2(std::sqrt(250.0 / 50)) / 6;
    CHECK(found->place.start_sd_s > 0.6 * 120e-6 * reached_s);
    Capture late = short_sweep();   // frames later
    late.start_s = 6.0;
    SweepFinder far(kRate, played(late));
    far.add(late.samples());
    SweepFinder moved(std::move(far));
    CHECK(moved.result()->place.start_s == Approx(6.0).margin(1e-5));
}

TEST_CASE("a slow sweep's clock that is far off is found from its octaves' arrivals", "[response]") {
    // 8 s with 450 ppm: the last arrives 3.6 ms late, three periods of it
    Capture c;
    c.rate_hz = 2000;
    c.from_hz = 25;
    c.to_hz = 900;
    c.duration_s = 8;
    c.tail_s = 1.0;
    for (const double ppm : {-450.0, 450.0}) {
        c.ppm = ppm;
        c.start_s = ppm < 0 ? 1.3012345 : 4.2012345;
        auto samples = c.samples();
        sweep_maker::add_noise(samples, 1e-3, 7);
        SweepFinder finder(c.rate_hz, played(c));
        finder.add(samples);
        const auto found = finder.result();
        CAPTURE(ppm);
        REQUIRE(found);
        CHECK(found->place.clock_ppm == Approx(ppm).margin(5));
        CHECK(found->place.start_s == Approx(c.start_s).margin(5e-5));
        CHECK((found->place.clock_ppm_sd > 0 && found->place.clock_ppm_sd < 10));
    }
}
