#include "hushtrace/report/index.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <system_error>
#include <utility>

#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/error.hpp"
#include "read_record.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr std::size_t kMostSources = 5;
constexpr int kDeepest = 8;

bool is_job(const fs::path& folder) {
    std::error_code fault;
    return fs::symlink_status(folder / "job.json", fault).type() != fs::file_type::not_found;
}

void gather(const fs::path& folder, int depth, std::vector<fs::path>& found) {
    if (is_job(folder)) {
        found.push_back(folder);
        return;
    }
    if (depth == kDeepest) return;
    std::vector<fs::path> inner;
    std::error_code fault;
    for (fs::directory_iterator one(folder, fault), end; !fault && one != end; one.increment(fault)) {
        std::error_code unknown;
        if (one->is_directory(unknown) && !one->is_symlink(unknown) && !one->path().filename().string().starts_with('.'))
            inner.push_back(one->path());
    }
    std::sort(inner.begin(), inner.end());
    for (const fs::path& one : inner) gather(one, depth + 1, found);
}

/// The newest record at hand, and where it lies under the job's folder.
struct Newest {
    std::optional<Json> record;
    std::string file;
    std::vector<std::string> damaged;
};

Newest newest_record(const fs::path& folder) {
    Newest newest;
    std::string at;
    const auto take = [&](const fs::path& file, Json&& record) {
        const std::string made = text_at(record, {"results", "made", "at"});
        if (newest.record && made <= at) return;
        newest.record = std::move(record);
        newest.file = file.lexically_relative(folder).generic_string();
        at = made;
    };
    std::string why;
    for (const fs::path& file : kept_files(folder)) {   // up to the newest that can be read: years of them may lie there
        auto record = read_record(file, why);
        if (!record) newest.damaged.push_back(passed_over(file, why));
        else take(file, std::move(*record));
        if (newest.record) break;
    }
    std::vector<fs::path> others;
    std::error_code fault;
    for (fs::directory_iterator one(folder / "records", fault), end; !fault && one != end; one.increment(fault))
        if (one->path().extension() == ".json" && !one->path().filename().string().starts_with('.')) others.push_back(one->path());
    std::sort(others.begin(), others.end());
    for (const fs::path& file : others)   // those that are no records are another's business
        if (auto record = read_record(file, why)) take(file, std::move(*record));
    return newest;
}

Json number_or_null(const Json& value) { return value.is_number() ? value : Json(nullptr); }
Json text_or_null(const Json& value) { return value.is_string() ? value : Json(nullptr); }

/// The way that the sets of one source's entry paths speak for most: a way's chance is that of all sets that hold it.
struct Way {
    Json path, mechanism, probability;
};
Way likeliest_way(const Json& record, const std::string& source_id) {
    std::map<std::string, double> chances;
    std::map<std::string, std::pair<double, Json>> leading;   // of each way its likeliest set's chance and mechanism
    for (const Json& one : objects_at(record, {"results", "noise", "entry_paths"})) {
        const Json &probability = value_at(one, {"probability"}), &names = value_at(one, {"paths"});
        if (text_at(one, {"source_id"}) != source_id || !probability.is_number() || !names.is_array()) continue;
        const double chance = probability.get<double>();
        for (const Json& name : names) {
            if (!name.is_string()) continue;
            chances[name.get<std::string>()] += chance;
            auto& best = leading[name.get<std::string>()];
            if (chance > best.first) best = {chance, value_at(one, {"mechanism"})};
        }
    }
    const auto most = std::max_element(chances.begin(), chances.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
    if (most == chances.end()) return {};
    return {most->first, leading[most->first].second, std::round(std::min(most->second, 1.0) * 1e4) / 1e4};
}

Json sources_of(const Json& record) {
    Json list = Json::array();
    for (const Json& one : objects_at(record, {"results", "noise", "noise_sources"})) {
        if (list.size() == kMostSources) break;
        const Way way = likeliest_way(record, text_at(one, {"id"}));
        list.push_back({{"kind", text_or_null(value_at(one, {"kind"}))},
                        {"frequency_hz", number_or_null(value_at(one, {"frequency_hz"}))},
                        {"level_dbv", number_or_null(value_at(one, {"level_dbv"}))},
                        {"level_dbfs", number_or_null(value_at(one, {"level_dbfs"}))},
                        {"confidence", number_or_null(value_at(one, {"confidence"}))},
                        {"path", way.path},
                        {"mechanism", text_or_null(way.mechanism)},
                        {"path_probability", way.probability}});
    }
    return list;
}

/// One channel's A-weighted floor with the conditions it was read in: a take's, or one of the noise-floor record's.
Json floor_line(const Json& floor, const Json& condition) {
    const auto of_condition = [&condition](const char* key) { return value_at(condition, {key}); };
    return {{"take", text_or_null(value_at(floor, {"take"}))},
            {"engine", text_or_null(of_condition("engine"))},
            {"volume", number_or_null(of_condition("volume"))},
            {"hookup", of_condition("hookup")},
            {"loads", of_condition("loads")},
            {"channel", text_or_null(value_at(floor, {"channel"}))},
            {"a_weighted_dbv", number_or_null(value_at(floor, {"a_weighted_dbv"}))},
            {"a_weighted_dbfs", number_or_null(value_at(floor, {"a_weighted_dbfs"}))},
            {"limited_by_interface", value_at(floor, {"limited_by_interface"})}};
}

/// By the noise-floor record's conditions where there is one, else by take.
Json floor_of(const Json& record) {
    Json list = Json::array();
    for (const Json& condition : objects_at(record, {"results", "floor_record", "conditions"}))
        for (const Json& channel : objects_at(condition, {"channels"})) list.push_back(floor_line(value_at(channel, {"floor"}), condition));
    if (!list.empty()) return list;
    std::map<std::string, Json> takes;
    for (const Json& one : objects_at(record, {"results", "job", "takes"})) takes.emplace(text_at(one, {"file"}), one);
    for (const Json& one : objects_at(record, {"results", "noise", "floor"})) list.push_back(floor_line(one, takes[text_at(one, {"take"})]));
    return list;
}

/// Names of the limits that something fails: only those written in job.json count, as for the exit code.
Json failed_limits(const Json& record) {
    Json list = Json::array();
    const bool written = value_at(record, {"results", "job", "limits", "ceiling_thd_percent"}).is_number();
    if (written && text_at(record, {"results", "gain", "ceiling_reason"}) == "always_distorted") list.push_back("ceiling_thd_percent");
    const auto take_over = [&list](const std::vector<Json>& verdicts) {
        for (const Json& line : verdicts) {
            if (text_at(line, {"verdict"}) != "fail" || value_at(line, {"written"}) != Json(true)) continue;
            std::string name = text_at(line, {"what"});
            for (const char* key : {"condition", "channel", "amplifier"})
                if (const std::string word = text_at(line, {key}); !word.empty()) name += ", " + word;
            list.push_back(name);
        }
    };
    take_over(objects_at(record, {"results", "chain", "limits"}));
    take_over(objects_at(record, {"results", "floor_record", "acceptance"}));
    return list;
}

const std::vector<const char*>& strongest_keys() {
    static const std::vector<const char*> keys = {"kind",       "frequency_hz", "level_dbv", "level_dbfs",
                                                  "confidence", "path",         "mechanism", "path_probability"};
    return keys;
}

/// What the newest record says; every key is there without one too, null.
void put_results(Json& line, const Newest& newest, const Job* job) {
    const Json nothing;
    const Json& record = newest.record ? *newest.record : nothing;
    const auto take_over = [&](const char* name, std::initializer_list<const char*> path, bool text) {
        const Json& value = value_at(record, path);
        line[name] = text ? text_or_null(value) : number_or_null(value);
    };
    line["results"] = newest.record ? Json(newest.file) : Json(nullptr);
    take_over("made_at", {"results", "made", "at"}, true);
    take_over("made_version", {"results", "made", "version"}, true);
    const Json& as_it_stood = value_at(record, {"results", "job"});
    const bool comparable = newest.record && job && as_it_stood.is_object();
    line["results_current"] = comparable ? Json(as_it_stood == Json::parse(job_text(*job))) : Json(nullptr);
    take_over("ceiling_volume", {"results", "gain", "ceiling", "volume"}, false);
    take_over("ceiling_v", {"results", "gain", "ceiling", "level_v"}, false);
    take_over("ceiling_reason", {"results", "gain", "ceiling_reason"}, true);
    take_over("fuse_a", {"results", "power", "fuse_a"}, false);
    take_over("total_a", {"results", "power", "total_a"}, false);
    const Json sources = sources_of(record);
    for (const char* key : strongest_keys()) line[std::string("noise_") + key] = sources.empty() ? Json(nullptr) : sources[0][key];
    line["noise_sources"] = newest.record ? sources : Json(nullptr);
    line["floor"] = newest.record ? floor_of(record) : Json(nullptr);
    line["limits_failed"] = newest.record ? failed_limits(record) : Json(nullptr);
}

void put_facts(Json& line, const Job* job) {
    const auto text = [](const std::optional<std::string>& value) { return value && !value->empty() ? Json(*value) : Json(nullptr); };
    line["title"] = job ? text(job->title) : Json(nullptr);
    line["date"] = job ? text(job->date) : Json(nullptr);
    line["vehicle"] = job ? text(job->vehicle.description) : Json(nullptr);
    line["drive"] = job ? Json(std::string(to_word(job->vehicle.drive))) : Json(nullptr);
    line["complaint"] = job ? text(job->complaint) : Json(nullptr);
    line["takes"] = job ? Json(job->takes.size()) : Json(nullptr);
    line["observations"] = job ? Json(job->observations.size()) : Json(nullptr);
}

}  // namespace

std::vector<fs::path> jobs_below(const fs::path& folder) {
    std::error_code fault;
    if (!fs::is_directory(folder, fault))
        throw Error(ErrorKind::file_unreadable, folder.string() + ": there is no such folder");
    std::vector<fs::path> found;
    const fs::path plain = folder.lexically_normal();
    gather(plain.has_filename() ? plain : plain.parent_path(), 0, found);
    if (found.empty()) throw Error(ErrorKind::file_unreadable, folder.string() + ": holds no job; a job is a folder with a job.json");
    return found;
}

IndexLine index_line(const fs::path& job_folder, std::string_view version) {
    IndexLine out;
    Json line = {{"schema", "hushtrace.index/1"},
                 {"tool", {{"name", "hushtrace"}, {"version", std::string(version)}}},
                 {"job", job_folder.string()},
                 {"error", nullptr}};
    std::optional<OpenedJob> opened;
    try {
        opened = open_job(job_folder);
    } catch (const Error& error) {
        line["error"] = error.what();
        out.failed = true;
    }
    const Job* job = opened ? &opened->job : nullptr;
    const Newest newest = opened ? newest_record(job_folder) : Newest{};
    put_facts(line, job);
    put_results(line, newest, job);
    Json open = Json::array();
    if (opened)
        for (const Warning& one : check_job(*opened)) open.push_back(one.text);
    line["open"] = opened ? open : Json(nullptr);
    line["damaged"] = opened ? Json(newest.damaged) : Json(nullptr);
    out.text = line.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
    return out;
}

}  // namespace hushtrace
