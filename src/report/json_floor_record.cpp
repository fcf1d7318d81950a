#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }
template <class Value>
Json or_null(const std::optional<Value>& value) {
    return value ? Json(*value) : Json(nullptr);
}

/// The figure, its sd and limit, and whether it is a bound.
void put_ratio(Json& to, const std::string& key, const std::optional<FloorRatio>& ratio) {
    put_level(to, key, ratio ? std::optional(ratio->db) : std::nullopt);
    to[key + "_is_bound"] = ratio ? Json(ratio->bound) : Json(nullptr);
}

Json ceiling_json(const std::optional<FloorCeiling>& one) {
    if (!one) return nullptr;
    return {{"take", one->take},
            {"volume", figure_json(one->volume)},
            {"tone_hz", figure_json(one->tone_hz)},
            {"tone_dbfs", level_json(one->tone_dbfs)},
            {"level_dbfs", level_json(one->level_dbfs)},
            {"level_sd_db", figure_json(one->level_sd_db)},
            {"level_v", figure_json(one->level_v)},
            {"never_clips", one->never_clips}};
}

Json line_json(const FloorLine& one) {
    Json entry = {{"frequency_hz", figure_json(one.frequency_hz)}, {"wanders", one.wanders}};
    put_level(entry, "level_dbfs", one.dbfs);
    put_level(entry, "level_dbv", one.dbv);
    entry["source_id"] = text_or_null(one.source_id);
    entry["name"] = one.name;
    put_ratio(entry, "below_ceiling_db", one.below_ceiling_db);
    return entry;
}

Json index_json(const std::optional<std::size_t>& index) { return index ? Json(*index) : Json(nullptr); }

Json amplifier_json(const AmplifierFloor& one) {
    Json entry = {{"amplifier", one.amplifier}, {"gain_from", one.gain_from}};
    put_level(entry, "gain_db", one.gain_db);
    entry["full_power_v"] = figure_json(one.full_power_v);
    entry["one_watt_v"] = figure_json(one.one_watt_v);
    entry["load_ohm"] = figure_json(one.load_ohm);
    entry["bass_only"] = one.bass_only;
    put_ratio(entry, "signal_to_noise_1w_db", one.signal_to_noise_1w_db);
    put_ratio(entry, "signal_to_noise_1w_a_db", one.signal_to_noise_1w_a_db);
    put_ratio(entry, "hiss_re_full_power_db", one.hiss_re_full_power_db);
    put_ratio(entry, "line_re_full_power_db", one.line_re_full_power_db);
    entry["loudest_line"] = index_json(one.loudest_line);
    put_ratio(entry, "line_at_ear_db_spl", one.line_at_ear_db_spl);
    entry["line_at_ear"] = index_json(one.line_at_ear);
    entry["line_over_threshold_db"] = level_json(one.line_over_threshold_db);
    put_ratio(entry, "hiss_at_ear_db_spl", one.hiss_at_ear_db_spl);
    entry["notes"] = one.notes;
    return entry;
}

Json channel_json(const ChannelFloor& one) {
    Json entry = {{"channel", std::string(to_word(one.channel))}, {"floor", floor_json(one.floor)}, {"ceiling", ceiling_json(one.ceiling)}};
    put_ratio(entry, "signal_to_noise_db", one.signal_to_noise_db);
    put_ratio(entry, "signal_to_noise_a_db", one.signal_to_noise_a_db);
    put_ratio(entry, "dynamic_range_a_db", one.dynamic_range_a_db);
    entry["lines"] = Json::array();
    for (const FloorLine& line : one.lines) entry["lines"].push_back(line_json(line));
    entry["amplifiers"] = Json::array();
    for (const AmplifierFloor& amplifier : one.amplifiers) entry["amplifiers"].push_back(amplifier_json(amplifier));
    entry["notes"] = one.notes;
    return entry;
}

Json condition_json(const ConditionFloor& one) {
    Json entry = {{"name", one.name},
                  {"engine", std::string(to_word(one.engine))},
                  {"loads", one.loads},
                  {"at_amplifier", or_null(one.at_amplifier)},
                  {"take", one.take},
                  {"volume", figure_json(one.volume)},
                  {"rpm", figure_json(one.rpm)},
                  {"after_change", or_null(one.after_change)},
                  {"other_takes", one.other_takes},
                  {"channels", Json::array()},
                  {"notes", one.notes}};
    for (const ChannelFloor& channel : one.channels) entry["channels"].push_back(channel_json(channel));
    return entry;
}

Json verdict_json(const FloorVerdict& one) {
    Json entry = {{"what", one.what},
                  {"condition", text_or_null(one.condition)},
                  {"take", text_or_null(one.take)},
                  {"channel", one.channel ? Json(std::string(to_word(*one.channel))) : Json(nullptr)},
                  {"amplifier", text_or_null(one.amplifier)}};
    put_ratio(entry, "found", one.found);
    entry["found_text"] = text_or_null(one.found_text);
    entry["limit"] = level_json(one.limit);
    entry["judge_to"] = level_json(one.judge_to);
    entry["unit"] = one.unit;
    entry["written"] = one.written;
    entry["origin"] = one.origin;
    entry["verdict"] = one.verdict;
    return entry;
}

}  // namespace

Json floor_record_results(const FloorRecord& record) {
    Json results = {{"conditions", Json::array()}, {"interface", Json::array()}, {"acceptance", Json::array()}, {"gaps", Json::array()}};
    for (const ConditionFloor& one : record.conditions) results["conditions"].push_back(condition_json(one));
    for (const FloorReading& one : record.interface) results["interface"].push_back(floor_json(one));
    for (const FloorVerdict& one : record.acceptance) results["acceptance"].push_back(verdict_json(one));
    for (const FloorGap& one : record.gaps)
        results["gaps"].push_back({{"what", one.what}, {"text", one.text}, {"command", text_or_null(one.command)}});
    return results;
}

}  // namespace hushtrace
