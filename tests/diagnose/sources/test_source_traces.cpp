#include "../../../src/diagnose/sources/source_traces.hpp"

#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"

using namespace hushtrace;

namespace {

using K = NoiseKind;

LevelInTake level(const std::string& take, Channel channel, std::optional<double> level_dbfs) {
    return {take, channel, level_dbfs, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing};
}

NoiseSource source(K kind, double frequency_hz, std::vector<LevelInTake> levels) {
    NoiseSource out;
    out.id = "source-1";
    out.kind = kind;
    out.frequency_hz = frequency_hz;
    out.levels = std::move(levels);
    return out;
}

/// Two takes: in "a" it is loudest.
struct Two {
    Take a = made_take("a", Engine::idle), b = made_take("b");
    std::list<TakeSurvey> surveys;
    std::list<WhineInTake> whines;
    Two() {
        surveys.push_back(quiet_survey(a, 1.0, 4000.0));
        surveys.push_back(quiet_survey(b, 1.0, 4000.0));
    }
    TakeSurvey& in_a() { return surveys.front(); }
    TakeSurvey& in_b() { return surveys.back(); }
    std::vector<SourceTrace> of(const NoiseSource& one) const { return traces_of(surveys, whines, {one}); }
};

std::vector<LevelInTake> in_both() { return {level("a", Channel::left, -50), level("b", Channel::right, -60)}; }

MovingFamily family(double mean_hz, const std::vector<double>& ratios) {
    MovingFamily out;
    out.mean_hz = mean_hz;
    out.ridge.track = {{0, 1, 2}, {mean_hz - 10, mean_hz, mean_hz + 10}};
    for (const double ratio : ratios) {
        out.lines.emplace_back();
        out.lines.back().ratio = ratio;
    }
    return out;
}

void check_ratios(const SourceTrace& trace, const std::vector<double>& ratios) {
    REQUIRE(trace.ratios.size() == ratios.size());
    for (std::size_t i = 0; i < ratios.size(); ++i) CHECK(trace.ratios[i] == Approx(ratios[i]));
}

}  // namespace

TEST_CASE("what has no place of its own has no trace, nor has a take without the source", "[traces]") {
    Two two;
    for (const K kind : {K::hiss, K::clipping, K::crackle, K::heard_only}) CHECK(two.of(source(kind, 1000, in_both())).empty());
    CHECK(two.of(source(K::unexplained_tone, 1000, in_both())).size() == 1);   // no line of it stands in the other
    CHECK(two.of(source(K::unexplained_tone, 1000, {level("b", Channel::left, -50)})).at(0).take == "b");
    CHECK(two.of(source(K::unexplained_tone, 1000, {})).empty());
    CHECK(two.of(source(K::unexplained_tone, 0.0, in_both())).empty());
    NoiseSource nowhere = source(K::unexplained_tone, 1000, in_both());
    nowhere.frequency_hz.reset();
    CHECK(two.of(nowhere).empty());
}

TEST_CASE("a trace is told in the channel in which the source is loudest in that take", "[traces]") {
    Two two;
    two.in_a().from_s = 1.5;
    const auto channel = [&](std::vector<LevelInTake> levels) { return two.of(source(K::unexplained_tone, 1000, std::move(levels))).at(0).channel; };
    CHECK(channel({level("a", Channel::left, -50), level("a", Channel::right, -40)}) == Channel::right);
    CHECK(channel({level("a", Channel::left, -40), level("a", Channel::right, -50)}) == Channel::left);
    CHECK(channel({level("a", Channel::left, std::nullopt), level("a", Channel::right, -70)}) == Channel::right);
    two.in_a().channels[0].lines.resize(1);
    two.in_a().channels[0].lines[0].frequency_hz = 1000.0;
    CHECK(channel({level("a", Channel::left, -40), level("b", Channel::right, -30)}) == Channel::left);
    const SourceTrace trace = two.of(source(K::unexplained_tone, 1000, in_both())).at(0);
    CHECK(trace.source_id == "source-1");
    CHECK(trace.take == "a");
    CHECK(trace.from_s == 1.5);
}

TEST_CASE("clicks' trace is the rate of their clearest train", "[traces]") {
    Two two;
    CHECK(is_of_clicks(K::ignition_tick));
    CHECK(is_of_clicks(K::periodic_tick));
    CHECK_FALSE(is_of_clicks(K::crackle));
    CHECK(two.of(source(K::ignition_tick, 30, in_both())).empty());   // no train there
    ImpulseTrain train;
    train.significance = 10;
    train.rate = {{0, 1}, {25, 27}};
    train.profile = {1, 2};
    two.in_a().channels[0].clicks = train;
    train.significance = 20;
    train.rate = {{0, 1}, {26, 28}};
    train.profile = {3, 4};
    two.in_a().channels[1].clicks = train;
    for (const K kind : {K::ignition_tick, K::periodic_tick}) {
        const auto traces = two.of(source(kind, 30, in_both()));
        REQUIRE(traces.size() == 1);
        CHECK(traces[0].track.frequency_hz == std::vector<double>{26, 28});
        CHECK(traces[0].click_profile == std::vector<double>{3, 4});
        CHECK(traces[0].ratios.empty());
        CHECK_FALSE(traces[0].steady);
    }
    two.in_a().channels[0].clicks->significance = 30;
    CHECK(two.of(source(K::ignition_tick, 30, in_both()))[0].click_profile == std::vector<double>{1, 2});
}

TEST_CASE("a whine's trace is its reading in each take, followed or held", "[traces]") {
    Two two;
    two.in_a().families = {family(100, {1}), family(300, {1, 2})};
    WhineInTake followed;
    followed.survey = &two.in_a();
    followed.family = 1;
    followed.frequency_hz = 600;   // twice what was followed
    followed.harmonics = {{1, 600, -50, std::nullopt}, {2, 1200, -60, std::nullopt}, {0.5, 300, -60, std::nullopt}};
    WhineInTake held;
    held.survey = &two.in_b();
    held.frequency_hz = 640;
    held.harmonics = {{2, 1280, -60, std::nullopt}};
    two.whines = {held, followed};
    const auto traces = two.of(source(K::alternator_whine, 600, in_both()));
    REQUIRE(traces.size() == 2);
    CHECK(traces[0].family == std::optional<std::size_t>(1));
    CHECK(traces[0].family_ratio == 2.0);
    CHECK_FALSE(traces[0].steady);
    CHECK(traces[0].track.time_s == std::vector<double>{0, 1, 2});
    CHECK(traces[0].track.frequency_hz == std::vector<double>{580, 600, 620});
    check_ratios(traces[0], {0.5, 1, 2});
    CHECK_FALSE(traces[1].family);
    CHECK(traces[1].family_ratio == 1.0);
    CHECK(traces[1].steady);
    CHECK(traces[1].track.frequency_hz == std::vector<double>{640, 640});
    check_ratios(traces[1], {1, 2});
    two.whines.clear();
    CHECK(two.of(source(K::alternator_whine, 600, in_both())).empty());
}

TEST_CASE("a wandering source's trace is the nearest family that moves, with its lines", "[traces]") {
    Two two;
    two.in_a().families = {family(998.5, {1}), family(1000.5, {0.5, 1, 2})};
    two.in_b().families = {family(1029, {1})};
    const auto traces = two.of(source(K::motor_whine, 1000, in_both()));
    REQUIRE(traces.size() == 2);
    CHECK(traces[0].family == std::optional<std::size_t>(1));
    CHECK(traces[0].family_ratio == 1.0);
    CHECK(traces[0].track.frequency_hz.at(1) == 1000.5);
    check_ratios(traces[0], {0.5, 1, 2});
    CHECK(traces[1].family == std::optional<std::size_t>(0));   // strayed by less than 3 %
    two.in_a().families = {family(1000.5, {1}), family(998.5, {1})};
    CHECK(two.of(source(K::motor_whine, 1000, in_both())).at(0).family == std::optional<std::size_t>(0));   // in whichever order
    two.in_a().families = {family(1000.5, {0.5, 2})};   // itself, told among its lines or not
    check_ratios(two.of(source(K::motor_whine, 1000, in_both())).at(0), {0.5, 1, 2});
    const auto steady_in = [&](std::size_t take, double mean_hz) {
        (take == 0 ? two.in_a() : two.in_b()).families = {family(mean_hz, {1})};
        const auto all = two.of(source(K::motor_whine, 1000, in_both()));
        return all.size() <= take || all[take].steady;
    };
    CHECK_FALSE(steady_in(0, 1001.9));   // where it is loudest its frequency was read: 0.2 %
    CHECK(steady_in(0, 1002.1));
    CHECK_FALSE(steady_in(1, 1030.0));
    CHECK(steady_in(1, 1031.0));
    // what has lines of its own was no family
    two.in_a().families = {family(1000, {1})};
    NoiseSource comb = source(K::switched_load, 1000, in_both());
    comb.harmonics = {{1, 1000, -50, std::nullopt}};
    CHECK(two.of(comb).at(0).steady);
    CHECK_FALSE(two.of(comb).at(0).family);
}

TEST_CASE("lines that hold still are traced where each take has them", "[traces]") {
    Two two;
    NoiseSource comb = source(K::switched_load, 100, in_both());
    comb.harmonics = {{2, 200, -50, std::nullopt}, {10, 1000, -55, std::nullopt}, {15, 1500, -55, std::nullopt}};
    const auto put = [&](double frequency_hz, std::size_t c = 0) {
        two.in_b().channels[c].lines.emplace_back();
        two.in_b().channels[c].lines.back().frequency_hz = frequency_hz;
    };
    put(201.4);        // 1.5 Hz at least
    put(1001.9);       // 0.2 %
    put(1000.4, 1);    // nearer
    put(1001.2, 1);    // not so near
    put(1503.1);       // too far
    const auto traces = two.of(comb);
    REQUIRE(traces.size() == 2);
    CHECK(traces[0].steady);
    CHECK(traces[0].track.frequency_hz == std::vector<double>{100, 100});
    check_ratios(traces[0], {2, 10, 15});   // as found in the loudest take
    CHECK(traces[1].take == "b");
    check_ratios(traces[1], {2.014, 10.004});
    two.in_b().channels[0].lines.clear();
    put(201.6);
    check_ratios(two.of(comb).at(1), {10.004});
    put(1502.9);
    check_ratios(two.of(comb).at(1), {10.004, 15.029});
    // a tone's multiples are told beside it: the tone itself is its line
    NoiseSource tone = source(K::unexplained_tone, 500, in_both());
    tone.harmonics = {{2, 1000, -60, std::nullopt}};
    check_ratios(two.of(tone).at(0), {1, 2});
    tone.harmonics = {{1.4, 700, -60, std::nullopt}};
    check_ratios(two.of(tone).at(0), {1.4});
    tone.harmonics = {{1.6, 800, -60, std::nullopt}};
    check_ratios(two.of(tone).at(0), {1, 1.6});
    // twice the same line is one
    comb.harmonics = {{10, 1000, -50, std::nullopt}, {10, 1000.05, -50, std::nullopt}, {10, 1000.2, -50, std::nullopt}};
    check_ratios(two.of(comb).at(0), {10, 10.002});
}

TEST_CASE("the take over a source's cycles is told in the source's own orders", "[traces]") {
    Two two;
    two.in_a().families = {family(300, {1, 2})};
    two.in_a().channels[1].volts_full_scale = 2.0;
    OrderView view;
    view.channel = 1;
    view.lines = {{0.5, 1e-8, 3.0, true}, {2.0, 4e-8, -2.0, std::nullopt}, {3.0, 0.0, 0.0, false}};
    two.in_a().orders = {view};
    NoiseAnalysis analysis;
    NoiseSource whine = source(K::alternator_whine, 600, in_both());
    whine.engine_order = 12.0;
    analysis.noise_sources = {source(K::mains_hum, 50, in_both()), whine};
    analysis.noise_sources[0].id = "mains-1";
    SourceTrace trace;
    trace.source_id = "source-1";
    trace.take = "a";
    trace.track = {{0, 1}, {580, 620}};
    trace.family = 0;
    trace.family_ratio = 2.0;
    analysis.traces = {trace};
    const auto out = order_spectra_of(two.surveys, analysis);
    REQUIRE(out.size() == 1);
    CHECK(out[0].take == "a");
    CHECK(out[0].channel == Channel::right);
    CHECK(out[0].reference == "source-1");
    CHECK(out[0].reference_hz == Approx(600.0));
    CHECK(out[0].reference_order == 12.0);
    REQUIRE(out[0].lines.size() == 3);
    CHECK(out[0].lines[0].ratio == 0.25);          // half of what was followed, which is half of its leading line
    CHECK(out[0].lines[0].order.value_or(0) == 3.0);
    CHECK(out[0].lines[0].frequency_hz == 150.0);
    CHECK(out[0].lines[0].level_dbfs == Approx(10.0 * std::log10(2e-8)));
    CHECK(out[0].lines[0].level_dbv.value_or(0) == Approx(10.0 * std::log10(4e-8)));
    CHECK(out[0].lines[0].sharpening_db == 3.0);
    CHECK(out[0].lines[0].follows == true);
    CHECK_FALSE(out[0].lines[1].follows);
    CHECK(out[0].lines[2].level_dbfs == Approx(10.0 * std::log10(2e-20)));   // no further down
    analysis.noise_sources[1].engine_order.reset();
    CHECK_FALSE(order_spectra_of(two.surveys, analysis)[0].lines[0].order);
    two.in_a().channels[1].volts_full_scale.reset();
    CHECK_FALSE(order_spectra_of(two.surveys, analysis)[0].lines[0].level_dbv);
    analysis.traces[0].family = 1;   // of which there is no view
    CHECK(order_spectra_of(two.surveys, analysis).empty());
    analysis.traces[0].family.reset();
    CHECK(order_spectra_of(two.surveys, analysis).empty());
    analysis.traces[0] = trace;
    analysis.traces[0].take = "b";
    CHECK(order_spectra_of(two.surveys, analysis).empty());
}
