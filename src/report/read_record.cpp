#include "read_record.hpp"

#include <algorithm>
#include <system_error>
#include <utility>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr std::size_t kLargestRecord = std::size_t{256} << 20;
constexpr int kDeepestRecord = 64;

}  // namespace

std::optional<Json> read_record(const std::filesystem::path& file, std::string& why) {
    why.clear();
    std::string text;
    try {
        text = read_whole(file, kLargestRecord, false);
    } catch (const Error&) {
        why = "can't be read";
        return std::nullopt;
    }
    bool deep = false;   // what is copied and written by recursion must not be
    Json record = Json::parse(
        text,
        [&deep](int depth, Json::parse_event_t, Json&) {
            deep = deep || depth > kDeepestRecord;
            return !deep;
        },
        false);
    if (deep) {
        why = "is nested too deep for a record";
    } else if (record.is_discarded()) {
        why = "is no JSON";
    } else if (text_at(record, {"schema"}) != "hushtrace.report/1") {
        why = "is no record (hushtrace.report/1)";
    } else {
        return record;
    }
    return std::nullopt;
}

const Json& value_at(const Json& whole, std::initializer_list<const char*> path) {
    static const Json nothing;
    const Json* at = &whole;
    for (const char* key : path) {
        const auto found = at->is_object() ? at->find(key) : at->end();
        if (found == at->end()) return nothing;
        at = &*found;
    }
    return *at;
}

std::string text_at(const Json& whole, std::initializer_list<const char*> path) {
    const Json& value = value_at(whole, path);
    return value.is_string() ? value.get<std::string>() : "";
}

std::vector<Json> objects_at(const Json& whole, std::initializer_list<const char*> path) {
    std::vector<Json> found;
    const Json& list = value_at(whole, path);
    if (list.is_array())
        for (const Json& one : list)
            if (one.is_object()) found.push_back(one);
    return found;
}

std::vector<fs::path> kept_files(const fs::path& job_folder) {
    std::vector<fs::path> files;
    std::error_code fault;
    for (fs::directory_iterator one(job_folder / "records" / "kept", fault), end; !fault && one != end; one.increment(fault))
        if (one->path().extension() == ".json" && !one->path().filename().string().starts_with('.')) files.push_back(one->path());
    constexpr std::size_t time_length = 16;   // "20260131T101200Z"; of one second the higher number is the later one, and a longer name
    std::sort(files.begin(), files.end(), [](const fs::path& a, const fs::path& b) {
        const std::string one = a.filename().string(), other = b.filename().string();
        const int by_time = one.substr(0, time_length).compare(other.substr(0, time_length));
        return by_time != 0 ? by_time > 0 : std::pair(one.size(), one) > std::pair(other.size(), other);
    });
    return files;
}

std::string passed_over(const fs::path& kept_file, const std::string& why) {
    return "records/kept/" + quoted_name(kept_file) + ": " + why + "; it is passed over";
}

std::string quoted_name(const std::filesystem::path& file) { return clean_text(file.filename().string()); }

}  // namespace hushtrace
