// Lines that sweep above 3.5 kHz, in sounds drawn from the closed form: what is a beat, and what is left to other searches.
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../../src/diagnose/takes/beat_search.hpp"
#include "diagnose/survey_maker.hpp"

using namespace hushtrace;
using namespace survey_maker;

namespace {

constexpr double kRate = 16000, kSeconds = 3;

/// A line at 5 kHz that strays by a sine of this share of it, so often a second, in white noise of 0.01.
std::vector<double> sweeping(double amplitude, double share = 0.05, double swings_hz = 0.7) {
    std::vector<double> out(static_cast<std::size_t>(kSeconds * kRate));
    std::mt19937_64 engine(2);
    std::normal_distribution<double> normal(0.0, 0.01);
    double turns = 0;
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        turns += 5000 * (1 + share * std::sin(2 * std::numbers::pi * swings_hz * t)) / kRate;
        out[n] = normal(engine) + amplitude * std::sin(2 * std::numbers::pi * turns);
    }
    return out;
}
std::vector<Beat> found(Made& made, const std::vector<std::vector<double>>& channels) {
    made.survey.sample_rate_hz = kRate;
    made.survey.duration_s = kSeconds;
    return find_beats(made.survey, {channels.begin(), channels.end()});
}

}  // namespace

TEST_CASE("a high line that sweeps by several per cent a second is a beat, with its power in each channel", "[hash]") {
    Made made(2);
    made.channel(0).floor.all.unweighted.value = made.channel(1).floor.all.unweighted.value = 1e-4;
    const auto beats = found(made, {sweeping(0.02), sweeping(0.01)});
    REQUIRE(beats.size() == 1);
    CHECK(beats[0].mean_hz == Approx(5000).epsilon(0.01));
    CHECK(beats[0].wander == Approx(0.05 / std::sqrt(2.0)).epsilon(0.2));   // rms of a sine of 5 %
    REQUIRE(beats[0].mean_square.size() == 2);
    CHECK(10 * std::log10(beats[0].mean_square[0] / 2e-4) == Approx(0).margin(1.0));   // half its amplitude's square
    CHECK(10 * std::log10(beats[0].mean_square[0] / beats[0].mean_square[1]) == Approx(6).margin(1.0));
    CHECK(beats[0].ridge.log_evidence > 30);
    // an engine that is revved sweeps its own lines so, a log tells of it; a phone's many lines run together
    made.take.conditions.engine = Engine::sweep;
    CHECK(found(made, {sweeping(0.02), sweeping(0.01)}).empty());
    made.take.conditions.engine = Engine::off;
    made.survey.rpm_log.emplace();
    CHECK(found(made, {sweeping(0.02), sweeping(0.01)}).empty());
    made.survey.rpm_log.reset();
    made.channel(1).phone.emplace();
    CHECK(found(made, {sweeping(0.02), sweeping(0.01)}).empty());
}

TEST_CASE("what hardly moves, or noise alone, is no beat", "[hash]") {
    Made made;
    CHECK(found(made, {sweeping(0)}).empty());
    CHECK(found(made, {sweeping(0.02, 0.002)}).empty());
    // beside an engine its own lines wander by so much
    made.take.conditions.engine = Engine::idle;
    made.take.conditions.rpm = 3000;
    CHECK(found(made, {sweeping(0.02, 0.03)}).empty());
}

TEST_CASE("beside what is far louder a beat must stand out of that one's remains", "[hash]") {
    // 30, or a twentieth of the strongest line's evidence
    Made made;
    CHECK(least_evidence_of_beat(made.survey) == 30);
    made.add_family(1000).ridge.log_evidence = 590;
    CHECK(least_evidence_of_beat(made.survey) == 30);
    made.add_family(2000).ridge.log_evidence = 700;
    CHECK(least_evidence_of_beat(made.survey) == Approx(35));
    made.survey.beats.emplace_back().ridge.log_evidence = 1000;
    CHECK(least_evidence_of_beat(made.survey) == Approx(50));
}
