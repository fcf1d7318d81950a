#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include "../../src/measure/phase_jumps.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0, kTurn = 2.0 * std::numbers::pi;

/// Amplitude and phase [rad] over time, of a sine; noise beside it.
std::vector<double> sound(double seconds, double hz, const std::function<double(double)>& amplitude, const std::function<double(double)>& phase_rad,
                          double noise_rms = 0.0, unsigned seed = 1) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, 1.0);
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        out[n] = amplitude(t) * std::cos(kTurn * hz * t + phase_rad(t)) + noise_rms * normal(engine);
    }
    return out;
}
std::function<double(double)> always(double value) {
    return [value](double) { return value; };
}
/// A step at a time.
std::function<double(double)> step(double at_s, double before, double after) {
    return [=](double t) { return t < at_s ? before : after; };
}

struct Seen {
    std::vector<PhaseBlock> blocks;
    std::size_t ends = 0;
};
/// All that comes of a sound that is added in two parts.
Seen seen_in(PhaseBlocks& reader, const std::vector<double>& samples) {
    Seen out;
    PhaseBlock block;
    const auto take = [&](bool no_more) {
        for (auto next = reader.next(block, no_more); next != PhaseBlocks::Next::more_needed; next = reader.next(block, no_more)) {
            if (next == PhaseBlocks::Next::block) out.blocks.push_back(block);
            else ++out.ends;
        }
    };
    const std::span<const double> all(samples);
    reader.add(all.first(all.size() / 3));
    take(false);
    reader.add(all.subspan(all.size() / 3));
    take(false);
    take(true);
    return out;
}
std::vector<PhaseJump> jumps_in(const std::vector<double>& samples, std::optional<double> expected_hz = std::nullopt) {
    PhaseJumpFinder finder(kRate, expected_hz);
    const std::span<const double> all(samples);   // as it comes
    for (std::size_t from = 0; from < all.size(); from += 3001) finder.add(all.subspan(from, std::min<std::size_t>(3001, all.size() - from)));
    finder.finish();
    return finder.jumps();
}

}  // namespace

TEST_CASE("a steady tone's blocks show its amplitude, phase and power, half overlapping", "[phase_jumps]") {
    // 1 kHz: blocks of 5 ms, windows of two; 100 Hz: three cycles, 30 ms
    const auto [hz, hop] = GENERATE(table<double, std::size_t>({{1000.0, 40}, {100.0, 240}, {1000.6, 40}}));
    CAPTURE(hz);
    PhaseBlocks reader(kRate, std::nullopt);
    const Seen seen = seen_in(reader, sound(2.0, hz, always(0.5), always(0.7)));
    CHECK(reader.rate_hz() == kRate);
    CHECK(reader.carrier_hz() == Approx(hz).margin(0.02));
    CHECK(reader.hop() == hop);
    CHECK(seen.ends == 1);
    REQUIRE(seen.blocks.size() == 16000 / hop - 1);
    for (std::size_t i = 0; i < seen.blocks.size(); ++i) {
        const PhaseBlock& one = seen.blocks[i];
        CHECK(one.time_s == Approx(static_cast<double>((i + 1) * hop) / kRate));
        CHECK(std::abs(one.amplitude) == Approx(0.5).epsilon(2e-4));
        const double off_rad = std::arg(one.amplitude) - 0.7 - kTurn * (hz - reader.carrier_hz()) * one.time_s;
        CHECK(std::abs(std::remainder(off_rad, kTurn)) < 1e-3);
        CHECK(one.mean_square == Approx(0.125).epsilon(1e-3));
    }
    REQUIRE(reader.sections().size() == 1);
    const ToneSection& section = reader.sections()[0];
    CHECK(section.start_s == Approx(static_cast<double>(hop) / kRate));
    CHECK(section.end_s == Approx(seen.blocks.back().time_s));
    CHECK(section.amplitude == Approx(0.5).epsilon(2e-4));
    CHECK(section.frequency_hz == Approx(hz).margin(1e-3));
    CHECK(section.tone_energy == Approx(section.all_energy).epsilon(1e-3));
    CHECK(section.all_energy == Approx(0.125 * static_cast<double>(seen.blocks.size())).epsilon(1e-3));
    CHECK(section.loudest_after == 0.0);
}

TEST_CASE("a tone that stops ends its section after five blocks, and what is loudest until it returns is kept", "[phase_jumps]") {
    // a second of tone, a pause with dc in it, tone again
    const auto paused = [](double pause_s, double dc) {
        const auto amplitude = [=](double t) { return t < 1.0 || t >= 1.0 + pause_s ? 0.2 : 0.0; };
        auto out = sound(2.0 + pause_s, 1000.0, amplitude, step(1.0 + 0.5 * pause_s, 0.0, 1.0));   // it returns with another phase
        for (std::size_t n = 8000; n < static_cast<std::size_t>((1.0 + pause_s) * kRate); ++n) out[n] += dc;
        return out;
    };
    PhaseBlocks reader(kRate, std::nullopt);
    const Seen seen = seen_in(reader, paused(0.5, 0.03));
    CHECK(seen.ends == 2);
    REQUIRE(reader.sections().size() == 2);
    CHECK(reader.sections()[0].end_s == Approx(1.0).margin(0.0051));
    CHECK(reader.sections()[0].loudest_after == Approx(0.03 * 0.03).epsilon(1e-6));
    CHECK(reader.sections()[1].start_s == Approx(1.5).margin(0.0051));
    CHECK(reader.sections()[1].frequency_hz == Approx(1000.0).margin(1e-3));
    // what follows within 50 ms may be the tone's own end
    auto burst = paused(0.5, 0.0);
    for (std::size_t n = 8240; n < 8320; ++n) burst[n] = 0.05;
    PhaseBlocks soon(kRate, std::nullopt);
    seen_in(soon, burst);
    CHECK(soon.sections().at(0).loudest_after < 1e-9);
    // after a second without it the tone is looked for anew: here it is another one
    auto other = paused(3.0, 0.0);
    const auto again = sound(2.0, 1500.0, always(0.2), always(0.0));
    std::copy(again.begin(), again.end(), other.begin() + 24000);
    PhaseBlocks second(kRate, std::nullopt);
    seen_in(second, other);
    REQUIRE(second.sections().size() == 2);
    CHECK(second.sections()[1].frequency_hz == Approx(1500.0).margin(1e-3));
    CHECK(second.sections()[1].start_s == Approx(3.0).margin(0.21));
    // in 25 ms of silence four windows of 10 ms lie wholly, in 30 ms five: these end a section
    PhaseBlocks brief(kRate, std::nullopt), longer(kRate, std::nullopt);
    CHECK(seen_in(brief, paused(0.025, 0.0)).ends == 1);
    CHECK(seen_in(longer, paused(0.03, 0.0)).ends == 2);
}

TEST_CASE("which tone is followed, and which sound has none", "[phase_jumps]") {
    const auto mixed = [](double amplitude, double hz, double noise_rms = 0.0) {
        auto out = sound(1.0, 1000.0, always(0.1), always(0.0), noise_rms);
        const auto other = sound(1.0, hz, always(amplitude), always(0.0));
        for (std::size_t n = 0; n < out.size(); ++n) out[n] += other[n];
        return out;
    };
    const auto carrier = [](std::optional<double> expected_hz, const std::vector<double>& samples) {
        PhaseBlocks reader(kRate, expected_hz);
        return seen_in(reader, samples).blocks.empty() ? 0.0 : reader.carrier_hz();
    };
    // of two tones the stronger, where it is half of the power; a twentieth where it is expected
    CHECK(carrier(std::nullopt, mixed(0.08, 3000.0)) == Approx(1000.0).margin(0.1));
    CHECK(carrier(std::nullopt, mixed(0.12, 3000.0)) == Approx(3000.0).margin(0.1));
    CHECK(carrier(1000.0, mixed(0.4, 3000.0)) == Approx(1000.0).margin(0.1));
    CHECK(carrier(1000.0, mixed(0.47, 3000.0)) == 0.0);
    // within 2 % of what is expected, and the few bins of a line in the last short stretch
    CHECK(carrier(1018.0, mixed(0.0, 3000.0)) == Approx(1000.0).margin(0.1));
    CHECK(carrier(1060.0, mixed(0.0, 3000.0)) == 0.0);
    CHECK(carrier(983.0, mixed(0.0, 3000.0)) == Approx(1000.0).margin(0.1));
    CHECK(carrier(945.0, mixed(0.0, 3000.0)) == 0.0);
    // noise has none, nor silence; a tenth of a second tells of an expected one, four bins below 15 Hz of any
    CHECK(carrier(std::nullopt, mixed(0.0, 3000.0, 0.15)) == 0.0);
    CHECK(carrier(std::nullopt, sound(1.0, 1000.0, always(0.0), always(0.0), 0.1)) == 0.0);
    CHECK(carrier(std::nullopt, std::vector<double>(8000, 0.0)) == 0.0);
    const auto brief = [&](double seconds, std::optional<double> expected_hz) {
        return carrier(expected_hz, sound(seconds, 1000.0, always(0.1), always(0.0)));
    };
    CHECK(brief(0.101, 1000.0) == Approx(1000.0).margin(0.2));
    CHECK(brief(0.099, 1000.0) == 0.0);
    CHECK(brief(0.270, std::nullopt) == Approx(1000.0).margin(0.2));
    CHECK(brief(0.264, std::nullopt) == 0.0);
    // eight samples a block at least: 5 ms of them
    for (const double rate : {1600.0, 1590.0}) {
        PhaseBlocks reader(rate, std::nullopt);
        std::vector<double> slow(3200);
        for (std::size_t n = 0; n < slow.size(); ++n) slow[n] = 0.1 * std::cos(kTurn * 0.45 * static_cast<double>(n));
        CHECK(seen_in(reader, slow).blocks.empty() == (rate < 1600.0));
    }
}

TEST_CASE("a step of the phase is found with its size, its time and how sure it is", "[phase_jumps]") {
    const double rad = GENERATE(0.3, -0.3, 2.8, -3.0), amplitude = 0.1, noise_rms = 0.001;
    CAPTURE(rad);
    const auto found = jumps_in(sound(5.0, 1000.3, always(amplitude), step(3.0, 0.2, 0.2 + rad), noise_rms, 7));
    REQUIRE(found.size() == 1);
    CHECK(found[0].time_s == Approx(3.0).margin(0.006));
    CHECK(found[0].frequency_hz == Approx(1000.3).margin(0.2));
    CHECK(std::abs(found[0].step_rad - rad) < 4.0 * found[0].step_sd_rad);
    // A Hann window of 80 samples leaves 4 (1.5 / 80) of the noise's variance in a block's complex amplitude, half of it across:
    // 1.94 mrad here. Over three blocks a side, four blocks apart, a step is sure to sqrt(2/3 + 16/4) of that, half as much again
    // at most where its scores have been seen to scatter.
    const double block_rad = std::sqrt(0.5 * 4.0 * 1.5 / 80.0) * noise_rms / amplitude;
    CHECK(found[0].step_sd_rad > 0.8 * block_rad * std::sqrt(2.0 / 3.0 + 4.0));
    CHECK(found[0].step_sd_rad < 1.6 * block_rad * std::sqrt(2.0 / 3.0 + 4.0));
}

TEST_CASE("a small step needs a second either side, a smaller one is not seen", "[phase_jumps]") {
    // 200 blocks either side: sqrt(2/200 + 6/199) of a block's, 0.39 mrad here; six of that and a fifth more are seen
    const double block_rad = std::sqrt(0.5 * 4.0 * 1.5 / 80.0) * 0.01, sd = block_rad * std::sqrt(2.0 / 200 + 6.0 / 199);
    PhaseJumpFinder finder(kRate, 1000.0);
    finder.add(sound(6.0, 1000.0, always(0.1), step(3.0, 0.0, 12.0 * sd), 0.001, 3));
    finder.finish();
    REQUIRE(finder.jumps().size() == 1);
    CHECK(finder.jumps()[0].time_s == Approx(3.0).margin(0.1));
    CHECK(finder.jumps()[0].step_rad == Approx(12.0 * sd).margin(4.0 * sd));
    CHECK(finder.jumps()[0].frequency_hz == Approx(1000.0).margin(0.001));
    REQUIRE(finder.least_visible_rad());
    CHECK(*finder.least_visible_rad() == Approx(6.0 * 1.2 * sd).epsilon(0.2));
    CHECK(jumps_in(sound(6.0, 1000.0, always(0.1), step(3.0, 0.0, 3.0 * sd), 0.001, 3)).empty());
    double least = 0;
    for (unsigned seed = 1; seed <= 6; ++seed) {
        PhaseJumpFinder plain(kRate, 1000.0);
        plain.add(sound(2.6, 1000.0, always(0.1), always(0.0), 0.001, seed));
        plain.finish();
        REQUIRE(plain.least_visible_rad());
        least += *plain.least_visible_rad() / 6.0;
    }
    CHECK(least == Approx(6.0 * 1.2 * sd).epsilon(0.1));   // the noise of 200 blocks is known to a tenth of its power
    // less than a second either side tells no least step
    PhaseJumpFinder brief(kRate, 1000.0);
    brief.add(sound(1.9, 1000.0, always(0.1), always(0.0), 0.001, 3));
    brief.finish();
    CHECK_FALSE(brief.least_visible_rad());
}

TEST_CASE("steps are told one by one, and from what is no step", "[phase_jumps]") {
    const auto two = jumps_in(sound(5.0, 1000.0, always(0.1), [](double t) { return t < 2.0 ? 0.0 : t < 3.0 ? 0.5 : -0.3; }, 0.001, 5));
    REQUIRE(two.size() == 2);
    CHECK(two[0].step_rad == Approx(0.5).margin(0.03));
    CHECK(two[1].step_rad == Approx(-0.8).margin(0.03));
    CHECK(two[0].time_s == Approx(2.0).margin(0.006));
    CHECK(two[1].time_s == Approx(3.0).margin(0.006));
    // turned volume shifts the phase by less than 20 degrees; more than that is a step all the same
    CHECK(jumps_in(sound(5.0, 1000.0, step(3.0, 0.1, 0.09), step(3.0, 0.0, 0.3), 0.001, 6)).empty());
    CHECK(jumps_in(sound(5.0, 1000.0, step(3.0, 0.1, 0.09), step(3.0, 0.0, 0.4), 0.001, 6)).size() == 1);
    CHECK(jumps_in(sound(5.0, 1000.0, step(3.0, 0.1, 0.098), step(3.0, 0.0, 0.3), 0.001, 6)).size() == 1);   // 2 % are no turn
    // a clock that drifts, a phase that swings, a tone that begins and ends
    CHECK(jumps_in(sound(5.0, 1000.0, always(0.1), [](double t) { return 0.5 * t * t; }, 0.001, 8)).empty());
    CHECK(jumps_in(sound(5.0, 1000.0, always(0.1), [](double t) { return 0.3 * std::sin(8.0 * t); }, 0.001, 8)).empty());
    CHECK(jumps_in(sound(5.0, 1000.0, [](double t) { return t > 1.0 && t < 4.0 ? 0.1 : 0.0; }, always(0.0), 0.001, 8)).empty());
    // across a pause nothing is compared
    CHECK(jumps_in(sound(5.0, 1000.0, [](double t) { return t < 2.0 || t > 2.2 ? 0.1 : 0.0; }, step(2.1, 0.0, 1.0), 0.001, 8)).empty());
    // the first and the last three blocks can't tell
    CHECK(jumps_in(sound(3.0, 1000.0, always(0.1), step(2.9, 0.0, 1.0), 0.001, 9)).size() == 1);
    CHECK(jumps_in(sound(3.0, 1000.0, always(0.1), step(2.995, 0.0, 1.0), 0.001, 9)).empty());
}

TEST_CASE("a step is found whatever lies round it", "[phase_jumps]") {
    const auto only = [](const std::vector<double>& samples, double at_s, double rad, double margin, bool expected = false) {
        const auto found = jumps_in(samples, expected ? std::optional(1000.0) : std::nullopt);
        for (const PhaseJump& one : found) UNSCOPED_INFO(one.time_s << " s, " << one.step_rad << " rad, sd " << one.step_sd_rad);
        return found.size() == 1 && std::abs(found[0].time_s - at_s) < 0.011 && std::abs(found[0].step_rad - rad) < margin;
    };
    // a tone whose frequency drifts by 0.3 Hz, one with no noise at all, one of a third of a second
    const auto drifting = sound(5.0, 1000.0, always(0.1), [](double t) { return 0.05 * kTurn * t * t + (t < 3.0 ? 0.0 : 0.3); }, 0.001, 7);
    CHECK(only(drifting, 3.0, 0.3, 0.02));
    CHECK(jumps_in(drifting).at(0).frequency_hz == Approx(1000.3).margin(0.1));
    CHECK(only(sound(5.0, 1000.0, always(0.1), step(3.0, 0.0, 0.01)), 3.0, 0.01, 1e-4));
    CHECK(only(sound(0.35, 1000.0, always(0.1), step(0.2, 0.0, 0.3), 0.001, 7), 0.2, 0.3, 0.02, true));
    // clicks in the blocks beside it
    for (const double away_s : {-0.05, 0.05}) {
        auto clicked = sound(5.0, 1000.0, always(0.1), step(3.0, 0.0, 0.1), 0.001, 7);
        clicked[static_cast<std::size_t>((3.0 + away_s) * kRate)] += 1.0;
        CHECK(only(clicked, 3.0, 0.1, 0.02));
    }
    // in the second section of a take, after the first was longer than what is remembered of it
    auto second = sound(8.0, 1000.0, always(0.1), step(5.3, 0.0, 0.2), 0.001, 7);
    std::fill(second.begin() + 32000, second.begin() + 32800, 0.0);
    CHECK(only(second, 5.3, 0.2, 0.02));
    // just before a section's end, with three blocks or four after it
    auto last = sound(5.0, 1000.0, always(0.1), step(2.97, 0.0, 0.5), 0.001, 11);
    std::fill(last.begin() + 24000, last.end(), 0.0);
    CHECK(only(last, 2.97, 0.5, 0.05));
    // a line beside the tone, which swings its phase to and fro, makes no step and hides none that is ten times as large
    auto beating = sound(5.0, 1000.0, always(0.1), step(3.0, 0.0, 0.5), 0.0003, 7);
    const auto other = sound(5.0, 1002.0, always(0.002), always(0.0));
    for (std::size_t n = 0; n < beating.size(); ++n) beating[n] += other[n];
    CHECK(only(beating, 3.0, 0.5, 0.04));
}

TEST_CASE("how small a step may be, how much its level may change, and how noisy its tone may be", "[phase_jumps]") {
    const auto steps = [](double rad, double level_after, double noise_rms) {
        return jumps_in(sound(4.0, 1000.0, step(2.5, 0.1, 0.1 * level_after), step(2.5, 0.0, rad), noise_rms, 4), 1000.0).size();
    };
    CHECK(steps(1.1e-4, 1.0, 0.0) == 1);   // 0.005 degrees are 8.7e-5
    CHECK(steps(7e-5, 1.0, 0.0) == 0);
    CHECK(steps(0.3, 0.96, 0.0002) == 1);  // 5 % of the level
    CHECK(steps(0.3, 0.93, 0.0002) == 0);
    CHECK(steps(0.3, 1.07, 0.0002) == 0);
    CHECK(steps(0.34, 0.9, 0.0002) == 0);  // 20 degrees are 0.349
    CHECK(steps(0.36, 0.9, 0.0002) == 1);
    // a block's phase scatters by 0.194 of the noise over the amplitude; beyond a quarter of a radian this is no steady tone
    CHECK(steps(2.5, 1.0, 0.1) == 1);
    CHECK(steps(2.5, 1.0, 0.16) == 0);
}
