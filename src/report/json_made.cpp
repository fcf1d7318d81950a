#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "json_made.hpp"
#include "json_results.hpp"
#include "read_record.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kFromSpectrum_hz = 20.0, kToSpectrum_hz = 20000.0;
constexpr double kStripsPerOctave = 48.0;

Json take_json(const TakePrint& one) {
    return {{"file", one.file},
            {"bytes", one.bytes ? Json(*one.bytes) : Json(nullptr)},
            {"seconds", figure_json(one.seconds)},
            {"sample_rate_hz", figure_json(one.sample_rate_hz)},
            {"sha256", one.sha256.empty() ? Json(nullptr) : Json(one.sha256)}};
}

/// Each limit that something was held against, once: the ceiling's, and those of every list of verdicts.
Json limits_json(const Job& job, const Analyses& analyses, const Json& results) {
    Json list = Json::array();
    std::set<std::string> told;
    if (analyses.gain) {
        told.insert("ceiling_thd_percent");
        const bool written = job.limits.ceiling_thd_percent.has_value();
        list.push_back({{"what", "ceiling_thd_percent"},
                        {"limit", figure_json(analyses.gain->limit_thd_percent)},
                        {"written", written},
                        {"origin", written ? "job.json" : "proposed: common practice, no source"}});
    }
    for (const auto& verdicts : {objects_at(results, {"chain", "limits"}), objects_at(results, {"floor_record", "acceptance"})})
        for (const Json& line : verdicts)
            if (told.insert(text_at(line, {"what"})).second)
                list.push_back({{"what", text_at(line, {"what"})},
                                {"limit", value_at(line, {"limit"})},
                                {"written", value_at(line, {"written"})},
                                {"origin", text_at(line, {"origin"})}});
    return list;
}

}  // namespace

Json made_json(const Job& job, const Analyses& analyses, const Json& results) {
    if (!analyses.made) return nullptr;
    const Made& made = *analyses.made;
    Json options = Json::array(), takes = Json::array();
    for (const auto& [name, value] : made.options) options.push_back({{"name", name}, {"value", value}});
    for (const TakePrint& one : made.takes) takes.push_back(take_json(one));
    return {{"at", made.at},
            {"version", made.version},
            {"settings", {{"limits", limits_json(job, analyses, results)}, {"options", std::move(options)}}},
            {"takes", std::move(takes)}};
}

Json spectra_json(const NoiseAnalysis& analysis) {
    Json list = Json::array();
    for (const TakePicture& picture : analysis.pictures) {
        if (!has_spectrum(picture)) continue;
        const double top_hz = static_cast<double>(picture.line_dbfs.size() - 1) * picture.bin_hz;
        const double to_hz = std::min(top_hz, kToSpectrum_hz);
        if (to_hz <= kFromSpectrum_hz) continue;
        const auto strips = static_cast<std::size_t>(std::lround(kStripsPerOctave * std::log2(to_hz / kFromSpectrum_hz)));
        Json frequencies = Json::array(), dbfs = Json::array(), dbv = Json::array();
        for (const StripPoint& one : strongest_of_strips(picture, false, kFromSpectrum_hz, to_hz, std::max<std::size_t>(strips, 1))) {
            const bool sound = is_sound(static_cast<float>(one.level_db));
            const std::optional<double> level = sound ? std::optional(one.level_db) : std::nullopt;
            frequencies.push_back(figure_json(one.frequency_hz));
            dbfs.push_back(level_json(level));
            if (picture.volts_full_scale)
                dbv.push_back(level_json(level ? std::optional(dbv_from_dbfs(*level, *picture.volts_full_scale)) : std::nullopt));
        }
        list.push_back({{"take", picture.take},
                        {"channel", std::string(to_word(picture.channel))},
                        {"bin_hz", figure_json(picture.bin_hz)},
                        {"frequency_hz", std::move(frequencies)},
                        {"level_dbfs", std::move(dbfs)},
                        {"level_dbv", picture.volts_full_scale ? std::move(dbv) : Json(nullptr)}});
    }
    return list;
}

}  // namespace hushtrace
