#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <functional>
#include <iterator>
#include <limits>
#include <nlohmann/json.hpp>
#include <set>
#include <string>

#include "hushtrace/live/live_json.hpp"

using namespace hushtrace;
using Json = nlohmann::json;

TEST_CASE("a snapshot's JSON has its fields by name", "[live]") {
    LiveSnapshot snapshot;
    snapshot.number = 7;
    snapshot.time_s = 12.5;
    snapshot.state = LiveState::running;
    snapshot.title = "Van \"A\" </script>";
    snapshot.tone_hz = 997;
    snapshot.levels = {{Channel::rear_left, -9.5, 2.345, 7.4, -6.4, 0.021, 0.002, ToneState::distorted}};
    snapshot.steps = {{3, 22.0, -12.0, std::nullopt, 0.02, 0.001, ToneState::unsure, Channel::right}};
    snapshot.ceiling = LiveCeiling{snapshot.steps[0], true};
    snapshot.kept = 2;
    const Json json = Json::parse(live_json(snapshot));
    CHECK(json["number"] == 7);
    CHECK(json["time_s"] == 12.5);
    CHECK(json["task"] == "gain");
    CHECK(json["state"] == "running");
    CHECK(json["title"] == "Van \"A\" </script>");
    CHECK(json["limit_thd_percent"] == 1.0);
    CHECK(json["levels"][0]["channel"] == "rear_left");
    CHECK(json["levels"][0]["level_v"] == 2.345);
    CHECK(json["levels"][0]["tone"] == "distorted");
    CHECK(json["tone"] == "distorted");
    CHECK(json["leading"] == "rear_left");
    CHECK(json["steps"][0]["volume"] == 22.0);
    CHECK(json["steps"][0]["level_v"].is_null());
    CHECK(json["ceiling"]["final"] == true);
    CHECK(json["ceiling"]["step"]["channel"] == "right");
    CHECK(json["follow"].is_null());
    CHECK(json["kept"] == 2);
    CHECK_FALSE(json.contains("heard_at"));
    CHECK(live_json(snapshot).find('\n') == std::string::npos);  // one line: server-sent events end at it
}

TEST_CASE("what is followed has its fields by name", "[live]") {
    LiveSnapshot snapshot;
    snapshot.task = LiveTask::follow;
    snapshot.follow = LiveFollow{"whine", Channel::left, true, std::nullopt, -68.3, -70.1, -62.1, -6.2, 0.2, true};
    const Json follow = Json::parse(live_json(snapshot))["follow"];
    CHECK(follow["frequency_hz"].is_null());
    CHECK(follow["lowest_db"] == -70.1);
    CHECK(follow["start_db"] == -62.1);
    CHECK(follow["change_db"] == -6.2);
    CHECK(follow["at_most"] == true);
    CHECK(follow["verdict"] == "quieter");
}

TEST_CASE("which channel leads, and what became of a noise, is decided before it is JSON", "[live]") {
    const auto with = [](ToneState left, ToneState right, double right_dbfs) {
        LiveSnapshot snapshot;
        snapshot.levels = {{Channel::left, -9.5, {}, {}, 0, {}, {}, left}, {Channel::right, right_dbfs, {}, {}, 0, {}, {}, right}};
        return Json::parse(live_json(snapshot));
    };
    CHECK(with(ToneState::moving, ToneState::unsure, -9.5)["leading"] == "left");   // in the snapshot's own order of weight
    CHECK(with(ToneState::clean, ToneState::unsure, -9.5)["leading"] == "right");
    CHECK(with(ToneState::clean, ToneState::clean, -9.0)["leading"] == "left");
    CHECK(with(ToneState::clean, ToneState::clean, -8.0)["leading"] == "right");
    CHECK(with(ToneState::clean, ToneState::absent, -8.0)["tone"] == "clean");
    CHECK(Json::parse(live_json(LiveSnapshot{}))["leading"].is_null());

    const auto verdict = [](LiveFollow follow) {
        LiveSnapshot snapshot;
        snapshot.follow = follow;
        return Json::parse(live_json(snapshot))["follow"]["verdict"];
    };
    LiveFollow follow;
    follow.name = "hum";
    CHECK(verdict(follow) == "not_heard");
    follow.level_db = -50.0;
    CHECK(verdict(follow) == "not_started");
    follow.change_db = -0.9;
    follow.change_sd_db = 0.1;
    CHECK(verdict(follow) == "same");
    follow.change_db = 1.1;
    CHECK(verdict(follow) == "louder");
    follow.change_sd_db = 0.6;   // two of them are more than the change
    CHECK(verdict(follow) == "same");
    follow.at_most = true;
    CHECK(verdict(follow) == "hidden");
    follow.change_db = -3.0;
    CHECK(verdict(follow) == "quieter");
}

TEST_CASE("docs/live.md lists every field, and none beside them", "[live]") {
    std::ifstream file(std::string(HUSHTRACE_SOURCE_DIR) + "/docs/live.md");
    const std::string page{std::istreambuf_iterator<char>(file), {}};
    const std::size_t begin = page.find("## The fields of the JSON"), end = page.find("\n## ", begin);
    REQUIRE(end != std::string::npos);
    const std::string section = page.substr(begin, end - begin);

    LiveSnapshot snapshot;
    snapshot.levels.resize(1);
    snapshot.steps.resize(1);
    snapshot.ceiling = LiveCeiling{};
    snapshot.follow = LiveFollow{};
    std::set<std::string> fields;
    const std::function<void(const Json&)> collect = [&](const Json& json) {
        if (json.is_object())
            for (const auto& [key, value] : json.items()) fields.insert(key);
        for (const Json& one : json)
            if (one.is_structured()) collect(one);
    };
    collect(Json::parse(live_json(snapshot)));
    collect(Json::parse(live_json(LiveEvent{})));
    CHECK(fields.size() > 40);
    for (const std::string& field : fields) {
        INFO(field);
        CHECK(section.find("`" + field + "`") != std::string::npos);
    }
    // the first cell of a row names fields alone
    for (std::size_t row = section.find("\n| `"); row != std::string::npos; row = section.find("\n| `", row + 1)) {
        const std::string cell = section.substr(row + 3, section.find(" | ", row + 3) - row - 3);
        for (std::size_t at = cell.find('`'); at != std::string::npos;) {
            const std::size_t behind = cell.find('`', at + 1);
            INFO(cell);
            CHECK(fields.count(cell.substr(at + 1, behind - at - 1)) == 1);
            at = cell.find('`', behind + 1);
        }
    }
}

TEST_CASE("silence, NaN and text that is no UTF-8 still make JSON", "[live]") {
    LiveSnapshot snapshot;
    snapshot.title = "\xff\xfe van\n";
    snapshot.tone_hz = std::numeric_limits<double>::quiet_NaN();
    snapshot.levels = {{Channel::left, -std::numeric_limits<double>::infinity(), std::nullopt, std::nullopt, 0, std::nan(""), std::nullopt,
                        ToneState::absent}};
    const Json json = Json::parse(live_json(snapshot));
    CHECK(json["tone_hz"].is_null());
    CHECK(json["levels"][0]["level_dbfs"].is_null());
    CHECK(json["levels"][0]["thd_percent"].is_null());
    CHECK(json["title"] == "\xef\xbf\xbd\xef\xbf\xbd van\n");
    CHECK(Json::parse(live_json(LiveEvent{4, std::nan(""), "step", "a\nb\xff"}))["text"] == "a\nb\xef\xbf\xbd");
}

TEST_CASE("every request has a word of its own, and nothing else is one", "[live]") {
    for (int i = 0; i <= static_cast<int>(LiveRequest::mark); ++i) {
        const auto request = static_cast<LiveRequest>(i);
        CHECK(live_request(to_word(request)) == request);
    }
    for (const char* word : {"", "Start", "start ", "start\n", "stopp", "9"}) CHECK_FALSE(live_request(word));
}
