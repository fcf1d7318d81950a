#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/made_curves.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using namespace made_curves;

namespace {

const Take kTake{};

/// Curves with volts, one amplifier of 100 W into 4 ohm, and no other take.
struct Fed {
    OpenedJob opened;
    GainAnalysis analysis;
    std::vector<GainCurve> curves;

    Fed() {
        AmplifierData amplifier;
        amplifier.name = "front";
        amplifier.power_w = 100;
        amplifier.load_ohm = 4;
        opened.job.amplifiers = {amplifier};
    }
    /// `volts` at volumes 20, 21 ..., clean to the last but one.
    GainCurve& add(double tone_hz, const std::vector<double>& volts, Channel channel = Channel::left) {
        GainCurve one = curve_of(kTake, channel, tone_hz, at_levels(std::vector<double>(volts.size(), 0)));
        for (std::size_t i = 0; i < volts.size(); ++i) {
            one.curve.steps[i].level_v = volts[i];
            one.curve.steps[i].level_dbfs = 20 * std::log10(volts[i]) - 20;
        }
        one.curve.steps.back().thd_percent = 9;
        curves.push_back(one);
        return curves.back();
    }
    AmplifierSetting set() {
        std::vector<Warning> warnings;
        GainAnalysis out = analysis;
        for (GainCurve& one : curves) decide_ceiling(one, 1.0, warnings);
        choose_ceiling(curves, out);
        ceiling = out.ceiling;
        set_amplifiers(
            opened, [](const Take& take) -> std::unique_ptr<BlockReader> { throw Error(ErrorKind::file_unreadable, take.file); }, curves, {}, out);
        REQUIRE(out.amplifiers.size() == 1);
        return out.amplifiers[0];
    }
    std::optional<Ceiling> ceiling;
};
std::size_t count(const AmplifierSetting& setting, const std::string& words) {
    std::size_t out = 0;
    for (const std::string& one : setting.notes) out += one.find(words) != std::string::npos;
    return out;
}

}  // namespace

TEST_CASE("of the tones that feed an amplifier the one with most volts at full scale sets its gain", "[gain][amplifiers]") {
    Fed fed;
    fed.add(997, {1.0, 1.5, 2.0});
    fed.add(440, {1.0, 1.2, 2.0}, Channel::right).tone_level_dbfs = -20 * std::log10(2.0);
    AmplifierSetting front = fed.set();
    CHECK(front.name == "front");
    CHECK(front.channels == std::vector<Channel>{Channel::left, Channel::right});
    CHECK(front.volume == 21.0);
    CHECK(front.tone_hz == 440.0);  // 2.4 V were it at full scale
    CHECK(*front.input_v_at_ceiling == Approx(2.4));
    CHECK(front.allowance_db == 0);  // the other tone was seen clean at full scale
    fed.curves[1].curve.steps[1].level_v = 0.7;
    CHECK(fed.set().tone_hz == 997.0);
    std::swap(fed.curves[0], fed.curves[1]);
    CHECK(fed.set().tone_hz == 997.0);
    CHECK(fed.set().channels == std::vector<Channel>{Channel::right, Channel::left});
    fed.curves[0].curve.steps[1].level_v = 1.2;
    CHECK(fed.set().tone_hz == 440.0);
    CHECK(fed.set().allowance_db == 0);
    fed.curves[1].curve.channel = Channel::right;
    CHECK(fed.set().channels == std::vector<Channel>{Channel::right});
    // both below full scale: the nearer of the two allows
    fed.curves[1].tone_level_dbfs = -3;
    CHECK(fed.set().allowance_db == Approx(3));
}

TEST_CASE("what another channel's ceiling leaves unused of an amplifier's own is told in decibels", "[gain][amplifiers]") {
    Fed fed;
    fed.opened.job.amplifiers[0].channels = {Channel::left};
    fed.add(997, {1.0, 1.5, 2.0, 3.0, 4.0});
    fed.add(997, {1.0, 1.5, 2.0}, Channel::rear_right);
    fed.curves[1].curve.steps.resize(3);
    AmplifierSetting front = fed.set();
    CHECK(front.volume == 21.0);
    CHECK(front.own_ceiling_volume == 23.0);
    CHECK(count(front, "would stay clean up to volume 23, but the rear_right channel ends the volume at 21") == 1);
    CHECK(count(front, "6.0 dB of its source are left unused") == 1);  // 3 V against 1.5
    // of its own the lowest
    fed.add(440, {1.0, 1.5, 2.0, 3.0});
    CHECK(fed.set().own_ceiling_volume == 22.0);
    std::swap(fed.curves[0], fed.curves[2]);
    CHECK(fed.set().own_ceiling_volume == 22.0);
    fed.curves.pop_back();
    // a tenth of a decibel is worth a word
    for (const auto& [more_db, said] : {std::pair{0.09, 0U}, {0.11, 1U}}) {
        fed.curves[0].curve.steps[2].level_dbfs = fed.curves[0].curve.steps[1].level_dbfs + more_db;
        CHECK(count(fed.set(), "are left unused") == said);
    }
    fed.curves.erase(fed.curves.begin() + 1);
    CHECK(count(fed.set(), "are left unused") == 0);
    CHECK(fed.set().own_ceiling_volume == 22.0);
}

TEST_CASE("an amplifier's cautions: bridged outputs, tweeters, a full-power tone", "[gain][amplifiers]") {
    Fed fed;
    fed.add(997, {1.0, 1.5, 2.0});
    AmplifierData& amplifier = fed.opened.job.amplifiers[0];
    CHECK(count(fed.set(), "bridged output") == 0);
    CHECK(count(fed.set(), "speakers disconnected") == 1);
    amplifier.bridged_output = false;
    CHECK(count(fed.set(), "bridged output") == 0);
    amplifier.bridged_output = true;
    CHECK(count(fed.set(), "bridged output: both wires are live") == 1);
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.kind = SpeakerKind::woofer;
    fed.opened.job.speakers = {speaker, speaker, speaker};
    CHECK(count(fed.set(), "tweeter hangs on it") == 0);
    fed.opened.job.speakers[1].kind = SpeakerKind::tweeter;
    CHECK(count(fed.set(), "tweeter hangs on it") == 1);
    fed.opened.job.speakers[1].amplifier = "rear";
    CHECK(count(fed.set(), "tweeter hangs on it") == 0);
    // a refusal says why, and nothing else about setting it
    fed.opened.job.source.output = OutputKind::speaker;
    amplifier.input = OutputKind::line;
    AmplifierSetting refused = fed.set();
    CHECK(refused.refused);
    CHECK(count(refused, "speakers disconnected") == 0);
    CHECK(count(refused, "not calibrated") == 0);
    CHECK_FALSE(refused.gain_db);
    for (VolumeStep& step : fed.curves[0].curve.steps) step.level_v.reset();
    refused = fed.set();
    CHECK(refused.refused);
    CHECK(count(refused, "not calibrated") == 0);
    fed.opened.job.source.output.reset();
    amplifier.power_w.reset();
    CHECK(count(fed.set(), "speakers disconnected") == 0);
}

TEST_CASE("why an amplifier has no gain though its source has a ceiling", "[gain][amplifiers]") {
    Fed fed;
    fed.add(997, {1.0, 1.5, 2.0});
    CHECK(count(fed.set(), "no ceiling") == 0);
    CHECK(count(fed.set(), "for the highest volume that was played") == 0);
    for (VolumeStep& step : fed.curves[0].curve.steps) step.level_v.reset();
    AmplifierSetting front = fed.set();
    CHECK_FALSE(front.gain_db);
    CHECK(count(front, "not calibrated: run hushtrace calibrate") == 1);
    // its own curve was played elsewhere
    fed.opened.job.amplifiers[0].channels = {Channel::right};
    GainCurve& right = fed.add(440, {1.0, 1.5, 2.0}, Channel::right);
    for (VolumeStep& step : right.curve.steps) step.volume = *step.volume + 5;
    CHECK(count(fed.set(), "weren't played at volume 21, nor above and below it") == 1);
    fed.curves.clear();
    fed.add(997, {1.0, 1.5, 2.0});
    Take elsewhere;
    elsewhere.conditions.at_amplifier = "rear";
    fed.curves[0].take = &elsewhere;
    CHECK(count(fed.set(), "no take tells what feeds it") == 1);
    CHECK(fed.set().channels.empty());
    // no ceiling at all
    fed.curves[0].take = &kTake;
    for (VolumeStep& step : fed.curves[0].curve.steps) step.thd_percent = 5;
    front = fed.set();
    CHECK(count(front, "no ceiling, so no gain can be given") == 1);
    CHECK_FALSE(front.volume);
    CHECK_FALSE(front.gain_db);
    CHECK(front.target_output_v == Approx(20));
}

TEST_CASE("without a ceiling the highest volume that all channels played clean stands in", "[gain][amplifiers]") {
    Fed fed;
    fed.add(997, {1.0, 1.5, 2.0, 3.0});
    fed.add(440, {1.0, 1.5, 2.0}, Channel::right);
    for (GainCurve& one : fed.curves) one.curve.steps.back().thd_percent = 0.01;
    AmplifierSetting front = fed.set();
    CHECK_FALSE(fed.ceiling);
    CHECK(front.volume == 22.0);
    CHECK(front.gain_db == Approx(20 * std::log10(20 / 2.0)));
    CHECK(count(front, "for the highest volume that was played, since no clipping was found") == 1);
    CHECK(count(front, "are left unused") == 0);
    std::swap(fed.curves[0], fed.curves[1]);
    CHECK(fed.set().volume == 22.0);
    // what a crossover keeps from a channel leaves it noisy, which ends nothing
    GainCurve& held = fed.add(50, {0.01, 0.02}, Channel::rear_left);
    held.curve.steps[1].thd_percent = 0.9;
    held.curve.steps[1].thd_sd_percent = 0.5;
    held.held_back = true;
    CHECK(fed.set().volume == 22.0);
    held.held_back = false;
    CHECK_FALSE(fed.set().volume);
}
