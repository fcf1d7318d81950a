#include "chain_system_words.hpp"
#include "json_chain_parts.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json word(Channel channel) { return std::string(to_word(channel)); }

Json distortion_json(const ChainDistortion& one) {
    Json out = Json::object();
    put_limited(out, "thd_percent", one.thd_percent);
    out["tone_hz"] = one.thd_percent ? figure_json(one.tone_hz) : Json(nullptr);
    out["played_dbfs"] = level_json(one.played_dbfs);
    out["volume"] = figure_json(one.volume);
    out["take"] = one.take.empty() ? Json(nullptr) : Json(one.take);
    return out;
}

Json shape_json(const ResponseShape& shape) {
    Json parts = Json::array();
    for (const ShapePart& part : shape.parts) {
        const bool passes = part.slope_db_per_octave > 0;
        parts.push_back({{"kind", std::string(to_word(part.kind))},
                         {"frequency_hz", figure_json(part.frequency_hz.value)},
                         {"frequency_sd_hz", figure_json(part.frequency_hz.sd)},
                         {"gain_db", passes ? Json(nullptr) : figure_json(part.gain_db.value)},
                         {"gain_sd_db", passes ? Json(nullptr) : figure_json(part.gain_db.sd)},
                         {"q", passes ? Json(nullptr) : figure_json(part.q)},
                         {"slope_db_per_octave", passes ? Json(part.slope_db_per_octave) : Json(nullptr)},
                         {"linkwitz_riley", passes ? Json(part.linkwitz_riley) : Json(nullptr)}});
    }
    return {{"text", shape_text(shape)},
            {"flat", shape.parts.empty()},
            {"flat_within_db", figure_json(shape.flat_within_db)},
            {"from_hz", figure_json(shape.from_hz)},
            {"to_hz", figure_json(shape.to_hz)},
            {"loudness", shape.loudness},
            {"parts", std::move(parts)},
            {"left_over_db", figure_json(shape.left_over_db)}};
}

Json points_json(const VolumeDependence& one) {
    Json list = Json::array();
    for (const VolumePoint& point : one.points) {
        Json entry = {{"volume", figure_json(point.volume)}, {"take", point.take}};
        put_limited(entry, "bass_db", point.bass_db);
        put_limited(entry, "treble_db", point.treble_db);
        list.push_back(std::move(entry));
    }
    return list;
}

Json limit_json(const LimitLine& line) {
    Json out = {{"what", line.what},
                {"text", limit_name(line) + ": " + limit_found(line)},
                {"channel", line.channel ? word(*line.channel) : Json(nullptr)},
                {"against", line.against ? word(*line.against) : Json(nullptr)}};
    put_limited(out, "found", line.found);
    out["limit"] = line.what == "same_polarity" ? Json(true) : figure_json(line.limit);
    out["unit"] = line.unit.empty() ? Json(nullptr) : Json(line.unit);
    out["written"] = line.written;
    out["origin"] = line.origin;
    out["verdict"] = line.verdict;
    return out;
}

}  // namespace

void put_channel_system(Json& out, const ChainChannel& one) {
    out["hears"] = Json::array();
    for (const Channel output : one.hears) out["hears"].push_back(word(output));
    out["shape"] = one.shape ? shape_json(*one.shape) : Json(nullptr);
    out["band"] = one.band ? Json{{"low_hz", figure_json(one.band->low_hz)},
                                  {"high_hz", figure_json(one.band->high_hz)},
                                  {"measured_from_hz", figure_json(one.band->measured_from_hz)},
                                  {"measured_to_hz", figure_json(one.band->measured_to_hz)}}
                           : Json(nullptr);
    out["all_passes"] = Json::array();
    if (one.phase)
        for (const AllPass& pass : one.phase->all_passes)
            out["all_passes"].push_back({{"order", pass.order},
                                         {"frequency_hz", figure_json(pass.frequency_hz.value)},
                                         {"frequency_sd_hz", figure_json(pass.frequency_hz.sd)},
                                         {"q", pass.order == 1 ? Json(nullptr) : figure_json(pass.q)}});
    out["minus_20"] = distortion_json(one.minus_20);
    out["at_ceiling"] = distortion_json(one.at_ceiling);
    Json noise = nullptr;
    if (one.noise) {
        noise = {{"take", one.noise->take}, {"engine", one.noise->engine ? Json(std::string(to_word(*one.noise->engine))) : Json(nullptr)}};
        put_limited(noise, "dbfs_a", one.noise->dbfs_a);
        put_limited(noise, "dbv_a", one.noise->dbv_a);
    }
    out["noise"] = std::move(noise);
}

void put_system(Json& out, const ChainAnalysis& analysis) {
    out["ceiling_volume"] = figure_json(analysis.ceiling_volume);
    out["never_clips"] = analysis.never_clips;
    for (const char* name : {"sums", "crossings", "volume_dependence", "level_dependence", "limits"}) out[name] = Json::array();
    for (const ChainSum& one : analysis.sums)
        out["sums"].push_back({{"take", one.take},
                               {"channels", {word(one.one), word(one.other)}},
                               {"deepest_hz", figure_json(one.deepest_hz)},
                               {"deepest_db", figure_json(one.deepest_db)},
                               {"from_hz", one.cause.empty() ? Json(nullptr) : figure_json(one.from_hz)},
                               {"to_hz", one.cause.empty() ? Json(nullptr) : figure_json(one.to_hz)},
                               {"cause", one.cause.empty() ? Json(nullptr) : Json(one.cause)},
                               {"text", sentence_of(one)}});
    for (const ChainCrossing& one : analysis.crossings)
        out["crossings"].push_back({{"lower", word(one.lower)},
                                    {"upper", word(one.upper)},
                                    {"frequency_hz", figure_json(one.frequency_hz)},
                                    {"below_db", figure_json(one.below_db)},
                                    {"added_db", figure_json(one.added_db)},
                                    {"take", one.take.empty() ? Json(nullptr) : Json(one.take)},
                                    {"text", sentence_of(one)}});
    for (const VolumeDependence& one : analysis.volume_dependence) {
        Json entry = {{"channel", word(one.channel)},
                      {"against", word(one.against)},
                      {"from", one.from_tones ? "tones" : "sweeps"},
                      {"bass_hz", figure_json(one.bass_hz)},
                      {"treble_hz", one.from_tones ? Json(nullptr) : figure_json(one.treble_hz)},
                      {"points", points_json(one)}};
        put_limited(entry, "bass_change_db", one.bass_change_db);
        put_limited(entry, "treble_change_db", one.treble_change_db);
        entry["bass_varies"] = one.bass_varies;
        entry["treble_varies"] = one.treble_varies;
        entry["text"] = sentence_of(one);
        out["volume_dependence"].push_back(std::move(entry));
    }
    for (const LevelDependence& one : analysis.level_dependence) {
        Json entry = {{"channel", word(one.channel)},
                      {"takes", {one.soft_take, one.loud_take}},
                      {"played_dbfs", {level_json(one.soft_dbfs), level_json(one.loud_dbfs)}},
                      {"volume", figure_json(one.volume)}};
        put_limited(entry, "gain_change_db", one.gain_change_db);
        put_limited(entry, "bass_change_db", one.bass_change_db);
        entry["loud_thd_percent"] = figure_json(one.loud_thd_percent);
        entry["kind"] = one.kind;
        entry["text"] = sentence_of(one);
        out["level_dependence"].push_back(std::move(entry));
    }
    for (const LimitLine& line : analysis.limits) out["limits"].push_back(limit_json(line));
}

}  // namespace hushtrace
