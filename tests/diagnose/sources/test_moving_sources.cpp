#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/sources/noise_sources.hpp"
#include "../../../src/diagnose/takes/take_kind.hpp"
#include "diagnose/even_survey.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

constexpr double kWhine_hz = 1240.0;
constexpr double kSwings_hz = 0.32;   // whole turns in the 9.4 s that two tracks are held against each other

NoiseSource source_at(NoiseKind kind, double frequency_hz, const std::string& rests_on = "") {
    NoiseSource source;
    source.kind = kind;
    source.frequency_hz = frequency_hz;
    source.rests_on = rests_on;
    return source;
}

SteadyComb comb_at(NoiseKind kind, double frequency_hz, const std::vector<double>& lines_hz = {}) {
    SteadyComb comb;
    comb.kind = kind;
    comb.frequency_hz = frequency_hz;
    for (const double hz : lines_hz) comb.harmonics.push_back({hz / frequency_hz, hz, -60.0, std::nullopt});
    return comb;
}

/// A take with a lone moving line.
struct Moving : MadeTake {
    std::list<NoiseSource> sources;
    std::vector<SteadyComb> combs;
    std::optional<WhineInTake> whine;
    std::optional<ClicksInTake> clicks;

    explicit Moving(Engine engine, MovingFamily family) : MadeTake("takes/it.wav", engine) { survey.families.push_back(std::move(family)); }
    /// With a whine that is followed in a family of its own, like which the line moves by so much.
    void beside_a_whine(double likeness) {
        survey.families.front().ridge.track =
            swinging(survey.families.front().mean_hz, 0.01, kSwings_hz, std::acos(likeness) / (2 * std::numbers::pi));
        survey.families.push_back(family_of(kWhine_hz, 0.01, {{1.0, 1e-5}}));
        survey.families.back().ridge.track = swinging(kWhine_hz, 0.01, kSwings_hz);
        whine.emplace();
        whine->survey = &survey;
        whine->family = 1;
        whine->frequency_hz = kWhine_hz;
    }
    std::size_t told() {
        add_moving(sources, survey, whine ? &*whine : nullptr, clicks ? &*clicks : nullptr, combs);
        return sources.size();
    }
    /// Whether it became a source, or part of one.
    bool is_told() {
        told();
        return std::any_of(sources.begin(), sources.end(), [](const NoiseSource& one) { return !one.takes.empty(); });
    }
};

MovingFamily lone_line(double frequency_hz = 1009.0, double wander = 0.01) { return family_of(frequency_hz, wander, {{1.0, 2e-6}}); }
MovingFamily nine_bars() { return family_of(9 * 126.1, 0.01, {{8.0 / 9, 1e-7}, {1.0, 2e-6}, {10.0 / 9, 1e-7}}); }

}  // namespace

TEST_CASE("a line that moves is told by what can move so", "[sources]") {
    struct Case {
        const char* what;
        MovingFamily family;
        Engine engine;
        std::optional<double> likeness;   // to the whine beside it
        NoiseKind kind;
        const char* rests_on;
        const char* words;
    };
    using K = NoiseKind;
    const auto faint = [](MovingFamily family, double log_evidence) {
        family.ridge.log_evidence = log_evidence;
        return family;
    };
    const char* at_rest = "% with the engine at rest, as a motor's does.";
    const char* own_way = "%, and not as the engine does: a motor";
    const char* no_alternator = "%, and does not fit an alternator at this speed.";
    const char* turns = "%, with lines beside it as the turns of a motor make them.";
    const char* beat = "%, higher or farther than a motor: the beat of two converters may.";
    const Case cases[] = {
        {"at rest", lone_line(), Engine::off, {}, K::motor_whine, "motor: wanders", at_rest},
        {"with a multiple", family_of(1009, 0.01, {{1, 2e-6}, {2, 1e-6}}), Engine::off, {}, K::motor_whine, "motor: wanders, with other lines",
         at_rest},
        {"with its turns", nine_bars(), Engine::off, {}, K::motor_whine, "motor: wanders, with its turns", turns},
        {"with its turns, running", nine_bars(), Engine::idle, {}, K::motor_whine, "motor: wanders, with its turns", turns},
        {"running", lone_line(), Engine::idle, {}, K::unexplained_tone, "tone: wanders", no_alternator},
        {"a hybrid that is awake", lone_line(), Engine::ready, {}, K::unexplained_tone, "tone: wanders", no_alternator},
        {"unlike the whine", lone_line(), Engine::idle, 0.57, K::motor_whine, "motor: wanders", own_way},
        {"a little like it", lone_line(), Engine::idle, 0.64, K::unexplained_tone, "tone: wanders", no_alternator},
        {"a little against it", lone_line(), Engine::idle, -0.57, K::motor_whine, "motor: wanders", own_way},
        {"against it", lone_line(), Engine::idle, -0.64, K::unexplained_tone, "tone: wanders", no_alternator},
        {"faint", faint(lone_line(), 11.9), Engine::off, {}, K::motor_whine, "line that wanders: faint", at_rest},
        {"not faint", faint(lone_line(), 12.1), Engine::off, {}, K::motor_whine, "motor: wanders", at_rest},
        {"higher than a motor", faint(lone_line(5000), 31), Engine::off, {}, K::converter_hash, "hash: a beat", beat},
        {"higher, and faint", faint(lone_line(5000), 29), Engine::off, {}, K::converter_hash, "line that wanders: faint", beat},
        {"farther than a motor", lone_line(1009, 0.06), Engine::off, {}, K::converter_hash, "hash: a beat", beat},
        {"high, without a whine", lone_line(5200), Engine::idle, {}, K::converter_hash, "hash: a beat", beat},
        {"high, unlike the whine", lone_line(5200), Engine::idle, 0.57, K::converter_hash, "hash: a beat", beat},
        {"high, like the whine", lone_line(5200), Engine::idle, 0.64, K::unexplained_tone, "tone: wanders", no_alternator},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        Moving take(one.engine, one.family);
        if (one.likeness) take.beside_a_whine(*one.likeness);
        REQUIRE(take.told() == 1);
        const NoiseSource& source = take.sources.front();
        CHECK(source.kind == one.kind);
        CHECK(source.rests_on == one.rests_on);
        CHECK(source.confidence == confidence_of(one.rests_on));
        CHECK(*source.frequency_hz == Approx(one.family.mean_hz));
        CHECK(*source.frequency_sd_hz == Approx(one.family.wander * one.family.mean_hz));
        double power = 0;
        for (const OrderLine& line : one.family.lines) power += line.mean_square[0];
        CHECK(*source.level_dbfs == Approx(10 * std::log10(2 * power)));
        CHECK(source.levels.front().sd_db == Approx(1.0).margin(0.01));
        REQUIRE(source.evidence.size() == 1);
        CHECK(source.evidence[0].text.find(one.words) != std::string::npos);
        CHECK(source.evidence[0].value == Approx(100 * one.family.wander));
        CHECK(source.evidence[0].unit == "%");
        CHECK(source.evidence[0].takes == std::vector<std::string>{"takes/it.wav"});
    }
    Moving take(Engine::off, lone_line());
    take.told();
    CHECK(take.sources.front().evidence[0].text.starts_with("The line near 1009 Hz wanders by 1.00 %"));
}

TEST_CASE("a motor is told by the line at its bars, where a multiple was followed", "[sources]") {
    Moving take(Engine::off, family_of(18 * 96.9, 0.01, {{0.5, 3e-6}, {1.0, 1e-6}}));
    REQUIRE(take.told() == 1);
    CHECK(*take.sources.front().frequency_hz == Approx(9 * 96.9));
    CHECK(*take.sources.front().frequency_sd_hz == Approx(0.01 * 9 * 96.9));
    // what is no motor's is told where it was followed
    Moving running(Engine::idle, family_of(18 * 96.9, 0.01, {{0.5, 3e-6}, {1.0, 1e-6}}));
    REQUIRE(running.told() == 1);
    CHECK(*running.sources.front().frequency_hz == Approx(18 * 96.9));
}

TEST_CASE("a moving line's level is as sure as the noise under all of its lines leaves it", "[sources]") {
    Moving take(Engine::off, family_of(1000, 0.01, {{1.0, 0.75e-6}, {2.0, 0.25e-6}}));
    take.survey.channels[0].floor_density[2000] = 1e-8;
    REQUIRE(take.told() == 1);
    // variance (4 S^2 + 2 P S) / 10 s of P = 1e-6 over noise of density S = 1e-8 under the second line
    CHECK(take.sources.front().levels[0].sd_db ==
          Approx(std::hypot(1.0, 10 * std::log10(1 + std::sqrt((4e-16 + 2e-14) / 10) / 1e-6))).margin(1e-4));
}

TEST_CASE("a moving line that something else explains is no source of its own", "[sources]") {
    const auto told = [](Engine engine, MovingFamily family, const auto& with) {
        Moving take(engine, std::move(family));
        with(take);
        return take.is_told();
    };
    const auto nothing = [](Moving&) {};
    MovingFamily weak = lone_line();
    weak.significance = 7.9;
    CHECK_FALSE(told(Engine::off, weak, nothing));
    weak.significance = kSureFamily;
    CHECK(told(Engine::off, weak, nothing));
    // turning with the whine, or straying about a multiple of it
    for (const auto& [likeness, expected] : {std::pair{0.83, false}, {0.77, true}})
        CHECK(told(Engine::idle, lone_line(), [like = likeness](Moving& take) { take.beside_a_whine(like); }) == expected);
    for (const auto& [ratio, expected] : {std::pair{2.05, false}, {2.07, true}, {1.95, false}, {1.93, true}, {1.02, false}, {0.5, true},
                                          {0.96, true}})
        CHECK(told(Engine::idle, lone_line(ratio * kWhine_hz), [](Moving& take) { take.beside_a_whine(0.0); }) == expected);
    // hopping about beside a whine; a sweep's lines do go far
    for (const auto& [wander, engine, whine, expected] :
         {std::tuple{0.21, Engine::idle, true, false}, {0.19, Engine::idle, true, true}, {0.21, Engine::sweep, true, true},
          {0.21, Engine::idle, false, true}})
        CHECK(told(engine, lone_line(1009, wander), [beside = whine](Moving& take) {
                  if (beside) take.beside_a_whine(0.0);
              }) == expected);
    // whose whine holds still moves by itself, but nothing says that it isn't the engine's
    Moving held(Engine::idle, lone_line());
    held.whine.emplace();
    held.whine->survey = &held.survey;
    held.whine->frequency_hz = kWhine_hz;
    REQUIRE(held.told() == 1);
    CHECK(held.sources.front().kind == NoiseKind::unexplained_tone);
    // a tooth of the clicks' comb: lines a click's rate above and below it
    const MovingFamily tooth = family_of(1009, 0.01, {{1.0 - 25.0 / 1009, 1e-6}, {1.0, 1e-6}, {1.0 + 25.0 / 1009, 1e-6}});
    for (const bool clicking : {true, false})
        CHECK(told(Engine::idle, tooth, [clicking](Moving& take) {
                  ImpulseTrain train;
                  train.rate = swinging(25.0, 0.01);
                  train.significance = 20;
                  if (clicking) take.clicks.emplace();
                  take.survey.channels[0].clicks = train;
              }) == !clicking);
    // an even hump of the noise that it strays through
    for (const auto& [evenness, expected] : {std::pair{0.9, false}, {0.8, true}})
        CHECK(told(Engine::off, lone_line(), [even = evenness](Moving& take) {
                  Hump hump;
                  hump.frequency_hz = 1009;
                  hump.low_hz = 990;
                  hump.high_hz = 1030;
                  hump.evenness = even;
                  take.survey.channels[0].humps.push_back(hump);
              }) == expected);
}

TEST_CASE("a path that strays about a steady comb's lines is none", "[sources]") {
    struct Case {
        const char* what;
        SteadyComb comb;
        bool told;
    };
    const auto kind = NoiseKind::mains_hum;
    // 1 % of 1009 Hz: it strays by 10 Hz
    for (const Case& one : {Case{"at its rate", comb_at(kind, 1018), false}, {"beside it", comb_at(kind, 1020), true},
                            {"at a line", comb_at(kind, 50, {100, 1000}), false},
                            {"at a multiple of many", comb_at(kind, 50, {100, 150, 200, 250}), false},
                            {"at a multiple of few", comb_at(kind, 50, {100, 150, 200}), true},
                            {"between multiples", comb_at(kind, 490, {490, 1470, 1960, 2450}), true},
                            {"far below its rate", comb_at(kind, 5000, {5000, 10000, 15000, 20000}), true}}) {
        INFO(one.what);
        Moving take(Engine::off, lone_line());
        take.combs = {one.comb};
        CHECK(take.told() == (one.told ? 1u : 0u));
    }
    // one that hardly strays, within 1.5 Hz
    for (const auto& [hz, expected] : {std::pair{1010.4, 0u}, {1010.6, 1u}}) {
        Moving take(Engine::off, lone_line(1009, 0.0005));
        take.combs = {comb_at(kind, hz)};
        CHECK(take.told() == expected);
    }
}

TEST_CASE("a motor's side line belongs to the motor, in this take and in another", "[sources]") {
    // nine turns of a shaft of 91.8 a second, whose bars are at eight
    const auto side = [] { return family_of(9 * 91.8, 0.001, {{8.0 / 9, 1e-6}, {1.0, 1e-7}, {10.0 / 9, 5e-8}, {16.0 / 9, 2e-7}}); };
    using K = NoiseKind;
    struct Case {
        K kind;
        double hz;
        bool in_this_take, told;
    };
    for (const Case& one : {Case{K::motor_whine, 8 * 91.8 * 1.002, true, false}, {K::motor_whine, 8 * 91.8 * 1.004, true, true},
                            {K::unexplained_tone, 8 * 91.8 * 0.998, true, false}, {K::mains_hum, 8 * 91.8, true, true},
                            {K::motor_whine, 12 * 91.8, true, false}, {K::motor_whine, 13 * 91.8, true, true},
                            {K::motor_whine, 6 * 91.8, true, false}, {K::motor_whine, 5 * 91.8, true, true},
                            {K::motor_whine, 8 * 91.8 * 1.019, false, false}, {K::motor_whine, 8 * 91.8 * 1.022, false, true},
                            {K::unexplained_tone, 8 * 91.8, false, true}, {K::motor_whine, 9 * 91.8, false, true}}) {
        INFO(one.hz / 91.8 << " turns, in this take " << one.in_this_take);
        Moving take(Engine::off, side());
        if (one.in_this_take) take.combs = {comb_at(one.kind, one.hz)};
        else take.sources = {source_at(one.kind, one.hz)};
        CHECK(take.is_told() == one.told);
    }
}

TEST_CASE("a line near a multiple of a converter's rate is the converter's", "[sources]") {
    struct Case {
        NoiseKind kind;
        double times;
        const char* rests_on;
        bool told;
    };
    using K = NoiseKind;
    for (const Case& one : {Case{K::converter_hash, 2.0, "hash: one hump", false}, {K::converter_hash, 2.10, "hash: one hump", false},
                            {K::converter_hash, 2.12, "hash: one hump", true}, {K::converter_hash, 4.0, "hash: one hump", false},
                            {K::converter_hash, 5.0, "hash: one hump", true}, {K::converter_hash, 1.0, "hash: one hump", true},
                            {K::converter_hash, 1.0, "hash: pulses", false}, {K::converter_hash, 0.94, "hash: pulses", true},
                            {K::converter_hash, 0.97, "hash: pulses", false}, {K::motor_whine, 2.0, "hash: one hump", true}}) {
        INFO(one.times << " times, " << one.rests_on);
        Moving take(Engine::off, lone_line(5000));
        take.sources = {source_at(one.kind, 5000 / one.times, one.rests_on)};
        CHECK(take.is_told() == one.told);
    }
    // what isn't a converter's may lie where it likes
    Moving motor(Engine::off, lone_line());
    motor.sources = {source_at(K::converter_hash, 504.5)};
    CHECK(motor.told() == 2);
}

TEST_CASE("a moving line joins the source that it was told as in another take", "[sources]") {
    using K = NoiseKind;
    struct Case {
        K before;
        double times;      // that source's frequency over the line's
        double line_hz;
        Engine engine;
        std::size_t sources;
        K kind;
    };
    for (const Case& one : {Case{K::motor_whine, 1.029, 1009, Engine::off, 1, K::motor_whine},
                            {K::motor_whine, 1.031, 1009, Engine::off, 2, K::motor_whine},
                            {K::unexplained_tone, 0.972, 1009, Engine::off, 1, K::motor_whine},
                            {K::motor_whine, 1.0, 1009, Engine::idle, 1, K::motor_whine},
                            {K::unexplained_tone, 1.0, 1009, Engine::idle, 1, K::unexplained_tone},
                            {K::bus_tone, 1.0, 1009, Engine::off, 2, K::motor_whine},
                            {K::converter_hash, 1.24, 5000, Engine::off, 1, K::converter_hash},
                            {K::converter_hash, 1.26, 5000, Engine::off, 2, K::converter_hash},
                            {K::motor_whine, 1.1, 5000, Engine::off, 2, K::converter_hash},
                            {K::converter_hash, 1.1, 1009, Engine::off, 2, K::motor_whine}}) {
        INFO(to_word(one.before) << " at " << one.times << " times " << one.line_hz);
        Moving take(one.engine, lone_line(one.line_hz));
        take.sources = {source_at(one.before, one.times * one.line_hz)};
        REQUIRE(take.told() == one.sources);
        CHECK(take.sources.back().kind == one.kind);
        CHECK(*take.sources.back().frequency_hz == one.line_hz);   // the source had no level
    }
    // the louder take gives the frequency
    Moving take(Engine::off, lone_line());
    take.sources = {source_at(K::motor_whine, 1020)};
    take.sources.front().level_dbfs = 10 * std::log10(4.1e-6);
    take.told();
    CHECK(take.sources.front().frequency_hz == 1020.0);
    take.survey.families[0].lines[0].mean_square = {2.1e-6};
    take.told();
    CHECK(take.sources.front().frequency_hz == 1009.0);
}

TEST_CASE("a tone that nobody can hear asks for nothing, and says so", "[sources]") {
    Job job;
    // 0.2 V are -13.98 dBV, and 90 dB below that -103.98
    for (const auto& [kind, level_dbv, quiet] :
         {std::tuple{NoiseKind::unexplained_tone, -104.1, true}, {NoiseKind::motor_whine, -104.1, true}, {NoiseKind::bus_tone, -104.1, true},
          {NoiseKind::alternator_whine, -104.1, false}, {NoiseKind::bus_tone, -103.9, false}}) {
        NoiseSource source = source_at(kind, 1000);
        source.level_dbv = level_dbv;
        source.takes = {"takes/a.wav"};
        source.evidence = {{"before", 0, "", std::nullopt, {}, {}}};
        CHECK(quiet_enough(source, job) == quiet);
        REQUIRE(source.evidence.size() == (quiet ? 2u : 1u));
        CHECK(source.evidence.back().text == "before");
        if (!quiet) continue;
        CHECK(source.evidence[0].text.find("It lies 90 dB below the 0.2 V that drive") == 0);
        CHECK(source.evidence[0].value == Approx(-90.12).margin(0.01));
        CHECK(source.evidence[0].unit == "dB");
        CHECK(source.evidence[0].takes == source.takes);
    }
    NoiseSource source = source_at(NoiseKind::bus_tone, 1000);
    CHECK_FALSE(quiet_enough(source, job));   // not calibrated
    // the most sensitive amplifier counts: 0.05 V are -26.02 dBV
    job.amplifiers.resize(3);
    job.amplifiers[1].sensitivity_v = std::array{0.05, 2.0};
    job.amplifiers[2].sensitivity_v = std::array{0.5, 4.0};
    source.level_dbv = -115.9;
    CHECK_FALSE(quiet_enough(source, job));
    source.level_dbv = -116.1;
    CHECK(quiet_enough(source, job));
}

TEST_CASE("where a source is there is said by the takes that hold it", "[sources]") {
    const MadeTake off("off", Engine::off), run("run", Engine::idle);
    MadeTake floor("floor", Engine::off), floor_running("floor_running", Engine::idle), ready("ready", Engine::ready);
    floor.take.conditions.hookup = floor_running.take.conditions.hookup = {Hookup::inputs_shorted};
    const auto said = [](const std::vector<const MadeTake*>& takes, const std::vector<std::string>& in) {
        std::list<TakeSurvey> surveys;
        for (const MadeTake* one : takes) surveys.push_back(one->survey);
        NoiseSource source;
        source.takes = in;
        say_where(source, surveys);
        if (source.evidence.empty()) return std::string();
        CHECK(source.evidence.size() == 1);
        CHECK(source.evidence[0].takes == in);
        CHECK(source.evidence[0].value == 0);
        return source.evidence[0].text;
    };
    const std::string both = "It is there with the engine off and with it running.", only = "It is there only while the engine runs.",
                      shorted = "It is there with the inputs shorted as well: the measuring set-up makes it.";
    CHECK(said({&off, &run}, {"off", "run"}) == both);
    CHECK(said({&run, &off}, {"off", "run"}) == both);
    CHECK(said({&off, &run}, {"run"}) == only);
    CHECK(said({&off, &ready}, {"ready"}) == only);
    CHECK(said({&off, &run}, {"off"}).empty());
    CHECK(said({&run}, {"run"}).empty());      // nothing to hold it against
    CHECK(said({&off}, {"off"}).empty());
    CHECK(said({&run, &floor}, {"run"}).empty());
    CHECK(said({&off, &floor_running}, {"off"}).empty());
    CHECK(said({&off, &run, &floor}, {"off", "run", "floor"}) == shorted);
    CHECK(said({&floor, &off, &run}, {"floor"}) == shorted);
    CHECK(said({&off, &run, &floor}, {"run"}) == only);
}

TEST_CASE("an engine is awake while it turns, or stands ready", "[sources]") {
    for (const auto& [engine, active] : {std::pair{Engine::off, false}, {Engine::accessory, false}, {Engine::key_on, false}, {Engine::cranking, true},
                                         {Engine::idle, true}, {Engine::raised, true}, {Engine::sweep, true}, {Engine::ready, true}})
        CHECK(engine_active(MadeTake("a", engine).take) == active);
    CHECK_FALSE(is_floor_take(MadeTake("a").take));
}
