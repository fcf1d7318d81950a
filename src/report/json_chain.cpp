#include <numbers>

#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;
constexpr std::size_t every_response = 2, every_harmonic = 8;  // a twelfth, a third of an octave

void put(Json& to, const std::string& name, const std::optional<Reading>& reading) {
    to[name] = reading ? figure_json(reading->value) : Json(nullptr);
    to[name + "_sd"] = reading ? figure_json(reading->sd) : Json(nullptr);
}
void put_limited(Json& to, const std::string& name, const std::optional<Reading>& reading) {
    put(to, name, reading);
    to[name + "_limited_by"] = reading ? Json(std::string(to_word(reading->limited_by))) : Json(nullptr);
}

Json response_json(const Transfer& transfer, bool with_delay) {
    const auto delays = with_delay ? group_delay_s(transfer) : std::vector<std::optional<Reading>>(transfer.size());
    Json list = Json::array();
    for (std::size_t k = 0; k < transfer.size(); k += every_response) {
        const Reading magnitude = transfer[k].magnitude_db();
        Json point = {{"frequency_hz", figure_json(transfer[k].frequency_hz)},
                      {"magnitude_db", figure_json(magnitude.value)},
                      {"sd_db", figure_json(magnitude.sd)}};
        if (with_delay) {
            const Reading phase = transfer[k].phase_rad();
            const bool seen = transfer[k].seen();
            point["phase_deg"] = seen ? figure_json(phase.value * 180 / std::numbers::pi) : Json(nullptr);
            point["phase_sd_deg"] = seen ? figure_json(phase.sd * 180 / std::numbers::pi) : Json(nullptr);
            point["group_delay_ms"] = delays[k] ? figure_json(1e3 * delays[k]->value) : Json(nullptr);
            point["group_delay_sd_ms"] = delays[k] ? figure_json(1e3 * delays[k]->sd) : Json(nullptr);
        }
        point["limited_by"] = std::string(to_word(magnitude.limited_by));
        list.push_back(std::move(point));
    }
    return list;
}

Json harmonics_json(const std::vector<HarmonicResponse>& harmonics) {
    Json list = Json::array();
    for (const HarmonicResponse& one : harmonics) {
        Json points = Json::array();
        for (std::size_t k = 0; k < one.points.size(); k += every_harmonic)
            points.push_back({{"frequency_hz", figure_json(one.points[k].frequency_hz)},
                              {"ratio_db", figure_json(one.points[k].ratio_db.value)},
                              {"sd_db", figure_json(one.points[k].ratio_db.sd)},
                              {"limited_by", std::string(to_word(one.points[k].ratio_db.limited_by))}});
        list.push_back({{"number", one.number}, {"points", std::move(points)}});
    }
    return list;
}

Json channel_json(const ChainChannel& one) {
    Json out = {{"channel", std::string(to_word(one.channel))}, {"take", one.take}, {"silent", one.silent},
                {"polarity", one.polarity}};
    put(out, "delay_ms", one.delay_ms);
    put(out, "delay_after_tone_ms", one.delay_after_tone_ms);
    put(out, "gain_db", one.gain_db);
    out["gain_hz"] = one.gain_db ? figure_json(one.gain_hz) : Json(nullptr);
    put(out, "balance_db", one.balance_db);
    out["balance_hz"] = one.balance_db ? figure_json(one.balance_hz) : Json(nullptr);
    put_limited(out, "thd_percent", one.thd_percent);
    out["thd_hz"] = one.thd_percent ? figure_json(one.thd_hz) : Json(nullptr);
    put_limited(out, "crosstalk_db", one.crosstalk_db);
    put_limited(out, "crosstalk_10khz_db", one.crosstalk_10khz_db);
    out["response"] = response_json(one.response, true);
    out["harmonics"] = harmonics_json(one.harmonics);
    out["crosstalk"] = response_json(one.crosstalk, false);
    return out;
}

}  // namespace

Json chain_results(const ChainAnalysis& analysis) {
    Json channels = Json::array(), placed = Json::array();
    for (const ChainChannel& one : analysis.channels) channels.push_back(channel_json(one));
    for (const ChainTake& one : analysis.placed)
        placed.push_back({{"take", one.file},
                          {"tone", one.kind},
                          {"placed_by", one.placed_by},
                          {"tone_start_s", one.place.start_s},
                          {"tone_start_sd_s", figure_json(one.place.start_sd_s)},
                          {"clock_ppm", figure_json(one.place.clock_ppm)},
                          {"clock_ppm_sd", figure_json(one.place.clock_ppm_sd)}});
    return {{"channels", std::move(channels)}, {"takes", std::move(placed)}};
}

}  // namespace hushtrace
