#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json words(const std::vector<Channel>& channels) {
    Json list = Json::array();
    for (const Channel one : channels) list.push_back(std::string(to_word(one)));
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
                        {"dbv_sd_db", level_json(one.dbv_sd_db)},
                        {"limited_by", std::string(to_word(one.limited_by))}});
    return list;
}

Json harmonics_json(const std::vector<Harmonic>& harmonics) {
    Json list = Json::array();
    for (const Harmonic& one : harmonics)
        list.push_back({{"number", figure_json(one.number)},
                        {"frequency_hz", figure_json(one.frequency_hz)},
                        {"level_dbfs", level_json(one.level_dbfs)},
                        {"level_dbv", level_json(one.level_dbv)},
                        {"sd_db", figure_json(one.sd_db)},
                        {"dbv_sd_db", figure_json(one.dbv_sd_db)},
                        {"limited_by", std::string(to_word(one.limited_by))}});
    return list;
}

Json loudness_json(const std::optional<Loudness>& one) {
    if (!one) return nullptr;
    Json entry = {{"take", one->take},
                  {"channel", std::string(to_word(one->channel))},
                  {"level_dbv_in_lines", level_json(one->level_dbv)}};
    put_limits(entry, "level_dbv_in_lines", one->sd_db, one->limited_by, is_known(one->level_dbv));
    entry["over_floor_db"] = level_json(one->over_floor_db);
    entry["ear_db_spl"] = level_json(one->ear_db_spl);
    put_limits(entry, "ear_db_spl", one->ear_sd_db, one->limited_by, is_known(one->ear_db_spl));
    entry["over_threshold_db"] = level_json(one->over_threshold_db);
    entry["audible"] = one->audible;
    entry["text"] = one->text;
    return entry;
}

Json source_json(const NoiseSource& one) {
    Json entry = {{"id", one.id},
                  {"kind", std::string(to_word(one.kind))},
                  {"frequency_hz", figure_json(one.frequency_hz)},
                  {"frequency_sd_hz", figure_json(one.frequency_sd_hz)},
                  {"engine_order", figure_json(one.engine_order)},
                  {"engine_order_sd", figure_json(one.engine_order_sd)},
                  {"band_hz", nullptr},
                  {"level_dbfs", level_json(one.level_dbfs)},
                  {"level_dbv", level_json(one.level_dbv)},
                  {"levels", levels_json(one.levels)},
                  {"confidence", figure_json(one.confidence)},
                  {"rests_on", one.rests_on.empty() ? Json() : Json(one.rests_on)},
                  {"channels", words(one.channels)},
                  {"takes", one.takes},
                  {"harmonics", harmonics_json(one.harmonics)},
                  {"evidence", evidence_json(one.evidence)},
                  {"loudness", loudness_json(one.loudness)}};
    const LevelInTake* level = loudest_level(one);
    const LimitedBy limit = level ? level->limited_by : LimitedBy::nothing;
    const auto sd_db = level ? std::optional(level->sd_db) : std::nullopt;
    put_limits(entry, "level_dbfs", sd_db, limit, is_known(one.level_dbfs));
    put_limits(entry, "level_dbv", level && level->dbv_sd_db ? level->dbv_sd_db : sd_db, limit, is_known(one.level_dbv));
    put_limits(entry, "frequency_hz", one.frequency_sd_hz, one.frequency_limited_by, is_known(one.frequency_hz));
    if (one.band_hz) entry["band_hz"] = {figure_json(one.band_hz->first), figure_json(one.band_hz->second)};
    if (one.kind == NoiseKind::clipping) {
        entry["clipped_share"] = figure_json(one.clipped_share);
        entry["clip_level_dbfs"] = level_json(one.clip_level_dbfs);
    }
    return entry;
}

constexpr double kTrackStep_s = 0.05;  // 20 points a second at most

Json track_json(const SourceTrace& one) {
    Json time = Json::array(), frequency = Json::array();
    double next = -1;
    for (std::size_t i = 0; i < one.track.time_s.size(); ++i) {
        if (one.track.time_s[i] < next - 1e-9) continue;
        next = one.track.time_s[i] + kTrackStep_s;
        time.push_back(std::round((one.from_s + one.track.time_s[i]) * 1e4) / 1e4);
        frequency.push_back(figure_json(one.track.frequency_hz[i]));
    }
    if (one.steady) time = Json::array(), frequency = Json::array();
    Json ratios = Json::array();
    for (const double ratio : one.ratios) ratios.push_back(figure_json(ratio));
    return {{"source_id", one.source_id}, {"take", one.take},
            {"channel", std::string(to_word(one.channel))}, {"steady", one.steady},
            {"mean_hz", figure_json(one.track.mean_hz())}, {"ratios", std::move(ratios)},
            {"time_s", std::move(time)}, {"frequency_hz", std::move(frequency)}};
}

Json order_spectrum_json(const OrderSpectrumReading& one) {
    Json lines = Json::array();
    for (const OrderSpectrumLine& line : one.lines)
        lines.push_back({{"ratio", figure_json(line.ratio)},
                         {"order", figure_json(line.order)},
                         {"frequency_hz", figure_json(line.frequency_hz)},
                         {"level_dbfs", level_json(line.level_dbfs)},
                         {"level_dbv", level_json(line.level_dbv)},
                         {"sharpening_db", level_json(line.sharpening_db)},
                         {"follows", line.follows ? Json(*line.follows) : Json(nullptr)}});
    return {{"take", one.take}, {"channel", std::string(to_word(one.channel))}, {"reference", one.reference},
            {"reference_hz", figure_json(one.reference_hz)}, {"reference_order", figure_json(one.reference_order)},
            {"lines", std::move(lines)}};
}

Json heard_json(const NoiseAnalysis& analysis) {
    Json list = Json::array();
    for (const HeardFile& one : analysis.heard)
        list.push_back({{"file", one.file}, {"what", one.what},
                        {"source_id", one.source_id.empty() ? Json(nullptr) : Json(one.source_id)},
                        {"take", one.take}, {"exact", one.exact}, {"gain_db", level_json(one.gain_db)},
                        {"from_s", figure_json(one.from_s)}, {"duration_s", figure_json(one.duration_s)}});
    return list;
}

Json word_json(const std::string& word) { return word.empty() ? Json(nullptr) : Json(word); }

Json engine_json(const EngineFindings& engine) {
    Json takes = Json::array(), fits = Json::array();
    for (const EngineInTake& one : engine.takes)
        takes.push_back({{"take", one.take},
                         {"rpm", figure_json(one.rpm)},
                         {"rpm_sd", figure_json(one.rpm_sd)},
                         {"rpm_from", word_json(one.rpm_from)},
                         {"typed_rpm", figure_json(one.typed_rpm)},
                         {"firing_hz", figure_json(one.firing_hz)},
                         {"whine_hz", figure_json(one.whine_hz)},
                         {"log_lag_s", figure_json(one.log_lag_s)}});
    for (const PulleyFit& one : engine.fits)
        fits.push_back({{"pole_pairs", one.pole_pairs},
                        {"pulley_ratio", figure_json(one.pulley_ratio)},
                        {"pulley_ratio_sd", figure_json(one.pulley_ratio_sd)},
                        {"usual", one.usual}});
    return {{"hz_per_rpm", figure_json(engine.hz_per_rpm)},
            {"hz_per_rpm_sd", figure_json(engine.hz_per_rpm_sd)},
            {"sets", engine.sets ? Json(*engine.sets) : Json(nullptr)},
            {"from", word_json(engine.from)},
            {"takes", std::move(takes)},
            {"fits", std::move(fits)},
            {"fits_text", word_json(engine.fits_text)}};
}

}  // namespace

void put_limits(Json& to, const std::string& name, std::optional<double> sd, LimitedBy limit, bool known) {
    to[name + "_sd"] = known ? figure_json(sd) : Json(nullptr);
    to[name + "_limited_by"] = known ? Json(std::string(to_word(limit))) : Json(nullptr);
}

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
    Json sources = Json::array(), health = Json::array(), actions = Json::array(),
         floor = Json::array(), tracks = Json::array(), orders = Json::array();
    for (const OrderSpectrumReading& one : analysis.order_spectra) orders.push_back(order_spectrum_json(one));
    for (const SourceTrace& one : analysis.traces) tracks.push_back(track_json(one));
    for (const NoiseSource& one : analysis.noise_sources) sources.push_back(source_json(one));
    Json unsure = Json::array();
    for (const NoiseSource& one : analysis.unsure) unsure.push_back(source_json(one));
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
    Json results = {{"noise_sources", std::move(sources)}, {"unsure", std::move(unsure)}};
    put_entry(results, analysis);
    results["engine"] = engine_json(analysis.engine);
    results["health"] = std::move(health);
    results["actions"] = std::move(actions);
    results["floor"] = std::move(floor);
    results["tracks"] = std::move(tracks);
    results["order_spectra"] = std::move(orders);
    results["heard"] = {{"folder", analysis.heard_folder.empty() ? Json(nullptr) : Json(analysis.heard_folder)}, {"files", heard_json(analysis)}};
    return results;
}

}  // namespace hushtrace
