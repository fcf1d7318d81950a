#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr auto nothing = LimitedBy::nothing;

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }
Json text_or_null(const std::optional<std::string>& text) { return text ? Json(*text) : Json(nullptr); }

/// { "low": -92.1, "high": -90.4 }; an end that isn't known, or silent, is null.
Json range_json(const Range_db& range) { return {{"low", level_json(range.low)}, {"high", level_json(range.high)}}; }
Json range_json(const std::optional<Range_db>& range) { return range ? range_json(*range) : Json(nullptr); }

Json dial_json(const std::optional<DialPlace>& place) {
    if (!place) return nullptr;
    return {{"travel", figure_json(place->travel)},
            {"law", std::string(to_word(place->law))},
            {"law_assumed", place->law_assumed},
            {"clock_hours", figure_json(place->clock_hours)},
            {"turn_deg", figure_json(place->turn_deg)},
            {"turn_assumed", place->turn_assumed},
            {"mark", figure_json(place->mark)}};
}

Json full_scale_json(const std::optional<FullScalePassage>& passage) {
    if (!passage) return nullptr;
    return {{"over_rails_db", level_json(passage->over_rails_db)},
            {"thd_percent", figure_json(passage->thd_percent)},
            {"power_asked_w", figure_json(passage->power_asked_w)},
            {"power_out_w", figure_json(passage->power_out_w)}};
}

Json reading_json(const OutputReading& one) {
    Json out = {{"take", text_or_null(one.take)},
                {"observation", one.observation ? Json(*one.observation) : Json(nullptr)},
                {"channel", one.channel ? Json(std::string(to_word(*one.channel))) : Json(nullptr)},
                {"volume", figure_json(one.volume)},
                {"tone_hz", figure_json(one.tone_hz)},
                {"tone_dbfs", level_json(one.tone_dbfs)},
                {"measured_v", figure_json(one.measured_v)},
                {"measured_sd_db", level_json(one.measured_sd_db)},
                {"expected_v", figure_json(one.expected_v)},
                {"thd_percent", figure_json(one.thd_percent)},
                {"gain_now_db", level_json(one.gain_now_db)},
                {"gain_now_sd_db", level_json(one.gain_sd_db)},
                {"turn_db", level_json(one.turn_db)},
                {"clips_from_v", figure_json(one.clips_from_v)},
                {"verdict", one.verdict},
                {"text", one.text}};
    return out;
}

Json parts_json(const std::optional<NoiseParts>& parts) {
    if (!parts) return nullptr;
    return {{"volume", figure_json(parts->volume)},
            {"engine", std::string(to_word(parts->engine))},
            {"total_dbv", level_json(parts->total_dbv)},
            {"total_dbv_sd", level_json(parts->sd_db)},
            {"total_dbv_limited_by", std::string(to_word(parts->limited_by))},
            {"before_volume_dbv", range_json(parts->before_volume)},
            {"after_volume_dbv", range_json(parts->after_volume)},
            {"lead_dbv", range_json(parts->lead)},
            {"amplifier_dbv", level_json(parts->amplifier_dbv)},
            {"takes", parts->takes},
            {"notes", parts->notes}};
}

Json split_json(const GainSplit& one) {
    return {{"way", one.way},
            {"text", one.text},
            {"volume", figure_json(one.volume)},
            {"source_change_db", level_json(one.source_change_db)},
            {"gain_change_db", level_json(one.gain_change_db)},
            {"source_v", figure_json(one.source_v)},
            {"gain_db", level_json(one.gain_db)},
            {"output_change_db", level_json(one.output_change_db)},
            {"noise_at_output_dbv", range_json(one.noise_at_output_dbv)},
            {"change_db", range_json(one.change_db)},
            {"noise_at_ear_db_spl", range_json(one.noise_at_ear_db_spl)}};
}

template <class Items, class ToJson>
Json list_json(const Items& items, ToJson to_json) {
    Json list = Json::array();
    for (const auto& one : items) list.push_back(to_json(one));
    return list;
}

Json setting_json(const AmplifierSetting& one) {
    Json entry = {{"name", one.name},
                  {"target_output_v", figure_json(one.target_output_v)},
                  {"input_v_at_ceiling", figure_json(one.input_v_at_ceiling)},
                  {"input_v_at_ceiling_sd", figure_json(one.input_v_at_ceiling_sd)},
                  {"sensitivity_v", figure_json(one.sensitivity_v)},
                  {"gain_db", level_json(one.gain_db)},
                  {"noise_at_output_dbv", level_json(one.noise_at_output_dbv)},
                  {"noise_at_ear_db_spl", level_json(one.noise_at_ear_db_spl)},
                  {"notes", one.notes}};
    const auto known = [](const std::optional<double>& value) { return value.has_value(); };
    put_limits(entry, "input_v_at_ceiling", one.input_v_at_ceiling_sd, nothing, known(one.input_v_at_ceiling));
    put_limits(entry, "sensitivity_v", one.sensitivity_v_sd, nothing, known(one.sensitivity_v));
    put_limits(entry, "gain_db", one.gain_sd_db, nothing, known(one.gain_db));
    put_limits(entry, "noise_at_output_dbv", one.noise_sd_db, one.noise_limited_by, known(one.noise_at_output_dbv));
    put_limits(entry, "noise_at_ear_db_spl", one.noise_sd_db, one.noise_limited_by, known(one.noise_at_ear_db_spl));
    entry["rated_output_v"] = figure_json(one.rated_output_v);
    entry["target_limited_by"] = text_or_null(one.target_limited_by);
    entry["tone_hz"] = figure_json(one.tone_hz);
    entry["tone_dbfs"] = level_json(one.tone_dbfs);
    entry["volume"] = figure_json(one.volume);
    entry["channels"] = list_json(one.channels, [](Channel channel) { return std::string(to_word(channel)); });
    entry["own_ceiling_volume"] = figure_json(one.own_ceiling_volume);
    entry["dial_sensitivity_v"] = figure_json(one.dial_sensitivity_v);
    entry["dial"] = dial_json(one.dial);
    entry["gain_reached_db"] = level_json(one.gain_reached_db);
    entry["reached_output_v"] = figure_json(one.reached_output_v);
    entry["reached_power_w"] = figure_json(one.reached_power_w);
    entry["allowance_db"] = level_json(one.allowance_db);
    entry["allowance_from"] = text_or_null(one.allowance_from);
    entry["full_scale"] = full_scale_json(one.full_scale);
    entry["confirm_tone_dbfs"] = level_json(one.confirm_tone_dbfs);
    entry["confirm_tone_hz"] = figure_json(one.confirm_tone_hz);
    entry["converter_input_v"] = figure_json(one.converter_input_v);
    entry["refused"] = text_or_null(one.refused);
    entry["output_readings"] = list_json(one.output_readings, reading_json);
    entry["noise_parts"] = parts_json(one.noise_parts);
    entry["splits"] = list_json(one.splits, split_json);
    entry["best_split"] = text_or_null(one.best_split);
    return entry;
}

}  // namespace

Json amplifiers_json(const std::vector<AmplifierSetting>& settings) { return list_json(settings, setting_json); }

}  // namespace hushtrace
