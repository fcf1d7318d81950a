#pragma once
#include <cmath>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/report/comparison.hpp"

/// Made-up records, of the shape that report writes: nothing here was measured.
namespace made {

using Json = nlohmann::json;

/// One record under construction: what isn't set is as usual.
struct Record {
    Json job = {{"schema", "hushtrace.job/1"},
                {"title", "Estate"},
                {"vehicle", {{"description", "estate"}, {"drive", "combustion"}, {"cylinders", 4}, {"supply_v", 12}}},
                {"interface", {{"volts_full_scale", {7.0, 7.0}}, {"volts_full_scale_sd_db", {0.0, 0.0}}}},
                {"takes", Json::array()},
                {"observations", Json::array()}};
    Json noise = {{"noise_sources", Json::array()}, {"unsure", Json::array()}, {"floor", Json::array()}, {"health", Json::array()}};
    Json gain = nullptr, chain = nullptr, power = nullptr;
    std::string version = "0.1.0";

    /// A take of the left channel; `more` overrides conditions.
    Record& take(const std::string& name, const Json& more = Json::object()) {
        Json one = {{"file", "takes/" + name + ".flac"},
                    {"channels", {"left"}},
                    {"engine", "raised"},
                    {"rpm", 2000},
                    {"source", "on"},
                    {"input", "usb"},
                    {"volume", 20},
                    {"hookup", {"normal"}},
                    {"laptop", "battery"}};
        one.update(more);
        job["takes"].push_back(one);
        return *this;
    }
    /// A noise source with its level in takes.
    Record& source(const std::string& kind, double frequency_hz, const Json& order, std::initializer_list<std::pair<std::string, double>> levels,
                   double sd_db = 0.2, bool sure = true) {
        Json one = {{"id", kind + std::to_string(frequency_hz)},
                    {"kind", kind},
                    {"frequency_hz", frequency_hz},
                    {"frequency_sd_hz", 0.1},
                    {"engine_order", order},
                    {"engine_order_sd", 0.02},
                    {"levels", Json::array()},
                    {"harmonics", Json::array()}};
        one["harmonics"].push_back({{"number", 1}, {"frequency_hz", frequency_hz}, {"level_dbfs", levels.begin()->second}});
        for (const auto& level : levels)
            one["levels"].push_back({{"take", "takes/" + level.first + ".flac"},
                                     {"channel", "left"},
                                     {"level_dbfs", level.second - 14},
                                     {"level_dbv", level.second},
                                     {"sd_db", sd_db},
                                     {"dbv_sd_db", sd_db},
                                     {"limited_by", "nothing"}});
        noise[sure ? "noise_sources" : "unsure"].push_back(one);
        return *this;
    }
    static void figure(Json& to, const std::string& name, double dbv, double sd_db, const std::string& limited_by = "nothing") {
        to[name + "_dbfs"] = dbv - 14;
        to[name + "_dbfs_sd"] = sd_db;
        to[name + "_dbfs_limited_by"] = limited_by;
        to[name + "_dbv"] = dbv;
        to[name + "_dbv_sd"] = sd_db;
        to[name + "_dbv_limited_by"] = limited_by;
    }
    /// Its bands all stand at the same level.
    Record& floor(const std::string& name, double dbv, double band_dbv = -110, double sd_db = 0.1, const std::string& limited_by = "nothing") {
        Json one = {{"take", "takes/" + name + ".flac"}, {"channel", "left"}, {"third_octaves", Json::array()}};
        constexpr double nominal[] = {20,  25,   31.5, 40,   50,   63,   80,   100,  125,  160,  200,  250,   315,   400,   500,  630,
                                      800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000};
        figure(one, "unweighted", dbv, sd_db, limited_by);
        figure(one, "a_weighted", dbv - 3, sd_db, limited_by);
        for (int n = -17; n <= 13; ++n) {
            Json band = {{"mid_hz", 1000 * std::pow(10.0, 0.1 * n)}, {"nominal_hz", nominal[n + 17]}};
            figure(band, "level", band_dbv, sd_db);
            one["third_octaves"].push_back(band);
        }
        noise["floor"].push_back(one);
        return *this;
    }
    std::string text() const {
        return Json{{"schema", "hushtrace.report/1"},
                    {"tool", {{"name", "hushtrace"}, {"version", version}}},
                    {"input", {{"job", "x"}, {"title", "Estate"}, {"takes", Json::array()}}},
                    {"results", {{"job", job}, {"noise", noise}, {"gain", gain}, {"chain", chain}, {"power", power}}},
                    {"warnings", Json::array()}}
            .dump();
    }
    hushtrace::RecordedSystem read(const std::string& called = "record") const { return hushtrace::read_recorded(text(), called); }
};

inline hushtrace::Comparison compared(const Record& before, const Record& after, const hushtrace::RepeatabilityRules& rules = {}) {
    return hushtrace::compare_records(before.read("then.json"), after.read("now.json"), hushtrace::RecordState::last, rules);
}

/// The first item of that name; fails the test where there is none.
hushtrace::ComparedItem item(const hushtrace::Comparison& comparison, const std::string& what);
bool has_item(const hushtrace::Comparison& comparison, const std::string& what);

}  // namespace made
