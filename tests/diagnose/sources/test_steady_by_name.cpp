#include "../../../src/diagnose/sources/steady_by_name.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

constexpr double kFrame_hz = 650.0 / 3.0;

struct Row {
    double spacing_hz;
    std::vector<int> numbers;
    int strongest;   // of these, by 3 dB
    const char* rests_on;   // empty: not found
};

/// A take of one channel that is looked through.
struct Looked {
    Take take = made_take("takes/off.flac", Engine::off, {Channel::left});
    TakeSurvey survey;
    SpokenFor spoken;
    Taken taken;
    std::vector<SteadyComb> found;
    Looked(double bin_hz, double rate_hz) { survey = quiet_survey(take, bin_hz, rate_hz); }
    StillSpectrum& still() { return survey.channels[0].still; }
    void lines(const Row& row) {
        for (const int n : row.numbers) stand(still(), n * row.spacing_hz, n == row.strongest ? 2e-8 : 1e-8);
    }
    void mains(const Job& job = {}) { look_for_mains(search_of(survey, spoken, taken), job, taken, found); }
    void buses() { look_for_buses(search_of(survey, spoken, taken), taken, found); }
    void phone() { look_for_phone(search_of(survey, spoken, taken), taken, found); }
    std::string_view rests_on() const { return found.empty() ? std::string_view() : found.front().rests_on; }
};

CombStretch frames(const std::vector<int>& numbers, double surprise = 40.0) {
    CombStretch out{made_comb(kFrame_hz, alike(numbers)), 1.0, 3.0, surprise, false};
    return out;
}

}  // namespace

TEST_CASE("the mains are told from loads and motors by which multiples stand and how exact they are", "[by_name]") {
    for (const Row& row : {
             Row{50.0, {1, 2, 3}, 1, "mains: several lines, usual frequency"}, Row{60.0, {1, 3, 5}, 1, "mains: several lines, usual frequency"},
             Row{50.3, {1, 2, 3}, 1, "mains: several lines, unusual frequency"}, Row{60.4, {1, 2, 3}, 1, "mains: several lines, unusual frequency"},
             Row{50.8, {1, 2, 3}, 1, ""},                                          // more than 1 % off
             Row{50.0, {2, 4, 6}, 2, "mains: even ones alone"}, Row{50.3, {2, 4, 6}, 2, ""},   // pulses at 100.6 Hz
             Row{50.0, {3, 6, 9}, 3, ""},                                          // pulses at 150 Hz
             Row{50.0, {3, 4, 5}, 3, "mains: several lines, usual frequency"}, Row{50.0, {4, 5, 6}, 4, ""},
             Row{50.3, {2, 3, 5}, 2, "mains: several lines, unusual frequency"}, Row{50.3, {3, 4, 5}, 3, ""},
             Row{50.0, {1, 2, 12}, 12, "mains: several lines, usual frequency"}, Row{50.0, {1, 2, 13}, 13, ""},   // hum is strongest low down
             Row{50.3, {1, 2, 8}, 8, "mains: several lines, unusual frequency"}, Row{50.3, {1, 2, 9}, 9, ""},
             Row{50.0, {2, 4, 8}, 8, "mains: even ones alone"}, Row{50.0, {2, 4, 10}, 10, ""},
             Row{50.0, {1}, 1, "mains: one line"}, Row{50.0, {2}, 2, "mains: one line"}, Row{50.0, {3}, 3, ""}, Row{50.3, {1}, 1, ""}}) {
        CAPTURE(row.spacing_hz, row.numbers, row.strongest);
        Looked s(0.1, 8000.0);
        s.lines(row);
        s.mains();
        CHECK(s.rests_on() == row.rests_on);
        if (s.found.empty()) {
            CHECK(s.taken.lines_hz.empty());
            continue;
        }
        CHECK(s.found.size() == 1);
        CHECK(s.found[0].kind == NoiseKind::mains_hum);
        CHECK(s.found[0].frequency_hz == Approx(row.spacing_hz).margin(0.03));
        CHECK(s.taken.lines_hz.size() == row.numbers.size());
        CHECK(holds(s.found[0].why, row.spacing_hz < 55.0 ? "50 Hz here" : "60 Hz here"));
    }
}

TEST_CASE("mains whose rate is known are looked for there alone, and must be no chance", "[by_name]") {
    Job at_60, at_50;
    at_60.vehicle.mains_hz = 60.0;
    at_50.vehicle.mains_hz = 50.0;
    Looked s(0.1, 8000.0);
    s.lines({50.0, {1, 2, 3}, 1, ""});
    s.mains(at_60);
    CHECK(s.found.empty());
    s.mains(at_50);
    CHECK(s.found.size() == 1);
    Looked faint(0.1, 8000.0);
    stand(faint.still(), 50.0, 1e-11, 6.0);   // a surprise of 6 in thousands of bins is nothing
    faint.mains();
    CHECK(faint.found.empty());
    Looked nothing(0.1, 8000.0);
    nothing.mains();
    CHECK(nothing.found.empty());
}

TEST_CASE("a comb at the mains' very rate that begins low is theirs", "[by_name]") {
    Job job;
    const auto rate = [&job](double spacing_hz, int first) { return mains_rate_of(made_comb(spacing_hz, alike({first, first + 1})), job); };
    CHECK(rate(50.0, 1) == 50.0);
    CHECK(rate(60.0, 4) == 60.0);
    CHECK_FALSE(rate(60.0, 5));
    CHECK(rate(50.09, 1) == 50.0);   // 0.2 %
    CHECK(rate(49.91, 1) == 50.0);
    CHECK_FALSE(rate(50.11, 1));
    CHECK_FALSE(rate(49.89, 1));
    job.vehicle.mains_hz = 60.0;
    CHECK_FALSE(rate(50.0, 1));
    CHECK(rate(60.0, 1) == 60.0);
}

TEST_CASE("a line at a bus's rate, or twice or three times that, is its", "[by_name]") {
    struct Line {
        double frequency_hz, rate_hz;
        int number;
    };
    for (const Line& one :
         {Line{1000, 1000, 1}, Line{2000, 1000, 2}, Line{3000, 1000, 3}, Line{8000, 8000, 1}, Line{16000, 8000, 2}, Line{800, 800, 1},
          Line{2400, 800, 3}, Line{1600, 1600, 1}, Line{3200, 1600, 2}, Line{4800, 1600, 3}, Line{1000.59, 1000, 1}, Line{999.41, 1000, 1}}) {
        CAPTURE(one.frequency_hz);
        const auto bus = bus_of_line(one.frequency_hz);
        REQUIRE(bus);
        CHECK(bus->bus->rate_hz == one.rate_hz);
        CHECK(bus->number == one.number);
    }
    for (const double none : {1000.61, 999.39, 4000.0, 500.0, 1200.0}) CHECK_FALSE(bus_of_line(none));
}

TEST_CASE("a bus is told by its lines, or by its rate alone where that is clear", "[by_name]") {
    for (const Row& row : {Row{1000, {1, 2}, 1, "bus: several lines"}, Row{1000, {1}, 1, "bus: one line"}, Row{1000, {2}, 2, ""},
                           Row{1000, {5, 10}, 5, "bus: several lines"}, Row{1000, {7, 14}, 7, ""},   // some other comb's that meets it
                           Row{1000, {3, 4, 5}, 4, "bus: several lines"}, Row{1000.5, {1, 2, 3}, 1, "bus: several lines"},
                           Row{1001.5, {1, 2, 3}, 1, ""}}) {
        CAPTURE(row.spacing_hz, row.numbers);
        Looked s(0.5, 32000.0);
        s.lines(row);
        s.buses();
        CHECK(s.rests_on() == row.rests_on);
        if (s.found.empty()) continue;
        CHECK(s.found.size() == 1);
        CHECK(s.found[0].kind == NoiseKind::bus_tone);
        CHECK(s.found[0].frequency_hz == Approx(row.spacing_hz).epsilon(0.0006));
        CHECK(holds(s.found[0].why, "frames of a serial bus (USB)"));
        CHECK(s.taken.combs.back().spacing_hz == Approx(row.spacing_hz).epsilon(0.0006));
        CHECK(s.taken.combs.back().most_mean_square == Approx(2e-8));
        CHECK(std::count(s.taken.lines_hz.begin(), s.taken.lines_hz.end(), s.found[0].harmonics[0].frequency_hz) == 1);
    }
    const auto alone = [](double surprise, double wander_hz) {
        Looked s(0.5, 32000.0);
        stand(s.still(), 1000.0, 1e-8, surprise).wander_hz = wander_hz;
        for (int n = 2; n <= 14; ++n) stand(s.still(), 1000.0 * n, 1e-12, 3.2);   // not told one by one, but more than chance together
        s.buses();
        return s.found.size();
    };
    CHECK(alone(16.5, 0.0) == 1);   // 16, and 0.36 for having looked in two bins
    CHECK(alone(16.2, 0.0) == 0);
    CHECK(alone(40.0, 0.31) == 0);   // strays by more than 0.03 %: a motor's
    CHECK(alone(40.0, 0.29) == 1);
}

TEST_CASE("two buses are both told, the clearer first", "[by_name]") {
    Looked s(0.5, 32000.0);
    s.lines({1000, {1}, 0, ""});
    s.lines({800, {1, 2, 3}, 0, ""});
    std::sort(s.still().lines.begin(), s.still().lines.end(), [](const StillLine& a, const StillLine& b) { return a.frequency_hz < b.frequency_hz; });
    s.buses();
    REQUIRE(s.found.size() == 2);
    CHECK(s.found[0].frequency_hz == Approx(800.0).margin(0.1));
    CHECK(holds(s.found[0].why, "slot pairs"));
    CHECK(s.found[1].frequency_hz == Approx(1000.0).margin(0.1));
}

TEST_CASE("a bus's lines that are but some of a load's are the load's", "[by_name]") {
    Looked s(0.5, 32000.0);
    for (int n = 1; n <= 24; ++n) stand(s.still(), 125.0 * n, n == 8 ? 2e-8 : 1e-8);   // every eighth lies on the bus's
    s.buses();
    CHECK(s.found.empty());
}

TEST_CASE("a phone's frames are known by low multiples, odd ones among them, for a second and more", "[by_name]") {
    const auto found = [](CombStretch stretch) {
        Looked s(0.5, 8000.0);
        s.survey.channels[0].phone = std::move(stretch);
        s.phone();
        return s.found.size();
    };
    CHECK(found(frames({1, 2, 9})) == 1);
    CHECK(found(frames({3, 4})) == 1);
    CHECK(found(frames({1, 9, 10})) == 0);    // one low one
    CHECK(found(frames({1, 8, 9})) == 0);     // the 8th is none of the first lobe
    CHECK(found(frames({1, 7})) == 1);
    CHECK(found(frames({2, 4, 9})) == 0);     // even ones alone, low down: of twice the rate
    CHECK(found(frames({2, 4, 6})) == 0);
    CHECK(found(frames({3, 6})) == 0);        // of three times the rate
    CombStretch faint = frames({1, 2});
    faint.comb.teeth[1].surprise = 4.9;
    CHECK(found(faint) == 0);
    faint.comb.teeth[1].surprise = 5.1;
    CHECK(found(faint) == 1);
    CombStretch brief = frames({1, 2});
    brief.to_s = brief.from_s + 0.89;
    CHECK(found(brief) == 0);
    brief.to_s = brief.from_s + 0.91;
    CHECK(found(brief) == 1);
    CombStretch lone = frames({1, 2});
    lone.comb.surprise_of_rest = 6.8;
    CHECK(found(lone) == 0);
    lone.comb.surprise_of_rest = 7.0;
    CHECK(found(lone) == 1);
}

TEST_CASE("the channel whose frames stand out most tells when, each its own power", "[by_name]") {
    Looked s(0.5, 8000.0);
    s.take.channels = {Channel::left, Channel::right, Channel::sub};
    s.survey = quiet_survey(s.take, 0.5, 8000.0);
    s.survey.channels[0].phone = frames({1, 2, 3}, 30.0);
    s.survey.channels[1].phone = frames({1, 2, 3, 4}, 50.0);
    s.survey.channels[1].phone->comb.teeth[0].mean_square = {5e-8};
    s.survey.channels[1].phone->to_s = 9.0;
    s.phone();
    REQUIRE(s.found.size() == 1);
    const SteadyComb& phone = s.found[0];
    CHECK(phone.kind == NoiseKind::phone_burst);
    CHECK(phone.surprise == 50.0);
    CHECK(holds(phone.evidence.at(0).text, "from 1.0 to 9.0 s"));
    REQUIRE(phone.mean_square.size() == 3);
    CHECK(phone.mean_square[0] == Approx(3e-8));   // of the same teeth
    CHECK(phone.mean_square[1] == Approx(8e-8));
    CHECK(phone.mean_square[2] == 0.0);
    // every multiple up to 20 kHz, with skirts: 92 of them
    CHECK(s.taken.lines_hz.size() == 3 * 92);
    for (const double hz : {kFrame_hz - 2.0, kFrame_hz, kFrame_hz + 2.0, 92 * kFrame_hz})
        CHECK(std::any_of(s.taken.lines_hz.begin(), s.taken.lines_hz.end(), [hz](double one) { return std::abs(one - hz) < 1e-6; }));
}

TEST_CASE("a phone's lines that something else explains count for nothing", "[by_name]") {
    Looked s(0.5, 8000.0);
    s.survey.channels[0].phone = frames({1, 2, 3, 9});
    s.taken.lines_hz = {kFrame_hz};
    s.phone();
    REQUIRE(s.found.size() == 1);   // 2 and 3 are left
    CHECK(s.found[0].harmonics.size() == 3);
    s.found.clear();
    s.taken.lines_hz = {kFrame_hz, 2 * kFrame_hz};
    s.phone();
    CHECK(s.found.empty());
    // pulses at half the rate have lines there, too
    Looked half(1.0 / 6.0, 8000.0);
    half.survey.channels[0].phone = frames({1, 2, 3});
    for (int n = 1; n <= 20; ++n) stand(half.still(), 0.5 * n * kFrame_hz, 1e-8);
    half.phone();
    CHECK(half.found.empty());
    Looked whole(1.0 / 6.0, 8000.0);
    whole.survey.channels[0].phone = frames({1, 2, 3});
    for (int n = 2; n <= 20; n += 2) stand(whole.still(), 0.5 * n * kFrame_hz, 1e-8);
    whole.phone();
    CHECK(whole.found.size() == 1);
}
