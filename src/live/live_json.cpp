#include "hushtrace/live/live_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "hushtrace/live/live_figures.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr LiveRequest all_requests[] = {LiveRequest::start,     LiveRequest::stop, LiveRequest::stepped_up, LiveRequest::stepped_down,
                                        LiveRequest::reference, LiveRequest::keep, LiveRequest::arm,        LiveRequest::mark};

Json figure(std::optional<double> value) {
    return value && std::isfinite(*value) ? Json(*value) : Json(nullptr);
}

template <typename Word>
Json word(Word value) {
    return std::string(to_word(value));
}

Json level_json(const LiveLevel& level) {
    return {{"channel", word(level.channel)},
            {"level_dbfs", figure(level.level_dbfs)},
            {"level_v", figure(level.level_v)},
            {"level_dbv", figure(level.level_dbv)},
            {"peak_dbfs", figure(level.peak_dbfs)},
            {"thd_percent", figure(level.thd_percent)},
            {"thd_sd_percent", figure(level.thd_sd_percent)},
            {"tone", word(level.tone)}};
}

Json step_json(const LiveStep& step) {
    return {{"number", step.number},
            {"volume", figure(step.volume)},
            {"level_dbfs", figure(step.level_dbfs)},
            {"level_v", figure(step.level_v)},
            {"thd_percent", figure(step.thd_percent)},
            {"thd_sd_percent", figure(step.thd_sd_percent)},
            {"tone", word(step.tone)},
            {"channel", word(step.channel)}};
}

Json follow_json(const LiveFollow& follow) {
    return {{"name", follow.name},
            {"channel", word(follow.channel)},
            {"calibrated", follow.calibrated},
            {"frequency_hz", figure(follow.frequency_hz)},
            {"level_db", figure(follow.level_db)},
            {"lowest_db", figure(follow.lowest_db)},
            {"start_db", figure(follow.start_db)},
            {"change_db", figure(follow.change_db)},
            {"sd_db", figure(follow.sd_db)},
            {"at_most", follow.at_most},
            {"lowest_at_most", follow.lowest_at_most},
            {"looking", follow.looking},
            {"steady", follow.steady},
            {"change_sd_db", figure(follow.change_sd_db)},
            {"speed_change", figure(follow.speed_change)},
            {"verdict", word(followed(follow))}};
}

std::string text_of(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

std::string live_json(const LiveSnapshot& snapshot) {
    Json levels = Json::array(), steps = Json::array();
    for (const LiveLevel& level : snapshot.levels) levels.push_back(level_json(level));
    for (const LiveStep& step : snapshot.steps) steps.push_back(step_json(step));
    const LiveLevel* const leading = leading_level(snapshot);
    Json ceiling;
    if (snapshot.ceiling) ceiling = {{"step", step_json(snapshot.ceiling->step)}, {"final", snapshot.ceiling->final}};
    return text_of({{"number", snapshot.number},
                    {"time_s", figure(snapshot.time_s)},
                    {"task", word(snapshot.task)},
                    {"state", word(snapshot.state)},
                    {"title", snapshot.title},
                    {"tone_hz", figure(snapshot.tone_hz)},
                    {"limit_thd_percent", figure(snapshot.limit_thd_percent)},
                    {"volume", figure(snapshot.volume)},
                    {"turns_volume", snapshot.turns_volume},
                    {"levels", std::move(levels)},
                    {"tone", word(tone_of_all(snapshot))},
                    {"leading", leading ? word(leading->channel) : Json(nullptr)},
                    {"steps", std::move(steps)},
                    {"ceiling", std::move(ceiling)},
                    {"follow", snapshot.follow ? follow_json(*snapshot.follow) : Json(nullptr)},
                    {"headline", snapshot.headline},
                    {"next", snapshot.next},
                    {"move", word(snapshot.move)},
                    {"armed", snapshot.armed},
                    {"kept", snapshot.kept},
                    {"dropouts", snapshot.dropouts},
                    {"overloads", snapshot.overloads},
                    {"failure", snapshot.failure}});
}

std::string live_json(const LiveEvent& event) {
    return text_of({{"number", event.number}, {"time_s", figure(event.time_s)}, {"kind", event.kind}, {"text", event.text}});
}

std::string_view to_word(LiveRequest request) {
    switch (request) {
        case LiveRequest::start: return "start";
        case LiveRequest::stop: return "stop";
        case LiveRequest::stepped_up: return "stepped_up";
        case LiveRequest::stepped_down: return "stepped_down";
        case LiveRequest::reference: return "reference";
        case LiveRequest::keep: return "keep";
        case LiveRequest::arm: return "arm";
        case LiveRequest::mark: break;
    }
    return "mark";
}

std::optional<LiveRequest> live_request(std::string_view word) {
    for (const LiveRequest request : all_requests)
        if (to_word(request) == word) return request;
    return std::nullopt;
}

}  // namespace hushtrace
