// How channels stand to each other over several takes, and what they make together, of paths that are known on paper.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/chain_maker.hpp"

using namespace hushtrace;
using namespace chain_maker;

namespace {

AtProbe calibrated(double offset_db, std::optional<double> sd_db = {}) {
    AtProbe out;
    out.referred = {offset_db, true};
    out.scale_sd_db = sd_db;
    return out;
}
AtProbe behind_pad(double pad_db) {
    AtProbe out;
    out.referred = {pad_db, false};
    out.pad_db = pad_db;
    return out;
}
bool told(const ChainAnalysis& chain, const std::string& code, const std::string& words) {
    return std::any_of(chain.warnings.begin(), chain.warnings.end(),
                       [&](const Warning& one) { return one.code == code && one.text.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("a channel stands at the probe by its scale, or by its pad where nothing is calibrated", "[chain]") {
    Job job;
    Take take;
    take.channels = {Channel::left, Channel::right, Channel::sub};
    take.attenuation_db = {0.0, 10.0};
    const AtProbe bare = at_probe(job, take, Channel::right);
    CHECK(bare.input == 1);
    CHECK(bare.pad_db == 10.0);
    CHECK(bare.referred.offset_db == 10.0);
    CHECK_FALSE(bare.referred.calibrated);
    CHECK(at_probe(job, take, Channel::sub).pad_db == 0.0);
    job.interface.volts_full_scale = {7.0, 14.0};
    job.interface.volts_full_scale_sd_db = {0.3, 0.4, 0.5};
    const AtProbe left = at_probe(job, take, Channel::left), right = at_probe(job, take, Channel::right);
    // a full-scale sine reads the scale over the square root of 2
    CHECK(left.referred.offset_db == Approx(20 * std::log10(7.0 / std::sqrt(2.0))));
    CHECK(right.referred.offset_db == Approx(20 * std::log10(14.0 / std::sqrt(2.0)) + 10.0));
    CHECK(right.scale_sd_db == 0.4);
    CHECK_FALSE(at_probe(job, take, Channel::sub).scale_sd_db);   // nothing says what its scale is
    CHECK(difference_at_probe(right, left)->value == Approx(16.0206).margin(1e-4));
    CHECK(difference_at_probe(right, left)->sd == Approx(0.5));
    CHECK(difference_at_probe(left, right)->value == Approx(-16.0206).margin(1e-4));
    CHECK_FALSE(difference_at_probe(left, at_probe(job, take, Channel::sub)));
    CHECK(rough_difference_at_probe_db(right, at_probe(job, take, Channel::sub)) == 10.0);
    CHECK(rough_difference_at_probe_db(at_probe(job, take, Channel::sub), right) == -10.0);
    CHECK(rough_difference_at_probe_db(right, left) == Approx(16.0206).margin(1e-4));
    // one input's own scale drops out of its differences
    CHECK(difference_at_probe(left, left)->sd == 0.0);
    CHECK(plus(Reading{2, 0.3, LimitedBy::noise}, {-5, 0.4})->value == -3.0);
    CHECK(plus(Reading{2, 0.3, LimitedBy::noise}, {-5, 0.4})->sd == Approx(0.5));
    CHECK(plus(Reading{2, 0.3, LimitedBy::noise}, {-5, 0.4})->limited_by == LimitedBy::noise);
    CHECK_FALSE(plus(std::nullopt, {1, 1}));
    const Transfer louder = louder_by(path(-20, 0.001), 6.0);
    for (const TransferPoint& point : louder) {
        CHECK(std::abs(point.gain) == Approx(std::pow(10.0, -14.0 / 20)));
        CHECK(point.noise_power == Approx(1e-6 * std::pow(10.0, -1.4)));
    }
}

TEST_CASE("a channel is linked to the first by the take that tells most, the latest of those", "[chain]") {
    ReadTakes the;
    the.add("a", {{Channel::left, path()}, {Channel::right, path(-2, 0.001)}});
    the.add("b", {{Channel::left, path(3, 0.002)}, {Channel::right, path(-1, 0.0045)}});
    the.add("c", {{Channel::left, path()}, {Channel::right, path(-9, 0.009)}}, 20.0, -20, 3);
    the.channel(Channel::left, "b");
    the.channel(Channel::right, "b");
    link_channels(the.chain, the.read);
    const ChainChannel &left = the.chain.channels[0], &right = the.chain.channels[1];
    REQUIRE((left.delay_ms && left.balance_db));
    CHECK(left.delay_ms->value == 0.0);
    CHECK(left.delay_ms->sd == 0.0);
    CHECK(left.balance_db->value == 0.0);
    CHECK(left.balance_hz == 1000.0);
    CHECK(right.delay_ms->value == Approx(2.5).margin(1e-4));
    const auto delay = compare({the.read[1].of.paths[1].transfer, 0}, {the.read[1].of.paths[0].transfer, 0}).delay;
    CHECK(right.delay_ms->sd == Approx(1e3 * delay->delay_s.sd));
    CHECK(right.balance_db->value == Approx(-4.0).margin(1e-4));
    CHECK(right.balance_hz == 1000.0);
    // an earlier take that tells more stands before a later one
    the.read[0].rank = 7;
    link_channels(the.chain, the.read);
    CHECK(right.delay_ms->value == Approx(1.0).margin(1e-4));
    CHECK(right.balance_db->value == Approx(-2.0).margin(1e-4));
    // a first channel of which nothing is known is held against nothing
    the.chain.channels[0].silent = true;
    link_channels(the.chain, the.read);
    CHECK_FALSE(left.delay_ms);
    CHECK_FALSE(left.balance_db);
    the.chain.channels[0].silent = false;
    the.chain.channels[0].take.clear();
    link_channels(the.chain, the.read);
    CHECK_FALSE(left.delay_ms);
    ChainAnalysis none;
    link_channels(none, the.read);
    CHECK(none.channels.empty());
}

TEST_CASE("the balance of a take counts at the probe, with the scales' uncertainty", "[chain]") {
    for (const bool both : {true, false}) {
        ReadTakes the;
        the.add("a", {{Channel::left, path(), 0, calibrated(4.0, 0.3)}, {Channel::right, path(-2), 0, both ? calibrated(9.0, 0.4) : AtProbe{}}});
        the.channel(Channel::left, "a");
        the.channel(Channel::right, "a");
        link_channels(the.chain, the.read);
        const ChainChannel& right = the.chain.channels[1];
        CHECK(right.delay_ms->value == Approx(0.0).margin(1e-4));
        if (both) {
            CHECK(right.balance_db->value == Approx(3.0).margin(1e-4));
            CHECK(right.balance_db->sd == Approx(0.5).margin(0.001));
            CHECK(the.chain.warnings.empty());
        } else {
            CHECK_FALSE(right.balance_db);
            REQUIRE(the.chain.warnings.size() == 1);
            CHECK(the.chain.warnings[0].code == "calibrated_unlike");
            CHECK(told(the.chain, "calibrated_unlike", "the left channel's input is calibrated and the right channel's isn't"));
            CHECK_FALSE(the.chain.warnings[0].take);
            link_channels(the.chain, the.read);
            CHECK(the.chain.warnings.size() == 1);   // said once
            warn_of_scales(the.chain, the.read[0].of.paths[1], the.read[0].of.paths[0]);
            CHECK(the.chain.warnings.size() == 1);   // whichever stands first
        }
    }
}

TEST_CASE("delays add up through a channel that both were captured with", "[chain]") {
    ReadTakes the;
    the.add("a", {{Channel::left, path()}, {Channel::right, path(0, 0.001)}});
    the.add("b", {{Channel::right, path(0, 0.004)}, {Channel::sub, path(0, 0.0035)}});
    the.add("c", {{Channel::left, path()}, {Channel::center, path(0, 0.01)}});   // another way round, not taken: the first channel counts
    the.add("d", {{Channel::center, path()}, {Channel::sub, path(0, 0.02)}});
    the.channel(Channel::left, "a");
    the.channel(Channel::right, "b");
    the.channel(Channel::sub, "b");
    the.channel(Channel::center, "c");
    link_channels(the.chain, the.read);
    const ChainChannel& sub = the.chain.channels[2];
    CHECK(sub.delay_ms->value == Approx(0.5).margin(1e-4));
    const auto delay_sd = [&](std::size_t take) {
        return compare({the.read[take].of.paths[1].transfer, 0}, {the.read[take].of.paths[0].transfer, 0}).delay->delay_s.sd;
    };
    CHECK(sub.delay_ms->sd == Approx(1e3 * std::hypot(delay_sd(0), delay_sd(1))).epsilon(1e-6));
    CHECK(the.chain.channels[1].delay_ms->value == Approx(1.0).margin(1e-4));
}

TEST_CASE("channels never played together are balanced by their levels at one volume", "[chain]") {
    ReadTakes the;
    Take& first = the.add("left", {{Channel::left, path(-3), 0, behind_pad(6)}});
    the.add("sub", {{Channel::sub, path(-10), 0, behind_pad(10)}});
    the.channel(Channel::left, "left");
    the.channel(Channel::sub, "sub");
    the.chain.channels[0].gain_db->sd = 0.03;
    the.chain.channels[1].gain_db->sd = 0.04;
    const ChainChannel& sub = the.chain.channels[1];
    link_channels(the.chain, the.read);
    CHECK_FALSE(sub.delay_ms);
    CHECK(sub.balance_db->value == Approx(-3.0).margin(1e-4));   // -10 and a pad of 10, -3 and a pad of 6
    CHECK(sub.balance_db->sd == Approx(0.05).margin(1e-4));
    CHECK(sub.balance_hz == 1000.0);
    first.conditions.volume = 21.0;
    link_channels(the.chain, the.read);
    CHECK_FALSE(sub.balance_db);
    first.conditions.volume = 20.0;
    the.chain.channels[1].gain_hz = 60;   // read in different octaves
    link_channels(the.chain, the.read);
    CHECK_FALSE(sub.balance_db);
    the.chain.channels[1].gain_hz = 1000;
    the.read[1].of.paths[0].probe = calibrated(3.0);
    link_channels(the.chain, the.read);
    CHECK_FALSE(sub.balance_db);
    CHECK(told(the.chain, "calibrated_unlike", "the sub channel's input is calibrated and the left channel's isn't"));
    the.chain.channels[0].gain_db.reset();
    link_channels(the.chain, the.read);
    CHECK_FALSE(sub.balance_db);
}

TEST_CASE("a delay beside an all-pass is that of the fit that knows of it", "[chain]") {
    ReadTakes the;
    the.add("a", {{Channel::left, path()}, {Channel::right, path(0, 0.001)}});
    the.channel(Channel::left, "a");
    the.channel(Channel::right, "a");
    ChainChannel &left = the.chain.channels[0], &right = the.chain.channels[1];
    left.phase.emplace();
    right.phase.emplace();
    left.phase->delay_s = Reading{0.0002, 3e-6};
    right.phase->delay_s = Reading{0.0009, 4e-6};
    link_channels(the.chain, the.read);
    CHECK(right.delay_ms->value == Approx(1.0).margin(1e-4));   // neither has one
    for (const bool of_right : {true, false}) {
        left.phase->all_passes.clear();
        right.phase->all_passes.clear();
        (of_right ? right : left).phase->all_passes.emplace_back();
        link_channels(the.chain, the.read);
        CHECK(right.delay_ms->value == Approx(0.7));
        CHECK(right.delay_ms->sd == Approx(0.005));
    }
    right.take = "another";
    link_channels(the.chain, the.read);
    CHECK(right.delay_ms->value == Approx(1.0).margin(1e-4));
}

TEST_CASE("takes contradict each other from 1 dB and their uncertainty on, and it says which and by how much", "[chain]") {
    // 12 points of an octave, 60 dB over the noise, say the level to 0.006 dB: four times that beside 1 dB
    const auto contradictions = [](double second_db, double second_level_dbfs = -20, std::optional<double> volume = 20.0, AtProbe probe = {},
                                   AtProbe before = {}) {
        ReadTakes the;
        the.add("one.wav", {{Channel::left, path(), 0, before}, {Channel::right, path(-5), 0, before}}, volume);
        the.add("two.wav", {{Channel::left, path(second_db), 0, probe}, {Channel::right, path(-5 + second_db), 0, probe}}, volume, second_level_dbfs);
        find_contradictions(the.chain, the.read);
        return the.chain.warnings;
    };
    CHECK(contradictions(0.99).empty());
    CHECK(contradictions(-0.99).empty());
    const auto found = contradictions(-1.1);
    REQUIRE(found.size() == 1);   // one channel speaks for the pair
    CHECK(found[0].code == "takes_contradict");
    CHECK(found[0].take == "two.wav");
    CHECK(found[0].text.find("one.wav and two.wav say the same tone at volume 20, but the left channel lies 1.1 dB apart") == 0);
    CHECK(contradictions(1.1).size() == 1);
    CHECK(contradictions(-1.1, -20, std::nullopt)[0].text.find("(job.json states no volume)") != std::string::npos);
    // another level is another tone, from a tenth of a decibel on
    CHECK(contradictions(-1.1, -19.91).size() == 1);
    CHECK(contradictions(-1.1, -19.89).empty());
    ReadTakes louder;   // another volume is another tone too, at one level played
    louder.add("one", {{Channel::left, path()}}, 20.0);
    louder.add("two", {{Channel::left, path(5)}}, 25.0);
    find_contradictions(louder.chain, louder.read);
    CHECK(louder.chain.warnings.empty());
    // at the probe
    CHECK(contradictions(-1.1, -20, 20.0, behind_pad(1.1)).empty());
    CHECK(contradictions(0.0, -20, 20.0, behind_pad(1.1)).size() == 1);
    CHECK(contradictions(-9.0, -20, 20.0, calibrated(3.0)).empty());   // can't be told
    CHECK(contradictions(-9.0, -20, 20.0, calibrated(3.0), calibrated(3.0)).size() == 1);
    // channels in which one octave isn't the other's: a subwoofer's, then with a new crossover
    ReadTakes moved;
    moved.add("one", {{Channel::sub, path(0, 0, false, [](double hz) { return hz < 80 ? 0.0 : -30.0; })}});
    moved.add("two", {{Channel::sub, path(-9, 0, false, [](double hz) { return hz > 80 && hz < 200 ? 0.0 : -30.0; })}});
    find_contradictions(moved.chain, moved.read);
    CHECK(moved.chain.warnings.empty());
    // three alike takes of which the middle one is off: two pairs
    ReadTakes three;
    for (const double db : {0.0, 2.0, 0.0}) three.add("take" + std::to_string(three.read.size()), {{Channel::left, path(db)}});
    find_contradictions(three.chain, three.read);
    REQUIRE(three.chain.warnings.size() == 2);
    CHECK(three.chain.warnings[0].text.find("take0 and take1") == 0);
    CHECK(three.chain.warnings[1].text.find("take1 and take2") == 0);
    // a channel that doesn't carry the tone says nothing
    ReadTakes quiet;
    quiet.add("one", {{Channel::left, path()}, {Channel::right, path(-20)}});
    quiet.add("two", {{Channel::left, path()}, {Channel::right, path(-25)}});
    find_contradictions(quiet.chain, quiet.read);
    CHECK(quiet.chain.warnings.empty());
}

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
    for (const std::size_t known : {0U, 1U})
        CHECK(sum(band, late, [known](ChainAnalysis& c) { c.channels[known].delay_ms = Reading{0.5}; }).cause == "unknown");
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
    ReadTakes narrow;   // one that passes an octave alone crosses none, itself neither
    narrow.add("sub", {{Channel::sub, path(0, 0, false, [](double hz) { return -12 * std::abs(std::log2(hz / 60)); })}});
    narrow.channel(Channel::sub, "sub");
    add_sums(narrow.chain, narrow.read);
    CHECK(narrow.chain.crossings.empty());
    the.chain.crossings.clear();
    the.read.clear();   // never in one take
    add_sums(the.chain, the.read);
    REQUIRE(the.chain.crossings.size() == 1);
    CHECK_FALSE(the.chain.crossings[0].added_db);
    CHECK(the.chain.crossings[0].take.empty());
}
