#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

void put_figure(Json& entry, const std::string& name, const FloorFigure& figure) {
    put_level(entry, name + "_dbfs", figure.dbfs);
    put_level(entry, name + "_dbv", figure.dbv);
    const auto& told = figure.dbv ? figure.dbv : figure.dbfs;
    entry[name + "_limited_by"] = told ? Json(std::string(to_word(told->limited_by))) : Json(nullptr);
    if (figure.dbv) entry[name + "_interface_taken_off"] = figure.interface_taken_off;
}

Json bands_json(const std::vector<FloorBand>& bands) {
    Json list = Json::array();
    for (const FloorBand& one : bands) {
        Json band = {{"nominal_hz", figure_json(one.nominal_hz)}, {"mid_hz", figure_json(one.mid_hz)}};
        put_level(band, "level_dbfs", one.level.dbfs);
        put_level(band, "level_dbv", one.level.dbv);
        band["interface_taken_off"] = one.level.interface_taken_off;
        band["few_bins"] = one.few_bins;
        list.push_back(std::move(band));
    }
    return list;
}

}  // namespace

void put_level(Json& to, const std::string& key, const std::optional<Reading>& level) {
    const bool told = level && std::isfinite(level->value);
    to[key] = told ? level_json(level->value) : Json(nullptr);
    put_limits(to, key, level ? std::optional(level->sd) : std::nullopt, level ? level->limited_by : LimitedBy::nothing, told);
}

Json floor_json(const FloorReading& one) {
    Json entry = {{"take", one.take},
                  {"channel", std::string(to_word(one.channel))},
                  {"band_hz", {figure_json(one.from_hz), figure_json(one.to_hz)}}};
    put_figure(entry, "unweighted", one.unweighted);
    put_figure(entry, "a_weighted", one.a_weighted);
    put_figure(entry, "c_weighted", one.c_weighted);
    put_figure(entry, "itu468", one.itu468);
    put_figure(entry, "itu468_quasi_peak", one.itu468_quasi_peak);
    if (one.quasi_peak_wants_length) entry["itu468_quasi_peak_limited_by"] = std::string(to_word(LimitedBy::length));
    put_figure(entry, "broadband", one.broadband);
    put_figure(entry, "broadband_a_weighted", one.broadband_a_weighted);
    entry["tones"] = Json::array();
    for (const FloorTone& tone : one.tones) {
        Json told = {{"frequency_hz", figure_json(tone.frequency_hz)}, {"frequency_sd_hz", figure_json(tone.frequency_sd_hz)}};
        put_level(told, "level_dbfs", tone.dbfs);
        put_level(told, "level_dbv", tone.dbv);
        told["wanders"] = tone.wanders;
        entry["tones"].push_back(std::move(told));
    }
    entry["third_octaves"] = bands_json(one.third_octaves);
    entry["third_octaves_interface"] = std::string(to_word(one.bands_interface));
    entry["limited_by_interface"] = one.limited_by_interface;
    return entry;
}

}  // namespace hushtrace
