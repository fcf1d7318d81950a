#include "hushtrace/report/recorded_system.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::json;
constexpr int kDeepest = 64;
constexpr double kMost_db = 1000.0;

/// One object of the document; its path is for messages.
class Node {
public:
    Node(const Json& json, std::string path) : json_(&json), path_(std::move(path)) {
        if (!json.is_object()) wrong("an object is wanted");
    }
    [[noreturn]] void wrong(const std::string& what) const { throw Error(ErrorKind::invalid_input, path_ + ": " + what); }

    const Json* find(const char* key) const {
        const auto at = json_->find(key);
        return at == json_->end() || at->is_null() ? nullptr : &*at;
    }
    std::string text(const char* key) const {
        const Json* one = find(key);
        if (!one) return "";
        if (!one->is_string()) wrong(fmt::format("{}: a text is wanted", key));
        return one->get<std::string>();
    }
    bool flag(const char* key) const {
        const Json* one = find(key);
        if (one && !one->is_boolean()) wrong(fmt::format("{}: true or false is wanted", key));
        return one && one->get<bool>();
    }
    std::optional<double> number(const char* key, double most = 1e12) const {
        const Json* one = find(key);
        if (!one) return std::nullopt;
        if (!one->is_number()) wrong(fmt::format("{}: a number is wanted", key));
        const double value = one->get<double>();
        if (!std::isfinite(value) || std::abs(value) > most) wrong(fmt::format("{}: {} can't be", key, value));
        return value;
    }
    std::optional<double> spread(const char* key) const {
        const auto value = number(key);
        if (value && *value < 0) wrong(fmt::format("{}: a spread is never negative", key));
        return value;
    }
    Channel channel(const char* key) const {
        const auto word = from_word<Channel>(text(key));
        if (!word) wrong(fmt::format("{}: {} is no channel", key, in_quotes(text(key))));
        return *word;
    }
    std::vector<Node> list(const char* key) const {
        std::vector<Node> out;
        const Json* one = find(key);
        if (!one) return out;
        if (!one->is_array()) wrong(fmt::format("{}: a list is wanted", key));
        for (std::size_t i = 0; i < one->size(); ++i) out.emplace_back((*one)[i], fmt::format("{}.{}[{}]", path_, key, i));
        return out;
    }
    std::optional<Node> object(const char* key) const {
        const Json* one = find(key);
        if (!one) return std::nullopt;
        return Node(*one, path_ + "." + key);
    }
    LimitedBy limit(const std::string& key) const {
        const std::string word = text(key.c_str());
        for (const LimitedBy one : {LimitedBy::interface, LimitedBy::length, LimitedBy::noise})
            if (word == to_word(one)) return one;
        return LimitedBy::nothing;
    }
    /// A figure with its <name>_sd (or another name for that) and <name>_limited_by.
    std::optional<Reading> reading(const std::string& name, const char* sd_name = nullptr, double most = 1e12) const {
        const auto value = number(name.c_str(), most);
        if (!value) return std::nullopt;
        const auto sd = spread(sd_name ? sd_name : (name + "_sd").c_str());
        return Reading{*value, sd.value_or(0.0), limit(name + "_limited_by")};
    }

private:
    const Json* json_;
    std::string path_;
};

RecordedSource source_of(const Node& node, bool sure) {
    RecordedSource out;
    out.id = node.text("id");
    out.kind = node.text("kind");
    out.sure = sure;
    out.frequency_hz = node.number("frequency_hz");
    out.frequency_sd_hz = node.spread("frequency_sd_hz");
    out.engine_order = node.number("engine_order");
    out.engine_order_sd = node.spread("engine_order_sd");
    for (const Node& one : node.list("levels")) {
        RecordedSourceLevel level{one.text("take"), one.channel("channel"), {}};
        level.level.dbfs = one.reading("level_dbfs", "sd_db", kMost_db);
        level.level.dbv = one.reading("level_dbv", one.find("dbv_sd_db") ? "dbv_sd_db" : "sd_db", kMost_db);
        for (auto* side : {&level.level.dbfs, &level.level.dbv})
            if (*side) (*side)->limited_by = one.limit("limited_by");
        out.levels.push_back(std::move(level));
    }
    for (const Node& one : node.list("harmonics")) {
        const auto hz = one.number("frequency_hz"), level = one.number("level_dbfs", kMost_db);
        if (hz && level && *hz > 0) out.lines.push_back({*hz, *level});
    }
    return out;
}

RecordedLevel level_of(const Node& node, const std::string& name) {
    return {node.reading(name + "_dbfs", nullptr, kMost_db), node.reading(name + "_dbv", nullptr, kMost_db)};
}

void read_noise(RecordedSystem& to, const Node& noise) {
    to.has_noise = true;
    for (const Node& one : noise.list("noise_sources")) to.sources.push_back(source_of(one, true));
    for (const Node& one : noise.list("unsure")) to.sources.push_back(source_of(one, false));
    for (const Node& one : noise.list("health")) to.health[one.text("fault")] = one.text("why");
    for (const Node& one : noise.list("floor")) {
        RecordedFloor floor;
        floor.take = one.text("take");
        floor.channel = one.channel("channel");
        for (const char* name : {"unweighted", "a_weighted", "itu468", "itu468_quasi_peak"}) {
            RecordedLevel level = level_of(one, name);
            if (level.dbfs || level.dbv) floor.figures[name] = level;
        }
        for (const Node& band : one.list("third_octaves")) {
            const auto mid = band.number("mid_hz"), nominal = band.number("nominal_hz");
            RecordedLevel level = level_of(band, "level");
            if (!mid || !(*mid > 0) || (!level.dbfs && !level.dbv)) continue;
            const double half = std::pow(10.0, 0.05);  // IEC 61260-1, base ten
            floor.bands.push_back({nominal.value_or(*mid), *mid / half, *mid * half, level});
        }
        to.floors.push_back(std::move(floor));
    }
    if (const auto engine = noise.object("engine"))
        for (const Node& one : engine->list("takes")) {
            if (const auto rpm = one.number("rpm"); rpm && *rpm > 0) to.engine_rpm[one.text("take")] = *rpm;
            if (const auto whine = one.number("whine_hz"); whine && *whine > 0) to.whine_hz[one.text("take")] = *whine;
        }
}

RecordedCurve curve_of(const Node& node) {
    RecordedCurve out;
    out.take = node.text("take");
    out.channel = node.channel("channel");
    out.tone_hz = node.number("tone_hz").value_or(0.0);
    for (const Node& one : node.list("steps")) {
        RecordedStep step;
        step.volume = one.number("volume");
        step.dbfs = one.reading("level_dbfs", "level_sd_db", kMost_db);
        step.volts = one.reading("level_v");
        step.thd_percent = one.reading("thd_percent");
        step.overload = one.flag("input_overload");
        out.steps.push_back(step);
    }
    return out;
}

void read_gain(RecordedSystem& to, const Node& gain) {
    to.has_gain = true;
    to.limit_thd_percent = gain.number("limit_thd_percent");
    for (const Node& one : gain.list("curves")) to.curves.push_back(curve_of(one));
    for (const Node& one : gain.list("ceilings"))
        for (RecordedCurve& curve : to.curves) {
            if (curve.take != one.text("take") || curve.channel != one.channel("channel") || curve.tone_hz != one.number("tone_hz")) continue;
            curve.ceiling_volume = one.number("volume");
            curve.ceiling_reason = one.text("ceiling_reason");
            curve.knee_dbfs = one.reading("knee_dbfs", nullptr, kMost_db);
            curve.knee_v = one.reading("knee_v");
        }
    for (const Node& one : gain.list("balances")) {
        RecordedBalance balance;
        balance.take = one.text("take");
        balance.tone_hz = one.number("tone_hz").value_or(0.0);
        balance.balance_db = one.number("balance_db", kMost_db);
        const Json* pair = one.find("channels");
        if (!pair || !pair->is_array() || pair->size() != 2 || !(*pair)[0].is_string() || !(*pair)[1].is_string())
            one.wrong("channels: two channels are wanted");
        const auto first = from_word<Channel>((*pair)[0].get<std::string>()), second = from_word<Channel>((*pair)[1].get<std::string>());
        if (!first || !second) one.wrong("channels: two channels are wanted");
        balance.first = *first;
        balance.second = *second;
        to.balances.push_back(balance);
    }
    for (const Node& one : gain.list("amplifiers")) {
        RecordedAmplifier amplifier;
        amplifier.name = one.text("name");
        amplifier.sensitivity_v = one.reading("sensitivity_v");
        for (const Node& output : one.list("output_readings"))
            if (const auto found = output.reading("gain_now_db", nullptr, kMost_db)) amplifier.gain_now_db = found;
        to.amplifiers.push_back(std::move(amplifier));
    }
}

void read_chain(RecordedSystem& to, const Node& chain) {
    to.has_chain = true;
    for (const Node& one : chain.list("channels")) {
        if (one.flag("silent")) continue;
        RecordedPath path;
        path.take = one.text("take");
        path.channel = one.channel("channel");
        path.polarity = one.text("polarity");
        path.level = {one.reading("level_dbfs", nullptr, kMost_db), one.reading("level_dbv", nullptr, kMost_db)};
        for (const char* name : {"delay_ms", "gain_db", "balance_db", "thd_percent", "crosstalk_db", "crosstalk_10khz_db"})
            if (const auto figure = one.reading(name)) path.figures[name] = *figure;
        for (const Node& point : one.list("response")) {
            const auto at = point.number("frequency_hz");
            auto magnitude = point.reading("magnitude_db", "sd_db", kMost_db);
            if (!at || !(*at > 0) || !magnitude) continue;
            magnitude->limited_by = point.limit("limited_by");
            path.response.push_back({*at, *magnitude});
        }
        to.paths.push_back(std::move(path));
    }
}

void read_power(RecordedSystem& to, const Node& power) {
    to.has_power = true;
    for (const char* name : {"total_a", "fuse_a", "drop_v"})
        if (const auto value = power.number(name)) to.power[name] = *value;
    if (const auto alternator = power.object("alternator"))
        for (const char* name : {"reserve_a", "idle_reserve_a"})
            if (const auto value = alternator->number(name)) to.power[name] = *value;
    for (const Node& one : power.list("ripple"))
        if (const auto volts = one.reading("ripple_v")) to.ripple.push_back({one.text("take"), *volts});
}

Json parsed(std::string_view text, const std::string& called) {
    const auto shallow = [&](int depth, Json::parse_event_t, Json&) {
        if (depth > kDeepest) throw Error(ErrorKind::invalid_input, called + ": nested too deep for a record");
        return true;
    };
    try {
        return Json::parse(text.begin(), text.end(), shallow);
    } catch (const Json::exception&) {
        throw Error(ErrorKind::invalid_input, called + ": not JSON, or cut short; a record's data is wanted, such as records/report.json");
    }
}

}  // namespace

const Take* RecordedSystem::take(std::string_view file) const {
    if (!job) return nullptr;
    const auto at = std::find_if(job->takes.begin(), job->takes.end(), [&](const Take& one) { return one.file == file; });
    return at == job->takes.end() ? nullptr : &*at;
}

RecordedSystem read_recorded(std::string_view text, std::string_view called) {
    const std::string name(called);
    const Json whole = parsed(text, name);
    const Node top(whole, name);
    if (top.text("schema") != "hushtrace.report/1")
        top.wrong(
            fmt::format("its schema is {}; a hushtrace.report/1 document is wanted, such as records/report.json", in_quotes(top.text("schema"))));
    RecordedSystem out;
    out.called = name;
    if (const auto tool = top.object("tool")) out.version = tool->text("version");
    if (const auto input = top.object("input")) out.title = input->text("title");
    const auto results = top.object("results");
    if (!results) top.wrong("it holds no results");
    if (const Json* job = results->find("job")) {
        std::vector<Warning> ignored;  // they were told when it was measured
        out.job = parse_job(job->dump(-1, ' ', false, Json::error_handler_t::replace), ignored, name + ": results.job");
    }
    if (const auto noise = results->object("noise")) read_noise(out, *noise);
    if (const auto gain = results->object("gain")) read_gain(out, *gain);
    if (const auto chain = results->object("chain")) read_chain(out, *chain);
    if (const auto power = results->object("power")) read_power(out, *power);
    return out;
}

}  // namespace hushtrace
