#include <catch2/catch.hpp>
#include <numbers>

#include "diagnose/made_survey.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"

using namespace hushtrace;

namespace {

using Powers = std::vector<std::pair<int, std::vector<double>>>;

/// A take's search over all its channels.
struct Searched {
    Take take = made_take("takes/off.flac");
    TakeSurvey survey;
    SteadySearch search;
    explicit Searched(std::vector<Channel> channels = {Channel::left}) {
        take.channels = std::move(channels);
        survey = quiet_survey(take);
        search.survey = &survey;
        for (std::size_t c = 0; c < survey.channels.size(); ++c) {
            search.spectra.push_back(&survey.channels[c].still);
            search.channel_of.push_back(c);
        }
    }
};

Powers alike(const std::vector<int>& numbers, double power = 1e-8) {
    Powers out;
    for (const int n : numbers) out.push_back({n, {power}});
    return out;
}

/// The lines of a square pulse by its Fourier series, (sin(pi n d) / (pi n))^2; `off_db` in turn on top.
Powers pulses(double duty, const std::vector<int>& numbers, const std::vector<double>& off_db = {0.0}) {
    Powers out;
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        const double n = numbers[i], line = std::sin(std::numbers::pi * n * duty) / (std::numbers::pi * n);
        out.push_back({numbers[i], {1e-6 * line * line * std::pow(10.0, 0.1 * off_db[i % off_db.size()])}});
    }
    return out;
}

}  // namespace

TEST_CASE("a comb's powers add up in each channel, its lines are told where they are loudest", "[steady]") {
    Searched s({Channel::left, Channel::sub, Channel::right});
    s.search.spectra = {&s.survey.channels[0].still, &s.survey.channels[2].still};   // the one between is silent
    s.search.channel_of = {0, 2};
    s.survey.channels[0].volts_full_scale = 2.0;
    LineComb comb = made_comb(70.0, {{1, {1e-6, 3e-6}}, {2, {4e-6, 2e-6}}, {3, {0.0, 0.0}}});
    comb.surprise = 31.0;
    const SteadyComb out = as_steady_comb(s.search, comb, NoiseKind::bus_tone);
    CHECK(out.kind == NoiseKind::bus_tone);
    CHECK(out.frequency_hz == 70.0);
    CHECK(out.frequency_sd_hz == 0.001);
    CHECK(out.surprise == 31.0);
    REQUIRE(out.mean_square.size() == 3);
    CHECK(out.mean_square[0] == Approx(5e-6));
    CHECK(out.mean_square[1] == 0.0);
    CHECK(out.mean_square[2] == Approx(5e-6));
    REQUIRE(out.harmonics.size() == 2);   // the third has no power
    CHECK(out.harmonics[0].number == 1.0);
    CHECK(out.harmonics[0].frequency_hz == 70.0);
    CHECK(out.harmonics[0].level_dbfs == Approx(10.0 * std::log10(2.0 * 3e-6)));   // of the right channel: not calibrated
    CHECK_FALSE(out.harmonics[0].level_dbv);
    CHECK(out.harmonics[1].number == 2.0);
    CHECK(out.harmonics[1].frequency_hz == 140.0);
    CHECK(out.harmonics[1].level_dbfs == Approx(10.0 * std::log10(2.0 * 4e-6)));
    CHECK(out.harmonics[1].level_dbv.value_or(0) == Approx(10.0 * std::log10(4.0 * 4e-6)));   // 2 V at sample value 1
}

TEST_CASE("the mains are told by how many lines they have and how exact their rate is", "[steady]") {
    const Searched s;
    struct Row {
        double spacing_hz, nominal_hz;
        std::vector<int> numbers;
        const char *rests_on, *why;
    };
    for (const Row& row : {Row{50.0, 50, {1}, "mains: one line", "1 line at multiples of 50.00 Hz, the mains (50 Hz here, +0.00 % off)"},
                           Row{60.06, 60, {1, 3}, "mains: several lines, usual frequency", "2 lines at multiples of 60.06 Hz, the mains (60 Hz here, +0.10 % off)"},
                           Row{49.91, 50, {1, 2, 3}, "mains: several lines, usual frequency", "(50 Hz here, -0.18 % off)"},
                           Row{49.89, 50, {1, 2, 3}, "mains: several lines, unusual frequency", "(50 Hz here, -0.22 % off)"},
                           Row{50.09, 50, {1, 2}, "mains: several lines, usual frequency", "+0.18 % off"},
                           Row{50.11, 50, {1, 2}, "mains: several lines, unusual frequency", "+0.22 % off"},
                           Row{50.0, 50, {2, 4, 6}, "mains: even ones alone", "3 lines"}}) {
        CAPTURE(row.spacing_hz, row.numbers);
        const SteadyComb out = named_mains(s.search, made_comb(row.spacing_hz, alike(row.numbers)), row.nominal_hz);
        CHECK(out.kind == NoiseKind::mains_hum);
        CHECK(out.rests_on == row.rests_on);
        CHECK(says(out.why, row.why));
        CHECK(out.evidence.size() == 1);
        CHECK(out.harmonics.size() == row.numbers.size());
    }
}

TEST_CASE("odd multiples of the mains speak for leakage, even ones for a rectifier", "[steady]") {
    const Searched s;
    const auto told = [&](const Powers& teeth) { return named_mains(s.search, made_comb(50.0, teeth), 50.0).evidence.at(0); };
    // odd over even: 6 dB and -3 dB part the three sayings
    struct Row {
        double odd_over_even_db;
        const char* text;
        double value;
    };
    for (const Row& row : {Row{12.0, "odd multiples stand 12 dB over", 12.0}, Row{6.2, "odd multiples stand 6 dB over", 6.2},
                           Row{5.8, "within 6 dB of each other", 5.8}, Row{0.0, "within 0 dB", 0.0}, Row{-2.8, "within 3 dB of each other", -2.8},
                           Row{-3.2, "even multiples stand 3 dB over", 3.2}, Row{-20.0, "even multiples stand 20 dB over", 20.0}}) {
        CAPTURE(row.odd_over_even_db);
        const double odd = 1e-8 * std::pow(10.0, 0.1 * row.odd_over_even_db);
        const Evidence evidence = told({{1, {0.25 * odd}}, {2, {0.5e-8}}, {3, {0.75 * odd}}, {4, {0.5e-8}}});
        CHECK(says(evidence.text, row.text));
        CHECK(evidence.value == Approx(row.value).margin(0.001));
        CHECK(evidence.unit == "dB");
        CHECK(says(evidence.text, "leakage") == (row.value == row.odd_over_even_db));
        CHECK(says(evidence.text, "rectifier"));
    }
    const Evidence odd = told(alike({1, 3, 5}));   // no even ones at all: 99 dB stands for more
    CHECK(says(odd.text, "odd multiples stand 99 dB"));
    CHECK(odd.value == 99.0);
    const Evidence even = told({{1, {0.0}}, {2, {1e-8}}});
    CHECK(says(even.text, "even multiples stand 99 dB"));
    CHECK(even.value == 99.0);
    const Evidence alone = told(alike({2, 4, 6}));
    CHECK(says(alone.text, "Only even multiples, from 100 Hz up"));
    CHECK(says(alone.text, "full-wave rectifier"));
    CHECK(alone.value == 100.0);
    CHECK(alone.unit == "Hz");
}

TEST_CASE("a phone's frames tell when they sound, and the multiple that their duty leaves out", "[steady]") {
    const Searched s;
    const double rate = 650.0 / 3.0;
    const auto named = [&](const Powers& teeth, bool throughout = true) {
        return named_phone(s.search, {made_comb(rate, teeth), 2.0, 5.5, 77.0, throughout});
    };
    const SteadyComb whole = named(alike({1, 2, 3, 4}));
    CHECK(whole.kind == NoiseKind::phone_burst);
    CHECK(whole.surprise == 77.0);   // the stretch's, not the comb's
    CHECK(whole.rests_on == "phone: more than three lines");
    CHECK(says(whole.why, "4 lines at multiples of 216.67 Hz"));
    CHECK(says(whole.why, "4.615 ms"));
    CHECK(whole.evidence.empty());
    CHECK(named(alike({1, 2, 3})).rests_on == "phone: two or three lines");
    const SteadyComb part = named(alike({1, 2, 3}), false);
    REQUIRE(part.evidence.size() == 1);
    CHECK(says(part.evidence[0].text, "from 2.0 to 5.5 s"));
    CHECK(part.evidence[0].value == 3.5);
    CHECK(part.evidence[0].unit == "s");
    // sin(pi 8 / 8) = 0: an eighth of a frame has no 8th multiple; those next to it stand for what might have been there
    for (const int beside : {6, 7, 9, 10}) {
        CAPTURE(beside);
        const SteadyComb missing = named(alike({1, beside}));
        REQUIRE(missing.evidence.size() == 1);
        CHECK(says(missing.evidence[0].text, "8th multiple is missing"));
        CHECK(missing.evidence[0].value == 8.0);
    }
    for (const int farther : {5, 11}) CHECK(named(alike({1, farther})).evidence.empty());
    CHECK(named({{7, {1e-8}}, {8, {0.26e-8}}}).evidence.empty());
    const SteadyComb low = named({{6, {1e-9}}, {7, {1e-8}}, {8, {1e-9}}, {9, {1e-9}}});
    REQUIRE(low.evidence.size() == 1);
    CHECK(says(low.evidence[0].text, "8th multiple stands 10 dB below"));   // of the strongest neighbour
    CHECK(named({{7, {1e-8}}, {8, {0.24e-8}}}).evidence.size() == 1);
}

TEST_CASE("a bus is named by what keeps its rate", "[steady]") {
    const Searched s;
    const SteadyComb one = named_bus(s.search, made_comb(1000.0, alike({1})), "frames of a serial bus (USB)");
    CHECK(one.kind == NoiseKind::bus_tone);
    CHECK(one.rests_on == "bus: one line");
    CHECK(one.why == "1 line at multiples of 1000.00 Hz: frames of a serial bus (USB)");
    const SteadyComb two = named_bus(s.search, made_comb(1000.2, alike({1, 3})), "frames");
    CHECK(two.rests_on == "bus: several lines");
    CHECK(two.why == "2 lines at multiples of 1000.20 Hz: frames");
}

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
        const LineComb comb = made_comb(row.turns_hz, {{1, {1e-8 * std::pow(10.0, -0.1 * row.over_db)}}, {row.bars, {1e-8}}, {2 * row.bars, {0.9e-8}}});
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
    CHECK(says(pump.why, "640.0 Hz with weaker ones every 80.00 Hz: a motor of 8 bars at 4800 rpm"));
    CHECK(says(pump.evidence.at(0).text, "17 dB"));   // 10 lg(50)
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
    CHECK(says(motor.why, "A line at 100.00 Hz, none at its next multiples, and one near 1000 Hz"));
    CHECK(says(motor.why, "6000 rpm"));
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
        CHECK(says(named(1.0018 * nominal, {1, 2, 3, 4}).why, nominal == 50.0 ? "50 Hz here" : "60 Hz here"));
        CHECK(named(1.0018 * nominal, {1, 2, 3, 4}).kind == NoiseKind::mains_hum);
        CHECK(named(1.0022 * nominal, {1, 2, 3, 4}).kind != NoiseKind::mains_hum);
        CHECK(named(0.9978 * nominal, {1, 2, 3, 4}).kind != NoiseKind::mains_hum);
        CHECK(named(nominal, {1, 2, 3}).kind != NoiseKind::mains_hum);
    }
    const SteadyComb ticks = named(11.5, {1, 2, 3, 4, 5});
    CHECK(ticks.kind == NoiseKind::periodic_tick);
    CHECK(ticks.rests_on == "ticks: by their lines");
    CHECK(says(ticks.why, "5 lines, all multiples of 11.500 Hz: clicks"));
    CHECK(named(59.5, {1, 2, 3, 4}).kind == NoiseKind::periodic_tick);
    CHECK(named(60.5, {1, 2, 3, 4}).kind == NoiseKind::switched_load);
}

TEST_CASE("few lines whose first strays are a motor's, which holds still a load's", "[steady]") {
    Searched s;
    const auto named = [&](const std::vector<int>& numbers) { return named_by_shape(s.search, made_comb(400.0, pulses(0.3, numbers))); };
    const SteadyComb load = named({1, 2});
    CHECK(load.kind == NoiseKind::switched_load);
    CHECK(load.rests_on == "load: one multiple");
    CHECK(says(load.why, "Steady at 400.00 Hz, with one multiple"));
    s.survey.channels[0].still.lines.resize(1);
    StillLine& line = s.survey.channels[0].still.lines[0];
    line.frequency_hz = 400.5;
    line.wander_hz = 0.13;   // 0.12 Hz and 0.03 % of the frequency
    const SteadyComb motor = named({1, 2});
    CHECK(motor.kind == NoiseKind::motor_whine);
    CHECK(motor.rests_on == "motor: strays a little");
    CHECK(says(motor.why, "A line at 400.0 Hz with 1 of its multiples"));
    CHECK(says(named({1, 2, 3}).why, "with 2 of its multiples"));
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
        CHECK(says(load.why, "A line at 120.00 Hz that holds still, with 9 of its multiples"));
        REQUIRE(load.evidence.size() == 1);
        CHECK(load.evidence[0].value == Approx(100.0 * duty).margin(1.0));
        CHECK(load.evidence[0].unit == "%");
        CHECK(load.evidence[0].sd.value_or(0) > 0.3);
        CHECK(load.evidence[0].sd.value_or(99) < 2.0);
        CHECK(says(load.evidence[0].text, duty == 0.15 ? "on for 15 ± " : "on for 35 ± "));
    }
    CHECK(says(named(pulses(0.35, {2, 3, 4, 5, 6})).why, "with 5 of its multiples"));   // the first is hidden
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

TEST_CASE("clicks known by their lines alone have their rate's power in each channel", "[steady]") {
    Searched s({Channel::left, Channel::sub, Channel::right});
    s.search.spectra = {&s.survey.channels[0].still, &s.survey.channels[2].still};
    s.search.channel_of = {0, 2};
    for (const double hz : {110.0, 220.0, 440.0}) stand(s.survey.channels[0].still, hz, 2e-8);
    stand(s.survey.channels[2].still, 220.0, 5e-8);
    const SteadyComb out = named_ticks(s.search, {110.0, 440.0, 220.0}, 11.0);
    CHECK(out.kind == NoiseKind::periodic_tick);
    CHECK(out.frequency_hz == 11.0);
    CHECK(out.frequency_sd_hz == Approx(11.0 / 440.0));   // a bin of the highest line, 40th of the rate
    REQUIRE(out.mean_square.size() == 3);
    CHECK(out.mean_square[0] == Approx(6e-8));
    CHECK(out.mean_square[1] == 0.0);
    CHECK(out.mean_square[2] == Approx(5e-8));
    CHECK(out.rests_on == "ticks: by their lines");
    CHECK(says(out.why, "3 lines, all multiples of 11.000 Hz"));
}

TEST_CASE("a line that nothing joins is a tone, or a motor's where it strays", "[steady]") {
    StillLine line;
    line.frequency_hz = 437.25;
    line.frequency_sd_hz = 0.02;
    line.surprise = 39.0;
    SteadyComb out = named_alone(line, {1e-8, 2e-8});
    CHECK(out.kind == NoiseKind::unexplained_tone);
    CHECK(out.frequency_hz == 437.25);
    CHECK(out.frequency_sd_hz == 0.02);
    CHECK(out.mean_square == std::vector<double>{1e-8, 2e-8});
    CHECK(out.surprise == 39.0);
    CHECK(out.rests_on == "tone: faint");
    CHECK(says(out.why, "Steady at 437.25 Hz, without multiples"));
    line.surprise = 41.0;
    CHECK(named_alone(line, {1e-8}).rests_on == "tone: clear");
    line.wander_hz = 0.14;
    out = named_alone(line, {1e-8});
    CHECK(out.kind == NoiseKind::motor_whine);
    CHECK(out.rests_on == "motor: a lone line that strays");
    CHECK(says(out.why, "A line at 437.2 Hz that strays by 0.14 Hz"));
}

TEST_CASE("a line that drifts by hertz is a motor's, with the turns that stand beside it", "[steady]") {
    Searched s({Channel::left, Channel::sub, Channel::right});
    s.search.channel_of = {0, 2};
    std::vector<const StillSpectrum*> brief;
    for (const std::size_t c : s.search.channel_of) brief.push_back(&s.survey.channels[c].brief);   // bins of 4 Hz
    stand(s.survey.channels[0].brief, 640.0, 2e-8);
    stand(s.survey.channels[0].brief, 80.0, 1e-9, 4.0);
    stand(s.survey.channels[0].brief, 160.0, 1e-9, 2.0);   // may be noise
    stand(s.survey.channels[2].brief, 640.0, 3e-8);
    StillLine line;
    line.frequency_hz = 640.0;
    line.surprise = 41.0;
    SteadyComb out = named_drifting(s.search, brief, line, {});
    CHECK(out.kind == NoiseKind::motor_whine);
    CHECK(out.frequency_hz == 640.0);
    CHECK(out.frequency_sd_hz == 4.0);
    CHECK(out.surprise == 41.0);
    CHECK(out.rests_on == "motor: strays a little");
    CHECK(out.evidence.empty());
    CHECK(says(out.why, "The line near 640 Hz strays"));
    REQUIRE(out.mean_square.size() == 3);
    CHECK(out.mean_square[0] == Approx(2e-8));
    CHECK(out.mean_square[1] == 0.0);
    CHECK(out.mean_square[2] == Approx(3e-8));
    line.surprise = 39.0;
    CHECK(named_drifting(s.search, brief, line, {}).rests_on == "motor: strays a little, faint");
    out = named_drifting(s.search, brief, line, made_comb(80.0, {{1, {1e-9, 0}}, {2, {1e-9, 0}}, {8, {2e-8, 0}}}));
    CHECK(out.rests_on == "motor: strays a little, with its turns");
    CHECK(out.mean_square[0] == Approx(2.1e-8));
    REQUIRE(out.evidence.size() == 1);
    CHECK(says(out.evidence[0].text, "2 more lines lie at multiples of 80.0 Hz"));
    CHECK(out.evidence[0].value == 80.0);
    CHECK(out.evidence[0].unit == "Hz");
    // the line itself, two bins off at most, is no turn of its own
    CHECK(named_drifting(s.search, brief, line, made_comb(647.0, {{1, {1e-9, 0}}})).rests_on == "motor: strays a little, faint");
    CHECK(named_drifting(s.search, brief, line, made_comb(649.0, {{1, {1e-9, 0}}})).rests_on == "motor: strays a little, with its turns");
}
