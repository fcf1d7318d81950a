#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/sources/engine_speed.hpp"
#include "../../../src/diagnose/takes/click_trains.hpp"

using namespace hushtrace;

namespace {

/// A take of 10 s with clicks that are there in channel 0, at one rate up to 5 s and at another after that.
struct Clicking {
    Take take;
    TakeSurvey survey;
    explicit Clicking(double rate_hz, double later_hz = 0, std::optional<double> rpm = std::nullopt, Engine engine = Engine::idle) {
        take.file = "takes/run.flac";
        take.conditions.engine = engine;
        take.conditions.rpm = rpm;
        survey.take = &take;
        survey.duration_s = 10;
        survey.channels.resize(2);
        ImpulseTrain train;
        for (int i = 0; i <= 200; ++i) {
            train.rate.time_s.push_back(0.05 * i);
            train.rate.frequency_hz.push_back(later_hz > 0 && i >= 100 ? later_hz : rate_hz);
        }
        train.significance = 30;
        train.contrast_db = 8;
        survey.channels[0].clicks = train;
        sound(0, 0, 0);
    }
    Clicking(const Clicking&) = delete;
    /// Columns of a tenth of a second, bins of 500 Hz: what lies from 2 kHz up steps at a moment, and what lies below.
    void sound(double by_db, double low_by_db, double at_s, std::size_t channel = 0, int columns = 100) {
        ChannelSurvey& one = survey.channels[channel];
        one.column_s = 10.0 / columns;
        one.spectrogram_bin_hz = 500;
        one.spectrogram_dbfs.clear();
        for (int i = 0; i < columns; ++i) {
            const bool after = (i + 0.5) * one.column_s > at_s;
            std::vector<float> column(20, static_cast<float>(-60 + (after ? by_db : 0.0)));
            std::fill_n(column.begin(), 4, static_cast<float>(-40 + (after ? low_by_db : 0.0)));
            one.spectrogram_dbfs.push_back(column);
        }
    }
    ClickRate rate() const { return rate_of_clicks(survey, *survey.channels[0].clicks); }
    void log(double rpm, double from_s = 0, double to_s = 10) {
        RpmLog log;
        for (double t = from_s; t <= to_s + 1e-9; t += 0.5) {
            log.time_s.push_back(t);
            log.rpm.push_back(rpm);
        }
        log.known = {{from_s, to_s}};
        log.step_rpm = 4;
        survey.rpm_log = log;
    }
};
VehicleData engine_of(std::optional<int> cylinders, std::optional<int> strokes = std::nullopt) {
    VehicleData vehicle;
    vehicle.cylinders = cylinders;
    vehicle.strokes = strokes;
    return vehicle;
}
double bell(double deviation, double sd) { return std::exp(-0.5 * deviation * deviation / (sd * sd)) / (sd * std::sqrt(2 * std::numbers::pi)); }

}  // namespace

TEST_CASE("clicks come by all cylinders, or by what tells one or a pair of them apart", "[engine]") {
    // four strokes: half the cylinders a turn. One that differs: that by their number; each second turn: a half; a coil of a pair: one;
    // uneven pairs: half of all; and twice all. Where two of these are one order, its chances add up.
    using Orders = std::vector<std::pair<double, double>>;
    const auto check = [](const VehicleData& vehicle, const Orders& wanted) {
        const Orders orders = click_orders(vehicle);
        REQUIRE(orders.size() == wanted.size());
        double sum = 0;
        for (std::size_t i = 0; i < wanted.size(); ++i) {
            CHECK(orders[i].first == Approx(wanted[i].first));
            CHECK(orders[i].second == Approx(wanted[i].second));
            sum += orders[i].second;
        }
        CHECK(sum == Approx(1.0));
    };
    check(engine_of(4), {{2, 0.81}, {0.5, 0.08}, {1, 0.09}, {4, 0.02}});
    check(engine_of(6), {{3, 0.81}, {0.5, 0.08}, {1, 0.03}, {1.5, 0.06}, {6, 0.02}});
    check(engine_of(3, 2), {{3, 0.81}, {1, 0.09}, {0.5, 0.02}, {1.5, 0.06}, {6, 0.02}});
    const Orders any = {{2, 0.42}, {3, 0.18}, {1.5, 0.12}, {4, 0.12}, {1, 0.05}, {0.5, 0.04}, {2.5, 0.04}, {5, 0.015}, {6, 0.015}};
    check(engine_of(std::nullopt), any);   // of 3 to 12 cylinders, four the likeliest
    check(engine_of(0), any);
}

TEST_CASE("before it is read a speed is what was typed, or what the engine's state allows", "[engine]") {
    Conditions conditions;
    conditions.engine = Engine::idle;
    conditions.rpm = 1000;
    const auto [typed, by_state] = stated_guesses(conditions);
    CHECK_FALSE(by_state);
    REQUIRE(typed.size() == 2);   // read well, or off a dial in passing
    CHECK(typed[0].rpm == 1000);
    CHECK(typed[0].sd_share == 0.015);
    CHECK(typed[1].sd_share == 0.05);
    CHECK(typed[0].weight + typed[1].weight == 1.0);
    // a normal law of the speed's logarithm, 2 % added
    const double a = std::hypot(0.015, 0.02), b = std::hypot(0.05, 0.02);
    for (const double off : {0.0, 0.03, -0.1})
        CHECK(log_speed_density(1000 * std::exp(off), conditions) == Approx(0.4 * bell(off, a) + 0.6 * bell(off, b)));
    const auto state = [](Engine engine, std::optional<double> rpm = std::nullopt) {
        Conditions one;
        one.engine = engine;
        one.rpm = rpm;
        const auto [guesses, of_state] = stated_guesses(one);
        CHECK(of_state);
        double sum = 0;
        for (const SpeedGuess& guess : guesses) sum += guess.weight;
        CHECK(sum == Approx(guesses.empty() ? 0.0 : engine == Engine::ready ? 0.5 : 1.0));   // a hybrid's engine may stand
        return guesses;
    };
    CHECK(state(Engine::off).empty());
    CHECK(state(Engine::key_on).empty());
    REQUIRE(state(Engine::idle, 0.0).size() == 2);   // warm, and four in five are; or cold and faster
    CHECK(state(Engine::idle)[0].rpm == 790);
    CHECK(state(Engine::idle)[0].weight == 0.8);
    CHECK(state(Engine::idle)[0].sd_share == 0.18);
    CHECK(state(Engine::idle)[1].rpm == 1150);
    CHECK(state(Engine::idle)[1].sd_share == 0.25);
    CHECK(state(Engine::raised)[0].sd_share == 0.35);
    CHECK(state(Engine::sweep)[0].sd_share == 0.5);
    CHECK(state(Engine::cranking)[0].sd_share == 0.3);
    CHECK(state(Engine::ready)[0].sd_share == 0.5);
    CHECK(state(Engine::raised)[0].rpm == 2000);
    CHECK(state(Engine::sweep, 1000.0)[0].rpm == 1600);   // one figure says nothing of a sweep
    CHECK(state(Engine::cranking)[0].rpm == 230);
    CHECK(state(Engine::ready)[0].rpm == 1200);
    Conditions raised;
    raised.engine = Engine::raised;
    CHECK(log_speed_density(2000 * std::exp(0.35), raised) == Approx(bell(0.35, std::hypot(0.35, 0.02))));
    CHECK(log_speed_density(2000, Conditions{}) == 0.0);
}

TEST_CASE("the strongest clicks count where they stand 1.5 dB over what lies between them", "[engine]") {
    Clicking run(25);
    CHECK(strongest_clicks(run.survey) == &*run.survey.channels[0].clicks);
    run.survey.channels[1].clicks = run.survey.channels[0].clicks;
    CHECK(strongest_clicks(run.survey) == &*run.survey.channels[0].clicks);
    run.survey.channels[1].clicks->significance = 31;
    CHECK(strongest_clicks(run.survey) == &*run.survey.channels[1].clicks);
    run.survey.channels[1].clicks->contrast_db = 1.5;
    CHECK(strongest_clicks(run.survey) == &*run.survey.channels[1].clicks);
    run.survey.channels[1].clicks->contrast_db = 1.4;
    CHECK_FALSE(strongest_clicks(run.survey));
    CHECK_FALSE(strongest_clicks(TakeSurvey{}));
}

TEST_CASE("where the sound above 2 kHz steps down or up for good, the clicks' rate is that of the louder part", "[engine]") {
    const Clicking even(25);
    CHECK(even.rate().mean_hz == Approx(25));
    CHECK(even.rate().sd_share == Approx(0.0015));
    CHECK(even.rate().from_s == 0);
    CHECK(even.rate().to_s == Approx(10));
    CHECK_FALSE(even.rate().stopped);
    Clicking run(25, 30);   // 27.5 on the whole, 2.5 either way
    const double mean = (100 * 25.0 + 101 * 30.0) / 201, wander = 2.5 / mean;
    CHECK(run.rate().mean_hz == Approx(mean));
    CHECK(run.rate().sd_share == Approx(std::hypot(0.0015, 0.04 * wander)).epsilon(1e-3));
    CHECK_FALSE(run.rate().stopped);
    run.sound(-10, 0, 5);
    CHECK(run.rate().stopped);
    CHECK(run.rate().mean_hz == Approx(25));
    CHECK(run.rate().from_s == 0);
    CHECK(run.rate().to_s == Approx(5).margin(0.3));   // the level is smoothed over 0.6 s
    CHECK(run.rate().sd_share == Approx(0.004));
    run.sound(10, 0, 5);
    CHECK(run.rate().stopped);
    CHECK(run.rate().mean_hz == Approx(30));
    CHECK(run.rate().from_s == Approx(5).margin(0.3));
    CHECK(run.rate().to_s == Approx(10));
    for (const double by_db : {1.6, -1.6}) {
        run.sound(by_db, 0, 5);
        CHECK(run.rate().stopped);
    }
    for (const double by_db : {1.4, -1.4}) {
        run.sound(by_db, 0, 5);
        CHECK_FALSE(run.rate().stopped);
    }
    run.sound(0, -10, 5);   // below 2 kHz alone
    CHECK_FALSE(run.rate().stopped);
    run.sound(0, 0, 5);
    run.sound(-10, 0, 5, 1);   // another channel's
    CHECK_FALSE(run.rate().stopped);
    run.sound(-10, 0, 5, 0, 32);
    CHECK(run.rate().stopped);
    run.sound(-10, 0, 5, 0, 31);   // too few columns to tell
    CHECK_FALSE(run.rate().stopped);
    // a rate that differs by less than 0.4 % from the whole take's makes no difference
    Clicking alike(25, 25.19), other(25, 25.22);
    alike.sound(-10, 0, 5);
    other.sound(-10, 0, 5);
    CHECK_FALSE(alike.rate().stopped);
    CHECK(other.rate().stopped);
    // smoothed over 0.6 s what goes up and down from column to column hides no step
    Clicking rough(25, 30);
    rough.sound(-6, 0, 5);
    for (std::size_t i = 0; i < rough.survey.channels[0].spectrogram_dbfs.size(); ++i)
        for (float& level : rough.survey.channels[0].spectrogram_dbfs[i]) level += i % 2 == 0 ? 2.0F : -2.0F;
    CHECK(rough.rate().stopped);
    CHECK(rough.rate().mean_hz == Approx(25));
    // the whole of a train that doesn't begin with the take
    Clicking later(25);
    for (double& time : later.survey.channels[0].clicks->rate.time_s) time += 0.7;
    CHECK(later.rate().from_s == Approx(0.7));
    CHECK(later.rate().to_s == Approx(10.7));
    // a level that strays by 6 dB from column to column steps nowhere
    Clicking straying(25, 30);
    for (std::size_t i = 0; i < straying.survey.channels[0].spectrogram_dbfs.size(); ++i)
        for (float& level : straying.survey.channels[0].spectrogram_dbfs[i]) level += i % 20 < 10 ? 6.0F : i < 50 ? 0.0F : -2.0F;
    CHECK_FALSE(straying.rate().stopped);
}

TEST_CASE("a log's speed goes before what was typed, and says so where they differ by 15 %", "[engine]") {
    std::vector<Warning> warnings;
    Clicking run(25, 0, 870.0);
    run.survey.channels[0].clicks.reset();
    const TakeSpeed typed = speed_of(run.survey, {}, warnings);
    CHECK(typed.from == "typed");
    CHECK(typed.guesses.size() == 2);
    CHECK_FALSE(typed.firing_hz);
    run.take.conditions.rpm.reset();
    CHECK(speed_of(run.survey, {}, warnings).from.empty());
    CHECK(speed_of(run.survey, {}, warnings).guesses.size() == 2);
    run.take.conditions.rpm = 870;
    run.log(1000);
    const TakeSpeed logged = speed_of(run.survey, {}, warnings);
    CHECK(logged.from == "log");
    REQUIRE(logged.guesses.size() == 1);
    CHECK(logged.guesses[0].rpm == Approx(1000));
    CHECK(logged.guesses[0].sd_share == Approx(std::hypot(0.0025, 4 / 1000.0 / std::sqrt(12.0) / 4)));   // over many rows a step averages out
    CHECK(logged.guesses[0].weight == 0.97);
    CHECK_FALSE(logged.lag_s);
    CHECK(warnings.empty());   // ln(1000 / 870) is 0.139
    run.take.conditions.rpm = 855;
    speed_of(run.survey, {}, warnings);
    REQUIRE(warnings.size() == 1);
    CHECK(warnings[0].code == "rpm_log_contrary");
    CHECK(warnings[0].take == "takes/run.flac");
    CHECK(warnings[0].text.find("855 rpm were stated, its log reads 1000") != std::string::npos);
    run.log(90);   // no engine turns so slowly
    CHECK(speed_of(run.survey, {}, warnings).from == "typed");
    run.log(101);
    CHECK(speed_of(run.survey, {}, warnings).from == "log");
    run.log(900, 6, 14);   // less than half of the take: the part that there is
    CHECK(speed_of(run.survey, {}, warnings).guesses[0].rpm == Approx(900));
    run.log(900, -3, 3);
    CHECK(speed_of(run.survey, {}, warnings).guesses[0].rpm == Approx(900));
    run.take.conditions.engine = Engine::key_on;
    CHECK(speed_of(run.survey, {}, warnings).guesses.empty());
    run.take.conditions.engine = Engine::ready;
    CHECK(speed_of(run.survey, {}, warnings).from == "log");
}

TEST_CASE("clicks give the speed by the order that fits, as likely as Bayes' rule says", "[engine]") {
    // a quarter of trains are none of the engine's, their rates even over the logarithm from 6 to 180 a second
    const double stranger = 0.25 / std::log(30.0);
    std::vector<Warning> warnings;
    const auto speed = [&](double rate_hz, std::optional<double> rpm, double& engines) {
        const Clicking run(rate_hz, 0, rpm);
        std::vector<std::pair<double, double>> weights;   // rpm, weight
        double all = stranger;
        for (const auto& [order, likely] : click_orders(engine_of(4))) {
            weights.emplace_back(60 * rate_hz / order, 0.75 * likely * log_speed_density(60 * rate_hz / order, run.take.conditions));
            all += weights.back().second;
        }
        engines = 1 - stranger / all;
        const TakeSpeed found = speed_of(run.survey, engine_of(4), warnings);
        REQUIRE(found.guesses.size() == 6);   // two that were typed, or of an idle; four orders
        CHECK(std::is_sorted(found.guesses.begin(), found.guesses.end(), [](const auto& a, const auto& b) { return a.weight > b.weight; }));
        double sum = 0;
        for (const SpeedGuess& guess : found.guesses) sum += guess.weight;
        CHECK(sum == Approx(1.0));
        for (const auto& [one_rpm, weight] : weights) {
            const auto guess = std::find_if(found.guesses.begin(), found.guesses.end(), [rpm = one_rpm](const SpeedGuess& one) {
                return one.rpm == Approx(rpm) && one.sd_share == Approx(0.0015);
            });
            REQUIRE(guess != found.guesses.end());
            CHECK(guess->weight == Approx(weight / all).margin(1e-12));
        }
        return found;
    };
    double engines = 0;
    const TakeSpeed sure = speed(25.3, 750.0, engines);
    CHECK(engines > 0.9);
    CHECK(sure.from == "firing");
    CHECK(sure.firing_order == 2.0);
    CHECK(*sure.firing_hz == Approx(25.3));
    CHECK(sure.guesses[0].rpm == Approx(759));
    const TakeSpeed unlike = speed(17.2, 750.0, engines);   // 516 rpm by two a turn
    CHECK(engines < 0.5);
    CHECK(unlike.from == "typed");
    CHECK_FALSE(unlike.firing_order);
    CHECK_FALSE(unlike.firing_hz);
    const TakeSpeed open = speed(28.3, 750.0, engines);   // 849 rpm, 13 % more: engine's or not
    CHECK(open.firing_hz.has_value() == (engines > 0.5));
    CHECK(open.firing_order.has_value() == (open.guesses[0].weight > 0.8));
    CHECK(speed(25.3, std::nullopt, engines).firing_hz);
    // beside a log they only say how often a turn: within 1 % of its speed
    Clicking run(25);
    run.log(750);
    const TakeSpeed logged = speed_of(run.survey, engine_of(4), warnings);
    CHECK(logged.from == "log");
    CHECK(logged.guesses.size() == 1);
    CHECK(logged.firing_order == 2.0);
    CHECK(*logged.firing_hz == Approx(25));
    run.log(1500);
    CHECK(speed_of(run.survey, engine_of(4), warnings).firing_order == 1.0);
    run.log(790);
    CHECK_FALSE(speed_of(run.survey, engine_of(4), warnings).firing_hz);
    run.survey.rpm_log.reset();
    run.take.conditions.engine = Engine::ready;   // an engine that may stand has no firings to go by
    CHECK_FALSE(speed_of(run.survey, engine_of(4), warnings).firing_hz);
    CHECK(warnings.empty());
}

TEST_CASE("an engine that stopped within its take is said", "[engine]") {
    Clicking run(25, 28, 750.0);
    run.sound(-10, 0, 5);
    std::vector<Warning> warnings;
    const TakeSpeed speed = speed_of(run.survey, engine_of(4), warnings);
    CHECK(speed.from == "firing");
    CHECK(speed.guesses[0].rpm == Approx(750));
    REQUIRE(warnings.size() == 1);
    CHECK(warnings[0].code == "engine_stopped");
    CHECK(warnings[0].take == "takes/run.flac");
    CHECK(warnings[0].text.find("takes/run.flac: the clicks are there from 0.0 to 5.") != std::string::npos);
    warnings.clear();
    Clicking stranger(17.2, 19, 750.0);
    stranger.sound(-10, 0, 5);
    speed_of(stranger.survey, engine_of(4), warnings);
    CHECK(warnings.empty());
}
