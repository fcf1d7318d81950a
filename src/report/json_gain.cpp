#include <algorithm>
#include <vector>

#include "json_results.hpp"
#include "volume_words.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr auto nothing = LimitedBy::nothing;

/// Every key is there, null where nothing clips or its level isn't known.
void put_knee(Json& to, const std::optional<Knee>& knee) {
    const auto put = [&to](const std::string& name, const std::optional<Reading>& reading, bool level) {
        const std::optional<double> value = reading ? std::optional(reading->value) : std::nullopt;
        to[name] = level ? level_json(value) : figure_json(value);
        put_limits(to, name, reading ? std::optional(reading->sd) : std::nullopt, reading ? reading->limited_by : nothing,
                   reading.has_value());
    };
    to["knee_kind"] = knee ? Json(knee->kind) : Json(nullptr);
    to["knee_sides"] = knee ? Json(knee->sides) : Json(nullptr);
    put("knee_dbfs", knee ? knee->dbfs : std::nullopt, true);
    put("knee_v", knee ? knee->v : std::nullopt, false);
    to["knee_step"] = knee ? Json(knee->step) : Json(nullptr);
    to["knee_volume"] = knee ? figure_json(knee->volume) : Json(nullptr);
}

Json ceiling_json(const Ceiling& one) {
    Json out = {{"volume", figure_json(one.volume)},
            {"step", one.step},
            {"level_v", figure_json(one.level_v)},
            {"level_v_sd", figure_json(one.level_v_sd)},
            {"level_dbfs", level_json(one.level_dbfs)},
            {"thd_percent", figure_json(one.thd_percent)},
            {"next_volume_thd_percent", figure_json(one.next_volume_thd_percent)},
            {"channel", std::string(to_word(one.channel))},
            {"tone_hz", figure_json(one.tone_hz)},
            {"take", one.take}};
    const bool there = one.step > 0;
    put_limits(out, "level_dbfs", one.level_sd_db, nothing, there);
    out["level_v_limited_by"] = one.level_v ? Json(std::string(to_word(nothing))) : Json(nullptr);
    put_limits(out, "thd_percent", one.thd_sd_percent, one.thd_limited_by, there);
    put_limits(out, "next_volume_thd_percent", one.next_volume_thd_sd_percent, one.next_volume_thd_limited_by,
               one.next_volume_thd_percent.has_value());
    put_knee(out, one.knee);
    return out;
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
    put_knee(entry, curve.knee);
    entry["ceiling_reason"] = curve.ceiling_reason.empty() ? Json(nullptr) : Json(curve.ceiling_reason);
    return entry;
}

/// How fast the source's clock runs against the capture's, by the tone: that of a file which the source plays.
std::optional<double> clock_ppm(const StepCurve& curve) {
    std::vector<double> ppm;
    for (const VolumeStep& one : curve.steps)
        if (one.frequency_hz > 0) ppm.push_back(1e6 * (one.frequency_hz / curve.tone_hz - 1.0));
    if (ppm.empty()) return std::nullopt;
    const auto middle = ppm.begin() + static_cast<std::ptrdiff_t>(ppm.size() / 2);
    std::nth_element(ppm.begin(), middle, ppm.end());
    return *middle;
}

Json curve_json(const StepCurve& curve) {
    Json steps = Json::array();
    for (const VolumeStep& one : curve.steps) {
        Json step = {{"number", one.number},
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
                         {"input_overload", one.input_overload}};
        const LimitedBy limit = one.limited_by();
        put_limits(step, "level_dbfs", one.level_sd_db, limit, true);
        step["level_v_limited_by"] = one.level_v ? Json(std::string(to_word(limit))) : Json(nullptr);
        put_limits(step, "thd_percent", one.thd_sd_percent, one.thd_limited_by, true);
        put_limits(step, "thd_noise_percent", one.thd_noise_sd_percent, limit, true);
        step["compression_db"] = figure_json(one.compression_db);
        put_limits(step, "compression_db", one.compression_sd_db, limit, one.compression_db.has_value());
        step["frequency_hz"] = one.frequency_hz > 0 ? Json(one.frequency_hz) : Json(nullptr);
        put_limits(step, "frequency_hz", one.frequency_sd_hz, nothing, one.frequency_hz > 0);
        steps.push_back(std::move(step));
    }
    return {{"take", curve.take},
            {"channel", std::string(to_word(curve.channel))},
            {"tone_hz", figure_json(curve.tone_hz)},
            {"clock_ppm", figure_json(clock_ppm(curve))},
            {"steps", std::move(steps)}};
}

}  // namespace

Json gain_results(const GainAnalysis& analysis) {
    Json ceilings = Json::array(), curves = Json::array();
    for (const StepCurve& one : analysis.curves) {
        ceilings.push_back(ceiling_of(one));
        curves.push_back(curve_json(one));
    }
    return {
        {"ceiling", analysis.ceiling ? ceiling_json(*analysis.ceiling) : Json(nullptr)},
        {"ceiling_reason", analysis.ceiling_reason.empty() ? Json(nullptr) : Json(analysis.ceiling_reason)},
        {"ceiling_text", analysis.ceiling_text},
        {"limit_thd_percent", figure_json(analysis.limit_thd_percent)},
        {"ceilings", std::move(ceilings)},
        {"curves", std::move(curves)},
        {"volume_law", volume_law_json(analysis)},
        {"balances", balances_json(analysis)},
        {"amplifiers", amplifiers_json(analysis.amplifiers)}};
}

}  // namespace hushtrace
