#include <cmath>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "json_chain_parts.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;
constexpr double kClockLength_ppm = 2;  // from which on a longer tone is worth while
constexpr std::size_t every_response = 2, every_harmonic = 8;  // a twelfth, a third of an octave

Reading in_percent(const Reading& ratio) { return {100 * ratio.value, 100 * ratio.sd, ratio.limited_by}; }

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
    Json out = {{"channel", std::string(to_word(one.channel))}, {"take", one.take}, {"volume", figure_json(one.volume)}, {"silent", one.silent},
                {"polarity", one.polarity}};
    put_limited(out, "quiet_db", one.quiet_db);
    out["quiet_against"] = one.quiet_db ? Json(std::string(to_word(one.quiet_against))) : Json(nullptr);
    put_limited(out, "delay_ms", one.delay_ms);
    put_limited(out, "delay_after_tone_ms", one.delay_after_tone_ms);
    put_limited(out, "gain_db", one.gain_db);
    out["gain_hz"] = one.gain_db ? figure_json(one.gain_hz) : Json(nullptr);
    put_limited(out, "level_dbfs", one.level_dbfs);
    put_limited(out, "level_dbv", one.level_dbv);
    put_limited(out, "balance_db", one.balance_db);
    out["balance_hz"] = one.balance_db ? figure_json(one.balance_hz) : Json(nullptr);
    put_limited(out, "thd_percent", one.thd_percent);
    out["thd_hz"] = one.thd_percent ? figure_json(one.thd_hz) : Json(nullptr);
    put_limited(out, "crosstalk_db", one.crosstalk_db);
    put_limited(out, "crosstalk_10khz_db", one.crosstalk_10khz_db);
    put_channel_system(out, one);
    out["response"] = response_json(one.response, true);
    out["harmonics"] = harmonics_json(one.harmonics);
    out["crosstalk"] = response_json(one.crosstalk, false);
    return out;
}

void put_tone(Json& to, const std::string& name, const ToneReading& tone, const ChainIntermodulation& one) {
    put_limited(to, name + "_hz", Reading{tone.frequency_hz, tone.frequency_sd_hz, {}});
    put_limited(to, name + "_level_dbfs", Reading{tone.level_dbfs, tone.level_sd_db, {}});
    std::optional<Reading> dbv;
    if (one.volts_full_scale)
        dbv = Reading{dbv_from_dbfs(tone.level_dbfs, *one.volts_full_scale),
                      std::hypot(tone.level_sd_db, one.scale_sd_db.value_or(0.0)), {}};
    put_limited(to, name + "_level_dbv", dbv);
}

Json intermodulation_json(const ChainIntermodulation& one) {
    const Intermodulation& read = one.reading;
    Json out = {{"take", one.take},
                {"channel", std::string(to_word(one.channel))},
                {"method", std::string(to_word(one.method))},
                {"against", one.method == TwoToneMethod::modulation ? "the high tone" : "the sum of both tones"}};
    put_tone(out, "low", read.low, one);
    put_tone(out, "high", read.high, one);
    put_limited(out, "total_percent", in_percent(read.total_ratio));
    put_limited(out, "second_order_percent", in_percent(read.second_order_ratio));
    put_limited(out, "third_order_percent", in_percent(read.third_order_ratio));
    out["products_missing"] = read.products_missing;
    out["products"] = Json::array();
    for (const IntermodulationProduct& product : read.products) {
        Json entry = {{"of_low", product.of_low},
                      {"of_high", product.of_high},
                      {"frequency_hz", figure_json(product.frequency_hz)},
                      {"level_dbfs", level_json(product.level_dbfs)}};
        put_limited(entry, "percent", in_percent(product.ratio));
        out["products"].push_back(std::move(entry));
    }
    return out;
}

}  // namespace

void put_limited(Json& to, const std::string& name, const std::optional<Reading>& reading) {
    to[name] = reading ? figure_json(reading->value) : Json(nullptr);
    put_limits(to, name, reading ? std::optional(reading->sd) : std::nullopt,
               reading ? reading->limited_by : LimitedBy::nothing, reading.has_value());
}
Json chain_results(const ChainAnalysis& analysis) {
    Json channels = Json::array(), placed = Json::array(), intermodulation = Json::array();
    for (const ChainIntermodulation& one : analysis.intermodulation) intermodulation.push_back(intermodulation_json(one));
    for (const ChainChannel& one : analysis.channels) channels.push_back(channel_json(one));
    for (const ChainTake& one : analysis.placed) {
        Json entry = {{"take", one.file},
                          {"tone", one.kind},
                          {"placed_by", one.placed_by},
                          {"tone_start_s", one.place.start_s},
                          {"tone_start_sd_s", figure_json(one.place.start_sd_s)},
                          {"clock_ppm", figure_json(one.place.clock_ppm)},
                          {"clock_ppm_sd", figure_json(one.place.clock_ppm_sd)}};
        put_limits(entry, "tone_start_s", one.place.start_sd_s, LimitedBy::nothing, true);
        // a sweep's own phase tells the clock as far as its band and length reach; 2 ppm are 10 us in 5 s
        put_limits(entry, "clock_ppm", one.place.clock_ppm_sd,
                   one.place.clock_ppm_sd > kClockLength_ppm ? LimitedBy::length : LimitedBy::nothing, true);
        placed.push_back(std::move(entry));
    }
    Json out = {{"channels", std::move(channels)},
                {"takes", std::move(placed)},
                {"intermodulation", std::move(intermodulation)}};
    put_system(out, analysis);
    return out;
}

}  // namespace hushtrace
