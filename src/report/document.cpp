#include "hushtrace/report/document.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "hushtrace/job/job_text.hpp"
#include "json_made.hpp"
#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json warnings_json(const std::vector<Warning>& warnings) {
    Json list = Json::array();
    for (const Warning& one : warnings) {
        Json entry = {{"code", one.code}, {"text", one.text}};
        if (one.take) entry["take"] = *one.take;
        list.push_back(std::move(entry));
    }
    return list;
}

Json pictures_json(const std::vector<RecordPicture>& pictures) {
    Json list = Json::array();
    for (const RecordPicture& one : pictures)
        list.push_back({{"file", one.file.empty() ? Json(nullptr) : Json(one.file)}, {"title", one.title}, {"description", one.description}});
    return list;
}

std::string document(const char* command, std::string_view version, Json input, Json results,
                     const std::vector<Warning>& warnings) {
    const Json whole = {{"schema", std::string("hushtrace.") + command + "/1"},
                        {"tool", {{"name", "hushtrace"}, {"version", std::string(version)}}},
                        {"input", std::move(input)},
                        {"results", std::move(results)},
                        {"warnings", warnings_json(warnings)}};
    return whole.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Json input_json(const OpenedJob& opened, const std::vector<std::string>& takes) {
    return {{"job", opened.folder.string()}, {"title", opened.job.title}, {"takes", takes}};
}

void add_once(std::vector<Warning>& to, const std::vector<Warning>& from) {
    for (const Warning& one : from) {
        const bool there = std::any_of(to.begin(), to.end(), [&](const Warning& other) {
            return other.code == one.code && other.text == one.text && other.take == one.take;
        });
        if (!there) to.push_back(one);
    }
}

/// A null level among the findings needs a word: one warning a take, unless the analysis gave one.
std::vector<Warning> silence_warnings(const NoiseAnalysis& analysis) {
    std::vector<Warning> found;
    const auto note = [&](const std::string& take) {
        const Warning warning = {
            "digital_silence",
            "a level in this take is digital silence: no sound came in, check the lead and the "
            "interface's input",
            take};
        const bool told = std::any_of(
            analysis.warnings.begin(), analysis.warnings.end(),
            [&](const Warning& one) { return one.code == warning.code && one.take == warning.take; });
        if (!told) add_once(found, {warning});
    };
    for (const NoiseSource& source : analysis.noise_sources)
        for (const LevelInTake& level : source.levels)
            if (!is_known(level.level_dbfs) && !is_known(level.level_dbv)) note(level.take);
    for (const FloorReading& floor : analysis.floor)
        if (!floor.unweighted.dbfs && !floor.unweighted.dbv) note(floor.take);
    return found;
}

std::vector<Warning> with_silence(const std::vector<Warning>& of_job, const NoiseAnalysis& analysis) {
    std::vector<Warning> warnings = all_warnings(of_job, analysis.warnings);
    add_once(warnings, silence_warnings(analysis));
    return warnings;
}

}  // namespace

std::vector<Warning> all_warnings(const std::vector<Warning>& of_job,
                                  const std::vector<Warning>& of_analysis) {
    std::vector<Warning> all;
    add_once(all, of_job);
    add_once(all, of_analysis);
    return all;
}

std::vector<Warning> all_warnings(const OpenedJob& opened, const Analyses& analyses) {
    std::vector<Warning> all = all_warnings(opened.warnings, analyses.warnings);
    if (analyses.noise) add_once(all, with_silence({}, *analyses.noise));
    if (analyses.gain) add_once(all, analyses.gain->warnings);
    if (analyses.chain) add_once(all, analyses.chain->warnings);
    if (analyses.power) add_once(all, analyses.power->warnings);
    return all;
}

std::string noise_document(const OpenedJob& opened, const NoiseAnalysis& analysis, std::string_view version, const FloorRecord* record) {
    Json results = noise_results(analysis);
    results["floor_record"] = record ? floor_record_results(*record) : Json(nullptr);
    return document("noise", version, input_json(opened, analysis.takes), std::move(results),
                    with_silence(opened.warnings, analysis));
}

std::string gain_document(const OpenedJob& opened, const GainAnalysis& analysis, std::string_view version) {
    return document("gain", version, input_json(opened, analysis.takes), gain_results(analysis),
                    all_warnings(opened.warnings, analysis.warnings));
}

std::string chain_document(const OpenedJob& opened, const ChainAnalysis& analysis, std::string_view version) {
    return document("chain", version, input_json(opened, analysis.takes), chain_results(analysis),
                    all_warnings(opened.warnings, analysis.warnings));
}

std::string power_document(const OpenedJob& opened, const PowerAnalysis& analysis, std::string_view version) {
    return document("power", version, input_json(opened, analysis.takes), power_results(analysis),
                    all_warnings(opened.warnings, analysis.warnings));
}

std::string report_document(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                            std::string_view page, std::string_view data, const std::vector<RecordPicture>& pictures) {
    std::vector<std::string> takes;
    for (const Take& take : opened.job.takes) takes.push_back(take.file);
    Json results = {{"made", nullptr},
                    {"job", Json::parse(job_text(opened.job))},
                    {"noise", analyses.noise ? noise_results(*analyses.noise) : Json(nullptr)},
                    {"gain", analyses.gain ? gain_results(*analyses.gain) : Json(nullptr)},
                    {"chain", analyses.chain ? chain_results(*analyses.chain) : Json(nullptr)},
                    {"power", analyses.power ? power_results(*analyses.power) : Json(nullptr)},
                    {"floor_record", analyses.floor_record ? floor_record_results(*analyses.floor_record) : Json(nullptr)},
                    {"spectra", analyses.noise ? spectra_json(*analyses.noise) : Json::array()},
                    {"page", std::string(page)},
                    {"data", std::string(data)},
                    {"pictures", pictures_json(pictures)}};
    results["made"] = made_json(opened.job, analyses, results);
    return document("report", version, input_json(opened, takes), std::move(results),
                    all_warnings(opened, analyses));
}

bool fails_limit(const Job& job, const GainAnalysis& analysis) {
    if (!job.limits.ceiling_thd_percent) return false;
    const auto always = [](const StepCurve& curve) { return curve.ceiling_reason == "always_distorted"; };
    return analysis.ceiling_reason == "always_distorted" ||
           std::any_of(analysis.curves.begin(), analysis.curves.end(), always);
}

}  // namespace hushtrace
