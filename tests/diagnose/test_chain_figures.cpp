// What becomes of channels that are added up, distortion and noise: of paths and sounds that are known on paper.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/chain_maker.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using namespace chain_maker;

TEST_CASE("what two channels make together, and why they cancel", "[chain]") {
    ReadTakes the;
    const auto sum = [&](const Transfer& left, const Transfer& right, const std::function<void(ChainAnalysis&)>& known) {
        the = {};
        the.add("take", {{Channel::left, left}, {Channel::right, right}});
        the.channel(Channel::left, "take").polarity = "normal";
        the.channel(Channel::right, "take").polarity = "normal";
        known(the.chain);
        add_sums(the.chain, the.read);
        REQUIRE(the.chain.sums.size() == 1);
        return the.chain.sums[0];
    };
    const auto nothing = [](ChainAnalysis&) {};
    const ChainSum in_phase = sum(path(), path(-3), nothing);
    CHECK(in_phase.take == "take");
    CHECK(in_phase.one == Channel::left);
    CHECK(in_phase.other == Channel::right);
    CHECK(in_phase.deepest_db == Approx(0).margin(1e-6));
    CHECK(in_phase.to_hz == 0);
    CHECK(in_phase.cause.empty());
    CHECK(sum(path(), path(0, 0, true), [](ChainAnalysis& c) { c.channels[1].polarity = "inverted"; }).cause == "polarity");
    CHECK(sum(path(), path(0, 0, true), [](ChainAnalysis& c) { c.channels[1].polarity = "unknown"; }).cause == "unknown");
    CHECK(sum(path(), path(0, 0, true), nothing).cause == "unknown");
    CHECK(sum(path(), path(0, 0, true), [](ChainAnalysis& c) { c.channels.pop_back(); }).cause == "unknown");
    // half a wavelength: 0.5 ms cancels at 1 kHz, and again at 3 kHz
    const auto later = [](double ms) {
        return [ms](ChainAnalysis& c) {
            c.channels[0].delay_ms = Reading{2.0};
            c.channels[1].delay_ms = Reading{2.0 + ms};
        };
    };
    const Transfer band = path(0, 0, false, {}, 500, 1500), late = path(0, 0.0005, false, {}, 500, 1500);
    const ChainSum by_delay = sum(band, late, later(0.5));
    CHECK(by_delay.cause == "delay");
    CHECK(by_delay.deepest_hz == Approx(1000).epsilon(0.03));
    CHECK(by_delay.from_hz < 800);
    CHECK(by_delay.to_hz > 1200);
    CHECK(sum(band, late, later(-0.5)).cause == "delay");
    CHECK(sum(band, late, later(1.5)).cause == "delay");          // three halves
    CHECK(sum(band, late, later(0.5 * std::exp2(0.2))).cause == "delay");     // within a quarter of an octave
    CHECK(sum(band, late, later(0.5 * std::exp2(-0.2))).cause == "delay");
    CHECK(sum(band, late, later(0.5 * std::exp2(0.32))).cause == "unknown");
    CHECK(sum(band, late, later(0.5 * std::exp2(-0.32))).cause == "unknown");
    CHECK(sum(band, late, later(1.0)).cause == "unknown");
    CHECK(sum(band, late, [](ChainAnalysis& c) { c.channels[0].delay_ms = Reading{}; }).cause == "unknown");
    // an all-pass within an octave explains it whatever the polarity; one further off only where nothing else does
    const auto all_pass = [](double hz, const char* polarity, std::size_t of = 1) {
        return [=](ChainAnalysis& c) {
            c.channels[1].polarity = polarity;
            c.channels[of].phase.emplace();
            c.channels[of].phase->all_passes.emplace_back();
            c.channels[of].phase->all_passes[0].frequency_hz = Reading{hz};
        };
    };
    CHECK(sum(band, late, all_pass(600, "inverted")).cause == "all_pass");
    CHECK(sum(band, late, all_pass(1900, "inverted", 0)).cause == "all_pass");
    CHECK(sum(band, late, all_pass(2100, "inverted")).cause == "polarity");
    CHECK(sum(band, late, all_pass(450, "inverted", 0)).cause == "polarity");
    CHECK(sum(band, late, all_pass(450, "normal")).cause == "all_pass");
    CHECK(sum(band, late, [&](ChainAnalysis& c) {
              all_pass(900, "normal", 0)(c);
              all_pass(900, "normal", 1)(c);
          }).cause == "unknown");   // both alike explain nothing
}

TEST_CASE("sums are those of the latest take, of channels that carry it, at the probe", "[chain]") {
    ReadTakes the;
    the.add("one", {{Channel::left, path()}, {Channel::right, path(0, 0, true)}, {Channel::sub, path(-20)}});
    the.add("two", {{Channel::left, path()}, {Channel::right, path()}});
    the.add("alone", {{Channel::left, path()}, {Channel::right, path(0, 0, true)}}).tone->only = Channel::left;
    the.channel(Channel::left, "two");
    add_sums(the.chain, the.read);
    REQUIRE(the.chain.sums.size() == 1);
    CHECK(the.chain.sums[0].take == "two");
    CHECK(the.chain.sums[0].cause.empty());
    // 14 dB apart, and a pad of 14 dB before the softer: alike at the probe
    ReadTakes padded;
    AtProbe pad;
    pad.referred.offset_db = pad.pad_db = 11;
    padded.add("one", {{Channel::left, path(-11), 0, pad}, {Channel::right, path(0, 0, true)}});
    padded.channel(Channel::left, "one");
    add_sums(padded.chain, padded.read);
    REQUIRE(padded.chain.sums.size() == 1);
    CHECK(padded.chain.sums[0].deepest_db < -60);
    // two that are 12 dB apart and more have nothing to cancel
    ReadTakes far;
    pad.referred.offset_db = pad.pad_db = 13;
    far.add("one", {{Channel::left, path(), 0, pad}, {Channel::right, path(0, 0, true)}});
    far.channel(Channel::left, "one");
    add_sums(far.chain, far.read);
    CHECK(far.chain.sums.empty());
}

TEST_CASE("two channels cross where both are as far down, and add up in the take that holds both", "[chain]") {
    // Linkwitz, Riley 1976: |H| = 1 / (1 + x^4), both half at the corner
    const auto low = [](double hz) { return -20 * std::log10(1 + std::pow(hz / 100, 4)); };
    const auto high = [](double hz) { return -20 * std::log10(1 + std::pow(100 / hz, 4)); };
    ReadTakes the;
    the.add("turned", {{Channel::sub, path(-4, 0, true, low)}, {Channel::left, path(2, 0, false, high)}});
    the.add("both", {{Channel::sub, path(-4, 0, false, low)}, {Channel::left, path(2, 0, false, high)}});
    the.add("left", {{Channel::left, path(2, 0, false, high)}});
    the.channel(Channel::left, "both");
    the.channel(Channel::sub, "both");
    the.chain.channels.emplace_back().channel = Channel::right;   // nothing is known of it
    add_sums(the.chain, the.read);
    REQUIRE(the.chain.crossings.size() == 1);
    const ChainCrossing& one = the.chain.crossings[0];
    CHECK(one.lower == Channel::sub);
    CHECK(one.upper == Channel::left);
    CHECK(one.frequency_hz == Approx(100).epsilon(0.03));
    CHECK(one.below_db == Approx(-6.02).margin(0.3));
    // in phase they add up to 1 everywhere: against the louder one, in the third of an octave round the corner
    double louder = 0;
    for (int k = -4; k <= 4; ++k) louder += std::pow(1 - 1 / (1 + std::exp2(4.0 * std::abs(k) / 24)), 2) / 9;
    CHECK(*one.added_db == Approx(-10 * std::log10(louder)).margin(0.1));
    CHECK(one.take == "both");
    the.chain.crossings.clear();
    the.read.pop_back();
    the.read.pop_back();
    add_sums(the.chain, the.read);
    REQUIRE(the.chain.crossings.size() == 1);
    CHECK(*the.chain.crossings[0].added_db < -6);
    CHECK(the.chain.crossings[0].take == "turned");
    the.chain.crossings.clear();
    the.read.clear();   // never in one take
    add_sums(the.chain, the.read);
    REQUIRE(the.chain.crossings.size() == 1);
    CHECK_FALSE(the.chain.crossings[0].added_db);
    CHECK(the.chain.crossings[0].take.empty());
}

TEST_CASE("THD is that of sweeps within 3 dB of -20 dBFS, the latest, where the channel passes", "[chain]") {
    ReadTakes the;
    the.add("soft", {{Channel::left, path()}}, 20.0, -20);
    the.add("later", {{Channel::left, path()}}, 22.0, -17.1);
    the.add("loud", {{Channel::left, path()}}, 20.0, -16.9);
    the.add("softer", {{Channel::left, path()}}, 20.0, -23.1);
    for (std::size_t i = 0; i < 4; ++i) the.read[i].of.paths[0].sweep = with_thd(path(), 0.1 * static_cast<double>(i + 1));
    the.channel(Channel::left, "soft");
    add_distortion({}, the.chain, the.read, {}, nullptr);
    const ChainDistortion& found = the.chain.channels[0].minus_20;
    REQUIRE(found.thd_percent);
    CHECK(found.thd_percent->value == Approx(0.2));
    CHECK(found.tone_hz == 1000);
    CHECK(found.played_dbfs == -17.1);
    CHECK(found.volume == 22.0);
    CHECK(found.take == "later");
    CHECK_FALSE(the.chain.channels[0].at_ceiling.thd_percent);
    // a subwoofer's is read where it passes, else at 1 kHz
    the.chain.channels[0].gain_hz = 60;
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK(found.tone_hz == 60);
    the.read[1].of.paths[0].sweep = with_thd(path(0, 0, false, {}, 300, 2000), 0.7);
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK(found.tone_hz == 1000);
    CHECK(found.thd_percent->value == Approx(0.7));
    the.takes[1].tone->waveform = Pink{-20};
    the.read[0].of.paths[0].sweep.reset();
    the.chain.channels[0].minus_20 = {};
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK_FALSE(found.thd_percent);
}

TEST_CASE("THD at the ceiling is that of the tone nearest to 1 kHz, at the ceiling's volume", "[chain]") {
    ChainAnalysis chain;
    chain.channels.resize(2);
    chain.channels[1].channel = Channel::right;
    GainAnalysis gain;
    gain.curves = {curve("far", Channel::left, 50, {{10, -20}, {12, -18}}), curve("near", Channel::left, 800, {{10, -20}, {12, -18}, {14, -16}}),
                   curve("further", Channel::left, 2000, {{12, -20}})};
    gain.curves[1].steps[1].thd_percent = 0.4;
    gain.curves[1].steps[1].thd_sd_percent = 0.02;
    gain.curves[1].steps[1].thd_limited_by = LimitedBy::noise;
    const auto again = [&] {
        chain.channels[0].at_ceiling = {};
        add_distortion({}, chain, {}, {}, &gain);
    };
    again();   // no ceiling, and no reason that would tell one
    CHECK_FALSE(chain.ceiling_volume);
    CHECK_FALSE(chain.never_clips);
    CHECK_FALSE(chain.channels[0].at_ceiling.thd_percent);
    gain.ceiling = Ceiling{};
    gain.ceiling->volume = 12;
    again();
    CHECK(chain.ceiling_volume == 12.0);
    CHECK_FALSE(chain.never_clips);
    const ChainDistortion& found = chain.channels[0].at_ceiling;
    REQUIRE(found.thd_percent);
    CHECK(found.thd_percent->value == 0.4);
    CHECK(found.thd_percent->sd == 0.02);
    CHECK(found.thd_percent->limited_by == LimitedBy::noise);
    CHECK(found.tone_hz == 800);
    CHECK_FALSE(found.played_dbfs);
    CHECK(found.volume == 12.0);
    CHECK(found.take == "near");
    CHECK_FALSE(chain.channels[1].at_ceiling.thd_percent);
    gain.curves[1].steps[1].input_overload = true;
    again();
    CHECK_FALSE(found.thd_percent);
    // never clipped: the highest volume that was played, on any channel
    gain.ceiling.reset();
    gain.ceiling_reason = "never_clips";
    chain.ceiling_volume.reset();
    again();
    CHECK(chain.never_clips);
    CHECK(chain.ceiling_volume == 14.0);
    CHECK(found.volume == 14.0);
}
