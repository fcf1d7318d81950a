#include <catch2/catch.hpp>
#include <iterator>

#include "../../../src/diagnose/sources/noise_sources.hpp"
#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

/// A source of one take with its first multiples.
NoiseSource source(NoiseKind kind, double frequency_hz, double level_dbfs, const std::string& take, int harmonics = 0) {
    NoiseSource out;
    out.kind = kind;
    out.frequency_hz = frequency_hz;
    out.frequency_sd_hz = 0.0;
    out.level_dbfs = level_dbfs;
    out.takes = {take};
    out.channels = {Channel::left};
    out.levels = {{take, Channel::left, level_dbfs, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing}};
    for (int n = 1; n <= harmonics; ++n) out.harmonics.push_back({static_cast<double>(n), n * frequency_hz, level_dbfs - n, std::nullopt});
    return out;
}

std::list<NoiseSource> joined(std::list<NoiseSource> sources) {
    join_over_takes(sources);
    return sources;
}
/// How many are left of two.
std::size_t left_of(const NoiseSource& a, const NoiseSource& b) { return joined({a, b}).size(); }

using K = NoiseKind;

}  // namespace

TEST_CASE("a tone of another take that is a comb's line joins the comb", "[steady_joins]") {
    NoiseSource comb = source(K::switched_load, 120.0, -60.0, "a", 3), tone = source(K::unexplained_tone, 240.0, -55.0, "b");
    comb.level_dbv = -58.0;
    comb.confidence = 0.5;
    comb.rests_on = "load: few low lines";
    tone.level_dbv = -53.0;
    tone.confidence = 0.9;
    tone.frequency_sd_hz = 0.02;
    tone.channels = {Channel::left, Channel::right};
    const auto all = joined({comb, tone});
    REQUIRE(all.size() == 1);
    const NoiseSource& one = all.front();
    CHECK(one.kind == K::switched_load);
    CHECK(one.frequency_hz == 120.0);
    CHECK(one.takes == std::vector<std::string>{"a", "b"});
    CHECK(one.channels == std::vector<Channel>{Channel::left, Channel::right});
    REQUIRE(one.levels.size() == 2);
    CHECK(one.levels[1].take == "b");
    CHECK(one.level_dbfs == -55.0);   // the louder one's
    CHECK(one.level_dbv == -53.0);
    CHECK(one.confidence == 0.5);     // a tone's says nothing of a load
    CHECK(one.rests_on == "load: few low lines");
    REQUIRE(one.evidence.size() == 1);
    CHECK(holds(one.evidence[0].text, "In the other takes one line of it stands out"));
    CHECK(one.evidence[0].value == 240.0);
    CHECK(one.evidence[0].unit == "Hz");
    CHECK(one.evidence[0].sd == 0.02);
    CHECK(one.evidence[0].takes == std::vector<std::string>{"b"});

    tone.level_dbfs = -65.0;   // quieter
    const auto quiet = joined({comb, tone});
    REQUIRE(quiet.size() == 1);
    CHECK(quiet.front().level_dbfs == -60.0);
    CHECK(quiet.front().level_dbv == -58.0);
}

TEST_CASE("how far a line may lie off its comb goes by what the source is", "[steady_joins]") {
    struct Row {
        K kind;
        double line_hz, off_hz;
        const char* take;
        std::size_t left;
    };
    for (const Row& row : {
             Row{K::switched_load, 1000, 0.9, "b", 1}, Row{K::switched_load, 1000, 1.1, "b", 2},     // 1 Hz at least
             Row{K::switched_load, 10000, 2.9, "b", 1}, Row{K::switched_load, 10000, -3.1, "b", 2},   // 3 in 10000
             Row{K::mains_hum, 1000, -0.9, "b", 1}, Row{K::phone_burst, 1000, 0.9, "b", 1}, Row{K::bus_tone, 1000, 0.9, "b", 1},
             Row{K::motor_whine, 1000, 19, "b", 1}, Row{K::motor_whine, 1000, -21, "b", 2},          // a motor drifts by 2 % between takes,
             Row{K::motor_whine, 1000, 2.9, "a", 1}, Row{K::motor_whine, 1000, -3.1, "a", 2}}) {     // by 0.3 % within one
        CAPTURE(to_word(row.kind), row.line_hz, row.off_hz, row.take);
        const NoiseSource comb = source(row.kind, 0.5 * row.line_hz, -60, "a", 2);
        CHECK(left_of(comb, source(K::unexplained_tone, row.line_hz + row.off_hz, -70, row.take)) == row.left);
    }
    // what isn't a comb takes no lines of other takes; one of a single line is none, but the mains
    CHECK(left_of(source(K::converter_hash, 500, -60, "a", 2), source(K::unexplained_tone, 1000, -70, "b")) == 2);
    CHECK(left_of(source(K::switched_load, 1000, -60, "a", 1), source(K::unexplained_tone, 1000, -50, "b")) == 2);
    CHECK(left_of(source(K::mains_hum, 50, -60, "a", 1), source(K::unexplained_tone, 50, -50, "b")) == 1);
    // nor of such as have more lines themselves, nor of other kinds
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::unexplained_tone, 1000, -50, "b", 2)) == 1);
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::unexplained_tone, 1000, -50, "b", 3)) == 2);
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::converter_hash, 1000, -50, "b")) == 2);
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::motor_whine, 1000, -50, "b")) == 1);
    NoiseSource nowhere = source(K::unexplained_tone, 1000, -50, "b");
    nowhere.frequency_hz.reset();
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), nowhere) == 2);
}

TEST_CASE("of a load only every second line may be left in another take", "[steady_joins]") {
    const NoiseSource load = source(K::switched_load, 100, -60, "a", 4);
    CHECK(left_of(load, source(K::switched_load, 200, -50, "b", 2)) == 1);
    CHECK(left_of(load, source(K::switched_load, 200, -50, "b", 6)) == 1);   // however many
    CHECK(left_of(load, source(K::switched_load, 200, -50, "a", 2)) == 2);   // in one take they were told apart
    CHECK(left_of(load, source(K::switched_load, 250, -50, "b", 2)) == 2);   // none of its lines
    CHECK(left_of(load, source(K::switched_load, 100.5, -50, "b", 2)) == 2);
    // 1.5 times the rate and more
    NoiseSource fine = load;
    fine.harmonics.push_back({1.6, 160, -70, std::nullopt});
    fine.harmonics.push_back({1.4, 140, -70, std::nullopt});
    CHECK(left_of(fine, source(K::switched_load, 160, -50, "b", 2)) == 1);
    CHECK(left_of(fine, source(K::switched_load, 140, -50, "b", 2)) == 2);
}

TEST_CASE("a motor that drifted between takes is one motor, known by its better reading", "[steady_joins]") {
    NoiseSource motor = source(K::motor_whine, 640, -60, "a", 3), again = source(K::motor_whine, 651, -62, "b", 2);
    motor.confidence = 0.6;
    motor.rests_on = "motor: wanders";
    again.confidence = 0.8;
    again.rests_on = "motor: with its turns";
    const auto all = joined({motor, again});
    REQUIRE(all.size() == 1);
    CHECK(all.front().frequency_hz == 640.0);
    CHECK(all.front().takes.size() == 2);
    CHECK(all.front().confidence == 0.8);
    CHECK(all.front().rests_on == "motor: with its turns");
    again.confidence = 0.5;
    CHECK(joined({motor, again}).front().rests_on == "motor: wanders");
    CHECK(left_of(motor, source(K::motor_whine, 640 * 1.021, -62, "b", 2)) == 2);
    CHECK(left_of(motor, source(K::motor_whine, 640 * 0.979, -62, "b", 2)) == 2);
    CHECK(left_of(motor, source(K::motor_whine, 640 * 0.981, -62, "b", 2)) == 1);
    CHECK(left_of(motor, source(K::motor_whine, 651, -62, "b", 3)) == 1);
    CHECK(left_of(source(K::motor_whine, 640, -60, "a"), source(K::motor_whine, 651, -62, "b", 4)) == 1);   // whichever comes first
    // followed and read as a comb in one take; two combs there are two motors
    CHECK(left_of(motor, source(K::motor_whine, 645, -62, "a")) == 1);
    CHECK(joined({motor, source(K::motor_whine, 645, -62, "a")}).front().levels.size() == 1);   // dropped, not joined
    CHECK(left_of(motor, source(K::motor_whine, 645, -62, "a", 2)) == 2);
}

TEST_CASE("a weak line at a turn or beside the bars of a motor is a part of it", "[steady_joins]") {
    const NoiseSource motor = source(K::motor_whine, 800, -60, "a", 3);
    const auto left = [&](double frequency_hz, double level_dbfs = -70, K kind = K::unexplained_tone, int lines = 0) {
        NoiseSource tone = source(kind, frequency_hz, level_dbfs, "a", lines);
        return left_of(motor, tone);
    };
    CHECK(left(100) == 1);            // 8 bars
    CHECK(left(100, -66.1) == 1);     // 6 dB weaker
    CHECK(left(100, -65.9) == 2);
    CHECK(left(100.7) == 1);          // 0.8 %
    CHECK(left(99.3) == 1);
    CHECK(left(98.5) == 2);
    CHECK(left(160) == 1);            // 5 bars
    CHECK(left(200) == 2);            // 4 are too few for a motor
    CHECK(left(40) == 1);             // 20 bars
    CHECK(left(33.333) == 1);         // 24
    CHECK(left(32.0) == 2);           // 25
    CHECK(left(100, -70, K::motor_whine) == 1);
    CHECK(left(100, -70, K::motor_whine, 1) == 2);   // with lines of its own it is another motor
    CHECK(left(100, -70, K::converter_hash) == 2);
    CHECK(left_of(source(K::switched_load, 800, -60, "a", 3), source(K::unexplained_tone, 100, -70, "a")) == 2);
    // one turn more or less than the bars, or two
    CHECK(left(900) == 1);
    CHECK(left(700) == 1);
    CHECK(left(1000) == 1);           // two of 8 bars' turns
    CHECK(left(600) == 1);
    CHECK(left(900, -65) == 2);
    CHECK(left(901.9) == 1);          // 2 % off a turn, 8 times 0.25 %
    CHECK(left(902.2) == 2);
    CHECK(left(960) == 1);            // 5 bars
    CHECK(left(1205) == 2);           // two turns of 200 Hz and more
    // of 16 bars one turn more, which two turns of 32 would not be
    CHECK(left_of(source(K::motor_whine, 1600, -60, "a", 2), source(K::unexplained_tone, 1700, -70, "a")) == 1);
    // turns slower than 20 Hz are none, nor such as are faster than 200 Hz
    CHECK(left_of(source(K::motor_whine, 190, -60, "a", 2), source(K::unexplained_tone, 19, -70, "a")) == 2);
    CHECK(left_of(source(K::motor_whine, 2000, -60, "a", 2), source(K::unexplained_tone, 250, -70, "a")) == 2);
    const NoiseSource slow = source(K::motor_whine, 200, -60, "a", 2);
    CHECK(left_of(slow, source(K::unexplained_tone, 20.2, -70, "a")) == 2);   // off 10 bars by 1 %
    CHECK(left_of(slow, source(K::unexplained_tone, 25, -70, "a")) == 1);
    CHECK(left_of(slow, source(K::unexplained_tone, 19.05, -70, "a")) == 2);
    // what is not known tells nothing
    NoiseSource tone = source(K::unexplained_tone, 100, -70, "a");
    tone.level_dbfs.reset();
    CHECK(left_of(motor, tone) == 2);
    NoiseSource silent = motor;
    silent.level_dbfs.reset();
    CHECK(left_of(silent, source(K::unexplained_tone, 100, -70, "a")) == 2);
}

TEST_CASE("a motor known by its turns alone is one of which the bars are known", "[steady_joins]") {
    const NoiseSource bars = source(K::motor_whine, 800, -60, "a", 2);
    const auto left = [&](double turns_hz, const char* rests_on = "motor: by its turns") {
        NoiseSource turns = source(K::motor_whine, 10 * turns_hz, -60, "b");
        turns.harmonics = {{0.1, turns_hz, -60, std::nullopt}, {1.0, 10 * turns_hz, -70, std::nullopt}};
        turns.rests_on = rests_on;
        return left_of(bars, turns);
    };
    CHECK(left(100) == 1);
    CHECK(left(100, "motor: with its turns") == 2);
    CHECK(left(98.2) == 1);    // 8.15 bars, 0.15 off: 2 % of 8.15 is 0.163
    CHECK(left(97.8) == 2);    // 8.18, 0.18 off
    CHECK(left(160) == 1);     // 5 bars
    CHECK(left(200) == 2);     // 4
    CHECK(left(33.33) == 1);   // 24
    CHECK(left(30.77) == 2);   // 26
    NoiseSource none = source(K::motor_whine, 1000, -60, "b");
    none.rests_on = "motor: by its turns";
    CHECK(left_of(bars, none) == 2);
}

TEST_CASE("far multiples of a comb that is well known are its own", "[steady_joins]") {
    NoiseSource comb = source(K::switched_load, 100, -60, "a", 4);
    comb.frequency_sd_hz = 0.001;
    const auto left = [&](const NoiseSource& of, double frequency_hz, double level_dbfs = -70) {
        return left_of(of, source(K::unexplained_tone, frequency_hz, level_dbfs, "a"));
    };
    CHECK(left(comb, 2000) == 1);
    CHECK(left(comb, 2000, -60) == 1);
    CHECK(left(comb, 2000, -59.9) == 2);   // no part is louder than the whole
    // 0.3 Hz, 3 sd of the spacing at the 20th multiple 0.06 Hz, an oscillator's 20 ppm 0.04 Hz: 0.4 Hz
    CHECK(left(comb, 2000.38) == 1);
    CHECK(left(comb, 2000.42) == 2);
    CHECK(left(comb, 1999.58) == 2);
    comb.frequency_sd_hz = 0.1;            // never more than 2 % of the spacing
    CHECK(left(comb, 2001.9) == 1);
    CHECK(left(comb, 2002.1) == 2);
    NoiseSource few = source(K::switched_load, 100, -60, "a", 3);
    CHECK(left(few, 2000) == 2);
    few.rests_on = "load: by its edges";
    CHECK(left(few, 2000) == 1);
    CHECK(left(source(K::bus_tone, 1000, -60, "a", 1), 7000) == 1);
    CHECK(left(source(K::mains_hum, 50, -60, "a", 4), 2000) == 1);
    CHECK(left(source(K::phone_burst, 200, -60, "a", 4), 2000) == 1);
    CHECK(left(source(K::motor_whine, 100, -60, "a", 4), 2500) == 2);       // a motor's far multiples are not exact
    CHECK(left(source(K::converter_hash, 100, -60, "a", 4), 2500) == 2);
    // a bus of one line may be another bus's multiple; of two it is none's
    CHECK(left_of(source(K::bus_tone, 800, -60, "a", 4), source(K::bus_tone, 8000, -70, "a", 1)) == 1);
    CHECK(left_of(source(K::bus_tone, 800, -60, "a", 4), source(K::bus_tone, 8000, -70, "a", 2)) == 2);
    CHECK(left_of(source(K::bus_tone, 800, -70, "a", 4), source(K::bus_tone, 8000, -60, "a", 1)) == 2);
}

TEST_CASE("twice and three times a lone tone are parts of it where they are weaker", "[steady_joins]") {
    const NoiseSource tone = source(K::unexplained_tone, 1000, -60, "a");
    const auto left = [&](double frequency_hz, double level_dbfs = -70) {
        return left_of(tone, source(K::unexplained_tone, frequency_hz, level_dbfs, "a"));
    };
    CHECK(left(2000) == 1);
    CHECK(left(3000) == 1);
    CHECK(left(4000) == 2);
    CHECK(left(1000.2) == 2);
    CHECK(left(2000, -59) == 2);
    CHECK(left(2000.45) == 1);   // 0.5 Hz
    CHECK(left(2000.55) == 2);
    CHECK(left_of(source(K::unexplained_tone, 5000, -60, "a"), source(K::unexplained_tone, 10000.9, -70, "a")) == 1);   // 1 in 10000
    CHECK(left_of(source(K::unexplained_tone, 5000, -60, "a"), source(K::unexplained_tone, 10001.1, -70, "a")) == 2);
    // a comb's line in the same take that was read apart
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::unexplained_tone, 1000.5, -70, "a")) == 1);
    CHECK(left_of(source(K::switched_load, 500, -60, "a", 2), source(K::unexplained_tone, 1000.5, -50, "a")) == 2);
    CHECK(left_of(source(K::hiss, 500, -60, "a", 2), source(K::unexplained_tone, 1000.5, -70, "a")) == 2);
}

TEST_CASE("a motor's line at a multiple of another motor's, and weaker, is that one's", "[steady_joins]") {
    const NoiseSource motor = source(K::motor_whine, 500, -60, "a", 1);
    const auto left = [&](double frequency_hz, double level_dbfs = -61, int lines = 0) {
        return left_of(motor, source(K::motor_whine, frequency_hz, level_dbfs, "a", lines));
    };
    CHECK(left(1000) == 1);
    CHECK(left(1500) == 1);
    CHECK(left(2000) == 2);
    CHECK(left(1000, -59) == 2);
    CHECK(left(1000, -61, 1) == 2);
    CHECK(left(1005.9) == 1);   // 0.6 %
    CHECK(left(1006.1) == 2);
    CHECK(left(993.9) == 2);
}

TEST_CASE("a load of few lines at whose multiple a motor's line strays is that motor", "[steady_joins]") {
    NoiseSource load = source(K::switched_load, 300, -60, "a", 2), motor = source(K::motor_whine, 900, -50, "a");
    load.rests_on = "load: few low lines";
    load.confidence = 0.36;
    motor.rests_on = "motor: strays a little";
    motor.confidence = 0.6;
    motor.evidence = {{"strays", 900, "Hz", std::nullopt, {"a"}, {}}};
    const auto all = joined({load, motor});
    REQUIRE(all.size() == 1);
    CHECK(all.front().kind == K::motor_whine);
    CHECK(all.front().frequency_hz == 300.0);
    CHECK(all.front().rests_on == "motor: strays a little");
    CHECK(all.front().confidence == 0.6);
    REQUIRE(all.front().evidence.size() == 1);
    CHECK(all.front().evidence[0].text == "strays");
    const auto becomes = [&](NoiseSource of, NoiseSource other) {
        const auto left = joined({std::move(of), std::move(other)});
        return left.size() == 1 && left.front().kind == K::motor_whine;
    };
    for (const double frequency_hz : {300.0, 600.0, 301.7, 603.5, 894.7}) {
        motor.frequency_hz = frequency_hz;
        CAPTURE(frequency_hz);
        CHECK(becomes(load, motor));
    }
    for (const double frequency_hz : {100.0, 1200.0, 302.0, 603.7, 894.5}) {
        motor.frequency_hz = frequency_hz;
        CAPTURE(frequency_hz);
        CHECK_FALSE(becomes(load, motor));
    }
    motor.frequency_hz = 600.0;
    load.rests_on = "load: one multiple";
    CHECK(becomes(load, motor));
    NoiseSource comb = motor;
    comb.harmonics = {{1.0, 600.0, -60, std::nullopt}};
    CHECK_FALSE(becomes(load, comb));
    load.rests_on = "load: fits pulses";
    CHECK_FALSE(becomes(load, motor));
    // two such loads stay loads
    load.rests_on = "load: few low lines";
    CHECK(joined({load, source(K::switched_load, 600, -60, "a")}).size() == 2);
    motor.frequency_hz.reset();
    CHECK(joined({load, motor}).size() == 2);
}

TEST_CASE("a tone beside something louder by 10 dB in its take is less sure", "[steady_joins]") {
    const auto weighed = [](NoiseSource tone, const NoiseSource& other, const char* rests_on) {
        tone.rests_on = rests_on;
        tone.confidence = confidence_of("tone: clear");
        std::list<NoiseSource> all = {std::move(tone), other};
        weigh_tones(all);
        return all.front();
    };
    const NoiseSource tone = source(K::unexplained_tone, 1000, -70, "a"), loud = source(K::alternator_whine, 600, -59.9, "a");
    // rule of succession over the counted cases: 55 of 72, 16 of 51
    const NoiseSource clear = weighed(tone, loud, "tone: clear"), faint = weighed(tone, loud, "tone: faint");
    CHECK(clear.rests_on == "tone: clear, beside louder ones");
    CHECK(clear.confidence == Approx(56.0 / 74.0));
    CHECK(faint.rests_on == "tone: faint, beside louder ones");
    CHECK(faint.confidence == Approx(17.0 / 53.0));
    CHECK(weighed(tone, source(K::alternator_whine, 600, -60.1, "a"), "tone: clear").rests_on == "tone: clear");
    CHECK(weighed(tone, source(K::alternator_whine, 600, -40, "b"), "tone: clear").rests_on == "tone: clear");
    CHECK(weighed(tone, source(K::hiss, 600, -40, "a"), "tone: clear").rests_on == "tone: clear");
    CHECK(weighed(tone, loud, "tone: wanders").rests_on == "tone: wanders");
    CHECK(weighed(source(K::motor_whine, 1000, -70, "a"), loud, "tone: clear").rests_on == "tone: clear");
    NoiseSource silent = tone;
    silent.level_dbfs.reset();
    CHECK(weighed(silent, loud, "tone: clear").rests_on == "tone: clear");
    NoiseSource unread = loud;
    unread.level_dbfs.reset();
    CHECK(weighed(tone, unread, "tone: clear").rests_on == "tone: clear");
}
