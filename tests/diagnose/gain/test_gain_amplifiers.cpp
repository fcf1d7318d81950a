#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

bool noted(const AmplifierSetting& setting, const std::string& words) {
    return says(setting.notes, words);
}

}  // namespace

TEST_CASE("the target output is the root of power times load", "[gain]") {
    // power_voltage.csv: power_w, load_ohm, voltage_rms_v (Ohm's law), printed to four decimals
    JobInMemory job = job_with_amplifier();
    job.opened.job.amplifiers.clear();
    std::ifstream file(std::string(HUSHTRACE_REFERENCE_DIR) + "/power_voltage.csv");
    REQUIRE(file.is_open());
    std::vector<double> expected;
    std::string line;
    std::getline(file, line);
    while (std::getline(file, line)) {
        std::stringstream cells(line);
        std::string power, load, voltage;
        std::getline(cells, power, ',');
        std::getline(cells, load, ',');
        std::getline(cells, voltage, ',');
        AmplifierData amplifier;
        amplifier.name = power + " W, " + load + " ohm";
        amplifier.power_w = std::stod(power);
        amplifier.load_ohm = std::stod(load);
        job.opened.job.amplifiers.push_back(amplifier);
        expected.push_back(std::stod(voltage));
    }
    REQUIRE(expected.size() > 40);
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.amplifiers.size() == expected.size());
    for (std::size_t i = 0; i < expected.size(); ++i) {
        CAPTURE(gain.amplifiers[i].name);
        CHECK(*gain.amplifiers[i].target_output_v == Approx(expected[i]).margin(0.00006));
    }
}

TEST_CASE("sensitivity and gain follow from the level at the ceiling", "[gain]") {
    const GainAnalysis gain = job_with_amplifier().analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);
    // sample value 1.0 is 8 V peak: -6.2 dBFS is 8/sqrt(2) * 10^(-6.2/20) = 2.7706 V rms
    CHECK(*gain.ceiling->level_v == Approx(2.7706).epsilon(0.001));
    REQUIRE(gain.amplifiers.size() == 1);
    const AmplifierSetting& front = gain.amplifiers[0];
    CHECK(*front.input_v_at_ceiling == Approx(2.7706).epsilon(0.001));
    CHECK(*front.sensitivity_v == Approx(2.7706).epsilon(0.001));
    CHECK(*front.gain_db == Approx(20 * std::log10(20.0 / 2.7706)).margin(0.01));
    CHECK_FALSE(front.noise_at_output_dbv);
    CHECK_FALSE(noted(front, "outside"));
}

TEST_CASE("an overlap tone sets the gain by its own level and says what full scale would ask", "[gain]") {
    const GainAnalysis gain = job_with_amplifier(-5.0).analyse();
    const AmplifierSetting& front = gain.amplifiers.at(0);
    CHECK(*front.sensitivity_v == Approx(2.7706).epsilon(0.001));
    CHECK(*front.input_v_at_ceiling == Approx(2.7706 * std::pow(10.0, 0.25)).epsilon(0.001));
    CHECK(noted(front, "-5 dBFS"));
}

TEST_CASE("what lies outside an amplifier's range, or makes no sense, is noted", "[gain]") {
    JobInMemory job = job_with_amplifier();
    auto& amplifiers = job.opened.job.amplifiers;
    amplifiers.resize(5, amplifiers[0]);
    amplifiers[0].sensitivity_v = {3.0, 8.0};
    amplifiers[1].sensitivity_v = {2.0, 0.2};  // ends swapped
    amplifiers[2].load_ohm = 0;
    amplifiers[3].bridged_output = true;
    amplifiers[4].power_w.reset();
    const GainAnalysis gain = job.analyse();
    CHECK(noted(gain.amplifiers[0], "outside the amplifier's range 3 to 8 V"));
    CHECK(noted(gain.amplifiers[1], "outside the amplifier's range 0.2 to 2 V"));
    CHECK_FALSE(gain.amplifiers[2].target_output_v);
    CHECK_FALSE(gain.amplifiers[2].gain_db);
    CHECK(gain.amplifiers[2].sensitivity_v);
    CHECK(noted(gain.amplifiers[2], "load_ohm"));
    CHECK(noted(gain.amplifiers[3], "bridged"));
    CHECK_FALSE(gain.amplifiers[4].target_output_v);
}

TEST_CASE("without calibration the volume stands and the volts are left open", "[gain]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.interface.volts_full_scale.clear();
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);
    CHECK_FALSE(gain.ceiling->level_v);
    CHECK_FALSE(gain.amplifiers[0].sensitivity_v);
    CHECK(*gain.amplifiers[0].target_output_v == Approx(20.0));
    CHECK(noted(gain.amplifiers[0], "calibrate"));
}

TEST_CASE("a pad's loss is added back", "[gain]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.takes[0].attenuation_db = {10.0, 10.0};
    CHECK(*job.analyse().ceiling->level_v == Approx(2.7706 * std::pow(10.0, 0.5)).epsilon(0.001));
}

TEST_CASE("noise at the output and at the ear is the input's noise through the gain", "[gain]") {
    JobInMemory job = job_with_amplifier();
    // White noise of 1e-4 full scale rms over 0..24 kHz, so 1e-4 sqrt(19980/24000) within 20 Hz to 20 kHz;
    // times 8 V.
    Block noise(2, 480000);
    std::mt19937_64 engine(11);
    std::normal_distribution<double> normal(0.0, 1e-4);
    for (std::size_t c = 0; c < 2; ++c)
        for (double& x : noise.channel(c)) x = normal(engine);
    Take take;
    take.file = "noise.flac";
    take.channels = {Channel::left, Channel::right};
    job.opened.job.takes.push_back(take);
    job.sound["noise.flac"] = {noise, 48000.0};
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.sensitivity_db_2v83_1m = 90;
    speaker.distance_m = 0.8;
    job.opened.job.speakers = {speaker};
    const double input_dbv = 20 * std::log10(8 * 1e-4 * std::sqrt(19980.0 / 24000));
    const GainAnalysis gain = job.analyse();
    const AmplifierSetting& front = gain.amplifiers.at(0);
    REQUIRE(front.noise_at_output_dbv);
    CHECK(*front.noise_at_output_dbv == Approx(input_dbv + *front.gain_db).margin(0.15));
    // 90 dB at 2.83 V and 1 m; a distance of 0.8 m brings 1.94 dB
    CHECK(*front.noise_at_ear_db_spl == Approx(90 + *front.noise_at_output_dbv - 9.04 + 1.94).margin(0.02));

    // The interface's own noise, 3.01 dB below, is taken off in power: 3.02 dB less.
    job.opened.job.interface.own_noise_dbv = {input_dbv - 3.03, input_dbv - 3.03};
    const GainAnalysis less = job.analyse();
    CHECK(*less.amplifiers[0].noise_at_output_dbv == Approx(*front.noise_at_output_dbv - 3.0).margin(0.2));
}

TEST_CASE("a sub amplifier goes by the sub channel's level", "[gain]") {
    JobInMemory job = job_with_amplifier();
    Source low;
    low.tone_hz = 40;
    low.channels = {hard(0.5)};
    low.channel_gain = {1.0};
    low.stops = staircase(-18.2, 2.0, 9);
    Take& take = job.add("sub.flac", low, volumes_from(20, 9));
    take.channels = {Channel::sub};
    AmplifierData sub = job.opened.job.amplifiers[0];
    sub.name = "Sub";
    job.opened.job.amplifiers.push_back(sub);
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);  // the front channels clip first; the sub alone would go to 26
    CHECK(gain.curves.back().ceiling->volume == 26.0);
    // at volume 23 the sub gives -12.2 dBFS: 8/sqrt(2) * 10^(-12.2/20) = 1.3886 V
    CHECK(*gain.amplifiers[0].sensitivity_v == Approx(2.7706).epsilon(0.001));
    CHECK(*gain.amplifiers[1].sensitivity_v == Approx(1.3886).epsilon(0.001));
}

TEST_CASE("of two tones the one that asks most at full scale sets the gain", "[gain]") {
    JobInMemory job = job_with_amplifier();  // 997 Hz at 0 dBFS: 2.7706 V at volume 23
    Source low;
    low.tone_hz = 40;
    low.stops = staircase(-14.2, 2.0, 5);
    job.add("low.flac", low, volumes_from(20, 5), -12.0);
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);
    const AmplifierSetting& front = gain.amplifiers.at(0);
    // -8.2 dBFS of 8 V peak are 2.2008 V rms as played, fewer than the high tone's; at full scale 12 dB more: 8.761 V
    const double full_scale_v = 8 / std::sqrt(2.0) * std::pow(10.0, (12.0 - 8.2) / 20);
    CHECK(*front.input_v_at_ceiling == Approx(full_scale_v).epsilon(0.001));
    CHECK(*front.tone_hz == 40.0);
    CHECK(*front.tone_dbfs == -12.0);
    // the high tone was seen clean at full scale: nothing is allowed for its sake
    CHECK(front.allowance_db == 0.0);
    CHECK(front.allowance_from.empty());
    CHECK(*front.sensitivity_v == Approx(full_scale_v).epsilon(0.001));
    CHECK(*front.confirm_tone_dbfs == 0.0);
    CHECK(noted(front, "12.0 dB less than the target output from 2.20 V"));
}

TEST_CASE("without a ceiling nothing is said of setting the gain", "[gain]") {
    JobInMemory job = job_with_amplifier();
    CHECK(noted(job.analyse().amplifiers.at(0), "set it with the speakers disconnected"));
    Source bent;
    bent.stops = staircase(-12.2, 2.0, 5);
    bent.channels = {hard(0.1), hard(0.1)};
    job.sound["a.flac"].first = render(bent);
    const GainAnalysis gain = job.analyse();
    CHECK(gain.ceiling_reason == "always_distorted");
    CHECK_FALSE(gain.ceiling_usable());
    CHECK(noted(gain.amplifiers.at(0), "no ceiling, so no gain"));
    CHECK_FALSE(noted(gain.amplifiers[0], "set it with the speakers disconnected"));
    CHECK_FALSE(gain.amplifiers[0].gain_db);
}

TEST_CASE("a curve without volumes is taken at its highest clean step, and that is said", "[gain]") {
    JobInMemory job = job_with_amplifier();
    Source low;
    low.tone_hz = 40;
    low.channels = {hard(0.5)};
    low.channel_gain = {1.0};
    low.stops = staircase(-30.2, 2.0, 9);
    job.add("sub.flac", low, volumes_from(20, 14)).channels = {Channel::sub};  // 9 plateaus don't match 14 volumes
    AmplifierData sub = job.opened.job.amplifiers[0];
    sub.name = "sub";
    job.opened.job.amplifiers.push_back(sub);
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);
    CHECK(noted(gain.amplifiers.at(1), "the volumes of sub.flac aren't known"));
    CHECK(noted(gain.amplifiers[1], "at volume 23"));
    CHECK_FALSE(noted(gain.amplifiers[0], "aren't known"));
}

TEST_CASE("bass that was captured sets the gain of an amplifier that plays bass alone, and of no other", "[gain]") {
    // the source gives 3 dB less at 45 Hz: a sub behind its low-pass never gets what 997 Hz would bring
    for (const char* const name : {"sub", "front"}) {
        JobInMemory job = job_with_amplifier();
        job.opened.job.amplifiers[0].name = name;
        job.opened.job.amplifiers[0].channels = {Channel::left, Channel::right};
        const double alone_v = *job.analyse().amplifiers.at(0).sensitivity_v;
        stepped_source::Source bass;
        bass.tone_hz = 45;
        bass.stops = stepped_source::staircase(-15.2, 2.0, 5);
        job.add("bass.flac", bass, volumes_from(20, 5));
        const AmplifierSetting one = job.analyse().amplifiers.at(0);
        CAPTURE(name);
        CHECK(*one.tone_hz == Approx(std::string(name) == "sub" ? 45.0 : 997.0).epsilon(1e-3));
        CHECK(*one.sensitivity_v == Approx(alone_v * (std::string(name) == "sub" ? std::pow(10.0, -0.15) : 1.0)).epsilon(0.01));
    }
}
