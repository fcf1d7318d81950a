// Converters' hash, of surveys set by hand: pulses, humps and beats, what they are told from, and the words.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/sources/converter_noise.hpp"
#include "../../../src/diagnose/takes/click_trains.hpp"
#include "diagnose/survey_maker.hpp"

using namespace hushtrace;
using namespace survey_maker;

namespace {

std::list<NoiseSource> hash_of(const TakeSurvey& survey, const std::vector<SteadyComb>& combs = {}, std::list<NoiseSource> sources = {}) {
    add_converter_hash(sources, survey, combs);
    return sources;
}
double dbfs(double mean_square) { return 10 * std::log10(2 * mean_square); }   // a full-scale sine's mean square is a half

}  // namespace

TEST_CASE("pulses of the noise are hash, whatever the engine does", "[hash]") {
    for (const Engine engine : {Engine::off, Engine::idle}) {
        Made made(2, engine);
        made.channel(0).pulses = pulses(900, 0.5, 20, 8);
        made.channel(1).pulses = pulses(880, 0.3, 20, 12);   // the clearer one
        const auto found = hash_of(made.survey);
        REQUIRE(found.size() == 1);
        const NoiseSource& one = found.front();
        CHECK(one.kind == NoiseKind::converter_hash);
        CHECK(*one.frequency_hz == 880);
        CHECK(*one.frequency_sd_hz == 2);
        CHECK(one.band_hz == std::pair(2000.0, 12000.0));
        CHECK(one.rests_on == "hash: pulses");
        // their share of 10001 bins of 1 Hz at 1e-9
        REQUIRE(one.levels.size() == 2);
        CHECK(*one.levels[0].level_dbfs == Approx(dbfs(0.5 * 10001e-9)).margin(1e-6));
        CHECK(*one.levels[1].level_dbfs == Approx(dbfs(0.3 * 10001e-9)).margin(1e-6));
        CHECK(one.levels[0].sd_db == Approx(3.0));
        REQUIRE(one.evidence.size() == 1);
        // a renewal process's hump is 2 pi times the squared scatter wide, relative to its rate
        const double scatter = std::sqrt(20 / (2 * std::numbers::pi * 880));
        CHECK(evidence(one, "The noise from 2.0 to 12.0 kHz pulses at 880 Hz, from one pulse to the next 6 % early or late"));
        CHECK(scatter == Approx(0.06).margin(0.005));
        CHECK(one.evidence[0].value == 880);
        CHECK(one.evidence[0].unit == "Hz");
        CHECK(one.evidence[0].sd == 2.0);
        CHECK(one.evidence[0].takes == std::vector<std::string>{"takes/a.wav"});
    }
    // lines over ten times the floor count for no more than that
    Made lines;
    lines.channel().pulses = pulses(900, 1.0);
    lines.channel().spectrum.density[5000] = 1e-3;
    const auto held = [](const NoiseSource& source) { return 0.5 * std::pow(10.0, *source.level_dbfs / 10); };
    CHECK(held(hash_of(lines.survey).front()) == Approx(10000e-9 + 10e-9).epsilon(1e-6));   // from 2 to 12 kHz, both ends in it
}

TEST_CASE("pulses that a beat or clicks may make are left alone", "[hash]") {
    const auto told = [](void (*change)(Made&)) {
        Made made;
        made.channel().pulses = pulses(900, 0.5);   // 5e-6
        change(made);
        return !hash_of(made.survey).empty();
    };
    CHECK(told([](Made&) {}));
    // a beat beside clicks, or beside four bursts
    const auto beat = [](Made& m) { m.survey.beats.resize(1); };
    CHECK(told(+beat));
    CHECK_FALSE(told([](Made& m) { m.survey.beats.resize(1), m.channel().clicks = train(20, 1e-9); }));
    CHECK_FALSE(told([](Made& m) { m.survey.beats.resize(1), m.channel().bursts.events.assign(4, burst(1, 1e-9)); }));
    CHECK(told([](Made& m) { m.survey.beats.resize(1), m.channel().bursts.events.assign(3, burst(1, 1e-9)); }));
    CHECK(told([](Made& m) { m.channel().bursts.events.assign(4, burst(1, 1e-9)); }));
    // what rings at clicks from 2 kHz on, weaker than they are; below that, and beside them, weaker than all that clicks
    CHECK_FALSE(told([](Made& m) { m.channel().pulses = pulses(2100, 0.5), m.channel().clicks = train(20, 5.2e-6); }));
    CHECK(told([](Made& m) { m.channel().pulses = pulses(2100, 0.5), m.channel().clicks = train(20, 4.9e-6); }));
    CHECK_FALSE(told([](Made& m) { m.channel().clicks = train(20, 5.2e-6); }));
    CHECK(told([](Made& m) { m.channel().clicks = train(20, 4.9e-6); }));
    CHECK_FALSE(told([](Made& m) { m.channel().clicks = train(20, 3e-6), m.channel().other_clicks = train(31, 2.2e-6); }));
    CHECK_FALSE(told([](Made& m) { m.channel().bursts.events = {burst(1, 5.2e-5)}; }));   // over ten seconds
    // then humps may still tell; beside pulses that are told they are the same noise
    for (const bool told_by_pulses : {true, false}) {
        Made humps;
        humps.channel().pulses = pulses(900, 0.5);
        humps.channel().humps = {hump(1400, 90, 1e-4)};
        if (!told_by_pulses) humps.channel().clicks = train(20, 5.2e-6);
        const auto found = hash_of(humps.survey);
        REQUIRE(found.size() == 1);
        CHECK(*found.front().frequency_hz == (told_by_pulses ? 900 : 1400));
        CHECK(found.front().evidence.size() == 1);
    }
    // a clearer channel whose pulses may be rings gives way to another
    Made two(2);
    two.channel(0).pulses = pulses(2100, 0.5, 20, 30);
    two.channel(0).clicks = train(20, 5.2e-6);
    two.channel(1).pulses = pulses(900, 0.5, 20, 10);
    CHECK(*hash_of(two.survey).front().frequency_hz == 900);
}

TEST_CASE("a source's rate is that of its loudest take, and takes within a tenth are one", "[hash]") {
    Made first, louder(1, Engine::off, "takes/b.wav"), softer(1, Engine::off, "takes/c.wav"), other(1, Engine::off, "takes/d.wav");
    first.channel().pulses = pulses(900, 0.3);
    louder.channel().pulses = pulses(980, 0.6);
    louder.channel().pulses->high_hz = 14000;
    softer.channel().pulses = pulses(1010, 0.1);
    other.channel().pulses = pulses(1120, 0.1);
    auto sources = hash_of(first.survey);
    sources = hash_of(louder.survey, {}, sources);
    REQUIRE(sources.size() == 1);
    CHECK(*sources.front().frequency_hz == 980);
    CHECK(sources.front().band_hz->second == 14000);
    sources = hash_of(softer.survey, {}, sources);
    REQUIRE(sources.size() == 1);
    CHECK(*sources.front().frequency_hz == 980);
    CHECK(sources.front().takes.size() == 3);
    CHECK(sources.front().evidence.size() == 3);
    CHECK(hash_of(other.survey, {}, sources).size() == 2);   // 14 % off
    // of another kind it is another source
    for (NoiseSource& one : sources) one.kind = NoiseKind::unexplained_tone;
    CHECK(hash_of(first.survey, {}, sources).size() == 2);
}

TEST_CASE("narrow humps of the noise are hash with the engine at rest", "[hash]") {
    Made made(2);
    made.channel(0).humps = {hump(700, 60, 1e-8, 10), hump(1420, 100, 3e-8, 30), hump(5000, 300, 4e-8, 12)};
    made.channel(1).humps = {hump(1400, 100, 2e-8, 15)};
    const auto found = hash_of(made.survey);
    REQUIRE(found.size() == 1);
    const NoiseSource& one = found.front();
    CHECK(one.kind == NoiseKind::converter_hash);
    CHECK(*one.frequency_hz == 700);   // of which the strongest, at 1420, is twice, to 3 %
    CHECK(*one.frequency_sd_hz == Approx(25));
    CHECK(one.band_hz == std::pair(1370.0, 1470.0));
    REQUIRE(one.levels.size() == 2);
    CHECK(*one.levels[0].level_dbfs == Approx(dbfs(8e-8)).margin(1e-6));
    CHECK(*one.levels[1].level_dbfs == Approx(dbfs(2e-8)).margin(1e-6));
    CHECK(one.levels[0].sd_db == Approx(1.0));
    CHECK(one.rests_on == "hash: several humps");
    REQUIRE(one.evidence.size() == 2);
    CHECK(evidence(one, "A hump of noise about 1420 Hz, 100 Hz wide and 9.0 dB over what lies beside it"));
    CHECK(one.evidence[0].value == 9.0);
    CHECK(one.evidence[0].unit == "dB");
    CHECK(evidence(one, "3 humps lie about multiples of 700 Hz."));   // 5000 lies 100 Hz off the seventh, 2 %
    CHECK(one.evidence[1].value == 700);
    CHECK(one.evidence[1].unit == "Hz");
    made.take.conditions.engine = Engine::ready;
    CHECK(hash_of(made.survey).empty());
    made.take.conditions.engine = Engine::off;
    // one alone, by whether a motor may turn so slowly
    for (const double hz : {3400.0, 3600.0}) {
        Made alone;
        alone.channel().humps = {hump(hz, 100, 1e-8)};
        const auto single = hash_of(alone.survey);
        REQUIRE(single.size() == 1);
        CHECK(*single.front().frequency_hz == hz);
        CHECK(single.front().rests_on == (hz < 3500 ? "hash: one hump, as low as a motor's line" : "hash: one hump"));
        CHECK(single.front().evidence.size() == 1);
    }
    // one that lies off the multiples by more than 6 % joins none
    Made odd;
    odd.channel().humps = {hump(1000, 60, 1e-8, 10), hump(2130, 100, 3e-8, 30)};
    CHECK(*hash_of(odd.survey).front().frequency_hz == 2130);
    CHECK(hash_of(odd.survey).front().rests_on == "hash: one hump, as low as a motor's line");
    odd.channel().humps = {hump(1000, 60, 1e-8, 10), hump(2110, 100, 3e-8, 30)};
    CHECK(*hash_of(odd.survey).front().frequency_hz == 1000);
    CHECK(evidence(hash_of(odd.survey).front(), "2 humps lie about multiples of 1000 Hz."));
    odd.channel().humps = {hump(500, 60, 1e-8, 10), hump(3000, 100, 3e-8, 30)};
    CHECK(*hash_of(odd.survey).front().frequency_hz == 500);
    odd.channel().humps = {hump(428.5, 60, 1e-8, 10), hump(3000, 100, 3e-8, 30)};   // the seventh is too far
    CHECK(*hash_of(odd.survey).front().frequency_hz == 3000);
}

TEST_CASE("humps that lines, combs or clicks make are theirs", "[hash]") {
    const auto told = [](const std::function<void(Made&, std::vector<SteadyComb>&)>& change) {
        Made made;
        made.channel().humps = {hump(1000, 60, 1e-8)};
        std::vector<SteadyComb> combs;
        change(made, combs);
        return !hash_of(made.survey, combs).empty();
    };
    using Combs = std::vector<SteadyComb>;
    CHECK(told([](Made&, Combs&) {}));
    // noise fills a hump evenly, a line that strays through it doesn't
    CHECK_FALSE(told([](Made& m, Combs&) { m.channel().humps[0].evenness = 0.84; }));
    CHECK(told([](Made& m, Combs&) { m.channel().humps[0].evenness = 0.86; }));
    CHECK_FALSE(told([](Made& m, Combs&) { m.channel().humps[0].evenness.reset(); }));
    // a comb's spacing or teeth within it, or 5 Hz beside
    for (const auto& [hz, is_hash] : {std::pair{965.5, false}, {964.5, true}, {1034.5, false}, {1035.5, true}}) {
        CHECK(told([hz = hz](Made&, Combs& combs) { combs.emplace_back().frequency_hz = hz; }) == is_hash);
        CHECK(told([hz = hz](Made&, Combs& combs) {
                  combs.emplace_back().frequency_hz = 100;
                  combs[0].harmonics = {{1, 100, -60, {}}, {2, hz, -60, {}}};
              }) == is_hash);
    }
    // a followed line, sharp, with three times its wander on either side: 1050 Hz strays by 0.6 %, 19 Hz
    const auto sharp = [](Made& m, double hz, double wander) { m.add_family(hz, wander).lines[0].sharpening_db = 9; };
    CHECK_FALSE(told([&](Made& m, Combs&) { sharp(m, 1040, 0.006); }));
    CHECK(told([&](Made& m, Combs&) { sharp(m, 1055, 0.006); }));
    CHECK_FALSE(told([&](Made& m, Combs&) { sharp(m, 1020, 0.00001); }));
    // one that is but a path through this hump's noise explains nothing
    CHECK(told([&](Made& m, Combs&) { m.add_family(1020, 0.006).lines[0].sharpening_db = 7; }));
    // clicks that hold a third of it and more
    CHECK_FALSE(told([](Made& m, Combs&) { m.channel().clicks = train(20, 3.4e-9); }));
    CHECK(told([](Made& m, Combs&) { m.channel().clicks = train(20, 3.3e-9); }));
    CHECK(told([](Made& m, Combs&) { m.channel().humps.push_back(hump(3000, 90, 9e-9)), m.channel().clicks = train(20, 3.1e-9); }));
    CHECK_FALSE(told([](Made& m, Combs&) { m.channel().humps.clear(); }));
}

TEST_CASE("what was followed as a line may be noise of a hump", "[hash]") {
    const auto of_a_hump = [](void (*change)(Made&), double hz = 1000, std::size_t lines = 1, double sharpening_db = 0) {
        Made made;
        MovingFamily& family = made.add_family(hz, 0.02, lines);
        family.lines[0].sharpening_db = sharpening_db;
        change(made);
        return is_noise_of_a_hump(made.survey, made.survey.families[0]);
    };
    const auto in_hump = [](Made& m) { m.channel().humps = {hump(1000, 60, 1e-8)}; };
    CHECK_FALSE(of_a_hump([](Made&) {}));
    CHECK(of_a_hump(in_hump));
    CHECK(of_a_hump(in_hump, 1029));
    CHECK_FALSE(of_a_hump(in_hump, 1031));
    CHECK_FALSE(of_a_hump(in_hump, 969));
    CHECK_FALSE(of_a_hump([](Made& m) { m.channel().humps = {hump(1000, 60, 1e-8, 20, 0.8)}; }));
    CHECK_FALSE(of_a_hump([](Made& m) { m.channel().humps = {hump(1000, 60, 1e-8)}, m.take.conditions.engine = Engine::idle; }));
    // sharp once it is followed is a line, unless humps stand at its multiples
    CHECK(of_a_hump(in_hump, 1000, 1, 7.9));
    CHECK_FALSE(of_a_hump(in_hump, 1000, 1, 8.1));
    for (const double times : {2.0, 3.0, 4.0, 5.0, 2.15}) {
        static double at;
        at = times;
        const bool multiple = times < 5 && times != 2.15;
        CHECK(of_a_hump([](Made& m) { m.channel().humps = {hump(1000, 60, 1e-8), hump(1000 * at, 60, 1e-8)}; }, 1000, 1, 8.1) == multiple);
        CHECK_FALSE(of_a_hump([](Made& m) { m.channel().humps = {hump(1000, 60, 1e-8), hump(1000 * at, 60, 1e-8, 20, 0.5)}; }, 1000, 1, 8.1));
    }
    // a sharp multiple doesn't speak for the line itself
    CHECK(of_a_hump([](Made& m) {
        m.channel().humps = {hump(1000, 60, 1e-8)};
        m.survey.families[0].lines[1].sharpening_db = 12;
    }, 1000, 2));
    // pulses' humps: at the rate 2 Hz and twice their width to either side, and n^2 as wide at the n-th
    const auto hunting = [](Made& m) { m.channel().pulses = pulses(1000, 0.5, 20); };
    CHECK(of_a_hump(hunting, 1000));
    CHECK(is_of_pulses(TakeSurvey{}, 1000) == false);
    Made made;
    made.channel().pulses = pulses(1000, 0.5, 20);
    CHECK(is_of_pulses(made.survey, 1010));
    CHECK_FALSE(is_of_pulses(made.survey, 1200));
    CHECK_FALSE(is_of_pulses(made.survey, 1500));
    // where they begin to run together two and a half widths count: 45 Hz at the rate
    CHECK(of_a_hump([](Made& m) { m.channel().pulses = pulses(1000, 0.5, 18); }, 1044));
    CHECK_FALSE(of_a_hump([](Made& m) { m.channel().pulses = pulses(1000, 0.5, 18); }, 1090));
    CHECK(of_a_hump([](Made& m) { m.channel().pulses = pulses(1000, 0.5, 18); }, 2175));   // four times as wide at twice the rate
    CHECK_FALSE(of_a_hump([](Made& m) { m.channel().pulses = pulses(1000, 0.5, 18); }, 2185));
    CHECK_FALSE(of_a_hump([](Made& m) { m.channel().pulses = pulses(1000, 0.5, 210); }, 1001));   // as wide as the half of the rate
}

TEST_CASE("a lone line that lies higher or strays further than a motor's is a beat", "[hash]") {
    const auto beat = [](double hz, double wander, std::size_t lines = 1, Engine engine = Engine::off) {
        Made made(1, engine);
        made.add_family(hz, wander, lines);
        return is_beat(made.survey, made.survey.families[0]);
    };
    CHECK(beat(3600, 0.001));
    CHECK(beat(3600, 0.001, 2, Engine::idle));
    CHECK_FALSE(beat(3400, 0.049));
    CHECK(beat(3400, 0.051));
    CHECK_FALSE(beat(3400, 0.051, 2));
    CHECK_FALSE(beat(3400, 0.051, 1, Engine::idle));
}

TEST_CASE("beats that sweep are hash, unless the engine's lines move alike", "[hash]") {
    const auto add = [](Made& made, double hz, double wander = 0.05) -> Beat& {
        Beat& one = made.survey.beats.emplace_back();
        one.mean_hz = hz;
        one.wander = wander;
        one.ridge.track = track(hz, 1.4 * wander);
        one.mean_square = {1e-6};
        return one;
    };
    std::list<NoiseSource> sources;
    Made made;
    add(made, 6000);
    add_beats(sources, made.survey);
    REQUIRE(sources.size() == 1);
    const NoiseSource& one = sources.front();
    CHECK(one.kind == NoiseKind::converter_hash);
    CHECK(*one.frequency_hz == 6000);
    CHECK(*one.frequency_sd_hz == Approx(300));
    CHECK(one.rests_on == "hash: a beat");
    CHECK(*one.level_dbfs == Approx(dbfs(1e-6)));
    REQUIRE(one.evidence.size() == 1);
    CHECK(evidence(one, "The line near 6000 Hz sweeps by 5.0 %"));
    CHECK(one.evidence[0].value == Approx(5.0));
    CHECK(one.evidence[0].unit == "%");
    // another take: the difference of two rates may drift by a quarter
    Made softer(1, Engine::off, "takes/b.wav"), louder(1, Engine::off, "takes/c.wav"), far(1, Engine::off, "takes/d.wav");
    add(softer, 7000).mean_square = {1e-7};
    add_beats(sources, softer.survey);
    CHECK(sources.size() == 1);
    CHECK(*one.frequency_hz == 6000);
    add(louder, 5000, 0.04).mean_square = {1e-5};
    add_beats(sources, louder.survey);
    CHECK(sources.size() == 1);
    CHECK(*one.frequency_hz == 5000);
    CHECK(*one.frequency_sd_hz == Approx(200));
    CHECK(one.evidence.size() == 3);
    add(far, 6700);
    add_beats(sources, far.survey);
    CHECK(sources.size() == 2);
    // nothing of it in any channel, or in a pulse's hump: no finding
    const auto told = [&](const std::function<void(Made&)>& change, Engine engine = Engine::off) {
        Made beside(1, engine);
        add(beside, 6000);
        change(beside);
        std::list<NoiseSource> found;
        add_beats(found, beside.survey);
        return std::any_of(found.begin(), found.end(), [](const NoiseSource& s) { return s.frequency_hz == 6000.0; });
    };
    CHECK_FALSE(told([](Made& m) { m.survey.beats[0].mean_square = {0}; }));
    CHECK_FALSE(told([](Made& m) { m.channel().pulses = pulses(6000); }));
    // beside an engine: a multiple of its line up to the fifth, or what moves as that does
    const auto family = [](double hz, double phase) {
        return [=](Made& m) {
            MovingFamily& line = m.add_family(hz, 0.02);
            for (std::size_t i = 0; i < line.ridge.track.time_s.size(); ++i)
                line.ridge.track.frequency_hz[i] = hz * (1 + 0.02 * std::sin(1.9 * line.ridge.track.time_s[i] + phase));
        };
    };
    const double apart = 0.5 * std::numbers::pi;
    CHECK_FALSE(told(family(1200, apart), Engine::idle));   // the fifth
    CHECK(told(family(1000, apart), Engine::idle));         // the sixth
    CHECK_FALSE(told(family(2090, apart), Engine::idle));   // 2.871: 3 times 3 % and 5 % of wander, 0.14, is the most that it may lie off
    CHECK(told(family(2110, apart), Engine::idle));         // 2.844
    CHECK_FALSE(told(family(1000, 0), Engine::idle));       // moves with it
    CHECK(told(family(1000, 0), Engine::off));
    CHECK(told(family(1200, apart), Engine::off));
}

TEST_CASE("two sample rates tell an alias from a sound, and one asks for another", "[hash]") {
    std::list<TakeSurvey> surveys(2);
    Take first, second;
    first.file = "a";
    second.file = "b";
    surveys.front().take = &first;
    surveys.back().take = &second;
    surveys.front().sample_rate_hz = 48000;
    surveys.back().sample_rate_hz = 96000;
    const auto said = [&](std::vector<std::string> takes, NoiseKind kind = NoiseKind::converter_hash) {
        NoiseSource source;
        source.kind = kind;
        source.frequency_hz = 6000;
        source.takes = std::move(takes);
        say_sample_rates(source, surveys);
        return source;
    };
    const NoiseSource both = said({"a", "b"});
    REQUIRE(both.evidence.size() == 1);
    CHECK(evidence(both, "At 48000 Hz and at 96000 Hz sample rate it lies at the same frequency: it is in the signal"));
    CHECK(both.evidence[0].value == 96000);
    CHECK(both.evidence[0].takes == std::vector<std::string>{"a", "b"});
    const NoiseSource alias = said({"a"});
    REQUIRE(alias.evidence.size() == 1);
    CHECK(evidence(alias, "At a sample rate of 96000 Hz it is not there, at 48000 Hz it is: an alias"));
    CHECK(alias.evidence[0].takes == std::vector<std::string>{"a", "b"});
    CHECK(evidence(said({"b"}), "At a sample rate of 48000 Hz it is not there, at 96000 Hz it is"));
    CHECK(said({"a"}, NoiseKind::mains_hum).evidence.empty());
    // takes that differ otherwise say nothing of it
    const Conditions plain = second.conditions;
    void (*const changes[])(Conditions&) = {
        [](Conditions& c) { c.engine = Engine::idle; },
        [](Conditions& c) { c.hookup = {Hookup::isolator}; },
        [](Conditions& c) { c.loads = {"blower"}; },
        [](Conditions& c) { c.attached = {{"phone", PoweredFrom::vehicle}}; },
    };
    for (const auto change : changes) {
        second.conditions = plain;
        change(second.conditions);
        const NoiseSource open = said({"a", "b"});
        REQUIRE(open.evidence.size() == 1);
        CHECK(evidence(open, "Capture once more at another sample rate than 48000 Hz"));
        CHECK(open.evidence[0].value == 48000);
        CHECK(open.evidence[0].takes == std::vector<std::string>{"a", "b"});
    }
    second.conditions = plain;
    surveys.back().sample_rate_hz = 48000.5;
    CHECK(evidence(said({"a", "b"}), "Capture once more"));
    surveys.back().sample_rate_hz = 48002;
    CHECK(evidence(said({"a", "b"}), "At 48000 Hz and at 48002 Hz"));
    NoiseSource nowhere;
    nowhere.kind = NoiseKind::converter_hash;
    say_sample_rates(nowhere, surveys);
    CHECK(nowhere.evidence.empty());
}
