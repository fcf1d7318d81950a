#include "../../../src/diagnose/takes/take_apart.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "../../../src/diagnose/takes/take_spans.hpp"

using namespace hushtrace;

namespace {

using K = NoiseKind;
constexpr double kRate = 16000.0;
constexpr std::size_t kFrames = 32000;

NoiseSource source(const std::string& id, K kind, std::optional<double> level_dbfs = -50.0) {
    NoiseSource out;
    out.id = id;
    out.kind = kind;
    out.levels = {{"a", Channel::left, level_dbfs, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing}};
    return out;
}

SourceTrace still_trace(const std::string& id, double frequency_hz, std::vector<double> ratios) {
    SourceTrace out;
    out.source_id = id;
    out.take = "a";
    out.steady = true;
    out.track = {{0.0, 1.0}, {frequency_hz, frequency_hz}};
    out.ratios = std::move(ratios);
    return out;
}

void add_tone(Block& sound, std::size_t channel, double frequency_hz, double amplitude) {
    auto samples = sound.channel(channel);
    for (std::size_t n = 0; n < samples.size(); ++n)
        samples[n] += amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / kRate);
}
/// Noise of a standard deviation from one second to another.
void add_noise(Block& sound, std::size_t channel, double sd, double from_s, double to_s, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0.0, sd);
    auto samples = sound.channel(channel);
    for (auto n = static_cast<std::size_t>(from_s * kRate); n < static_cast<std::size_t>(to_s * kRate); ++n) samples[n] += noise(random);
}
double rms(const Block& sound, std::size_t channel, double from_s = 0.0, double to_s = 2.0) {
    double sum = 0;
    const auto samples = sound.channel(channel);
    const auto from = static_cast<std::size_t>(from_s * kRate), to = static_cast<std::size_t>(to_s * kRate);
    for (std::size_t n = from; n < to; ++n) sum += samples[n] * samples[n];
    return std::sqrt(sum / static_cast<double>(to - from));
}

struct Parts {
    std::vector<std::string> ids;
    std::vector<Block> sounds;
};
Parts parts_of(const Block& sound, const NoiseAnalysis& analysis, const std::vector<std::string>& wanted) {
    std::vector<const NoiseSource*> sources;
    for (const NoiseSource& one : analysis.noise_sources)
        if (std::find(wanted.begin(), wanted.end(), one.id) != wanted.end()) sources.push_back(&one);
    Parts out;
    take_apart(sound, kRate, "a", analysis, sources, [&out](const NoiseSource& one, Block& alone) {
        out.ids.push_back(one.id);
        out.sounds.push_back(alone);
    });
    return out;
}

}  // namespace

TEST_CASE("what has a level and a trace in a take can be taken out of it; hiss and crackle need no trace", "[take_apart]") {
    NoiseAnalysis analysis;
    analysis.traces = {still_trace("x", 440, {1})};
    const auto can = [&](const std::string& id, K kind, std::optional<double> level_dbfs = -50.0, const std::string& take = "a") {
        return can_be_taken_out(source(id, kind, level_dbfs), analysis, take);
    };
    CHECK(can("x", K::unexplained_tone));
    CHECK_FALSE(can("y", K::unexplained_tone));
    CHECK_FALSE(can("x", K::unexplained_tone, std::nullopt));
    CHECK_FALSE(can("x", K::unexplained_tone, -50.0, "b"));
    CHECK_FALSE(can("x", K::clipping));
    CHECK(can("y", K::hiss));
    CHECK(can("y", K::crackle));
    CHECK_FALSE(can("y", K::hiss, -50.0, "b"));
    CHECK_FALSE(can("y", K::ignition_tick));
    analysis.traces[0].take = "b";
    CHECK_FALSE(can("x", K::unexplained_tone));
}

TEST_CASE("a take falls apart into lines, then crackle, then what is left, and they add up to it", "[take_apart]") {
    Block sound(2, kFrames);
    add_tone(sound, 0, 440, 0.1);
    add_tone(sound, 0, 880, 0.05);
    add_tone(sound, 1, 440, 0.02);
    add_tone(sound, 1, 1500, 0.04);
    for (const std::size_t c : {0U, 1U}) add_noise(sound, c, 1e-3, 0.0, 2.0, 3 + static_cast<unsigned>(c));
    add_noise(sound, 1, 0.3, 0.800, 0.804, 7);   // louder on the right, and on both sides at once
    add_noise(sound, 0, 0.002, 0.800, 0.804, 8);   // too faint to be found by itself
    NoiseAnalysis analysis;
    analysis.noise_sources = {source("hiss", K::hiss), source("crackle", K::crackle), source("comb", K::switched_load),
                              source("tone", K::unexplained_tone), source("clipping", K::clipping)};
    analysis.traces = {still_trace("comb", 440, {1, 2}), still_trace("tone", 1500, {1})};
    const Parts all = parts_of(sound, analysis, {"hiss", "crackle", "comb", "tone", "clipping"});
    REQUIRE(all.ids == std::vector<std::string>{"comb", "tone", "crackle", "hiss"});
    for (const std::size_t c : {0U, 1U}) {
        double most = 0;
        for (std::size_t n = 0; n < kFrames; ++n) {
            double sum = 0;
            for (const Block& one : all.sounds) sum += one.channel(c)[n];
            most = std::max(most, std::abs(sum - sound.channel(c)[n]));
        }
        CHECK(most < 1e-9);
    }
    const double root_2 = std::numbers::sqrt2;
    CHECK(rms(all.sounds[0], 0, 1.2, 1.8) == Approx(std::hypot(0.1, 0.05) / root_2).epsilon(0.01));
    CHECK(rms(all.sounds[0], 1, 1.2, 1.8) == Approx(0.02 / root_2).epsilon(0.01));
    CHECK(rms(all.sounds[1], 1, 1.2, 1.8) == Approx(0.04 / root_2).epsilon(0.01));
    CHECK(rms(all.sounds[1], 0, 1.2, 1.8) < 3e-4);
    CHECK(rms(all.sounds[2], 1, 0.8, 0.804) > 0.2);
    CHECK(rms(all.sounds[2], 0, 0.8, 0.804) > 0.001);   // where the right one has it
    CHECK(rms(all.sounds[2], 1, 1.0, 2.0) == 0.0);
    CHECK(rms(all.sounds[3], 0, 1.2, 1.8) == Approx(1e-3).epsilon(0.1));
    // only what is wanted is handed on, taken apart from the others all the same
    const Parts some = parts_of(sound, analysis, {"hiss", "tone"});
    REQUIRE(some.ids == std::vector<std::string>{"tone", "hiss"});
    CHECK(rms(some.sounds[1], 0, 1.2, 1.8) == Approx(rms(all.sounds[3], 0, 1.2, 1.8)));
}

TEST_CASE("crackle is taken from both sides where the louder one has it", "[take_apart]") {
    for (const std::size_t loud : {0U, 1U}) {
        CAPTURE(loud);
        Block sound(2, kFrames);
        for (const std::size_t c : {0U, 1U}) add_noise(sound, c, 1e-3, 0.0, 2.0, 3 + static_cast<unsigned>(c));
        add_noise(sound, loud, 0.3, 0.800, 0.804, 7);
        NoiseAnalysis analysis;
        analysis.noise_sources = {source("crackle", K::crackle)};
        const Parts parts = parts_of(sound, analysis, {"crackle"});
        REQUIRE(parts.sounds.size() == 1);
        CHECK(rms(parts.sounds[0], loud, 0.8, 0.804) > 0.2);
        CHECK(rms(parts.sounds[0], 1 - loud, 0.8, 0.804) > 5e-4);
        CHECK(rms(parts.sounds[0], 1 - loud, 1.0, 2.0) == 0.0);
    }
}

TEST_CASE("of two sources on one line the louder takes it", "[take_apart]") {
    Block sound(1, kFrames);
    add_tone(sound, 0, 440, 0.1);
    NoiseAnalysis analysis;
    analysis.noise_sources = {source("first", K::switched_load), source("second", K::unexplained_tone)};
    analysis.traces = {still_trace("second", 440, {1}), still_trace("first", 440, {1})};
    const Parts parts = parts_of(sound, analysis, {"first", "second"});
    REQUIRE(parts.ids == std::vector<std::string>{"first", "second"});
    CHECK(rms(parts.sounds[0], 0, 0.7, 1.3) == Approx(0.1 / std::numbers::sqrt2).epsilon(0.01));
    CHECK(rms(parts.sounds[1], 0, 0.7, 1.3) < 1e-3);
}

TEST_CASE("a line that wanders is taken out along its track, one that holds still in a narrower band", "[take_apart]") {
    // half of the amplitude passes at the band's edge, none at one and a half times that
    const auto taken = [](bool steady, double off_hz) {
        Block sound(1, kFrames);
        add_tone(sound, 0, 1000.0 + off_hz, 0.1);
        NoiseAnalysis analysis;
        analysis.noise_sources = {source("x", K::motor_whine)};
        analysis.traces = {still_trace("x", 1000, {1})};
        analysis.traces[0].steady = steady;
        if (!steady) analysis.traces[0].track = {{0.0, 0.5, 1.0, 1.5, 2.0}, {1000, 1000, 1000, 1000, 1000}};
        return rms(parts_of(sound, analysis, {"x"}).sounds.at(0), 0, 0.7, 1.3) / (0.1 / std::numbers::sqrt2);
    };
    CHECK(taken(true, 0.0) == Approx(1.0).epsilon(0.01));
    CHECK(taken(false, 0.0) == Approx(1.0).epsilon(0.01));
    CHECK(taken(true, 3.0) < 0.05);    // 0.1 %: 1 Hz
    CHECK(taken(false, 3.0) > 0.5);    // 0.4 %: 4 Hz
    CHECK(taken(false, 10.0) < 0.05);
}

TEST_CASE("a train's clicks are taken out where its rate puts them, after the lines", "[take_apart]") {
    Block sound(1, kFrames);
    for (int i = 0; i < 40; ++i)
        add_noise(sound, 0, 0.3, 0.0125 + 0.05 * i, 0.0135 + 0.05 * i, 20U + static_cast<unsigned>(i));  // a quarter of a turn in
    add_noise(sound, 0, 1e-3, 0.0, 2.0, 5);
    add_tone(sound, 0, 440, 0.1);
    NoiseAnalysis analysis;
    analysis.noise_sources = {source("ticks", K::periodic_tick), source("tone", K::unexplained_tone)};
    SourceTrace ticks = still_trace("ticks", 20, {});
    ticks.click_profile.assign(48, 1e-6);
    ticks.click_profile[12] = ticks.click_profile[13] = 1e-2;
    analysis.traces = {ticks, still_trace("tone", 440, {1})};
    const Parts parts = parts_of(sound, analysis, {"ticks", "tone"});
    REQUIRE(parts.ids == std::vector<std::string>{"tone", "ticks"});
    CHECK(rms(parts.sounds[1], 0, 1.0125, 1.0135) > 0.15);
    CHECK(rms(parts.sounds[1], 0, 1.03, 1.05) == 0.0);
}

TEST_CASE("spans are read from a stream in order, each whole or as far as it goes", "[take_apart]") {
    Block sound(2, 200000);
    for (std::size_t n = 0; n < sound.frames(); ++n) {
        sound.channel(0)[n] = static_cast<double>(n);
        sound.channel(1)[n] = -static_cast<double>(n);
    }
    MemoryReader reader(sound, 1000.0);
    struct Read {
        std::size_t index, frames;
        double first, last;
    };
    std::vector<Read> read;
    read_spans(reader, {{-1.0, 0.5}, {2.0, 2.0}, {3.0, 2.5}, {70.0, 140.0}, {140.0, 140.1}, {199.5, 300.0}, {400.0, 500.0}},
               [&read](std::size_t index, const Block& block) {
                   read.push_back({index, block.frames(), block.channel(0)[0], block.channel(0)[block.frames() - 1]});
                   CHECK(block.channels() == 2);
                   CHECK(block.channel(1)[0] == -block.channel(0)[0]);
               });
    REQUIRE(read.size() == 4);
    const std::vector<Read> wanted = {{0, 500, 0, 499}, {3, 70000, 70000, 139999}, {4, 100, 140000, 140099}, {5, 500, 199500, 199999}};
    for (std::size_t i = 0; i < 4; ++i) {
        CHECK(read[i].index == wanted[i].index);
        CHECK(read[i].frames == wanted[i].frames);
        CHECK(read[i].first == wanted[i].first);
        CHECK(read[i].last == wanted[i].last);
    }
}
