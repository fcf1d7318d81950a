#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json ceiling_json(const Ceiling& one) {
    return {{"volume", figure_json(one.volume)},
            {"step", one.step},
            {"level_v", figure_json(one.level_v)},
            {"level_v_sd", figure_json(one.level_v_sd)},
            {"level_dbfs", level_json(one.level_dbfs)},
            {"thd_percent", figure_json(one.thd_percent)},
            {"next_volume_thd_percent", figure_json(one.next_volume_thd_percent)},
            {"channel", std::string(to_word(one.channel))},
            {"tone_hz", figure_json(one.tone_hz)},
            {"take", one.take}};
}

/// One entry for each channel and tone; without a ceiling its figures are null and the reason says why.
Json ceiling_of(const StepCurve& curve) {
    Json entry;
    if (curve.ceiling) {
        entry = ceiling_json(*curve.ceiling);
    } else {
        entry = ceiling_json(Ceiling{});
        for (const char* key :
             {"volume", "step", "level_v", "level_v_sd", "level_dbfs", "thd_percent", "next_volume_thd_percent"})
            entry[key] = nullptr;
        entry["channel"] = std::string(to_word(curve.channel));
        entry["tone_hz"] = figure_json(curve.tone_hz);
        entry["take"] = curve.take;
    }
    entry["ceiling_reason"] = curve.ceiling_reason.empty() ? Json(nullptr) : Json(curve.ceiling_reason);
    return entry;
}

Json curve_json(const StepCurve& curve) {
    Json steps = Json::array();
    for (const VolumeStep& one : curve.steps)
        steps.push_back({{"number", one.number},
                         {"volume", figure_json(one.volume)},
                         {"start_s", figure_json(one.start_s)},
                         {"end_s", figure_json(one.end_s)},
                         {"level_dbfs", level_json(one.level_dbfs)},
                         {"level_sd_db", figure_json(one.level_sd_db)},
                         {"level_v", figure_json(one.level_v)},
                         {"level_v_sd", figure_json(one.level_v_sd)},
                         {"thd_percent", figure_json(one.thd_percent)},
                         {"thd_sd_percent", figure_json(one.thd_sd_percent)},
                         {"harmonics_counted", one.harmonics_counted},
                         {"harmonics_missing", one.harmonics_missing},
                         {"thd_noise_percent", figure_json(one.thd_noise_percent)},
                         {"thd_noise_sd_percent", figure_json(one.thd_noise_sd_percent)},
                         {"input_overload", one.input_overload}});
    return {{"take", curve.take},
            {"channel", std::string(to_word(curve.channel))},
            {"tone_hz", figure_json(curve.tone_hz)},
            {"steps", std::move(steps)}};
}

}  // namespace

Json gain_results(const GainAnalysis& analysis) {
    Json ceilings = Json::array(), curves = Json::array(), amplifiers = Json::array();
    for (const StepCurve& one : analysis.curves) {
        ceilings.push_back(ceiling_of(one));
        curves.push_back(curve_json(one));
    }
    for (const AmplifierSetting& one : analysis.amplifiers)
        amplifiers.push_back({{"name", one.name},
                              {"target_output_v", figure_json(one.target_output_v)},
                              {"input_v_at_ceiling", figure_json(one.input_v_at_ceiling)},
                              {"input_v_at_ceiling_sd", figure_json(one.input_v_at_ceiling_sd)},
                              {"sensitivity_v", figure_json(one.sensitivity_v)},
                              {"gain_db", level_json(one.gain_db)},
                              {"noise_at_output_dbv", level_json(one.noise_at_output_dbv)},
                              {"noise_at_ear_db_spl", level_json(one.noise_at_ear_db_spl)},
                              {"notes", one.notes}});
    return {
        {"ceiling", analysis.ceiling ? ceiling_json(*analysis.ceiling) : Json(nullptr)},
        {"ceiling_reason", analysis.ceiling_reason.empty() ? Json(nullptr) : Json(analysis.ceiling_reason)},
        {"ceiling_text", analysis.ceiling_text},
        {"limit_thd_percent", figure_json(analysis.limit_thd_percent)},
        {"ceilings", std::move(ceilings)},
        {"curves", std::move(curves)},
        {"amplifiers", std::move(amplifiers)}};
}

}  // namespace hushtrace
