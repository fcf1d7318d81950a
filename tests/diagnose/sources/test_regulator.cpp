#include "../../../src/diagnose/sources/regulator.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <numbers>
#include <random>

#include "diagnose/made_survey.hpp"
#include "holds.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0, kSeconds = 5.0;

/// Takes whose whine wanders round its mean by 1 %, modulated at a rate that holds still.
struct Made {
    TemporaryFolder folder;
    OpenedJob opened;
    std::list<Take> takes;
    std::list<TakeSurvey> surveys;
    std::list<WhineInTake> whines;
    Made() { opened.folder = folder.path(); }
    WhineInTake& add(const std::string& file, double whine_hz, double switching_hz, double wander = 0.01, double depth = 0.2) {
        std::mt19937 random(static_cast<unsigned>(whine_hz));
        std::normal_distribution<double> noise(0.0, 1e-4);
        Block block(1, static_cast<std::size_t>(kRate * kSeconds));
        MovingFamily family;
        family.mean_hz = whine_hz;
        family.wander = wander;
        double phase = 0;
        for (std::size_t n = 0; n < block.frames(); ++n) {
            const double t = static_cast<double>(n) / kRate,
                         hz = whine_hz * (1.0 + std::numbers::sqrt2 * wander * std::sin(2.0 * std::numbers::pi * 0.4 * t));
            phase += 2.0 * std::numbers::pi * hz / kRate;
            block.channel(0)[n] = 0.1 * (1.0 + depth * std::sin(2.0 * std::numbers::pi * switching_hz * t)) * std::sin(phase) + noise(random);
            if (n % 400 == 0) {
                family.ridge.track.time_s.push_back(t);
                family.ridge.track.frequency_hz.push_back(hz);
            }
        }
        TakeWriter writer(folder / file, kRate, 1);
        writer.write(block);
        writer.close();
        takes.push_back(made_take(file, Engine::idle, {Channel::left}));
        surveys.push_back(quiet_survey(takes.back(), 1.0, kRate));
        surveys.back().families = {family};
        WhineInTake whine;
        whine.survey = &surveys.back();
        whine.family = 0;
        whine.frequency_hz = whine_hz;
        whines.push_back(whine);
        return whines.back();
    }
    std::optional<Regulator> found() const { return find_regulator(opened, whines); }
};

SpectralLine line(double frequency_hz, double mean_square) {
    SpectralLine out;
    out.frequency_hz = frequency_hz;
    out.mean_square = mean_square;
    return out;
}

}  // namespace

TEST_CASE("a distance that holds still while the whine wanders is the regulator's rate", "[regulator]") {
    Made made;
    made.add("a.wav", 900.0, 163.0);
    const auto found = made.found();
    REQUIRE(found);
    CHECK(found->switching_hz == Approx(163.0).margin(0.3));
    CHECK(found->level_db == Approx(20.0 * std::log10(0.1) + 3.01).margin(1.0));   // each sideband of depth 0.2 has a tenth
    CHECK(found->takes == std::vector<std::string>{"a.wav"});
    // the same seen in a second take
    made.add("b.wav", 700.0, 163.0);
    CHECK(made.found()->takes == std::vector<std::string>{"a.wav", "b.wav"});
    made.takes.front().tone = PlayedTone{Sine{1000, 0}, std::nullopt};   // of a take with a tone a part alone was followed
    CHECK(made.found()->takes == std::vector<std::string>{"b.wav"});
    made.whines.back().family.reset();
    CHECK_FALSE(made.found());
    made.takes.front().tone.reset();
    std::filesystem::remove(made.folder / "a.wav");   // gone since
    CHECK_FALSE(made.found());
}

TEST_CASE("where the engine hardly wanders, two speeds must agree", "[regulator]") {
    Made made;
    made.add("a.wav", 900.0, 163.0, 0.0005);
    CHECK_FALSE(made.found());
    made.add("b.wav", 960.0, 163.0, 0.0005);   // no tenth apart
    CHECK_FALSE(made.found());
    made.add("c.wav", 700.0, 163.0, 0.0005);
    const auto found = made.found();
    REQUIRE(found);
    CHECK(found->takes.size() == 3);
    for (TakeSurvey& survey : made.surveys) {   // twice the clicks' rate is the engine's, too
        survey.channels[0].clicks.emplace();
        survey.channels[0].clicks->rate = {{0.0, 1.0}, {81.5, 81.5}};
    }
    CHECK_FALSE(made.found());
    // a distance that is a part of the whine is the engine's own: a twelfth, twice that
    Made own;
    own.add("a.wav", 900.0, 150.0, 0.0005);
    own.add("b.wav", 900.0 * 0.8, 150.0, 0.0005);
    CHECK_FALSE(own.found());
}

TEST_CASE("even pairs of lines beside a whine that holds still are its sidebands", "[regulator]") {
    Take take = made_take("a", Engine::idle, {Channel::left});
    TakeSurvey survey = quiet_survey(take, 1.0, kRate);
    WhineInTake whine;
    whine.survey = &survey;
    whine.frequency_hz = 900.0;
    const auto held = [&](const std::vector<SpectralLine>& lines) {
        survey.channels[0].lines = lines;
        std::vector<double> out = held_sidebands(whine);
        std::sort(out.begin(), out.end());
        return out;
    };
    // of its double and treble, too
    CHECK(held({line(740, 1e-8), line(900, 1e-6), line(1060, 1e-8)}) == std::vector<double>{740, 1060, 1640, 1960, 2540, 2860});
    const auto pair = [&](double lower_hz, double upper_hz, double lower = 1e-8, double upper = 1e-8, double own_hz = 900.0) {
        return !held({line(lower_hz, lower), line(own_hz, 1e-6), line(upper_hz, upper)}).empty();
    };
    CHECK(pair(740.6, 1060));
    CHECK_FALSE(pair(740.8, 1060));      // 0.7 Hz
    CHECK_FALSE(pair(739.2, 1060));
    CHECK(pair(840, 960));
    CHECK_FALSE(pair(841, 959));         // 60 to 600 Hz
    CHECK(pair(301, 1499));
    CHECK_FALSE(pair(299, 1501));
    CHECK(pair(740, 1060, 1e-8, 3.9e-8));
    CHECK_FALSE(pair(740, 1060, 1e-8, 4.2e-8));   // 6 dB
    CHECK_FALSE(pair(740, 1060, 4.2e-8, 1e-8));
    CHECK_FALSE(pair(740, 1060, 1.1e-6, 0.9e-6));   // no stronger than the whine
    CHECK_FALSE(pair(740, 1060, 0.9e-6, 1.1e-6));
    CHECK(pair(741.9, 1061.9, 1e-8, 1e-8, 901.9));  // the whine's own line within 2 Hz
    CHECK_FALSE(pair(742.1, 1062.1, 1e-8, 1e-8, 902.1));
    whine.frequency_hz = 3000.0;
    CHECK(pair(2842.9, 3162.9, 1e-8, 1e-8, 3002.9));   // or 1 in 1000
    CHECK_FALSE(pair(2843.1, 3163.1, 1e-8, 1e-8, 3003.1));
    whine.frequency_hz = 900.0;
    whine.family = 0;   // a followed one has its regulator looked for
    CHECK(held({line(740, 1e-8), line(900, 1e-6), line(1060, 1e-8)}).empty());
}

TEST_CASE("the regulator is told with the whine", "[regulator]") {
    NoiseSource whine;
    add_regulator(whine, {163.24, 0.002, -17.0, {"a", "b"}});
    REQUIRE(whine.evidence.size() == 1);
    CHECK(holds(whine.evidence[0].text, "Lines 163.2 Hz above and below it keep that distance"));
    CHECK(holds(whine.evidence[0].text, "-17 dB against it: the alternator's field regulator"));
    CHECK(whine.evidence[0].value == 163.24);
    CHECK(whine.evidence[0].unit == "Hz");
    CHECK(whine.evidence[0].sd == 0.01);   // no surer than that
    CHECK(whine.evidence[0].takes == std::vector<std::string>{"a", "b"});
    add_regulator(whine, {163.24, 0.05, -17.0, {"a"}});
    CHECK(whine.evidence[1].sd == 0.05);
}
