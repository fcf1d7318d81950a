#include <catch2/catch.hpp>
#include <string>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

Job parse(const std::string& fields) {
    std::vector<Warning> warnings;
    const Job job = parse_job(R"({"schema":"hushtrace.job/1","title":"t",)" + fields + "}", warnings);
    CHECK(warnings.empty());
    return job;
}

const char* const kAll = R"("amplifiers":[{"name":"sub","power_w":500,"load_ohm":2,"channels":["sub"],"dial_law":"linear","dial_marks":[0,10],
  "dial_turn_deg":270,"allowance_db":3,"input_noise_dbv":-105,"converter":{"step_down":4,"max_input_v":20,"max_output_v":5,"isolating":true}}],
  "speakers":[{"amplifier":"sub","impedance_ohm":4,"kind":"subwoofer"}],
  "takes":[{"file":"takes/a.flac","channels":["left"],"engine":"off","at_amplifier":"sub",
            "tone":{"kind":"sine","frequency_hz":50,"level_dbfs":0,"via":"interface","burst_s":3}}],
  "observations":[{"what":"amplifier_output","value":30.9,"unit":"V","engine":"off","at_amplifier":"sub","volume":34,
                   "tone":{"kind":"sine","frequency_hz":50,"level_dbfs":-3},"meter_good_to_hz":2000}])";

}  // namespace

TEST_CASE("what the job tells of an amplifier is read, and written again the same", "[job_text]") {
    const Job job = parse(kAll);
    const AmplifierData& sub = job.amplifiers.at(0);
    CHECK(sub.channels == std::vector{Channel::sub});
    CHECK(sub.dial_law == DialLaw::linear);
    CHECK(sub.dial_marks == std::array{0.0, 10.0});
    CHECK(sub.dial_turn_deg == 270.0);
    CHECK(sub.allowance_db == 3.0);
    CHECK(sub.input_noise_dbv == -105.0);
    REQUIRE(sub.converter);
    CHECK(*sub.converter->loss_db == Approx(12.0412).margin(0.0001));  // 20 log10 4
    CHECK(sub.converter->isolating == true);
    CHECK(job.speakers.at(0).impedance_ohm == 4.0);
    CHECK(job.speakers.at(0).kind == SpeakerKind::subwoofer);
    CHECK(job.takes.at(0).conditions.at_amplifier == "sub");
    CHECK(job.takes.at(0).tone->burst_s == 3.0);
    const Observation& seen = job.observations.at(0);
    CHECK(std::get<Sine>(seen.tone->waveform).level_dbfs == -3.0);
    CHECK(seen.meter_good_to_hz == 2000.0);
    std::vector<Warning> warnings;
    const std::string once = job_text(job);
    CHECK(job_text(parse_job(once, warnings)) == once);
    CHECK(warnings.empty());
}

TEST_CASE("a tone beside another reading, and a ratio told twice, are refused by name", "[job_text]") {
    CHECK_THROWS_WITH(parse(R"("observations":[{"what":"ripple","value":1,"engine":"off","meter_good_to_hz":400}])"),
                      Catch::Contains("meter_good_to_hz"));
    CHECK_THROWS_WITH(parse(R"("amplifiers":[{"name":"a","converter":{"loss_db":6,"step_down":4}}])"), Catch::Contains("step_down"));
    CHECK(parse(R"("amplifiers":[{"name":"a","converter":{"loss_db":12,"step_down":4}}])").amplifiers[0].converter->loss_db == 12.0);
}
