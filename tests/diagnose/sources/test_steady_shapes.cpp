#include <catch2/catch.hpp>
#include <numbers>

#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

TEST_CASE("pulses at a phone's very rate are a phone's", "[steady]") {
    const Searched s;
    // 216.667 Hz to 0.0433 Hz (200 ppm) and twice the reading's sd; the reading itself good to twice that
    struct Row {
        double off_hz, sd_hz;
        std::size_t lines;
        bool phone;
    };
    for (const Row& row : {Row{0.04, 0.0, 3, true}, Row{-0.04, 0.0, 3, true}, Row{0.05, 0.0, 3, false}, Row{-0.05, 0.0, 3, false},
                           Row{0.05, 0.004, 3, true}, Row{0.05, 0.003, 3, false}, Row{0.0, 0.08, 3, true}, Row{0.0, 0.09, 3, false},
                           Row{0.0, 0.0, 2, false}}) {
        CAPTURE(row.off_hz, row.sd_hz, row.lines);
        LineComb comb = made_comb(650.0 / 3.0 + row.off_hz, pulses(0.3, row.lines == 3 ? std::vector{1, 2, 3} : std::vector{1, 2}));
        comb.spacing_sd_hz = row.sd_hz;
        const SteadyComb out = named_by_shape(s.search, comb);
        CHECK((out.kind == NoiseKind::phone_burst) == row.phone);
        CHECK((out.rests_on == "phone: by its rate") == row.phone);
        if (row.phone) CHECK(out.surprise == comb.surprise);
    }
    const SteadyComb line = named_phone_line(s.search, made_comb(650.0 / 3.0, alike({1})));
    CHECK(line.kind == NoiseKind::phone_burst);
    CHECK(line.rests_on == "phone: by its rate");
    CHECK(line.surprise == 20.0);
    CHECK(line.evidence.empty());
}

TEST_CASE("a line that stands over all but its own multiples, at turns a motor makes, is a motor's bars", "[steady]") {
    const Searched s;
    struct Row {
        double turns_hz;
        int bars;
        double over_db;   // over the turns' line
        bool motor;
    };
    for (const Row& row : {Row{80, 8, 20, true}, Row{80, 8, 6.2, true}, Row{80, 8, 5.8, false}, Row{80, 5, 20, true}, Row{80, 4, 20, false},
                           Row{80, 24, 20, true}, Row{80, 25, 20, false}, Row{20, 8, 20, true}, Row{19.9, 8, 20, false}, Row{200, 8, 20, true},
                           Row{200.1, 8, 20, false}}) {
        CAPTURE(row.turns_hz, row.bars, row.over_db);
        // the bars' double is loud and counts as theirs; it would else hide how far they lead
        const LineComb comb =
            made_comb(row.turns_hz, {{1, {1e-8 * std::pow(10.0, -0.1 * row.over_db)}}, {row.bars, {1e-8}}, {2 * row.bars, {0.9e-8}}});
        const SteadyComb out = named_by_shape(s.search, comb);
        CHECK((out.rests_on == "motor: with its turns") == row.motor);
        if (!row.motor) continue;
        CHECK(out.kind == NoiseKind::motor_whine);
        CHECK(out.frequency_hz == Approx(row.bars * row.turns_hz));
        CHECK(out.frequency_sd_hz == 0.002);   // of the line itself
        REQUIRE(out.harmonics.size() == 3);
        CHECK(out.harmonics[0].number == Approx(1.0 / row.bars));
        CHECK(out.harmonics[1].number == 1.0);
        CHECK(out.harmonics[2].number == 2.0);
        REQUIRE(out.evidence.size() == 1);
        CHECK(out.evidence[0].value == Approx(row.over_db).margin(0.001));
        CHECK(out.evidence[0].unit == "dB");
    }
    const SteadyComb pump = named_by_shape(s.search, made_comb(80.0, {{1, {1e-10}}, {7, {2e-10}}, {8, {1e-8}}, {9, {1e-10}}}));
    CHECK(pump.rests_on == "motor: with its turns, four lines and more");
    CHECK(holds(pump.why, "640.0 Hz with weaker ones every 80.00 Hz: a motor of 8 bars at 4800 rpm"));
    CHECK(holds(pump.evidence.at(0).text, "17 dB"));   // 10 lg(50)
}

TEST_CASE("turns without their next multiples, and bars far above, are a motor's; pulses have those multiples", "[steady]") {
    Searched s;
    const auto named = [&](const LineComb& comb) { return named_by_shape(s.search, comb); };
    // bars and what lies beside them alike: none leads, the strongest is taken for the bars
    const Powers turns = {{1, {2e-8}}, {9, {2e-8}}, {10, {3e-8}}, {11, {2.5e-8}}};
    const SteadyComb motor = named(made_comb(100.0, turns));
    CHECK(motor.kind == NoiseKind::motor_whine);
    CHECK(motor.rests_on == "motor: by its turns");
    CHECK(motor.frequency_hz == 1000.0);
    CHECK(motor.frequency_sd_hz == 100.0);   // one bar more or less
    CHECK(motor.harmonics.at(0).number == Approx(0.1));
    CHECK(motor.harmonics.at(2).number == 1.0);
    CHECK(holds(motor.why, "A line at 100.00 Hz, none at its next multiples, and one near 1000 Hz"));
    CHECK(holds(motor.why, "6000 rpm"));
    CHECK(named(made_comb(20.0, turns)).rests_on == "motor: by its turns");
    CHECK(named(made_comb(19.9, turns)).rests_on != "motor: by its turns");
    CHECK(named(made_comb(200.0, turns)).rests_on == "motor: by its turns");
    CHECK(named(made_comb(201.0, turns)).rests_on != "motor: by its turns");
    for (const int n : {2, 3, 4}) {   // a multiple that is no chance stands: pulses
        CAPTURE(n);
        LineComb comb = made_comb(100.0, turns);
        CombTooth tooth = comb.teeth[0];
        tooth.number = n;
        tooth.surprise = 5.1;
        comb.teeth.insert(comb.teeth.begin() + 1, tooth);
        CHECK(named(comb).rests_on != "motor: by its turns");
        comb.teeth[1].surprise = 4.9;   // may be chance
        CHECK(named(comb).rests_on == "motor: by its turns");
        comb.teeth[1].number = 5;
        CHECK(named(comb).rests_on == "motor: by its turns");
    }
    LineComb faint = made_comb(100.0, turns);
    faint.teeth[0].surprise = 4.9;   // the turns themselves may be chance
    CHECK(named(faint).rests_on != "motor: by its turns");
    faint = made_comb(100.0, {{1, {2e-8}}, {5, {2e-8}}, {24, {2e-8}}});
    CHECK(named(faint).rests_on == "motor: by its turns");
    CHECK(named(made_comb(100.0, {{1, {2e-8}}, {5, {2e-8}}, {24, {3e-8}}})).frequency_hz == 2400.0);
    CHECK(named(made_comb(100.0, {{1, {2e-8}}, {5, {3e-8}}, {24, {2e-8}}})).frequency_hz == 500.0);
    CHECK(named(made_comb(100.0, {{1, {2e-8}}, {25, {2e-8}}, {27, {2e-8}}})).rests_on != "motor: by its turns");

    // a line that wanders at a multiple of the turns is the bars'
    MovingFamily family;
    family.mean_hz = 805.0;   // within a tenth of the turns
    s.survey.families = {family};
    CHECK(named(made_comb(100.0, turns)).frequency_hz == 800.0);
    s.survey.families[0].mean_hz = 811.0;
    CHECK(named(made_comb(100.0, turns)).frequency_hz == 1000.0);
    s.survey.families[0].wander = 0.002;   // and what it strays by
    CHECK(named(made_comb(100.0, turns)).frequency_hz == 800.0);
    s.survey.families[0].wander = 0.0;
    for (const auto& [bars, frequency_hz] : std::vector<std::pair<int, double>>{{4, 1000}, {5, 500}, {24, 2400}, {25, 1000}}) {
        CAPTURE(bars);
        s.survey.families[0].mean_hz = 100.0 * bars;
        CHECK(named(made_comb(100.0, turns)).frequency_hz == frequency_hz);
    }
}

TEST_CASE("a comb of four lines at the mains' rate is theirs; one below 60 Hz is clicks'", "[steady]") {
    const Searched s;
    const auto named = [&](double spacing_hz, const std::vector<int>& numbers) {
        return named_by_shape(s.search, made_comb(spacing_hz, pulses(0.3, numbers)));
    };
    for (const double nominal : {50.0, 60.0}) {
        CAPTURE(nominal);
        CHECK(named(nominal, {1, 2, 3, 4}).kind == NoiseKind::mains_hum);
        CHECK(holds(named(1.0018 * nominal, {1, 2, 3, 4}).why, nominal == 50.0 ? "50 Hz here" : "60 Hz here"));
        CHECK(named(1.0018 * nominal, {1, 2, 3, 4}).kind == NoiseKind::mains_hum);
        CHECK(named(1.0022 * nominal, {1, 2, 3, 4}).kind != NoiseKind::mains_hum);
        CHECK(named(0.9978 * nominal, {1, 2, 3, 4}).kind != NoiseKind::mains_hum);
        CHECK(named(nominal, {1, 2, 3}).kind != NoiseKind::mains_hum);
    }
    const SteadyComb ticks = named(11.5, {1, 2, 3, 4, 5});
    CHECK(ticks.kind == NoiseKind::periodic_tick);
    CHECK(ticks.rests_on == "ticks: by their lines");
    CHECK(holds(ticks.why, "5 lines, all multiples of 11.500 Hz: clicks"));
    CHECK(named(59.5, {1, 2, 3, 4}).kind == NoiseKind::periodic_tick);
    CHECK(named(60.5, {1, 2, 3, 4}).kind == NoiseKind::switched_load);
}

TEST_CASE("few lines whose first strays are a motor's, which holds still a load's", "[steady]") {
    Searched s;
    const auto named = [&](const std::vector<int>& numbers) { return named_by_shape(s.search, made_comb(400.0, pulses(0.3, numbers))); };
    const SteadyComb load = named({1, 2});
    CHECK(load.kind == NoiseKind::switched_load);
    CHECK(load.rests_on == "load: one multiple");
    CHECK(holds(load.why, "Steady at 400.00 Hz, with one multiple"));
    s.survey.channels[0].still.lines.resize(1);
    StillLine& line = s.survey.channels[0].still.lines[0];
    line.frequency_hz = 400.5;
    line.wander_hz = 0.13;   // 0.12 Hz and 0.03 % of the frequency
    const SteadyComb motor = named({1, 2});
    CHECK(motor.kind == NoiseKind::motor_whine);
    CHECK(motor.rests_on == "motor: strays a little");
    CHECK(holds(motor.why, "A line at 400.0 Hz with 1 of its multiples"));
    CHECK(holds(named({1, 2, 3}).why, "with 2 of its multiples"));
    CHECK(named({1, 2, 3}).kind == NoiseKind::motor_whine);
    CHECK(named({1, 2, 3, 4}).kind == NoiseKind::switched_load);   // a comb of many is a load's all the same
    CHECK(named({2, 3}).kind == NoiseKind::switched_load);         // its own line is not there
    line.wander_hz = 0.11;
    CHECK(named({1, 2}).kind == NoiseKind::switched_load);
    line.wander_hz = 0.13;
    line.frequency_hz = 401.5;   // another line, a bin and more away
    CHECK(named({1, 2}).kind == NoiseKind::switched_load);
}

TEST_CASE("what strays is below 3.5 kHz and moves by 0.12 Hz and by 0.03 %", "[steady]") {
    CHECK(strays(300.0, 0.121));
    CHECK_FALSE(strays(300.0, 0.119));
    CHECK(strays(3000.0, 0.91));
    CHECK_FALSE(strays(3000.0, 0.89));
    CHECK(strays(3499.0, 2.0));
    CHECK_FALSE(strays(3501.0, 2.0));
}

TEST_CASE("a load's lines tell its duty, and how well they fit pulses", "[steady]") {
    const Searched s;
    const std::vector<int> first_ten = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10};
    const auto named = [&](const Powers& teeth, double surprise = 20.0) { return named_by_shape(s.search, made_comb(120.0, teeth, surprise)); };
    for (const double duty : {0.15, 0.35}) {
        CAPTURE(duty);
        const SteadyComb load = named(pulses(duty, first_ten));
        CHECK(load.kind == NoiseKind::switched_load);
        CHECK(load.rests_on == "load: fits pulses");
        CHECK(holds(load.why, "A line at 120.00 Hz that holds still, with 9 of its multiples"));
        REQUIRE(load.evidence.size() == 1);
        CHECK(load.evidence[0].value == Approx(100.0 * duty).margin(1.0));
        CHECK(load.evidence[0].unit == "%");
        CHECK(load.evidence[0].sd.value_or(0) > 0.3);
        CHECK(load.evidence[0].sd.value_or(99) < 2.0);
        CHECK(holds(load.evidence[0].text, duty == 0.15 ? "on for 15 ± " : "on for 35 ± "));
    }
    CHECK(holds(named(pulses(0.35, {2, 3, 4, 5, 6})).why, "with 5 of its multiples"));   // the first is hidden
    // thrown off by so much in turn, the best pulse misses them by about as much (rms)
    const auto thrown = [&](double db) { return named(pulses(0.15, first_ten, {db, -db, -db, db, db, -db, db})); };
    CHECK(thrown(4.0).rests_on == "load: fits pulses");
    CHECK(thrown(7.0).rests_on == "load: fits pulses loosely");
    CHECK(thrown(7.0).evidence.size() == 1);
    CHECK(thrown(13.0).rests_on == "load: fits no pulses");
    CHECK(thrown(13.0).evidence.empty());
    CHECK(named(pulses(0.35, {1, 2, 3})).rests_on == "load: fits pulses");
    CHECK(named(pulses(0.35, {1, 2, 30, 31})).rests_on == "load: few low lines");   // a row that breaks off at the second
    CHECK(named(pulses(0.35, {1, 2, 30, 31})).evidence.empty());
    LineComb chance = made_comb(120.0, pulses(0.35, {1, 2, 3}));
    chance.teeth[2].surprise = 4.9;   // two lines, and one that may be chance
    CHECK(named_by_shape(s.search, chance).rests_on == "load: few low lines");
    chance.teeth[2].surprise = 5.1;
    CHECK(named_by_shape(s.search, chance).rests_on == "load: fits pulses");
    CHECK(named(pulses(0.35, {5, 6, 7, 8})).rests_on == "load: few low lines");   // it begins within four
    // on for half of the time: no even multiple stands where it would be seen
    const SteadyComb half = named(pulses(0.5, {1, 3, 5}));
    REQUIRE(half.evidence.size() == 1);
    CHECK(half.evidence[0].value == Approx(50.0).margin(1.5));
    Searched hidden;   // where something else hides them nobody knows
    hidden.search.places.spoken_for = [](double hz) { return std::fmod(hz, 240.0) < 1.0; };
    const SteadyComb unsure = named_by_shape(hidden.search, made_comb(120.0, pulses(0.5, {1, 3, 5})));
    CHECK(unsure.evidence.at(0).sd.value_or(0) > 2.0 * half.evidence[0].sd.value_or(99));
    // the row goes on over a gap of three, not of four
    CHECK(named(pulses(0.35, {1, 2, 6})).rests_on != "load: few low lines");
    CHECK(named(pulses(0.35, {1, 2, 7})).rests_on == "load: few low lines");
}

TEST_CASE("a load's duty is read in the channel that holds most of it", "[steady]") {
    const Searched s({Channel::left, Channel::right});
    Powers both = pulses(0.15, {1, 2, 3, 4, 5, 6, 7, 8});
    const Powers other = pulses(0.35, {1, 2, 3, 4, 5, 6, 7, 8});
    for (std::size_t i = 0; i < both.size(); ++i) both[i].second = {1e-3 * other[i].second[0], both[i].second[0]};
    CHECK(named_by_shape(s.search, made_comb(120.0, both)).evidence.at(0).value == Approx(15.0).margin(1.0));
    for (auto& [number, powers] : both) std::swap(powers[0], powers[1]);
    CHECK(named_by_shape(s.search, made_comb(120.0, both)).evidence.at(0).value == Approx(15.0).margin(1.0));
}
