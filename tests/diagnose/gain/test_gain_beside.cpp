#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/made_curves.hpp"

using namespace hushtrace;
using namespace made_curves;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {

/// Of low tones one take, of all others another.
const Take& take_of_curves(double tone_hz) {
    static const std::vector<Take> takes = [] {
        std::vector<Take> out(2);
        out[0].file = "takes/a.flac";
        out[1].file = "takes/low.flac";
        return out;
    }();
    return takes[tone_hz < 200];
}
GainCurve at(double tone_hz, const std::vector<double>& levels_dbfs, Channel channel = Channel::left) {
    return curve_of(take_of_curves(tone_hz), channel, tone_hz, at_levels(levels_dbfs));
}

std::vector<Warning> compared(std::vector<GainCurve>& curves) {
    std::vector<Warning> out;
    compare_curves(curves, 1.0, out);
    return out;
}
std::vector<std::string> codes(std::vector<GainCurve> curves) {
    std::vector<std::string> out;
    for (const Warning& one : compared(curves)) out.push_back(one.code);
    return out;
}
using Words = std::vector<std::string>;

const std::vector<double> kRising{-20, -18, -16, -14, -12};

}  // namespace

TEST_CASE("bass that rises less than a higher tone is told with where it begins and by how much", "[gain][compare]") {
    GainCurve low = at(50, {-20, -18, -16, -15, -14}), high = at(997, kRising);
    std::vector<GainCurve> curves{low, high};
    const std::vector<Warning> told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "bass_falls");
    CHECK(told[0].take == "takes/low.flac");
    CHECK_THAT(told[0].text, StartsWith("left: from volume 22 to 24 the 50 Hz tone rises 2.0 dB less than the 997 Hz tone"));
    const auto falls = [&](const std::vector<double>& levels) {
        GainCurve other = low;
        for (std::size_t i = 0; i < levels.size(); ++i) other.curve.steps[i].level_dbfs = levels[i];
        return codes({other, high}) == Words{"bass_falls"};
    };
    CHECK(falls({-20, -18, -16, -14, -13.01}));
    CHECK_FALSE(falls({-20, -18, -16, -14, -12.99}));
    CHECK_FALSE(falls({-20, -18, -16, -14, -11}));
    CHECK(falls({-21, -18, -16, -15, -14}));  // against the most that it had
    // no less than four standard deviations of the two steps: 4 · sqrt(2) · 0.35 is 1.98 dB, with 0.36 it is 2.04
    for (const auto& [sd_db, wanted] : {std::pair{0.35, true}, {0.36, false}}) {
        low.curve.steps.front().level_sd_db = low.curve.steps.back().level_sd_db = sd_db;
        CHECK(falls({-20, -18, -16, -15, -14}) == wanted);
    }
    low = at(50, {-20, -18, -16, -15, -14});
    // three volumes that both were straight at
    const auto with = [&](auto change) {
        std::vector<GainCurve> both{low, high};
        change(both[0], both[1]);
        return codes(both) == Words{"bass_falls"};
    };
    CHECK(with([](GainCurve& a, GainCurve&) { a.curve.steps.erase(a.curve.steps.begin(), a.curve.steps.begin() + 2); }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.curve.steps.erase(a.curve.steps.begin() + 1, a.curve.steps.begin() + 4); }));
    CHECK(with([](GainCurve& a, GainCurve&) { a.curve.steps[4].thd_sd_percent = 0.6; }));  // noise alone bends nothing
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.curve.steps[3].thd_percent = 5; }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.curve.steps[3].input_overload = true; }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.curve.steps[0].volume.reset(); }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.tone_is_stepped = true; }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.curve.tone_hz = 200; }));
    CHECK(with([](GainCurve& a, GainCurve&) { a.curve.tone_hz = 199; }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.other_tone_hz = 60; }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.other_tone_hz = 60; }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.tone_is_stepped = true; }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.curve.steps.clear(); }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.curve.tone_hz = 100; }));
    // another channel's stands in, its own comes first
    GainCurve right = at(997, {-20, -18, -16, -15, -14}, Channel::right);
    CHECK(codes({low, right, high}) == Words{"bass_falls"});
    CHECK(codes({low, right}).empty());
    right = at(997, kRising, Channel::right);
    CHECK(codes({low, right}) == Words{"bass_falls"});
    CHECK(codes({low, right, at(440, {-20, -18, -16, -15, -14}, Channel::center)}) == Words{"bass_falls"});  // the first
}

TEST_CASE("a low tone 3 dB beside a higher one in a channel shows a crossover, or bass turned up", "[gain][compare]") {
    const auto shifted = [](double by_db) {
        std::vector<double> out = kRising;
        for (double& level : out) level += by_db;
        return out;
    };
    std::vector<GainCurve> curves{at(50, shifted(-3.5)), at(997, kRising)};
    curves[0].curve.steps[1].level_dbfs += 0.2;
    std::vector<Warning> told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "crossover");
    CHECK(told[0].take == "takes/low.flac");
    CHECK_THAT(told[0].text,
               StartsWith("left: at the same volume the 50 Hz tone comes in 3.3 dB lower than the 997 Hz tone: a crossover (high-pass)"));
    CHECK(curves[0].held_back);
    CHECK_FALSE(curves[1].held_back);
    CHECK(codes({at(50, shifted(-2.9)), at(997, kRising)}).empty());
    CHECK(codes({at(50, shifted(2.9)), at(997, kRising)}).empty());
    curves = {at(50, shifted(3.5)), at(997, kRising)};
    curves[0].curve.steps[1].level_dbfs -= 0.2;
    told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "bass_boosted");
    CHECK_THAT(told[0].text, Contains("comes in 3.3 dB louder than the 997 Hz tone: bass boost"));
    CHECK_FALSE(curves[0].held_back);
    CHECK_FALSE(curves[1].held_back);
    curves = {at(50, shifted(3.1), Channel::sub), at(997, kRising, Channel::sub)};
    told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "crossover");
    CHECK_THAT(told[0].text, StartsWith("sub: ") && Contains("3.1 dB louder than the 997 Hz tone: a crossover (low-pass)"));
    CHECK(curves[1].held_back);
    CHECK_FALSE(curves[0].held_back);
    // a tone played 10 dB quieter, a pad of 10 dB: both are reckoned with
    GainCurve low = at(50, shifted(-10));
    low.tone_level_dbfs = -10;
    CHECK(codes({low, at(997, kRising)}).empty());
    low.tone_level_dbfs = 0;
    low.referred.offset_db = 10;
    CHECK(codes({low, at(997, kRising)}).empty());
    low.referred.calibrated = true;
    low.referred.offset_db = 0;
    CHECK(codes({low, at(997, kRising)}).empty());  // volts against none
    low.referred.calibrated = false;
    CHECK(codes({low, at(997, kRising)}) == Words{"crossover"});
    CHECK(codes({at(50, shifted(-5)), at(997, kRising, Channel::right)}).empty());
    // one is enough where it was played at one volume alone
    CHECK(codes({at(50, {-25}), at(997, {-20})}) == Words{"crossover"});
    CHECK(codes({at(50, {-25}), curve_of(take_of_curves(997), Channel::left, 997, {{30.0, -20}})}).empty());
}

TEST_CASE("a channel 10 dB below another one of its take is quiet, or a crossover keeps the tone from it", "[gain][compare]") {
    const auto lower = [](double by_db) {
        std::vector<double> out = kRising;
        for (double& level : out) level -= by_db;
        return out;
    };
    CHECK(codes({at(997, kRising), at(997, lower(9.9), Channel::right)}).empty());
    CHECK(codes({at(997, kRising), at(997, lower(10.1), Channel::right)}) == Words{"channel_quiet"});
    std::vector<GainCurve> curves{at(997, kRising), at(997, lower(10), Channel::rear_right), at(997, lower(-2), Channel::center)};
    curves[1].curve.steps[2].level_dbfs -= 5;  // the median counts
    std::vector<Warning> told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "channel_quiet");
    CHECK_THAT(told[0].text, StartsWith("rear right: the 997 Hz tone comes in 12 dB lower than on center: check balance"));
    CHECK_FALSE(curves[1].held_back);
    curves = {at(997, kRising), at(997, lower(15), Channel::sub)};
    told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "crossover");
    CHECK_THAT(told[0].text, Contains("15 dB lower than on left: a crossover (low-pass)"));
    CHECK(curves[1].held_back);
    CHECK_FALSE(curves[0].held_back);
    curves = {at(50, lower(15)), at(50, kRising, Channel::sub)};
    told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "crossover");
    CHECK_THAT(told[0].text, Contains("15 dB lower than on sub: a crossover (high-pass)"));
    CHECK(curves[0].held_back);
    for (const auto& [hz, quiet, loud] :
         {std::tuple{50.0, Channel::sub, Channel::left}, {997.0, Channel::left, Channel::sub}, {50.0, Channel::left, Channel::right}}) {
        curves = {at(hz, kRising, loud), at(hz, lower(15), quiet)};
        told = compared(curves);
        REQUIRE(told.size() == 1);
        CHECK(told[0].code == "channel_quiet");
        CHECK_FALSE(curves[1].held_back);
    }
    // steps that are bent don't count, nor do those of the other that bear another number
    const auto with = [&](auto change) {
        std::vector<GainCurve> both{at(997, kRising), at(997, lower(15), Channel::right)};
        change(both[0], both[1]);
        return codes(both) == Words{"channel_quiet"};
    };
    CHECK(with([](GainCurve&, GainCurve&) {}));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) {
        for (VolumeStep& step : a.curve.steps) step.thd_percent = 9;
    }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) {
        for (VolumeStep& step : b.curve.steps) step.input_overload = true;
    }));
    CHECK(with([](GainCurve&, GainCurve& b) {
        for (VolumeStep& step : b.curve.steps) step.thd_sd_percent = 0.6;
    }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) {
        for (VolumeStep& step : a.curve.steps) step.number += 10;
    }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.referred.calibrated = true; }));
    CHECK_FALSE(with([](GainCurve&, GainCurve& b) { b.referred.offset_db = 6; }));
    CHECK_FALSE(with([](GainCurve& a, GainCurve&) { a.other_tone_hz = 440; }));
    Take other;
    other.file = "takes/b.flac";
    CHECK(codes({curve_of(other, Channel::left, 997, at_levels(kRising)), at(997, lower(15), Channel::right)}).empty());
}

TEST_CASE("a level that lags is a limiter where another tone lags as well, bass turned down where it rises on", "[gain][compare]") {
    GainCurve low = at(50, {-20, -18, -16, -15.8});
    low.lags_from = {3, 2};
    low.curve.steps[3].level_v = 2.0;
    low.curve.steps[3].level_v_sd = 0.03;
    low.curve.ceiling = Ceiling{};
    const auto beside = [&](double rises_db, auto change) {
        std::vector<GainCurve> both{low, at(997, {-20, -18, -16, -16 + rises_db})};
        change(both[0], both[1]);
        return codes(both);
    };
    const auto nothing = [](GainCurve&, GainCurve&) {};
    // 0.2 dB here: over 0.4 there it rises on
    CHECK(beside(0.41, nothing).empty());
    CHECK(beside(0.39, nothing) == Words{"limiter"});
    CHECK(beside(0.09, [](GainCurve& a, GainCurve&) { a.curve.steps[3].level_dbfs = -15.98; }) == Words{"limiter"});
    CHECK(beside(0.11, [](GainCurve& a, GainCurve&) { a.curve.steps[3].level_dbfs = -15.98; }).empty());
    CHECK(beside(2.0, nothing) == Words{"bass_falls"});  // which says it
    // it can't be told
    CHECK(beside(0.41, [](GainCurve&, GainCurve& b) { b.curve.steps.pop_back(); }) == Words{"level_lags"});
    CHECK(beside(0.41, [](GainCurve&, GainCurve& b) { b.curve.steps.erase(b.curve.steps.begin() + 2); }) == Words{"level_lags"});
    CHECK(beside(0.41, [](GainCurve&, GainCurve& b) { b.other_tone_hz = 440; }) == Words{"level_lags"});
    CHECK(beside(0.41, [](GainCurve& a, GainCurve&) { a.curve.steps[3].volume.reset(); }) == Words{"level_lags"});
    CHECK(beside(0.41, [](GainCurve& a, GainCurve&) { a.curve.steps[2].volume.reset(); }) == Words{"level_lags"});
    // a tone whose own level was stepped, and one that isn't low, need none beside them
    CHECK(beside(0.41, [](GainCurve& a, GainCurve&) { a.tone_is_stepped = true; }) == Words{"limiter"});
    CHECK(beside(0.41, [](GainCurve& a, GainCurve&) { a.curve.tone_hz = 500; }) == Words{"limiter"});
    std::vector<GainCurve> curves{low};
    std::vector<Warning> told = compared(curves);
    CHECK_THAT(
        told.at(0).text,
        StartsWith("left: from volume 23 on the level hardly rises and the tone stays clean: either the source limits, or it turns its bass down"));
    CHECK_FALSE(curves[0].curve.knee);

    curves = {low, at(997, {-20, -18, -16, -15.9})};
    told = compared(curves);
    CHECK_THAT(told.at(0).text, Contains("the source limits. Nothing is won above that"));
    REQUIRE(curves[0].curve.knee);
    const Knee& knee = *curves[0].curve.knee;
    CHECK(knee.kind == "limiter");
    CHECK(knee.sides == "none");
    CHECK(knee.step == 4);
    CHECK(knee.volume == 23.0);
    CHECK(knee.dbfs->value == -15.8);
    // anywhere between the two steps: a rectangle 0.2 dB wide (GUM, 4.3.7), and the reading's 0.001
    const double sd_db = std::hypot(0.001, 0.2 / std::sqrt(12.0));
    CHECK(knee.dbfs->sd == Approx(sd_db).margin(1e-9));
    CHECK(knee.v->value == 2.0);
    CHECK(knee.v->sd == Approx(std::hypot(2.0 * (std::pow(10.0, sd_db / 20) - 1), 0.03)).margin(1e-9));
    CHECK(curves[0].curve.ceiling->knee->kind == "limiter");
    low.curve.steps[3].level_v.reset();
    low.curve.ceiling.reset();
    curves = {low, at(997, {-20, -18, -16, -15.9})};
    compared(curves);
    CHECK_FALSE(curves[0].curve.knee->v);
    CHECK_FALSE(curves[0].curve.ceiling);
}

TEST_CASE("clipping in numbers is told once, with where it happens", "[gain][compare]") {
    std::vector<GainCurve> curves{at(440, kRising, Channel::rear_left), at(440, kRising), at(440, kRising, Channel::right)};
    CHECK(compared(curves).empty());
    curves[0].curve.ceiling = Ceiling{};
    curves[0].folding = Folding{44100, 0, -60, 9, 10};
    curves[1].folding = curves[0].folding;
    std::vector<Warning> told = compared(curves);
    REQUIRE(told.size() == 1);
    CHECK(told[0].code == "clips_digitally");
    CHECK_THAT(
        told[0].text,
        StartsWith(
            "rear left with the 440 Hz tone: the source clips in its digital part (harmonics fold at its 44.1 kHz): the top of its volume scale"));
    curves[0].curve.ceiling.reset();
    told = compared(curves);
    CHECK_THAT(told.at(0).text, Contains("Turn bass, treble, loudness and equaliser down"));
}
