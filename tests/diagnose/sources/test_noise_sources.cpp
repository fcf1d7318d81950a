#include "../../../src/diagnose/sources/noise_sources.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/even_survey.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

constexpr double kWhine_hz = 1240.0;

WhineInTake followed_whine(const TakeSurvey& survey) {
    WhineInTake whine;
    whine.survey = &survey;
    whine.family = 0;
    whine.frequency_hz = kWhine_hz;
    whine.frequency_sd_hz = 18.6;
    whine.wander = 0.015;
    whine.mean_square.assign(survey.channels.size(), 2e-6);
    whine.harmonics = {{1.0, kWhine_hz, -54.0, std::nullopt}};
    whine.significance = 30;
    return whine;
}

/// A running take with a family at the whine, its noise so much over the other take's.
struct Running : MadeTake {
    explicit Running(double over_db = 0.0, Engine engine = Engine::idle)
        : MadeTake("takes/run.wav", engine, 1, 1e-12 * std::pow(10.0, over_db / 10.0)) {
        survey.families.push_back(family_of(kWhine_hz, 0.015, {{1.0, 2e-6}}));
    }
};
struct Resting : MadeTake {
    Resting() : MadeTake("takes/off.wav", Engine::off, 1, 1e-12) {}
};

const Evidence* evidence_with(const NoiseSource& source, const std::string& words) {
    for (const Evidence& one : source.evidence)
        if (one.text.find(words) != std::string::npos) return &one;
    return nullptr;
}

SteadyComb comb_at(NoiseKind kind, double frequency_hz, double mean_square = 2e-6) {
    SteadyComb comb;
    comb.kind = kind;
    comb.frequency_hz = frequency_hz;
    comb.frequency_sd_hz = 0.01;
    comb.mean_square = {mean_square};
    comb.rests_on = "tone: clear";
    comb.why = "A line that holds still";
    return comb;
}

NoiseSource source_at(NoiseKind kind, double frequency_hz, const std::string& rests_on = "") {
    NoiseSource source;
    source.kind = kind;
    source.frequency_hz = frequency_hz;
    source.rests_on = rests_on;
    return source;
}

}  // namespace

TEST_CASE("a whine's confidence rests on what speaks for it", "[sources]") {
    struct Case {
        const char* what;
        double significance;
        std::size_t multiples;
        std::optional<bool> usual_constant;   // unset: no speed stated
        double log_evidence;
        std::optional<double> fall_db;        // with the engine off; unset: no such take
        bool logged;
        const char* rests_on;
    };
    const Case cases[] = {
        {"stands out, nothing else", 30, 0, {}, 60, {}, false, "whine: under 2 for it"},
        {"and a multiple", 20.5, 1, {}, 60, {}, false, "whine: 2 and more for it"},
        {"not quite clear, and a multiple", 20, 1, {}, 60, {}, false, "whine: under 2 for it"},
        {"a constant that is usual", 30, 0, true, 60, {}, false, "whine: 2 and more for it"},
        {"one that isn't", 30, 0, false, 60, {}, false, "whine: under 2 for it"},
        {"quieter at rest", 30, 0, {}, 60, 3.1, false, "whine: 2 and more for it"},
        {"quieter at rest alone", 10, 0, {}, 200, 3.1, false, "whine: under 2 for it"},
        {"all four", 30, 3, true, 60, 20.0, false, "whine: 2 and more for it"},
        {"no quieter at rest", 30, 1, true, 60, 2.9, false, "whine: no quieter with the engine off"},
        {"hardly to be found", 30, 0, {}, 11, {}, false, "whine: faint"},
        {"just found", 30, 0, {}, 13, {}, false, "whine: under 2 for it"},
        {"hardly to be found, with relatives", 30, 1, {}, 11, {}, false, "whine: 2 and more for it"},
        {"no quieter, and weak", 30, 0, {}, 29, 2.9, false, "whine: faint"},
        {"no quieter, less weak", 30, 0, {}, 31, 2.9, false, "whine: no quieter with the engine off"},
        {"no quieter, weak, along a log", 30, 0, {}, 29, 2.9, true, "whine: no quieter with the engine off"},
        {"no quieter, faint, along a log", 30, 0, {}, 11, 2.9, true, "whine: faint"},
        {"no quieter, weak, with relatives", 30, 1, {}, 29, 2.9, false, "whine: no quieter with the engine off"},
        {"beyond doubt", 10, 0, {}, 101, {}, false, "whine: loud, nothing to hold it against"},
        {"not quite", 10, 0, {}, 99, {}, false, "whine: under 2 for it"},
        {"beyond doubt, with relatives", 30, 1, {}, 101, {}, false, "whine: 2 and more for it"},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        Running run(one.fall_db.value_or(0.0));
        const Resting off;
        run.survey.families[0].ridge.log_evidence = one.log_evidence;
        if (one.logged) run.survey.rpm_log = RpmLog{};
        WhineInTake whine = followed_whine(run.survey);
        whine.significance = one.significance;
        whine.multiples = one.multiples;
        if (one.usual_constant) whine.hz_per_rpm = 1.65;
        whine.usual_constant = one.usual_constant.value_or(false);
        std::list<NoiseSource> sources;
        add_whine(sources, whine, one.fall_db ? &off.survey : nullptr);
        REQUIRE(sources.size() == 1);
        CHECK(sources.front().rests_on == one.rests_on);
        CHECK(sources.front().confidence == confidence_of(one.rests_on));
        // one sentence for each fact
        CHECK(sources.front().evidence.size() == 1u + (one.multiples > 0) + one.usual_constant.has_value() + one.fall_db.has_value());
    }
}

TEST_CASE("a whine's evidence says what was measured, in which takes", "[sources]") {
    Running run(12.0);
    const Resting off;
    WhineInTake whine = followed_whine(run.survey);
    whine.multiples = 1;
    whine.hz_per_rpm = 1.653;
    std::list<NoiseSource> sources;
    sources.push_back(source_at(NoiseKind::hiss, 100));
    add_whine(sources, whine, &off.survey);
    REQUIRE(sources.size() == 2);
    const NoiseSource& source = sources.back();
    CHECK(source.kind == NoiseKind::alternator_whine);
    CHECK(source.frequency_hz == kWhine_hz);
    CHECK(source.frequency_sd_hz == 18.6);
    CHECK(source.harmonics.size() == 1);
    CHECK(*source.level_dbfs == Approx(10 * std::log10(2 * 2e-6)));
    const std::vector<std::string> here = {"takes/run.wav"}, both = {"takes/run.wav", "takes/off.wav"};
    struct Case {
        const char* words;
        double value;
        const char* unit;
        std::optional<double> sd;
        std::vector<std::string> takes;
    };
    const Case cases[] = {{"line near 1240 Hz wanders by 1.50 %", 1.5, "%", {}, here},
                          {"1 whole multiple moves with it", 1, "lines", {}, here},
                          {"1.653 Hz of whine per rpm; 1.2 to 2.4 are usual", 1.653, "Hz/rpm", {}, here},
                          {"With the engine off its band is 12.0 dB quieter", 12, "dB", 1.0, both}};
    for (const Case& one : cases) {
        INFO(one.words);
        const Evidence* evidence = evidence_with(source, one.words);
        REQUIRE(evidence);
        CHECK(evidence->value == Approx(one.value));
        CHECK(evidence->unit == one.unit);
        CHECK(evidence->sd == one.sd);
        CHECK(evidence->takes == one.takes);
    }
    // an idle wanders, so its level is less sure than that of an engine held up; the noise beside it adds nothing here
    CHECK(source.levels.front().sd_db == Approx(1.0).margin(0.01));
    Running raised(12.0, Engine::raised);
    WhineInTake more = followed_whine(raised.survey);
    more.multiples = 2;
    std::list<NoiseSource> others;
    add_whine(others, more, nullptr);
    CHECK(others.front().levels.front().sd_db == Approx(0.5).margin(0.01));
    CHECK(evidence_with(others.front(), "2 whole multiples move with it"));
    // held still it says so, whatever else speaks for it
    WhineInTake held = followed_whine(raised.survey);
    held.family.reset();
    held.multiples = 2;
    std::list<NoiseSource> still;
    add_whine(still, held, &off.survey);
    CHECK(still.front().rests_on == "whine: held still");
    const Evidence* why = evidence_with(still.front(), "line at 1240.0 Hz holds still");
    REQUIRE(why);
    CHECK(why->value == kWhine_hz);
    CHECK(why->unit == "Hz");
    CHECK(why->sd == 18.6);
    CHECK(why->takes == here);
    // too little quieter, it may not be the engine's
    Running loud(1.0);
    std::list<NoiseSource> doubtful;
    add_whine(doubtful, followed_whine(loud.survey), &off.survey);
    const Evidence* doubt = evidence_with(doubtful.front(), "only 1.0 dB quieter: the engine may not be the cause");
    REQUIRE(doubt);
    CHECK(doubt->value == Approx(1.0));
    CHECK(doubt->unit == "dB");
    CHECK(doubt->sd == 1.0);
    CHECK(doubt->takes == both);
}

TEST_CASE("a whine's band at rest is as wide as it wanders, and that of the loudest channel", "[sources]") {
    // 2.5 times 1.5 % of 1240 Hz are 46.5 Hz either way: 93 Hz of noise of 1e-12 hold 9.3e-11
    const auto fall_with = [](double line_hz, double wander) {
        Running run;
        MadeTake off("takes/off.wav", Engine::off, 2, 1e-12);
        off.survey.channels[0].spectrum = even_spectrum(1e-13);
        run.survey.channels[0].spectrum.density[run.survey.channels[0].spectrum.bin_of(line_hz)] += 1e-10;
        WhineInTake whine = followed_whine(run.survey);
        whine.wander = wander;
        std::list<NoiseSource> sources;
        add_whine(sources, whine, &off.survey);
        return evidence_with(sources.front(), "With the engine off")->value;
    };
    CHECK(fall_with(kWhine_hz + 45, 0.015) == Approx(10 * std::log10((9.3e-11 + 1e-10) / 9.3e-11)).margin(0.01));
    CHECK(fall_with(kWhine_hz + 49, 0.015) == Approx(0.0).margin(0.01));
    CHECK(fall_with(kWhine_hz - 4, 0.0) == Approx(10 * std::log10((1e-11 + 1e-10) / 1e-11)).margin(0.01));  // 5 Hz at least
    CHECK(fall_with(kWhine_hz - 6, 0.0) == Approx(0.0).margin(0.01));
    // nothing at all at rest is still a number
    Running run;
    MadeTake off("takes/off.wav", Engine::off, 1, 0.0);
    std::list<NoiseSource> sources;
    add_whine(sources, followed_whine(run.survey), &off.survey);
    CHECK(std::isfinite(evidence_with(sources.front(), "With the engine off")->value));
    run.survey.channels[0].spectrum = even_spectrum(0.0);
    std::list<NoiseSource> neither;
    add_whine(neither, followed_whine(run.survey), &off.survey);
    CHECK(evidence_with(neither.front(), "With the engine off")->value == 0);
}

TEST_CASE("of a whine in several takes the loudest speaks for the frequency", "[sources]") {
    std::list<NoiseSource> sources;
    Running first;
    add_whine(sources, followed_whine(first.survey), nullptr);
    for (const auto& [power, frequency_hz, told_hz] : {std::tuple{1e-6, 1100.0, kWhine_hz}, {2e-6, 1150.0, kWhine_hz}, {2.1e-6, 1300.0, 1300.0}}) {
        Running other;
        WhineInTake whine = followed_whine(other.survey);
        whine.mean_square = {power};
        whine.frequency_hz = frequency_hz;
        add_whine(sources, whine, nullptr);
        REQUIRE(sources.size() == 1);
        CHECK(sources.front().frequency_hz == told_hz);
    }
    CHECK(sources.front().levels.size() == 4);
}

TEST_CASE("where a beat sweeps at rest, a lone line is no whine", "[sources]") {
    struct Case {
        double beat_hz;
        double family_wander;   // of a lone family at rest instead of a beat; 0: none
        std::size_t multiples;
        bool is_beat;
    };
    for (const Case& one : {Case{1.09 * kWhine_hz, 0, 0, true}, {1.11 * kWhine_hz, 0, 0, false}, {0.91 * kWhine_hz, 0, 0, true},
                            {0.89 * kWhine_hz, 0, 0, false}, {kWhine_hz, 0, 1, false}, {kWhine_hz, 0.06, 0, true}, {kWhine_hz, 0.04, 0, false},
                            {1.2 * kWhine_hz, 0.06, 0, false}}) {
        INFO(one.beat_hz << " Hz, wander " << one.family_wander << ", multiples " << one.multiples);
        Running run(12.0);
        Resting off;
        if (one.family_wander > 0) {
            off.survey.families.push_back(family_of(one.beat_hz, one.family_wander, {{1.0, 1e-6}}));
        } else {
            off.survey.beats.emplace_back().mean_hz = one.beat_hz;
        }
        WhineInTake whine = followed_whine(run.survey);
        whine.multiples = one.multiples;
        std::list<NoiseSource> sources;
        add_whine(sources, whine, &off.survey);
        CHECK((sources.front().rests_on == "whine: where a beat sweeps at rest") == one.is_beat);
    }
}

TEST_CASE("steady lines of two takes are one source where they are as near as its kind allows", "[sources]") {
    struct Case {
        NoiseKind kind;
        double first_hz, second_hz;
        bool one_source;
    };
    // mains within 1.2 Hz; else 0.15 %, 1 Hz at least
    for (const Case& one : {Case{NoiseKind::mains_hum, 50, 51.1, true}, {NoiseKind::mains_hum, 50, 51.3, false},
                            {NoiseKind::unexplained_tone, 400, 400.9, true}, {NoiseKind::unexplained_tone, 400, 401.1, false},
                            {NoiseKind::unexplained_tone, 4000, 3994.2, true}, {NoiseKind::unexplained_tone, 4000, 3993.8, false}}) {
        INFO(one.first_hz << " and " << one.second_hz);
        const MadeTake a("takes/a.wav"), b("takes/b.wav");
        std::list<NoiseSource> sources = {source_at(NoiseKind::bus_tone, one.first_hz), source_at(one.kind, 9999)};
        add_comb(sources, comb_at(one.kind, one.first_hz), a.survey);
        REQUIRE(sources.size() == 3);
        CHECK(sources.back().kind == one.kind);
        add_comb(sources, comb_at(one.kind, one.second_hz), b.survey);
        CHECK(sources.size() == (one.one_source ? 3u : 4u));
    }
}

TEST_CASE("of a steady source's takes the louder one gives frequency, lines and words", "[sources]") {
    const MadeTake a("takes/a.wav"), b("takes/b.wav"), c("takes/c.wav");
    std::list<NoiseSource> sources;
    SteadyComb first = comb_at(NoiseKind::unexplained_tone, 400);
    first.evidence = {{"It strays by nothing.", 7, "ppm", 2.0, {}, {}}};
    add_comb(sources, first, a.survey);
    const NoiseSource& source = sources.front();
    CHECK(*source.level_dbfs == Approx(10 * std::log10(4e-6)));
    CHECK(source.levels.front().sd_db == Approx(0.2).margin(0.001));
    CHECK(source.frequency_hz == 400.0);
    CHECK(source.frequency_sd_hz == 0.01);
    CHECK(source.rests_on == "tone: clear");
    CHECK(source.confidence == confidence_of("tone: clear"));
    REQUIRE(source.evidence.size() == 2);
    CHECK(source.evidence[0].text == "A line that holds still.");
    CHECK(source.evidence[0].value == 400.0);
    CHECK(source.evidence[0].unit == "Hz");
    CHECK(source.evidence[0].sd == 0.01);
    CHECK(source.evidence[1].text == "It strays by nothing.");
    CHECK(source.evidence[1].value == 7.0);
    for (const Evidence& one : source.evidence) CHECK(one.takes == std::vector<std::string>{"takes/a.wav"});
    // quieter: its take is counted, no more
    for (const double power : {1e-6, 2e-6}) {
        SteadyComb quieter = comb_at(NoiseKind::unexplained_tone, 400.4, power);
        quieter.why = "Other words";
        quieter.harmonics = {{1.0, 400.4, -60.0, std::nullopt}};
        add_comb(sources, quieter, b.survey);
        CHECK(source.frequency_hz == 400.0);
        CHECK(source.harmonics.empty());
        CHECK(source.evidence[0].text == "A line that holds still.");
    }
    for (const Evidence& one : source.evidence) CHECK(one.takes == std::vector<std::string>{"takes/a.wav", "takes/b.wav", "takes/b.wav"});
    // louder: all is its own, of all takes
    SteadyComb louder = comb_at(NoiseKind::unexplained_tone, 400.6, 4e-6);
    louder.why = "Louder";
    louder.frequency_sd_hz = 0.11;
    louder.harmonics = {{1.0, 400.6, -50.0, std::nullopt}};
    add_comb(sources, louder, c.survey);
    REQUIRE(sources.size() == 1);
    CHECK(source.frequency_hz == 400.6);
    CHECK(source.frequency_sd_hz == 0.11);
    CHECK(source.harmonics.size() == 1);
    REQUIRE(source.evidence.size() == 1);
    CHECK(source.evidence[0].text == "Louder.");
    CHECK(source.evidence[0].takes == std::vector<std::string>{"takes/a.wav", "takes/b.wav", "takes/c.wav"});
    // known to less than a tenth of a bin, a longer take brings nothing
    for (const auto& [length, sd_hz, limit] : {std::tuple{24000u, 0.09, LimitedBy::nothing}, {24000u, 0.11, LimitedBy::length},
                                               {12000u, 0.19, LimitedBy::nothing}, {12000u, 0.21, LimitedBy::length}}) {
        MadeTake coarse("takes/a.wav");
        coarse.survey.channels[0].spectrum.length = length;
        std::list<NoiseSource> lone;
        SteadyComb comb = comb_at(NoiseKind::bus_tone, 1000);
        comb.frequency_sd_hz = sd_hz;
        add_comb(lone, comb, coarse.survey);
        CHECK(lone.front().frequency_limited_by == limit);
    }
}

TEST_CASE("a steady source's level is as sure as the noise under its lines leaves it", "[sources]") {
    MadeTake take("takes/a.wav");
    take.survey.channels[0].floor_density[400] = 1e-9;
    take.survey.channels[0].floor_density[800] = 1e-8;
    // variance (4 S^2 + 2 P S) / 10 s of a mean square P = 1e-6 over noise of density S, in bins of 1 Hz
    const auto sd_db = [](double squares, double densest) {
        return std::hypot(0.2, 10 * std::log10(1 + std::sqrt((4 * squares + 2 * 1e-6 * densest) / 10) / 1e-6));
    };
    SteadyComb comb = comb_at(NoiseKind::unexplained_tone, 400, 1e-6);
    std::list<NoiseSource> sources;
    add_comb(sources, comb, take.survey);
    CHECK(sources.front().levels.front().sd_db == Approx(sd_db(1e-18, 1e-9)).margin(1e-6));
    comb.harmonics = {{1.0, 400, -60, std::nullopt}, {2.0, 800, -60, std::nullopt}};
    std::list<NoiseSource> two;
    add_comb(two, comb, take.survey);
    CHECK(two.front().levels.front().sd_db == Approx(sd_db(1.01e-16, 1e-8)).margin(1e-6));
}
