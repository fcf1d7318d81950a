#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json words(const std::vector<Channel>& channels) {
    Json list = Json::array();
    for (const Channel one : channels) list.push_back(std::string(to_word(one)));
    return list;
}

Json evidence_json(const std::vector<Evidence>& evidence) {
    Json list = Json::array();
    for (const Evidence& one : evidence)
        list.push_back({{"text", one.text},
                        {"value", figure_json(one.value)},
                        {"unit", one.unit},
                        {"sd", figure_json(one.sd)},
                        {"takes", one.takes},
                        {"observations", one.observations}});
    return list;
}

Json levels_json(const std::vector<LevelInTake>& levels) {
    Json list = Json::array();
    for (const LevelInTake& one : levels)
        list.push_back({{"take", one.take},
                        {"channel", std::string(to_word(one.channel))},
                        {"level_dbfs", level_json(one.level_dbfs)},
                        {"level_dbv", level_json(one.level_dbv)},
                        {"sd_db", level_json(one.sd_db)},
                        {"dbv_sd_db", level_json(one.dbv_sd_db)}});
    return list;
}

Json harmonics_json(const std::vector<Harmonic>& harmonics) {
    Json list = Json::array();
    for (const Harmonic& one : harmonics)
        list.push_back({{"number", figure_json(one.number)},
                        {"frequency_hz", figure_json(one.frequency_hz)},
                        {"level_dbfs", level_json(one.level_dbfs)},
                        {"level_dbv", level_json(one.level_dbv)}});
    return list;
}

Json source_json(const NoiseSource& one) {
    Json entry = {{"id", one.id},
                  {"kind", std::string(to_word(one.kind))},
                  {"frequency_hz", figure_json(one.frequency_hz)},
                  {"frequency_sd_hz", figure_json(one.frequency_sd_hz)},
                  {"engine_order", figure_json(one.engine_order)},
                  {"band_hz", nullptr},
                  {"level_dbfs", level_json(one.level_dbfs)},
                  {"level_dbv", level_json(one.level_dbv)},
                  {"levels", levels_json(one.levels)},
                  {"confidence", figure_json(one.confidence)},
                  {"channels", words(one.channels)},
                  {"takes", one.takes},
                  {"harmonics", harmonics_json(one.harmonics)},
                  {"evidence", evidence_json(one.evidence)}};
    if (one.band_hz) entry["band_hz"] = {figure_json(one.band_hz->first), figure_json(one.band_hz->second)};
    if (one.kind == NoiseKind::clipping) {
        entry["clipped_share"] = figure_json(one.clipped_share);
        entry["clip_level_dbfs"] = level_json(one.clip_level_dbfs);
    }
    return entry;
}

Json path_json(const EntryPath& one) {
    return {{"source_id", one.source_id},
            {"paths", one.paths},
            {"mechanism", one.mechanism ? Json(*one.mechanism) : Json(nullptr)},
            {"probability", figure_json(one.probability)},
            {"evidence_for", evidence_json(one.evidence_for)},
            {"evidence_against", evidence_json(one.evidence_against)}};
}

Json floor_json(const FloorReading& one) {
    Json entry = {{"take", one.take}, {"channel", std::string(to_word(one.channel))}};
    const auto add = [&](const char* key, std::optional<double> level) {
        entry[key] = level_json(level);
        entry[std::string(key) + "_sd"] = is_known(level) ? level_json(one.sd_db) : Json(nullptr);
    };
    add("unweighted_dbfs", one.unweighted_dbfs);
    add("unweighted_dbv", one.unweighted_dbv);
    add("a_weighted_dbfs", one.a_weighted_dbfs);
    add("a_weighted_dbv", one.a_weighted_dbv);
    add("itu468_dbfs", one.itu468_dbfs);
    add("itu468_dbv", one.itu468_dbv);
    add("itu468_quasi_peak_dbfs", one.itu468_quasi_peak_dbfs);
    add("itu468_quasi_peak_dbv", one.itu468_quasi_peak_dbv);
    entry["limited_by_interface"] = one.limited_by_interface;
    return entry;
}

}  // namespace

Json level_json(std::optional<double> level_db) {
    if (!is_known(level_db)) return nullptr;
    return std::round(*level_db * 100.0) / 100.0 + 0.0;  // + 0.0 turns -0 into 0
}

Json figure_json(std::optional<double> value) {
    if (!is_known(value)) return nullptr;
    if (*value == 0.0) return 0.0;
    const double magnitude = std::floor(std::log10(std::fabs(*value)));
    if (magnitude < -300.0 || magnitude > 300.0) return *value;
    const double scale = std::pow(10.0, std::fabs(5.0 - magnitude));
    return magnitude <= 5.0 ? std::round(*value * scale) / scale : std::round(*value / scale) * scale;
}

Json noise_results(const NoiseAnalysis& analysis) {
    Json sources = Json::array(), paths = Json::array(), health = Json::array(), actions = Json::array(),
         floor = Json::array();
    for (const NoiseSource& one : analysis.noise_sources) sources.push_back(source_json(one));
    for (const EntryPath& one : analysis.entry_paths) paths.push_back(path_json(one));
    for (const HealthFinding& one : analysis.health)
        health.push_back(
            {{"fault", one.fault}, {"why", one.why}, {"confidence", figure_json(one.confidence)}});
    for (const Action& one : analysis.actions)
        actions.push_back({{"action", one.action},
                           {"why", one.why},
                           {"source_id", one.source_id},
                           {"expected_change_db", level_json(one.expected_change_db)},
                           {"sd_db", level_json(one.sd_db)}});
    for (const FloorReading& one : analysis.floor) floor.push_back(floor_json(one));
    return {{"noise_sources", std::move(sources)},
            {"entry_paths", std::move(paths)},
            {"health", std::move(health)},
            {"actions", std::move(actions)},
            {"next_test", nullptr},  // the analysis doesn't choose a next test: none is proposed
            {"floor", std::move(floor)}};
}

}  // namespace hushtrace
