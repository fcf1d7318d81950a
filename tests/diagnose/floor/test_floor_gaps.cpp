#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"

using namespace hushtrace;
using namespace floor_job;
using Catch::Matchers::Contains;
using Catch::Matchers::Equals;

namespace {

FloorRecord with_gaps(const OpenedJob& opened, FloorRecord record, const GainAnalysis* gain = nullptr) {
    tell_gaps(opened, gain, record);
    return record;
}
std::vector<std::string> what_lacks(const FloorRecord& record) {
    std::vector<std::string> out;
    for (const FloorGap& one : record.gaps) out.push_back(one.what);
    return out;
}
using Words = std::vector<std::string>;

}  // namespace

TEST_CASE("the gaps are the conditions that a vehicle has, each with what to type", "[floor_gaps]") {
    OpenedJob opened = job_of();
    FloorRecord record = with_gaps(opened, {});
    CHECK(what_lacks(record) == Words{"condition_off", "condition_idle", "condition_raised", "condition_loads"});
    CHECK(record.gaps[0].command == "hushtrace capture --job /jobs/van --device NAME --engine off --volume VOLUME --source on --laptop battery");
    CHECK_THAT(record.gaps[0].text, Contains("No floor with the engine off"));
    CHECK_THAT(record.gaps[1].text, Contains("No floor at idle"));
    CHECK_THAT(record.gaps[2].text, Contains("No floor at a raised speed"));
    CHECK_THAT(record.gaps[2].command, Contains("--engine raised --rpm 2000 --volume"));
    CHECK_THAT(record.gaps[3].text, Contains("No floor with loads on"));
    CHECK_THAT(record.gaps[3].command,
               Contains("capture --job /jobs/van --device NAME --engine idle --loads headlights,blower,rear_defogger --volume VOLUME"));
    for (const Drive drive : {Drive::hybrid, Drive::electric}) {
        opened.job.vehicle.drive = drive;
        record = with_gaps(opened, {});
        CHECK(what_lacks(record) == Words{"condition_off", "condition_ready", "condition_loads"});
        CHECK_THAT(record.gaps[1].text, Contains("awake"));
        CHECK_THAT(record.gaps[1].command, Contains("--engine ready"));
        CHECK_THAT(record.gaps[2].command, Contains("--engine ready --loads"));
    }
    opened.job.vehicle.drive = Drive::diesel;
    record = record_of(Engine::idle);
    record.conditions[0].volume.reset();
    record.conditions.push_back(record.conditions[0]);
    record.conditions[1].volume = 12.5;
    record.conditions[1].engine = Engine::raised;
    record = with_gaps(opened, record);
    CHECK(what_lacks(record) == Words{"condition_off", "condition_loads"});
    CHECK_THAT(record.gaps[0].command, Contains(" --volume 12.5 --source on"));
    // loads tell something while the engine turns, or the vehicle is awake
    for (const auto& [engine, lacking] : {std::pair{Engine::off, true}, {Engine::key_on, true}, {Engine::ready, false}, {Engine::idle, false}}) {
        record = record_of(engine);
        record.conditions[0].loads = {"headlights"};
        CHECK(lacks(with_gaps(opened, record), "condition_loads") == lacking);
    }
}

TEST_CASE("scale, the interface's own noise and a ceiling are missed by channels that hold sound", "[floor_gaps]") {
    OpenedJob opened = job_of();
    FloorRecord record = record_of();
    const auto missed = [&](const GainAnalysis* gain = nullptr) {
        Words out = what_lacks(with_gaps(opened, record, gain));
        REQUIRE(out.size() >= 3);
        return Words(out.begin() + 3, out.end());  // idle, raised, loads
    };
    CHECK(missed().empty());
    for (const InterfaceKnown known : {InterfaceKnown::whole, InterfaceKnown::nothing}) {
        channel_of(record).floor.bands_interface = known;
        CHECK(missed() == (known == InterfaceKnown::nothing ? Words{"own_noise"} : Words{}));
    }
    CHECK_THAT(
        with_gaps(opened, record).gaps[3].command,
        Equals("hushtrace capture --job /jobs/van --device NAME --name shorted --hookup inputs_shorted, then hushtrace calibrate --job /jobs/van "
               "--floor takes/shorted.flac"));
    CHECK_THAT(with_gaps(opened, record).gaps[3].text, Contains("Short the inputs"));
    channel_of(record).floor.unweighted.dbv.reset();
    CHECK(missed() == Words{"calibration"});
    CHECK_THAT(with_gaps(opened, record).gaps[3].command,
               Equals("hushtrace calibrate --job /jobs/van --take takes/calibration.flac --volts READING"));
    CHECK_THAT(with_gaps(opened, record).gaps[3].text, Contains("Not calibrated"));
    channel_of(record).signal_to_noise_db.reset();
    CHECK(missed() == Words{"calibration", "ceiling"});
    FloorGap ceiling = with_gaps(opened, record).gaps[4];
    CHECK_THAT(ceiling.command,
               Contains("hushtrace capture --job /jobs/van --device NAME --engine off --tone sine --level 0") && Contains("--volume-steps 20,24,"));
    CHECK_THAT(ceiling.text, Contains("step the volume."));
    // silence misses nothing of that
    channel_of(record).floor.third_octaves.clear();
    CHECK(missed().empty());
    channel_of(record).floor.third_octaves.resize(1);
    // why there is no ceiling, where the analysis says it
    GainAnalysis gain;
    gain.ceiling_text = "Because of this.";
    const auto says_why = [&] {
        return with_gaps(opened, record, &gain).gaps[4].text.find("step the volume. Because of this.") != std::string::npos;
    };
    gain.ceiling_reason = "too_noisy";
    CHECK(says_why());
    gain.ceiling_reason = "never_clips";
    CHECK_FALSE(says_why());
    gain.ceiling_reason = "too_noisy";
    gain.ceiling_text.clear();
    CHECK_THAT(with_gaps(opened, record, &gain).gaps[4].text, Catch::Matchers::EndsWith("step the volume."));
}

TEST_CASE("an amplifier is missed, its power, and a reading at its output where a gain was worked out", "[floor_gaps]") {
    OpenedJob opened = job_of();
    FloorRecord record = record_of();
    const GainAnalysis gain;
    const auto missed = [&](const GainAnalysis* by) {
        const FloorRecord told = with_gaps(opened, record, by);
        std::vector<FloorGap> out;
        for (const FloorGap& one : told.gaps)
            if (one.what == "amplifier" || one.what == "gain") out.push_back(one);
        return out;
    };
    CHECK(missed(&gain).empty());
    amplifier_of(record).gain_from = "required";
    CHECK(missed(nullptr).empty());
    REQUIRE(missed(&gain).size() == 1);
    CHECK(missed(&gain)[0].what == "gain");
    CHECK_THAT(missed(&gain)[0].text, Contains("The gain of the amplifier front was not read at its output"));
    CHECK_THAT(missed(&gain)[0].command,
               Contains("hushtrace job --job /jobs/van --observe amplifier_output=READINGV --at-amplifier front --volume VOLUME"));
    amplifier_of(record).gain_from = "found";
    amplifier_of(record).amplifier = "other";
    CHECK(missed(&gain).size() == 1);
    record.conditions.clear();
    CHECK(missed(&gain).empty());
    record = record_of();
    opened.job.amplifiers[0].load_ohm.reset();
    amplifier_of(record).gain_from = "required";
    REQUIRE(missed(&gain).size() == 1);
    CHECK(missed(&gain)[0].what == "amplifier");
    CHECK_THAT(missed(&gain)[0].text, Contains("The power or the load of the amplifier front isn't known"));
    CHECK_THAT(missed(&gain)[0].command, Equals("hushtrace job --job /jobs/van --amplifier 'front,power_w=WATTS,load_ohm=OHMS'"));
    opened.job.amplifiers.clear();
    REQUIRE(missed(nullptr).size() == 1);
    CHECK_THAT(missed(nullptr)[0].text, Contains("describes no amplifier"));
    CHECK_THAT(missed(nullptr)[0].command, Contains("--amplifier NAME,power_w=WATTS"));
}

TEST_CASE("a folder is written so that a shell reads it as one word", "[floor_gaps]") {
    for (const auto& [folder, word] : {std::pair{"/jobs/aAzZ09._-+", "/jobs/aAzZ09._-+"},
                                       {"/jobs/the van", "'/jobs/the van'"},
                                       {"o'clock", "'o'\\''clock'"},
                                       {"-rf", "'-rf'"},
                                       {"", "''"},
                                       {"a;b", "'a;b'"},
                                       {"a@b", "'a@b'"},
                                       {"a[b", "'a[b'"},
                                       {"a`b", "'a`b'"},
                                       {"a{b", "'a{b'"},
                                       {"a:b", "'a:b'"},
                                       {"a$b", "'a$b'"}}) {
        OpenedJob opened = job_of();
        opened.folder = folder;
        CHECK_THAT(with_gaps(opened, {}).gaps.at(0).command,
                   Catch::Matchers::StartsWith("hushtrace capture --job " + std::string(word) + " --device"));
    }
}
