#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/sources/engine_speed.hpp"
#include "../../../src/diagnose/sources/noise_sources.hpp"

using namespace hushtrace;

namespace {

/// A take in which clicks come at a rate, wandering by a share of it.
struct Clicking {
    Take take;
    TakeSurvey survey;
    Clicking(double rate_hz, Engine engine, std::optional<double> rpm, double wander = 0.01) {
        take.file = "takes/run.wav";
        take.conditions.engine = engine;
        take.conditions.rpm = rpm;
        survey.take = &take;
        survey.duration_s = 10;
        ImpulseTrain train;
        for (double t = 0; t < 10; t += 0.05) {
            train.rate.time_s.push_back(t);
            train.rate.frequency_hz.push_back(rate_hz * (1.0 + 1.4 * wander * std::sin(0.6 * std::numbers::pi * t)));
        }
        train.significance = 30;
        train.contrast_db = 8;
        survey.channels.resize(1);
        survey.channels[0].clicks = train;
    }
};
/// Follows a line beside the clicks that goes up and down as they do, so much and so much later.
WhineInTake whine_beside(Clicking& run, double wander, double degrees) {
    MovingFamily family;
    for (double t = 0; t < 10; t += 0.05) {
        family.ridge.track.time_s.push_back(t);
        const double phase = 0.6 * std::numbers::pi * t + degrees * std::numbers::pi / 180;
        family.ridge.track.frequency_hz.push_back(1215 * (1.0 + 1.4142 * wander * std::sin(phase)));
    }
    run.survey.families = {family};
    WhineInTake whine;
    whine.survey = &run.survey;
    whine.family = 0;
    whine.usual_constant = true;
    return whine;
}
VehicleData vehicle_with(std::optional<int> cylinders, std::optional<int> strokes = std::nullopt) {
    VehicleData vehicle;
    vehicle.cylinders = cylinders;
    vehicle.strokes = strokes;
    return vehicle;
}

}  // namespace

TEST_CASE("clicks at a rate that the engine gives are its ignition, with the speed that follows", "[clicks]") {
    // Common practice, no source: four strokes fire each cylinder once in two turns, two strokes once a turn; wasted
    // spark does not double that; one coil that differs shows once in two turns.
    struct Case {
        const char* what;
        std::optional<int> cylinders, strokes;
        std::optional<double> typed;
        double rate_hz, rpm;
    };
    const Case cases[] = {
        {"3 cylinders", 3, {}, 750, 18.75, 750},
        {"4, wasted spark or not", 4, {}, 750, 25, 750},
        {"5", 5, {}, 750, 31.25, 750},
        {"6", 6, {}, 750, 37.5, 750},
        {"8", 8, {}, 750, 50, 750},
        {"10", 10, {}, 750, 62.5, 750},
        {"12", 12, {}, 750, 75, 750},
        {"two strokes", 3, 2, 1200, 60, 1200},
        {"typed 5 % low", 4, {}, 712, 25, 750},
        {"typed 5 % high", 4, {}, 788, 25, 750},
        {"nothing typed", 4, {}, {}, 25, 750},
        {"one coil differs", 4, {}, 750, 6.25, 750},
        {"six that fire unevenly", 6, {}, 750, 18.75, 750},
        {"cylinders not told", {}, {}, 760, 25, 750},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        const Clicking run(one.rate_hz, Engine::idle, one.typed);
        const auto clicks =
            clicks_in(run.survey, nullptr, nullptr, vehicle_with(one.cylinders, one.strokes), nullptr);
        REQUIRE(clicks);
        CHECK(clicks->ignition);
        CHECK(clicks->probability > 0.6);
        REQUIRE(clicks->rpm);
        CHECK(*clicks->rpm == Approx(one.rpm).epsilon(0.002));
    }
}

TEST_CASE("clicks that no engine at this speed gives are clicks of their own", "[clicks]") {
    for (const double rate_hz : {8.3, 9.7, 17.2, 20.5, 31.0, 41.0}) {
        INFO(rate_hz);
        const Clicking run(rate_hz, Engine::idle, 760, 0.0);
        const auto clicks = clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), nullptr);
        REQUIRE(clicks);
        CHECK_FALSE(clicks->ignition);
    }
    const Clicking rest(25, Engine::off, std::nullopt), run(25, Engine::idle, 750);
    CHECK_FALSE(clicks_in(rest.survey, nullptr, nullptr, vehicle_with(4), nullptr)->ignition);
    CHECK_FALSE(
        clicks_in(run.survey, &rest.survey, nullptr, vehicle_with(4), nullptr)->ignition);  // there at rest as well
    TakeSurvey silent;
    CHECK_FALSE(clicks_in(silent, nullptr, nullptr, vehicle_with(4), nullptr));
}

TEST_CASE("a log settles what typed figures leave open", "[clicks]") {
    EngineInTake logged;
    logged.rpm = 750;
    logged.rpm_sd = 2;
    logged.rpm_from = "log";
    const Clicking near_miss(26.2, Engine::idle, std::nullopt), right(25.02, Engine::idle, std::nullopt);
    CHECK_FALSE(clicks_in(near_miss.survey, nullptr, nullptr, vehicle_with(4), &logged)->ignition);
    CHECK(clicks_in(right.survey, nullptr, nullptr, vehicle_with(4), &logged)->ignition);
}

TEST_CASE("the speed of a take comes from the log, else from ignition, else from what was typed", "[engine]") {
    std::vector<Warning> warnings;
    Clicking run(25.1, Engine::idle, 715);
    const TakeSpeed fired = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(fired.from == "firing");
    CHECK(fired.guesses.front().rpm == Approx(753).epsilon(0.001));
    CHECK(fired.firing_order == 2.0);
    run.survey.channels[0].clicks.reset();
    const TakeSpeed typed = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(typed.from == "typed");
    CHECK(warnings.empty());
    RpmLog log;
    for (double t = 0; t <= 10; t += 0.5) {
        log.time_s.push_back(t);
        log.rpm.push_back(900);
    }
    log.known = {{0, 10}};
    run.survey.rpm_log = log;
    const TakeSpeed logged = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(logged.from == "log");
    CHECK(logged.guesses.front().rpm == Approx(900));
    REQUIRE(warnings.size() == 1);  // 715 were typed
    CHECK(warnings.front().code == "rpm_log_contrary");
    run.take.conditions.engine = Engine::off;
    CHECK(speed_of(run.survey, vehicle_with(4), warnings).guesses.empty());
}

TEST_CASE("clicks are the engine's as likely as its speed allows against a stranger's", "[clicks]") {
    // Bayes' rule: a quarter of trains are none of the engine's, even over 3.4 of the rate's logarithm; 0.3 of that where a take at rest has none
    const double stranger = 0.25 / 3.4;
    const Clicking rest(40, Engine::off, std::nullopt);
    for (const double rate_hz : {25.0, 24.0, 27.5, 20.5, 12.4}) {
        INFO(rate_hz);
        const Clicking run(rate_hz, Engine::idle, 750);
        double engine = 0;
        for (const auto& [order, likely] : click_orders(vehicle_with(4)))
            engine += 0.75 * likely * log_speed_density(60 * rate_hz / order, run.take.conditions);
        const auto alone = clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), nullptr);
        REQUIRE(alone);
        CHECK(alone->probability == Approx(engine / (engine + stranger)).epsilon(1e-3));
        CHECK(alone->ignition == (alone->probability >= 0.5));
        const auto against = clicks_in(run.survey, &rest.survey, nullptr, vehicle_with(4), nullptr);
        CHECK(against->probability == Approx(engine / (engine + 0.3 * stranger)).epsilon(1e-3));
        CHECK(against->survey == &run.survey);
        CHECK(against->rate_hz == Approx(rate_hz).epsilon(1e-3));
        CHECK(against->train.significance == 30);
        CHECK_FALSE(against->moves_with_whine);
    }
    // a speed that was read counts for what it is sure to, 1 % at the least; of what was typed or fired the take's own conditions tell
    const Clicking run(25.2, Engine::idle, 750);
    EngineInTake read;
    read.rpm = 750;
    for (const auto& [sd_rpm, share] : {std::pair{2.0, 0.01}, {15.0, 0.02}}) {
        read.rpm_sd = sd_rpm;
        read.rpm_from = "whine";
        double engine = 0;
        for (const auto& [order, likely] : click_orders(vehicle_with(4))) {
            const double off = std::log(60 * 25.2 / order / 750) / share;
            engine += 0.75 * likely * std::exp(-0.5 * off * off) / (share * std::sqrt(2 * std::numbers::pi));
        }
        const auto clicks = clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), &read);
        CHECK(clicks->probability == Approx(engine / (engine + stranger)).epsilon(1e-3));
        const double typed = clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), nullptr)->probability;
        for (const char* from : {"typed", "firing"}) {
            read.rpm_from = from;
            CHECK(clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), &read)->probability == typed);
        }
        EngineInTake unread;
        CHECK(clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), &unread)->probability == typed);
    }
}

TEST_CASE("clicks that keep to the whine are likelier the engine's, and those that hold still beside it less", "[clicks]") {
    const auto times = [](double degrees, double own = 0.01, double whines = 0.01, bool usual = true) {
        Clicking run(25, Engine::idle, 750, own);
        const auto odds = [&](const WhineInTake* whine) {
            const double p = clicks_in(run.survey, nullptr, whine, vehicle_with(4), nullptr)->probability;
            return p / (1 - p);
        };
        const double alone = odds(nullptr);
        WhineInTake whine = whine_beside(run, whines, degrees);
        whine.usual_constant = usual;
        return odds(&whine) / alone;
    };
    // fully alike 13 times as likely, from a correlation of a half on in proportion; below a fifth 0.6 times
    CHECK(times(0) == Approx(13).epsilon(0.02));
    Clicking part(25, Engine::idle, 750);
    const WhineInTake beside = whine_beside(part, 0.01, 40);
    const double correlation = correlation_of(part.survey.channels[0].clicks->rate, part.survey.families[0].ridge.track);
    CHECK(*clicks_in(part.survey, nullptr, &beside, vehicle_with(4), nullptr)->moves_with_whine == correlation);
    REQUIRE(std::abs(correlation - 0.75) < 0.1);
    CHECK(times(40) == Approx(1 + 24 * (correlation - 0.5)));
    CHECK(times(70) == Approx(1));
    CHECK(times(90) == Approx(0.6));
    CHECK(times(180) == Approx(0.6));
    CHECK(times(90, 0.0041) == Approx(0.6));
    CHECK(times(90, 0.0039) == Approx(0.1));   // less than 0.4 of what the engine wanders
    CHECK(times(0, 0.0039) == Approx(13).epsilon(0.02));
    CHECK(times(0, 0.01, 0.0041) == Approx(13).epsilon(0.02));
    CHECK(times(0, 0.01, 0.0039) == Approx(1));   // a held engine tells nothing
    CHECK(times(0, 0.01, 0.01, false) == Approx(13).epsilon(0.02));
    CHECK(times(90, 0.01, 0.01, false) == Approx(1));   // what may be no whine says nothing against
}

TEST_CASE("why clicks are the engine's is said by how often a turn they come", "[clicks]") {
    const auto why = [](double rate_hz, Engine engine, const VehicleData& vehicle, double rpm = 750) {
        const Clicking run(rate_hz, engine, rpm, 0);
        return clicks_in(run.survey, nullptr, nullptr, vehicle, nullptr).value();
    };
    CHECK(why(25, Engine::off, vehicle_with(4)).why == "25.0 clicks a second with the engine at rest");
    CHECK(why(25, Engine::idle, vehicle_with(4)).why == "25.0 clicks a second, as every firing gives at 750 rpm");
    CHECK(why(6.25, Engine::idle, vehicle_with(4)).why ==
          "6.2 clicks a second, once in two turns at 750 rpm, as one cylinder gives that differs from the others");
    CHECK(why(12.5, Engine::idle, vehicle_with(4)).why == "12.5 clicks a second, once a turn at 750 rpm, as one coil of a pair gives");
    CHECK(why(18.75, Engine::idle, vehicle_with(6)).why == "18.8 clicks a second, 1.5 a turn at 750 rpm");
    CHECK(why(20.5, Engine::idle, vehicle_with(4)).why == "20.5 clicks a second, which the engine at this speed does not give");
    CHECK_FALSE(why(20.5, Engine::idle, vehicle_with(4)).rpm);
    CHECK(why(25, Engine::idle, vehicle_with(std::nullopt)).why == "25.0 clicks a second, within what a running engine gives");
    VehicleData diesel = vehicle_with(4);
    diesel.drive = Drive::diesel;
    CHECK(why(25, Engine::idle, diesel).why == "25.0 clicks a second, as every firing gives at 750 rpm (a diesel's injectors)");
    diesel.cylinders.reset();
    CHECK(why(25, Engine::idle, diesel).why == "25.0 clicks a second, within what a running engine gives (a diesel's injectors)");
    const Clicking rest(25, Engine::off, std::nullopt), run(25, Engine::idle, 750);
    CHECK(clicks_in(run.survey, &rest.survey, nullptr, vehicle_with(4), nullptr)->why.find("clicks a second, with the engine off as well") !=
          std::string::npos);
    // without the cylinders the speed follows where one order is clearly likeliest
    CHECK(*why(25, Engine::idle, vehicle_with(std::nullopt)).rpm == Approx(750).epsilon(1e-3));
    const Clicking open(33, Engine::idle, std::nullopt);
    CHECK_FALSE(clicks_in(open.survey, nullptr, nullptr, vehicle_with(std::nullopt), nullptr)->rpm);   // 660, 990 or 1320 rpm
}

TEST_CASE("clicks become a source with their rate, level and what was told of them", "[clicks]") {
    const auto judged = [](Clicking& run, double mean_square, double probability) {
        run.survey.channels[0].clicks->mean_square = mean_square;
        ClicksInTake clicks;
        clicks.survey = &run.survey;
        clicks.train = *run.survey.channels[0].clicks;
        clicks.rate_hz = clicks.train.rate.mean_hz();
        clicks.ignition = probability >= 0.5;
        clicks.probability = probability;
        clicks.why = "why";
        return clicks;
    };
    Clicking first(25, Engine::idle, 750, 0.02), second(26, Engine::idle, 780, 0.0);
    second.take.file = "takes/second.wav";
    std::list<NoiseSource> sources;
    first.survey.channels[0].spectrum.effective_averages = 1000;
    ClicksInTake clicks = judged(first, 0.5e-4, 0.9);
    clicks.rpm = 750;
    clicks.moves_with_whine = 0.7;
    add_clicks(sources, clicks);
    REQUIRE(sources.size() == 1);
    NoiseSource& source = sources.front();
    CHECK(source.kind == NoiseKind::ignition_tick);
    CHECK(*source.frequency_hz == Approx(25).epsilon(1e-3));
    CHECK(*source.frequency_sd_hz == Approx(25 * 0.0199 / std::sqrt(10.0)).epsilon(0.02));   // over ten seconds
    CHECK(*source.engine_order == Approx(2).epsilon(1e-3));
    CHECK(*source.level_dbfs == Approx(-40));
    CHECK(source.levels[0].sd_db == 1.0);
    CHECK(source.rests_on == "clicks: ignition, 0.85 and more");
    REQUIRE(source.evidence.size() == 3);
    CHECK(source.evidence[0].text == "why.");
    CHECK(source.evidence[0].value == *source.frequency_hz);
    CHECK(source.evidence[0].unit == "Hz");
    CHECK(source.evidence[0].takes == std::vector<std::string>{"takes/run.wav"});
    CHECK(source.evidence[1].text == "At each click the power above 2 kHz stands 8.0 dB above that between clicks.");
    CHECK(source.evidence[1].value == 8);
    CHECK(source.evidence[1].unit == "dB");
    CHECK(source.evidence[2].text == "Its rate moves with the whine (correlation 0.70).");
    CHECK(source.evidence[2].value == 0.7);
    // the engine's clicks of another take are the same source; the louder take gives its rate
    add_clicks(sources, judged(second, 0.25e-4, 0.7));
    REQUIRE(sources.size() == 1);
    CHECK(*source.frequency_hz == Approx(25).epsilon(1e-3));
    CHECK(source.evidence.size() == 5);   // of a whine nothing was said
    CHECK(source.levels.size() == 2);
    add_clicks(sources, judged(second, 1e-4, 0.7));
    CHECK(*source.frequency_hz == Approx(26).epsilon(1e-3));
    CHECK(*source.frequency_sd_hz == Approx(0.02));
    CHECK(*source.engine_order == Approx(2).epsilon(1e-3));
    std::list<NoiseSource> unsure;
    add_clicks(unsure, judged(second, 1e-4, 0.84));
    CHECK(unsure.front().rests_on == "clicks: ignition, under 0.85");
    CHECK_FALSE(unsure.front().engine_order);
    // what moves with the whine by less than a half isn't said
    for (const auto& [correlation, said] : {std::pair{0.49, false}, {0.51, true}, {-0.51, true}, {-0.49, false}}) {
        std::list<NoiseSource> one;
        clicks.moves_with_whine = correlation;
        add_clicks(one, clicks);
        CHECK((one.front().evidence.size() == 3) == said);
    }
}

TEST_CASE("clicks of none of the engine's go by their rate: ticks, or the edges of something switched", "[clicks]") {
    std::list<NoiseSource> sources;
    const auto add = [&sources](double rate_hz, Engine engine, double line_surprise = 0, int second = 2) {
        Clicking run(rate_hz, engine, std::nullopt, 0.0);
        run.survey.channels[0].clicks->mean_square = 1e-4;
        StillSpectrum& still = run.survey.channels[0].still;
        if (line_surprise > 0) {
            still.bin_hz = 1;
            still.density.assign(1000, 1e-12);
            still.noise.assign(1000, 1e-12);
            still.surprise.assign(1000, 0.0F);
            for (const int n : {1, second})
                still.surprise[static_cast<std::size_t>(std::lround(n * rate_hz))] = static_cast<float>(line_surprise);
        }
        ClicksInTake clicks;
        clicks.survey = &run.survey;
        clicks.train = *run.survey.channels[0].clicks;
        clicks.rate_hz = rate_hz;
        add_clicks(sources, clicks);
    };
    add(10, Engine::off);
    REQUIRE(sources.size() == 1);
    CHECK(sources.front().kind == NoiseKind::periodic_tick);
    CHECK(sources.front().rests_on == "clicks: at rest");
    add(10.19, Engine::off);   // within 2 % it is the same
    CHECK(sources.size() == 1);
    add(10.21, Engine::off);
    CHECK(sources.size() == 2);
    sources.clear();
    add(10, Engine::idle);
    CHECK(sources.front().rests_on == "clicks: running, none of the engine's");
    // nothing ticks 60 times a second for long: with the rate and one of its low multiples as lines, it is a load's edges
    sources.clear();
    add(59, Engine::off);
    CHECK(sources.front().kind == NoiseKind::periodic_tick);
    sources.clear();
    add(60, Engine::off);
    CHECK(sources.empty());
    for (const int n : {2, 3, 4}) {
        add(61, Engine::off, 8, n);
        REQUIRE(sources.size() == 1);
        CHECK(sources.front().kind == NoiseKind::switched_load);
        CHECK(sources.front().rests_on == "load: by its edges");
        sources.clear();
    }
    add(61, Engine::off, 8, 5);
    add(61, Engine::off, 8, 1);
    add(61, Engine::off, 7.7);   // a surprise of 7, and what looking in three bins allows noise: ln(3 / 1.4) = 0.76
    CHECK(sources.empty());
    add(61, Engine::off, 7.8);
    CHECK(sources.size() == 1);
}
