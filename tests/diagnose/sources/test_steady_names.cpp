#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

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
    for (const Row& row :
         {Row{50.0, 50, {1}, "mains: one line", "1 line at multiples of 50.00 Hz, the mains (50 Hz here, +0.00 % off)"},
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
        CHECK(holds(out.why, row.why));
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
        CHECK(holds(evidence.text, row.text));
        CHECK(evidence.value == Approx(row.value).margin(0.001));
        CHECK(evidence.unit == "dB");
        CHECK(holds(evidence.text, "leakage") == (row.value == row.odd_over_even_db));
        CHECK(holds(evidence.text, "rectifier"));
    }
    const Evidence odd = told(alike({1, 3, 5}));   // no even ones at all: 99 dB stands for more
    CHECK(holds(odd.text, "odd multiples stand 99 dB"));
    CHECK(odd.value == 99.0);
    const Evidence even = told({{1, {0.0}}, {2, {1e-8}}});
    CHECK(holds(even.text, "even multiples stand 99 dB"));
    CHECK(even.value == 99.0);
    const Evidence alone = told(alike({2, 4, 6}));
    CHECK(holds(alone.text, "Only even multiples, from 100 Hz up"));
    CHECK(holds(alone.text, "full-wave rectifier"));
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
    CHECK(holds(whole.why, "4 lines at multiples of 216.67 Hz"));
    CHECK(holds(whole.why, "4.615 ms"));
    CHECK(whole.evidence.empty());
    CHECK(named(alike({1, 2, 3})).rests_on == "phone: two or three lines");
    const SteadyComb part = named(alike({1, 2, 3}), false);
    REQUIRE(part.evidence.size() == 1);
    CHECK(holds(part.evidence[0].text, "from 2.0 to 5.5 s"));
    CHECK(part.evidence[0].value == 3.5);
    CHECK(part.evidence[0].unit == "s");
    // sin(pi 8 / 8) = 0: an eighth of a frame has no 8th multiple; those next to it stand for what might have been there
    for (const int beside : {6, 7, 9, 10}) {
        CAPTURE(beside);
        const SteadyComb missing = named(alike({1, beside}));
        REQUIRE(missing.evidence.size() == 1);
        CHECK(holds(missing.evidence[0].text, "8th multiple is missing"));
        CHECK(missing.evidence[0].value == 8.0);
    }
    for (const int farther : {5, 11}) CHECK(named(alike({1, farther})).evidence.empty());
    CHECK(named({{7, {1e-8}}, {8, {0.26e-8}}}).evidence.empty());
    const SteadyComb low = named({{6, {1e-9}}, {7, {1e-8}}, {8, {1e-9}}, {9, {1e-9}}});
    REQUIRE(low.evidence.size() == 1);
    CHECK(holds(low.evidence[0].text, "8th multiple stands 10 dB below"));   // of the strongest neighbour
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
    CHECK(holds(out.why, "3 lines, all multiples of 11.000 Hz"));
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
    CHECK(holds(out.why, "Steady at 437.25 Hz, without multiples"));
    line.surprise = 41.0;
    CHECK(named_alone(line, {1e-8}).rests_on == "tone: clear");
    line.wander_hz = 0.14;
    out = named_alone(line, {1e-8});
    CHECK(out.kind == NoiseKind::motor_whine);
    CHECK(out.rests_on == "motor: a lone line that strays");
    CHECK(holds(out.why, "A line at 437.2 Hz that strays by 0.14 Hz"));
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
    CHECK(holds(out.why, "The line near 640 Hz strays"));
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
    CHECK(holds(out.evidence[0].text, "2 more lines lie at multiples of 80.0 Hz"));
    CHECK(out.evidence[0].value == 80.0);
    CHECK(out.evidence[0].unit == "Hz");
    // the line itself, two bins off at most, is no turn of its own
    CHECK(named_drifting(s.search, brief, line, made_comb(647.0, {{1, {1e-9, 0}}})).rests_on == "motor: strays a little, faint");
    CHECK(named_drifting(s.search, brief, line, made_comb(649.0, {{1, {1e-9, 0}}})).rests_on == "motor: strays a little, with its turns");
}
