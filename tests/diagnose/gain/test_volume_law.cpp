#include <catch2/catch.hpp>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "../../../src/diagnose/gain/gain_parts.hpp"

using namespace hushtrace;

namespace {

/// A channel's steps, (level, THD in percent), at volumes 1, 2, 3 ...
struct Level {
    double dbfs = 0, thd_percent = 0.1;
};
GainCurve curve_of(const std::vector<Level>& levels, Channel channel = Channel::left, const Take* take = nullptr) {
    GainCurve out;
    out.take = take;
    out.curve.take = "a";
    out.curve.channel = channel;
    out.curve.tone_hz = 997;
    for (const Level& level : levels) {
        VolumeStep step;
        step.number = out.curve.steps.size() + 1;
        step.volume = static_cast<double>(step.number);
        step.level_dbfs = level.dbfs;
        step.thd_percent = level.thd_percent;
        out.curve.steps.push_back(step);
    }
    return out;
}
GainAnalysis read(std::vector<GainCurve>& curves) {
    GainAnalysis out;
    out.limit_thd_percent = 1.0;
    read_volume_law(curves, out);
    return out;
}
GainAnalysis read_one(GainCurve& curve) {
    std::vector<GainCurve> curves = {curve};
    const GainAnalysis out = read(curves);
    curve = curves[0];
    return out;
}
constexpr double kBent = 5.0;   // percent: over the limit

}  // namespace

TEST_CASE("a law needs three clean settings, counts from the highest and says what each is worth", "[volume_law]") {
    GainCurve two = curve_of({{-30}, {-28}, {-26, kBent}});
    CHECK_FALSE(read_one(two).volume_law);
    GainCurve one = curve_of({{-30}, {-28}, {-25}, {-24, kBent}}, Channel::right);
    one.curve.steps[0].volume = 10, one.curve.steps[1].volume = 12, one.curve.steps[2].volume = 13, one.curve.steps[3].volume = 14;
    const auto law = read_one(one).volume_law;
    REQUIRE(law);
    CHECK(law->take == "a");
    CHECK(law->channel == Channel::right);
    CHECK(law->tone_hz == 997.0);
    CHECK(law->volumes_known);
    REQUIRE(law->steps.size() == 3);
    CHECK(law->steps[0].gain_db == -5.0);
    CHECK(law->steps[1].gain_db == -3.0);
    CHECK(law->steps[2].gain_db == 0.0);
    CHECK(law->steps[0].volume == 10.0);
    CHECK(law->steps[2].step == 3);
    CHECK_FALSE(law->steps[0].rise_db);
    CHECK(law->steps[1].rise_db == 1.0);   // 2 dB by two numbers
    CHECK(law->steps[2].rise_db == 3.0);
    CHECK(law->rise_db == 2.0);            // in the middle of two
    CHECK_FALSE(law->even);
    REQUIRE(law->runs.size() == 2);
    CHECK(law->runs[0].from == 10.0);
    CHECK(law->runs[0].to == 12.0);
    CHECK(law->runs[0].rise_db == 1.0);
    CHECK(law->runs[1].from == 12.0);
    CHECK(law->runs[1].to == 13.0);
    for (VolumeStep& step : one.curve.steps) step.volume.reset();
    const auto unknown = read_one(one).volume_law;
    REQUIRE(unknown);
    CHECK_FALSE(unknown->volumes_known);
    CHECK(unknown->steps[1].rise_db == 2.0);   // by settings
    CHECK(unknown->runs[0].from == 1.0);
    CHECK(unknown->runs[1].to == 3.0);
}

TEST_CASE("steps are alike within 0.1 dB or 15 percent of their run's mean", "[volume_law]") {
    const auto runs = [](const std::vector<double>& rises) {
        std::vector<Level> levels = {{-60}};
        for (const double rise : rises) levels.push_back({levels.back().dbfs + rise});
        GainCurve curve = curve_of(levels);
        const auto law = read_one(curve).volume_law;
        REQUIRE(law);
        CHECK(law->even == (law->runs.size() == 1));
        return law->runs;
    };
    CHECK(runs({0.5, 0.59}).size() == 1);
    CHECK(runs({0.5, 0.61}).size() == 2);
    CHECK(runs({2.0, 2.29}).size() == 1);
    CHECK(runs({2.0, 2.31}).size() == 2);
    CHECK(runs({2.0, 1.69}).size() == 2);
    const auto mean = runs({2.0, 2.2, 2.4});   // 2.0, 2.1, and 2.4 within 15 % of that
    REQUIRE(mean.size() == 1);
    CHECK(mean[0].rise_db == Approx(2.2));
    CHECK(mean[0].from == 1.0);
    CHECK(mean[0].to == 4.0);
    CHECK(runs({2.0, 2.2, 2.42}).size() == 2);   // 15 % of 2.1 is 0.315
    CHECK(runs({1.0, 1.0, 3.0, 3.0, 3.0}).size() == 2);
    CHECK(runs({1.0, 1.0, 3.0, 3.0, 3.0})[1].rise_db == Approx(3.0));
    CHECK(runs({1.0, 1.0, 3.0, 3.0, 3.0})[1].from == 3.0);
}

TEST_CASE("what lies above a step that isn't clean, or from where it lags, is no law", "[volume_law]") {
    GainCurve broken = curve_of({{-30}, {-28}, {-26}, {-24, kBent}, {-22}, {-20}});
    CHECK(read_one(broken).volume_law.value().steps.size() == 3);
    GainCurve first = curve_of({{-30, kBent}, {-28}, {-26}, {-24}});   // below the first clean one it is noise
    CHECK(read_one(first).volume_law.value().steps.size() == 3);
    GainCurve lags = curve_of({{-30}, {-28}, {-26}, {-24}, {-23.5}, {-23.4}});
    lags.lags_from = {4, 3};
    CHECK(read_one(lags).volume_law.value().steps.size() == 4);
    GainCurve stepped = curve_of({{-30}, {-28}, {-26}});
    stepped.tone_is_stepped = true;   // the volume stood still
    CHECK_FALSE(read_one(stepped).volume_law);
}

TEST_CASE("the law is that of a tone from 200 Hz up, and of the most settings", "[volume_law]") {
    GainCurve bass = curve_of({{-30}, {-28}, {-26}, {-24}, {-22}}), treble = curve_of({{-30}, {-27}, {-24}}),
              longer = curve_of({{-30}, {-26}, {-22}, {-18}});
    bass.curve.tone_hz = 199;
    treble.curve.tone_hz = 200;
    const auto rise = [](std::vector<GainCurve> curves) { return read(curves).volume_law.value().rise_db; };
    CHECK(rise({bass}) == 2.0);
    CHECK(rise({bass, treble}) == 3.0);
    CHECK(rise({treble, bass}) == 3.0);
    CHECK(rise({treble, longer}) == 4.0);
    CHECK(rise({longer, treble}) == 4.0);
    GainCurve other = curve_of({{-30}, {-29}, {-28}, {-27}});
    CHECK(rise({longer, other}) == 4.0);   // the first of equals
}

TEST_CASE("a step lags behind the law of the clean ones below it", "[volume_law]") {
    // 2 dB a number: at volume 5 it would be -22, at 7 -18
    GainCurve one = curve_of({{-30}, {-28}, {-26}, {-24}, {-22.5, kBent}, {-21, kBent}});
    one.curve.steps[5].volume = 7;
    one.curve.steps[3].level_sd_db = 0.03;
    one.curve.steps[4].level_sd_db = 0.04;
    read_one(one);
    for (const std::size_t i : {0U, 1U, 2U}) CHECK_FALSE(one.curve.steps[i].compression_db);   // fewer than two rises below
    REQUIRE(one.curve.steps[3].compression_db);
    CHECK(*one.curve.steps[3].compression_db == Approx(0.0).margin(1e-9));
    CHECK(one.curve.steps[4].compression_db.value_or(0) == Approx(0.5));
    CHECK(one.curve.steps[4].compression_sd_db.value_or(0) == Approx(0.05));   // both levels' sd; the rises are alike
    CHECK(one.curve.steps[5].compression_db.value_or(0) == Approx(3.0));
    // rises that differ leave it open: 1.9, 2.1, 2.0 scatter by 0.1 a number
    GainCurve uneven = curve_of({{-30}, {-28.1}, {-26}, {-24}, {-24, kBent}});
    uneven.curve.steps[4].volume = 6;
    read_one(uneven);
    CHECK(uneven.curve.steps[4].compression_db.value_or(0) == Approx(4.0));
    CHECK(uneven.curve.steps[4].compression_sd_db.value_or(0) == Approx(0.2));
    // the last four rises count, by their median: 1, then 3 3 3 3
    GainCurve late = curve_of({{-30}, {-29}, {-26}, {-23}, {-20}, {-17}, {-15, kBent}});
    read_one(late);
    CHECK(late.curve.steps[6].compression_db.value_or(0) == Approx(1.0));
    CHECK(late.curve.steps[6].compression_sd_db.value_or(9) == Approx(0.0).margin(1e-9));
    // an input that overloads tells nothing
    GainCurve over = curve_of({{-30}, {-28}, {-26}, {-24}, {-22.5, kBent}});
    over.curve.steps[4].input_overload = true;
    read_one(over);
    CHECK_FALSE(over.curve.steps[4].compression_db);
}

TEST_CASE("steps at one volume lag alike, by their own levels", "[volume_law]") {
    GainCurve one = curve_of({{-30}, {-28}, {-26}, {-24}, {-22.5, kBent}, {-22.9, 4.0}});
    one.curve.steps[5].volume = 5;   // at the same volume, better: the worse speaks
    one.curve.steps[4].level_sd_db = 0.04;
    read_one(one);
    CHECK(one.curve.steps[4].compression_db.value_or(0) == Approx(0.5));
    CHECK(one.curve.steps[5].compression_db.value_or(0) == Approx(0.9));
    CHECK(one.curve.steps[5].compression_sd_db.value_or(0) == Approx(0.04));
}

TEST_CASE("left is held against right step by step, clean ones alone count", "[volume_law]") {
    const Take take;
    std::vector<GainCurve> curves = {curve_of({{-30}, {-28}, {-26}, {-23, kBent}}, Channel::left, &take),
                                     curve_of({{-31}, {-28.8}, {-27.4}, {-24}}, Channel::right, &take)};
    const GainAnalysis out = read(curves);
    REQUIRE(out.balances.size() == 1);
    const ChannelBalance& balance = out.balances[0];
    CHECK(balance.take == "a");
    CHECK(balance.tone_hz == 997.0);
    CHECK(balance.first == Channel::left);
    CHECK(balance.second == Channel::right);
    REQUIRE(balance.steps.size() == 4);
    CHECK(balance.steps[1].step == 2);
    CHECK(balance.steps[1].volume == 2.0);
    CHECK(balance.steps[1].balance_db == Approx(0.8));
    CHECK(balance.steps[1].clean);
    CHECK_FALSE(balance.steps[3].clean);
    CHECK(balance.balance_db.value_or(0) == Approx(1.0));    // median of 1.0, 0.8, 1.4
    CHECK(balance.tracking_db.value_or(0) == Approx(0.4));
    CHECK(out.warnings.empty());
    // at the probe: pads and scales
    curves[0].referred = {12.0, true};
    curves[1].referred = {10.0, true};
    CHECK(read(curves).balances.at(0).balance_db.value_or(0) == Approx(3.0));
    // steps that neither has clean leave no balance
    std::vector<GainCurve> bent = {curve_of({{-30, kBent}}, Channel::left, &take), curve_of({{-31}}, Channel::right, &take)};
    REQUIRE(read(bent).balances.size() == 1);
    CHECK_FALSE(read(bent).balances[0].balance_db);
    CHECK_FALSE(read(bent).balances[0].tracking_db);
    CHECK_FALSE(read(bent).balances[0].steps.at(0).clean);
    std::swap(bent[0].curve.steps, bent[1].curve.steps);
    CHECK_FALSE(read(bent).balances.at(0).balance_db);
}

TEST_CASE("channels are held against each other in one take, left against right, front or rear", "[volume_law]") {
    const Take take, another;
    const auto balances = [](Channel a, const Take* of_a, Channel b, const Take* of_b) {
        std::vector<GainCurve> curves = {curve_of({{-30}}, a, of_a), curve_of({{-31}}, b, of_b)};
        return read(curves).balances.size();
    };
    CHECK(balances(Channel::left, &take, Channel::right, &take) == 1);
    CHECK(balances(Channel::right, &take, Channel::left, &take) == 1);
    CHECK(balances(Channel::rear_left, &take, Channel::rear_right, &take) == 1);
    std::vector<GainCurve> rear = {curve_of({{-31}}, Channel::rear_right, &take), curve_of({{-30}}, Channel::rear_left, &take)};
    const ChannelBalance of_rear = read(rear).balances.at(0);
    CHECK(of_rear.first == Channel::rear_left);
    CHECK(of_rear.second == Channel::rear_right);
    CHECK(of_rear.balance_db.value_or(0) == Approx(1.0));
    CHECK(balances(Channel::left, &take, Channel::right, &another) == 0);
    CHECK(balances(Channel::left, &take, Channel::rear_right, &take) == 0);
    CHECK(balances(Channel::rear_left, &take, Channel::right, &take) == 0);
    CHECK(balances(Channel::center, &take, Channel::sub, &take) == 0);
    std::vector<GainCurve> apart = {curve_of({{-30}}, Channel::left, &take), curve_of({{-31}}, Channel::right, &take)};
    apart[1].curve.steps[0].number = 2;   // no step in common
    CHECK(read(apart).balances.empty());
    apart[1].curve.steps.clear();
    CHECK(read(apart).balances.empty());
    // one calibrated and the other not: which is louder can't be told
    std::vector<GainCurve> half = {curve_of({{-30}}, Channel::rear_left, &take), curve_of({{-31}}, Channel::rear_right, &take)};
    half[1].referred.calibrated = true;
    const GainAnalysis out = read(half);
    CHECK(out.balances.empty());
    REQUIRE(out.warnings.size() == 1);
    CHECK(out.warnings[0].code == "balance_unknown");
    CHECK(out.warnings[0].take == std::optional<std::string>("a"));
    CHECK(out.warnings[0].text.find("the rear right channel is calibrated and the rear left channel isn't") != std::string::npos);
    half[0].referred.calibrated = true;
    half[1].referred.calibrated = false;
    CHECK(read(half).warnings.at(0).text.find("the rear left channel is calibrated and the rear right channel isn't") != std::string::npos);
}

TEST_CASE("where one side bends the tone the other shows what the volume did", "[volume_law]") {
    const Take take;
    // the right one is straight all the way and 1 dB lower; the left one's last two steps are clipped
    const auto both = [&](bool left_bends) {
        std::vector<GainCurve> curves = {
            curve_of({{-30}, {-27}, {-25}, {-23.4, kBent}, {-23, kBent}}, left_bends ? Channel::left : Channel::right, &take),
            curve_of({{-31}, {-28}, {-26}, {-24}, {-22}}, left_bends ? Channel::right : Channel::left, &take)};
        curves[0].curve.steps[4].level_sd_db = 0.03;
        curves[1].curve.steps[4].level_sd_db = 0.04;
        read(curves);
        return curves;
    };
    for (const bool left_bends : {true, false}) {
        CAPTURE(left_bends);
        const auto curves = both(left_bends);
        const auto& steps = curves[0].curve.steps;
        CHECK(steps[3].compression_db.value_or(0) == Approx(0.4));   // -24 and 1 dB
        CHECK(steps[4].compression_db.value_or(0) == Approx(2.0));
        CHECK(steps[4].compression_sd_db.value_or(0) == Approx(0.05));   // both levels'; their balance doesn't stray
        CHECK_FALSE(steps[2].compression_db.value_or(0) > 1e-9);
    }
    // the balance's own straying: 1.9, 2.0, 2.2 scatter by the root of (0.01 + 0.04) / 2; the left one's rises differ by far more
    std::vector<GainCurve> strays = {curve_of({{-30.1}, {-26}, {-24.8}, {-23.4, kBent}}, Channel::left, &take),
                                     curve_of({{-32}, {-28}, {-27}, {-25}}, Channel::right, &take)};
    read(strays);
    CHECK(strays[0].curve.steps[3].compression_db.value_or(0) == Approx(0.4));
    CHECK(strays[0].curve.steps[3].compression_sd_db.value_or(0) == Approx(std::sqrt(0.025)));
    // not where its own law is surer, nor with fewer than three clean steps, nor against a step that bends, too, or one that overloads
    std::vector<GainCurve> surer = {curve_of({{-30}, {-28}, {-26}, {-24.2, kBent}}, Channel::left, &take),
                                    curve_of({{-31}, {-28.8}, {-27.2}, {-24}}, Channel::right, &take)};
    read(surer);
    CHECK(surer[0].curve.steps[3].compression_db.value_or(0) == Approx(0.2));   // -24 by its own rises of 2 dB, which don't scatter
    std::vector<GainCurve> few = {curve_of({{-30}, {-27}, {-23.4, kBent}}, Channel::left, &take),
                                  curve_of({{-31}, {-28}, {-24}}, Channel::right, &take)};
    read(few);
    CHECK_FALSE(few[0].curve.steps[2].compression_db);
    auto bent = both(true);
    for (VolumeStep& step : bent[0].curve.steps) step.compression_db.reset(), step.compression_sd_db.reset();
    bent[1].curve.steps[4].thd_percent = kBent;
    bent[0].curve.steps[3].input_overload = true;
    read(bent);
    CHECK_FALSE(bent[0].curve.steps[3].compression_db);
    CHECK(bent[0].curve.steps[4].compression_db.value_or(0) > 2.1);   // by its own law alone
    // at the probe: a pad of 6 dB before one of them changes nothing
    auto padded = both(true);
    for (GainCurve& one : padded)
        for (VolumeStep& step : one.curve.steps) step.compression_db.reset(), step.compression_sd_db.reset();
    padded[1].referred.offset_db = 6.0;
    read(padded);
    CHECK(padded[0].curve.steps[4].compression_db.value_or(0) == Approx(2.0));
    // the tone's own level was turned: nothing was asked of the volume
    auto stepped = both(true);
    for (GainCurve& one : stepped) {
        one.tone_is_stepped = true;
        for (VolumeStep& step : one.curve.steps) step.compression_db.reset();
    }
    CHECK(read(stepped).balances.size() == 1);
    CHECK_FALSE(stepped[0].curve.steps[4].compression_db);
}
