#include "../../../src/diagnose/sources/source_loudness.hpp"

#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

using K = NoiseKind;

/// One take with the source in its channels, as (channel, level).
struct One {
    Take take;
    std::list<TakeSurvey> surveys;
    NoiseAnalysis analysis;
    explicit One(K kind = K::unexplained_tone, std::vector<std::pair<Channel, double>> levels = {{Channel::left, -60.0}},
                 std::vector<Channel> channels = {Channel::left, Channel::right})
        : take(made_take("a", Engine::idle, std::move(channels))) {
        surveys.push_back(quiet_survey(take, 1.0, 4000.0));
        NoiseSource source;
        source.kind = kind;
        source.frequency_hz = 1000.0;
        for (const auto& [channel, level_dbfs] : levels) {
            source.levels.push_back({"a", channel, level_dbfs, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing});
            if (!source.level_dbfs || level_dbfs > *source.level_dbfs) source.level_dbfs = level_dbfs;
        }
        analysis.noise_sources = {source};
    }
    NoiseSource& source() { return analysis.noise_sources[0]; }
    TakeSurvey& survey() { return surveys.front(); }
    std::optional<Loudness> loudness() {
        source().loudness.reset();
        measure_loudness(surveys, analysis);
        return source().loudness;
    }
    /// Text of what is said of the two sides; empty where nothing is.
    std::string sides() {
        source().evidence.clear();
        add_side_evidence(surveys, analysis);
        return source().evidence.empty() ? std::string() : source().evidence[0].text;
    }
};

/// Noise of 1e-12 a hertz in the ear's filter at a frequency, as a sine's level: 24.7 (4.37 f / kHz + 1) Hz (Glasberg and Moore 1990).
double in_filter_dbfs(double frequency_hz) { return 10.0 * std::log10(2e-12 * 24.7 * (4.37e-3 * frequency_hz + 1.0)); }

}  // namespace

TEST_CASE("a source's loudness is that of its loudest take and channel", "[source_loudness]") {
    One one(K::unexplained_tone, {{Channel::left, -62.0}, {Channel::right, -60.0}});
    one.source().levels[1].level_dbv = -57.0;
    one.source().levels[1].sd_db = 0.3;
    one.source().levels[1].limited_by = LimitedBy::noise;
    const auto loudness = one.loudness();
    REQUIRE(loudness);
    CHECK(loudness->take == "a");
    CHECK(loudness->channel == Channel::right);
    CHECK(loudness->level_dbv == -57.0);
    CHECK(loudness->sd_db == 0.3);
    CHECK(loudness->limited_by == LimitedBy::noise);
    CHECK(loudness->engine == Engine::idle);
    REQUIRE(loudness->lines.size() == 1);
    CHECK(loudness->lines[0].first == 1000.0);
    CHECK(loudness->lines[0].second == 0.0);
    CHECK(loudness->over_floor_db.value_or(0) == Approx(-60.0 - in_filter_dbfs(1000.0)));
    one.source().levels[1].dbv_sd_db = 0.5;   // with the calibration's
    CHECK(one.loudness()->sd_db == 0.5);
    one.source().levels[1].take = "gone";     // no survey of it
    const auto gone = one.loudness();
    CHECK(gone->engine == Engine::off);
    CHECK_FALSE(gone->over_floor_db);
    CHECK(gone->lines.size() == 1);
}

TEST_CASE("what has no sound of its own has no loudness, what is no line is spread", "[source_loudness]") {
    for (const K kind : {K::heard_only, K::clipping}) CHECK_FALSE(One(kind).loudness());
    for (const K kind : {K::hiss, K::crackle, K::ignition_tick, K::periodic_tick}) {
        const auto spread = One(kind).loudness();
        REQUIRE(spread);
        CHECK(spread->lines.empty());
        CHECK_FALSE(spread->over_floor_db);
    }
    One silent;
    silent.source().levels.clear();
    CHECK_FALSE(silent.loudness());
    One nowhere;
    nowhere.source().frequency_hz.reset();
    CHECK(nowhere.loudness()->lines.empty());
    One unread;
    unread.survey().channels[0].floor_density.clear();
    CHECK_FALSE(unread.loudness()->over_floor_db);
    CHECK(unread.loudness()->lines.size() == 1);
    unread.survey().channels.erase(unread.survey().channels.begin());   // not among the take's
    CHECK_FALSE(unread.loudness()->over_floor_db);
}

TEST_CASE("what the lines leave of the whole stands at the source's own frequency", "[source_loudness]") {
    One one;
    // -3 dB and -6 dB: 0.501 and 0.251 of the power, 0.248 are left
    one.source().harmonics = {{2, 500, -63.0, std::nullopt}, {3, 1500, -66.0, std::nullopt}};
    auto lines = one.loudness()->lines;
    REQUIRE(lines.size() == 3);
    CHECK(lines[0] == std::pair(500.0, -3.0));
    CHECK(lines[1] == std::pair(1500.0, -6.0));
    CHECK(lines[2].first == 1000.0);
    CHECK(lines[2].second == Approx(10.0 * std::log10(1.0 - std::pow(10.0, -0.3) - std::pow(10.0, -0.6))));
    // the clearest over its own part of the noise
    CHECK(one.loudness()->over_floor_db.value_or(0) == Approx(-63.0 - in_filter_dbfs(500.0)));
    one.source().harmonics[0].level_dbfs = -70.0;
    CHECK(one.loudness()->over_floor_db.value_or(0) ==
          Approx(-60.0 + 10.0 * std::log10(1.0 - 0.1 - std::pow(10.0, -0.6)) - in_filter_dbfs(1000.0)));
    // one of them is at its frequency, to 1 in 1000
    one.source().harmonics = {{1, 1000.9, -63.0, std::nullopt}};
    CHECK(one.loudness()->lines.size() == 1);
    one.source().harmonics[0].frequency_hz = 1001.1;
    CHECK(one.loudness()->lines.size() == 2);
    // nine tenths are all there is
    one.source().harmonics = {{2, 500, -60.47, std::nullopt}};   // 0.897
    CHECK(one.loudness()->lines.size() == 2);
    one.source().harmonics[0].level_dbfs = -60.44;               // 0.904
    CHECK(one.loudness()->lines.size() == 1);
    one.source().harmonics[0].level_dbfs = -58.0;                // read louder than the whole
    CHECK(one.loudness()->lines.at(0).second == 0.0);
}

TEST_CASE("two sides that hold a source alike speak for what they share, unlike ones for the louder lead", "[source_loudness]") {
    const auto said = [](double left_db, double right_db) {
        return One(K::unexplained_tone, {{Channel::left, left_db}, {Channel::right, right_db}}).sides();
    };
    CHECK(holds(said(-60, -60), "Left and right carry it alike, within 1 dB (as captured; the two inputs aren't calibrated)"));
    CHECK(holds(said(-60, -64.5), "alike, within 5 dB"));
    CHECK(holds(said(-60, -65.9), "alike"));
    CHECK(holds(said(-60, -66.1),
               "On the left it is 6 dB louder than right (as captured; the two inputs aren't calibrated): that leans towards the left lead"));
    CHECK(holds(said(-74.9, -60), "On the right it is 15 dB louder than left"));
    CHECK(holds(said(-74.9, -60), "that leans towards the right lead"));
    CHECK(holds(said(-75.1, -60), "that speaks for the right lead"));
    One calibrated(K::unexplained_tone, {{Channel::left, -60.0}, {Channel::right, -61.4}});
    for (ChannelSurvey& channel : calibrated.survey().channels) channel.volts_full_scale = 2.0;
    CHECK(holds(calibrated.sides(), "alike, within 2 dB: that speaks for what both leads share"));
    calibrated.source().levels[1].level_dbfs = -61.6;
    CHECK(holds(calibrated.sides(), "On the left it is 2 dB louder than right: that leans"));
    const Evidence evidence = calibrated.source().evidence.at(0);
    CHECK(evidence.value == Approx(1.6));
    CHECK(evidence.unit == "dB");
    CHECK(evidence.sd.value_or(0) == Approx(std::hypot(0.1, 0.1)));
    CHECK(evidence.takes == std::vector<std::string>{"a"});
    // in volts: 4 V against 2 V at sample value 1 are 6.02 dB
    calibrated.survey().channels[0].volts_full_scale = 4.0;
    calibrated.sides();
    CHECK(calibrated.source().evidence.at(0).value == Approx(1.6 + 20.0 * std::log10(2.0)));
    // the scales' own sd counts then: twice that must be surpassed
    calibrated.survey().channels[0].volts_full_scale = 2.0;
    calibrated.survey().channels[0].volts_full_scale_sd_db = 0.6;
    calibrated.survey().channels[1].volts_full_scale_sd_db = 0.8;
    CHECK(holds(calibrated.sides(), "alike"));
    CHECK(calibrated.source().evidence.at(0).sd.value_or(0) == Approx(std::hypot(0.1, 0.1, 1.0)));
    calibrated.source().levels[1].level_dbfs = -62.1;
    CHECK(holds(calibrated.sides(), "On the left"));
    calibrated.survey().channels[1].volts_full_scale.reset();   // one of them alone says nothing of volts
    CHECK(holds(calibrated.sides(), "alike, within 3 dB (as captured"));
    CHECK(calibrated.source().evidence.at(0).sd.value_or(0) == Approx(std::hypot(0.1, 0.1)));
}

TEST_CASE("a side that shows nothing of a source holds at most what noise hides", "[source_loudness]") {
    // a line stands out of four bins of noise: 4e-12, as a sine's level 10 lg 8e-12 = -110.97
    const auto said = [](double left_db, K kind = K::unexplained_tone) { return One(kind, {{Channel::left, left_db}}).sides(); };
    CHECK(holds(said(-60.0), "On the left it is at least 51 dB louder than right"));
    CHECK(holds(said(-60.0), "that speaks for the left lead"));
    CHECK(holds(said(-104.5), "On the left it is at least 6 dB louder"));
    CHECK(holds(said(-104.5), "that speaks for"));
    CHECK(said(-105.5).empty());   // too weak to tell
    for (const K kind : {K::hiss, K::crackle, K::clipping, K::heard_only}) CHECK(said(-60.0, kind).empty());
    One lines;
    lines.source().harmonics = {{1, 1000, -60, std::nullopt}, {2, 1500, -60, std::nullopt}};
    lines.sides();
    CHECK(lines.source().evidence.at(0).value == Approx(-60.0 - 10.0 * std::log10(16e-12)));
    CHECK(lines.source().evidence.at(0).sd == 0.1);
    lines.survey().channels[1].floor_density.clear();
    CHECK(lines.sides().empty());
    One silent;
    silent.survey().channels[1].silent = true;
    CHECK(silent.sides().empty());
    One mono(K::unexplained_tone, {{Channel::left, -60.0}}, {Channel::left});
    CHECK(mono.sides().empty());
    One sub(K::unexplained_tone, {{Channel::sub, -60.0}}, {Channel::sub, Channel::left});
    CHECK(sub.sides().empty());
    One gone;
    gone.source().levels[0].take = "gone";
    CHECK(gone.sides().empty());
    One rear(K::unexplained_tone, {{Channel::rear_left, -60.0}, {Channel::rear_right, -80.0}}, {Channel::rear_left, Channel::rear_right});
    CHECK(holds(rear.sides(), "On the rear left it is 20 dB louder than rear right"));
}

TEST_CASE("that sides differ is told early, that they don't last, and of hiss not at all", "[source_loudness]") {
    const Evidence first{"first", 0, "", std::nullopt, {}, {}}, second{"second", 0, "", std::nullopt, {}, {}};
    One apart(K::unexplained_tone, {{Channel::left, -60.0}, {Channel::right, -80.0}});
    apart.source().evidence = {first, second};
    add_side_evidence(apart.surveys, apart.analysis);
    REQUIRE(apart.source().evidence.size() == 3);
    CHECK(apart.source().evidence[0].text == "first");
    CHECK(holds(apart.source().evidence[1].text, "On the left"));
    One alike(K::unexplained_tone, {{Channel::left, -60.0}, {Channel::right, -61.0}});
    alike.source().evidence = {first, second};
    add_side_evidence(alike.surveys, alike.analysis);
    REQUIRE(alike.source().evidence.size() == 3);
    CHECK(holds(alike.source().evidence[2].text, "alike"));
    CHECK(One(K::hiss, {{Channel::left, -60.0}, {Channel::right, -61.0}}).sides().empty());
    CHECK(holds(One(K::hiss, {{Channel::left, -60.0}, {Channel::right, -70.0}}).sides(), "On the left"));
}
