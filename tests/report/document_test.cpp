#include "hushtrace/job/job_text.hpp"
#include "hushtrace/report/document.hpp"

#include <catch2/catch.hpp>
#include <functional>
#include <limits>
#include <nlohmann/json.hpp>

#include "report/sample.hpp"

using namespace hushtrace;
using Json = nlohmann::json;

namespace {

void require_keys(const Json& object, const std::vector<std::string>& keys) {
    REQUIRE(object.is_object());
    for (const std::string& key : keys) {
        INFO("key " << key << " in " << object.dump());
        CHECK(object.contains(key));
    }
}

void require_envelope(const Json& whole, const std::string& schema) {
    require_keys(whole, {"schema", "tool", "input", "results", "warnings"});
    CHECK(whole["schema"] == schema);
    CHECK(whole["tool"]["name"] == "hushtrace");
    CHECK(whole["tool"]["version"] == "9.8.7");
    for (const Json& warning : whole["warnings"]) require_keys(warning, {"code", "text"});
}

const double kNan = std::numeric_limits<double>::quiet_NaN();
const double kInfinite = std::numeric_limits<double>::infinity();

}  // namespace

TEST_CASE("the noise document holds every key of the contract", "[document]") {
    const Json whole = Json::parse(noise_document(sample::job(), sample::noise(), "9.8.7"));
    require_envelope(whole, "hushtrace.noise/1");
    const Json& results = whole["results"];
    require_keys(results, {"noise_sources", "unsure", "entry_paths", "tests_made", "health", "actions", "next_test", "floor"});
    REQUIRE(results["noise_sources"].size() == 2);
    for (const Json& one : results["noise_sources"]) {
        require_keys(
            one, {"id", "kind", "frequency_hz", "frequency_sd_hz", "engine_order", "level_dbfs", "level_dbv",
                  "levels", "confidence", "channels", "takes", "harmonics", "evidence"});
        for (const Json& level : one["levels"])
            require_keys(level, {"take", "channel", "level_dbfs", "level_dbv", "sd_db"});
    }
    require_keys(results["noise_sources"][0]["evidence"][0],
                 {"text", "value", "unit", "sd", "takes", "observations"});
    CHECK(results["noise_sources"][0]["kind"] == "alternator_whine");
    CHECK(results["noise_sources"][0]["evidence"][1]["sd"].is_null());
    CHECK(results["noise_sources"][0]["channels"] == Json::array({"left", "right"}));
    CHECK(results["noise_sources"][1]["engine_order"].is_null());
    REQUIRE(results["entry_paths"].size() == 3);
    for (const Json& one : results["entry_paths"])
        require_keys(one,
                     {"source_id", "paths", "mechanism", "probability", "evidence_for", "evidence_against"});
    CHECK(results["entry_paths"][0]["mechanism"].is_null());
    CHECK(results["entry_paths"][1]["mechanism"] == "loop");
    require_keys(results["health"][0], {"fault", "why", "confidence"});
    require_keys(results["actions"][0], {"action", "why", "source_id", "expected_change_db", "sd_db"});
    CHECK(results["actions"][1]["expected_change_db"].is_null());
    REQUIRE(results["floor"].size() == 4);
    for (const Json& one : results["floor"]) {
        require_keys(one, {"take", "channel", "limited_by_interface"});
        for (const std::string key :
             {"unweighted_dbv", "unweighted_dbfs", "a_weighted_dbv", "c_weighted_dbv", "itu468_dbv",
              "itu468_quasi_peak_dbv", "broadband_dbv"})
            require_keys(one, {key, key + "_sd"});
    }
    CHECK(results["floor"][0]["itu468_quasi_peak_dbv"].is_null());
    CHECK(results["floor"][0]["band_hz"] == Json::array({20.0, 20000.0}));
    CHECK(results["floor"][0]["unweighted_dbfs_sd"] == 0.05);
    CHECK(results["floor"][0]["unweighted_limited_by"] == "interface");
    CHECK(results["floor"][0]["unweighted_interface_taken_off"] == false);
    CHECK(results["floor"][0]["unweighted_dbv_limited_by"] == "interface");
    CHECK(results["floor"][0]["a_weighted_dbfs_limited_by"] == "nothing");
    CHECK(results["floor"][0]["itu468_quasi_peak_limited_by"].is_null());
    const Json& whine = results["noise_sources"][0];
    CHECK(whine["level_dbfs_sd"] == 0.3);
    CHECK(whine["level_dbv_sd"] == 0.3);
    CHECK(whine["level_dbfs_limited_by"] == "nothing");
    CHECK(whine["frequency_hz_sd"] == whine["frequency_sd_hz"]);
    for (const Json& one : whine["harmonics"]) require_keys(one, {"sd_db", "dbv_sd_db", "limited_by"});
    REQUIRE(results["floor"][0]["tones"].size() == 1);
    require_keys(results["floor"][0]["tones"][0],
                 {"frequency_hz", "level_dbfs", "level_dbfs_sd", "level_dbv", "level_dbv_sd", "wanders"});
}

TEST_CASE("a quasi-peak figure that the take is too short for says so", "[document]") {
    NoiseAnalysis analysis = sample::noise();
    for (FloorReading& one : analysis.floor) one.quasi_peak_wants_length = true;
    const Json floor = Json::parse(noise_document(sample::job(), analysis, "9.8.7"))["results"]["floor"][0];
    CHECK(floor["itu468_quasi_peak_dbv"].is_null());
    CHECK(floor["itu468_quasi_peak_limited_by"] == "length");
}

TEST_CASE("the gain document tells what limits each figure, and the knee", "[document]") {
    GainAnalysis analysis = sample::gain();
    analysis.curves[1].steps[0].thd_limited_by = LimitedBy::noise;
    analysis.curves[1].steps[5].input_overload = true;
    Knee knee;
    knee.kind = "hard";
    knee.sides = "both";
    knee.dbfs = Reading{-4.4, 0.01, LimitedBy::length};
    analysis.curves[0].knee = analysis.curves[0].ceiling->knee = knee;
    const Json results = Json::parse(gain_document(sample::job(), analysis, "9.8.7"))["results"];
    const Json& first = results["ceilings"][0];
    CHECK(first["knee_kind"] == "hard");
    CHECK(first["knee_sides"] == "both");
    CHECK(first["knee_dbfs"] == -4.4);
    CHECK(first["knee_dbfs_sd"] == 0.01);
    CHECK(first["knee_dbfs_limited_by"] == "length");
    CHECK(first["knee_v"].is_null());
    CHECK(first["knee_v_limited_by"].is_null());
    CHECK(results["ceilings"][1]["knee_kind"].is_null());
    for (const std::string key : {"level_dbfs", "level_v", "thd_percent", "next_volume_thd_percent"})
        require_keys(results["ceiling"], {key, key + "_sd", key + "_limited_by"});
    const Json& steps = results["curves"][1]["steps"];
    CHECK(steps[0]["thd_percent_limited_by"] == "noise");
    CHECK(steps[0]["thd_percent_sd"] == 0.002);
    CHECK(steps[5]["level_dbfs_limited_by"] == "interface");
    for (const std::string key : {"level_dbfs", "level_v", "thd_percent", "thd_noise_percent", "frequency_hz"})
        require_keys(steps[1], {key, key + "_limited_by"});
    for (const std::string key :
         {"input_v_at_ceiling", "sensitivity_v", "gain_db", "noise_at_output_dbv", "noise_at_ear_db_spl"})
        require_keys(results["amplifiers"][0], {key, key + "_sd", key + "_limited_by"});
}

TEST_CASE("only clipping has a clipped share", "[document]") {
    NoiseAnalysis analysis = sample::noise();
    analysis.noise_sources[1].kind = NoiseKind::clipping;
    analysis.noise_sources[1].clipped_share = 0.031;
    analysis.noise_sources[1].clip_level_dbfs = -1.2;
    const Json sources =
        Json::parse(noise_document(sample::job(), analysis, "9.8.7"))["results"]["noise_sources"];
    CHECK_FALSE(sources[0].contains("clipped_share"));
    CHECK(sources[1]["clipped_share"] == 0.031);
    CHECK(sources[1]["clip_level_dbfs"] == -1.2);
}

TEST_CASE("the gain document holds every key of the contract", "[document]") {
    const Json whole = Json::parse(gain_document(sample::job(), sample::gain(), "9.8.7"));
    require_envelope(whole, "hushtrace.gain/1");
    const Json& results = whole["results"];
    require_keys(results, {"ceiling", "ceilings", "ceiling_reason", "ceiling_text", "amplifiers"});
    const std::vector<std::string> keys = {"volume",  "level_v", "thd_percent", "next_volume_thd_percent",
                                           "channel", "tone_hz"};
    require_keys(results["ceiling"], keys);
    REQUIRE(results["ceilings"].size() == 2);
    for (const Json& one : results["ceilings"]) require_keys(one, keys);
    CHECK(results["ceiling"]["volume"] == 31);
    CHECK(results["ceiling_reason"].is_null());
    REQUIRE(results["amplifiers"].size() == 2);
    for (const Json& one : results["amplifiers"])
        require_keys(one, {"name", "target_output_v", "input_v_at_ceiling", "sensitivity_v", "gain_db",
                           "noise_at_output_dbv", "noise_at_ear_db_spl", "tone_hz", "tone_dbfs", "volume"});
    CHECK(results["amplifiers"][1]["noise_at_ear_db_spl"].is_null());
    for (const Json& step : results["curves"][1]["steps"]) {
        CHECK(step["harmonics_counted"] == 6);
        CHECK(step["harmonics_missing"] == 13);
    }
}

TEST_CASE("a ceiling that wasn't found is null, with its reason", "[document]") {
    GainAnalysis analysis = sample::gain();
    analysis.ceiling.reset();
    analysis.ceiling_reason = "never_clips";
    analysis.curves[1].ceiling.reset();
    analysis.curves[1].ceiling_reason = "never_clips";
    const Json results = Json::parse(gain_document(sample::job(), analysis, "9.8.7"))["results"];
    CHECK(results["ceiling"].is_null());
    CHECK(results["ceiling_reason"] == "never_clips");
    CHECK(results["ceilings"][0]["ceiling_reason"].is_null());
    CHECK(results["ceilings"][1]["volume"].is_null());
    CHECK(results["ceilings"][1]["thd_percent"].is_null());
    CHECK(results["ceilings"][1]["channel"] == "right");
    CHECK(results["ceilings"][1]["tone_hz"] == 997);
    CHECK(results["ceilings"][1]["ceiling_reason"] == "never_clips");
}

TEST_CASE("what is no number or infinite is null, and silence is warned about once a take", "[document]") {
    NoiseAnalysis analysis = sample::noise();
    analysis.noise_sources[0].frequency_sd_hz = kNan;
    analysis.noise_sources[0].levels[0].level_dbfs = -kInfinite;
    analysis.noise_sources[0].levels[0].level_dbv = -kInfinite;
    analysis.noise_sources[0].levels[1].level_dbfs.reset();
    analysis.noise_sources[0].levels[1].level_dbv.reset();
    analysis.noise_sources[0].evidence[0].value = kInfinite;
    analysis.actions[0].sd_db = kNan;
    const std::string text = noise_document(sample::job(), analysis, "9.8.7");
    const Json whole = Json::parse(text);
    CHECK(text.find("nan") == std::string::npos);
    const Json& source = whole["results"]["noise_sources"][0];
    CHECK(source["frequency_sd_hz"].is_null());
    CHECK(source["levels"][0]["level_dbfs"].is_null());
    CHECK(source["evidence"][0]["value"].is_null());
    CHECK(whole["results"]["actions"][0]["sd_db"].is_null());
    int silences = 0;
    for (const Json& warning : whole["warnings"])
        if (warning["code"] == "digital_silence") {
            ++silences;
            CHECK(warning["take"] == "takes/idle.flac");
        }
    CHECK(silences == 1);
}

TEST_CASE("levels are written to 0.01 dB and other figures to six digits", "[document]") {
    NoiseAnalysis analysis = sample::noise();
    analysis.noise_sources[0].level_dbfs = -61.23456789;
    analysis.noise_sources[0].frequency_hz = 1231.23456789;
    const Json source =
        Json::parse(noise_document(sample::job(), analysis, "9.8.7"))["results"]["noise_sources"][0];
    CHECK(source["level_dbfs"].dump() == "-61.23");
    CHECK(source["frequency_hz"].dump() == "1231.23");
}

TEST_CASE("text that is no UTF-8 still gives a document", "[document]") {
    OpenedJob opened = sample::job();
    opened.job.title = "caf\xE9 \"quoted\" </script>";
    const Json whole = Json::parse(noise_document(opened, sample::noise(), "9.8.7"));
    CHECK(whole["input"]["title"] == "caf\xEF\xBF\xBD \"quoted\" </script>");
}

TEST_CASE("the record's document holds both results, or null for what the takes don't allow", "[document]") {
    Analyses analyses;
    analyses.noise = sample::noise();
    analyses.warnings = {{"gain_not_analysed", "no take with a steady tone", std::nullopt}};
    const Json whole = Json::parse(
        report_document(sample::job(), analyses, "9.8.7", "records/report.html", "records/report.json"));
    require_envelope(whole, "hushtrace.report/1");
    CHECK(whole["results"]["noise"]["noise_sources"].size() == 2);
    CHECK(whole["results"]["gain"].is_null());
    CHECK(whole["results"]["power"].is_null());
    CHECK(whole["results"]["job"] == Json::parse(job_text(sample::job().job)));
    CHECK(whole["results"]["page"] == "records/report.html");
    std::vector<std::string> codes;
    for (const Json& warning : whole["warnings"]) codes.push_back(warning["code"]);
    CHECK(codes == std::vector<std::string>{"unknown_field", "gain_not_analysed", "take_unreadable"});
}

TEST_CASE("only a limit that is written in job.json can fail", "[document]") {
    GainAnalysis analysis = sample::gain();
    Job job;
    CHECK_FALSE(fails_limit(job, analysis));
    analysis.curves[1].ceiling_reason = "always_distorted";
    CHECK_FALSE(fails_limit(job, analysis));
    job.limits.ceiling_thd_percent = 0.5;
    CHECK(fails_limit(job, analysis));
    analysis.curves[1].ceiling_reason = "never_clips";
    CHECK_FALSE(fails_limit(job, analysis));
}
