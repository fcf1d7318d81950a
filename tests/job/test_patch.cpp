#include <catch2/catch.hpp>

#include <nlohmann/json.hpp>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/error.hpp"
#include "job/whole_job.hpp"

using namespace hushtrace;
using Json = nlohmann::ordered_json;

namespace {

Job parse(const std::string& text) {
    std::vector<Warning> warnings;
    return parse_job(text, warnings);
}

/// The whole job with a field of a newer version in every object.
Json strange_job() {
    Json json = Json::parse(whole_job_text());
    json["newer"] = {{"a", {1, 2.5, nullptr}}, {"text", "Ü"}};
    json["vehicle"]["alternator"]["newer"] = "alternator";
    json["takes"][0]["newer"] = "idle";
    json["takes"][1]["newer"] = "steps";
    json["takes"][1]["tone"]["newer"] = "tone";
    for (std::size_t i = 0; i < 3; ++i) json["observations"][i]["newer"] = i;
    return json;
}

template <class Change>
Json changed(const Json& json, Change change) {
    Job job = parse(json.dump());
    change(job);
    return Json::parse(patched_job_text(json.dump(), job));
}

}  // namespace

TEST_CASE("a change of nothing keeps every value, the order, and what is not known", "[patch]") {
    const Json json = strange_job();
    const Json after = changed(json, [](Job&) {});
    CHECK(after == json);                // ordered: the fields' order counts
    CHECK(after.dump() == json.dump());  // 4.0 stays 4.0, a bare word a bare word, null null
}

TEST_CASE("an amplifier that gets another name keeps what is not known of it", "[patch]") {
    Json json = strange_job();
    json["amplifiers"][0]["serial"] = "A-17";
    const Json renamed = changed(json, [](Job& job) { job.amplifiers[0].name = "rear"; });
    json["amplifiers"][0]["name"] = "rear";
    CHECK(renamed == json);
    const Json another = changed(json, [](Job& job) {
        job.amplifiers[0] = AmplifierData{};
        job.amplifiers[0].name = "front";
    });
    CHECK_FALSE(another["amplifiers"][0].contains("serial"));
}

TEST_CASE("one changed value changes that value alone", "[patch]") {
    Json json = strange_job();
    const Json after = changed(json, [](Job& job) {
        job.vehicle.alternator.pole_pairs = 8;
        job.takes[1].conditions.hookup = {Hookup::isolator};
        job.takes[1].tone->via = ToneVia::phone;
        job.interface.amps_per_volt = 10;  // was null
        job.limits.ceiling_thd_percent.reset();
    });
    json["vehicle"]["alternator"]["pole_pairs"] = 8;
    json["takes"][1]["hookup"] = {"isolator"};
    json["takes"][1]["tone"]["via"] = "phone";
    json["interface"]["amps_per_volt"] = 10;
    json.erase("limits");
    CHECK(after == json);
}

TEST_CASE("takes keep what is theirs when others come, go and change places", "[patch]") {
    const Json json = strange_job();
    const Json after = changed(json, [](Job& job) {
        Take first = job.takes[0];
        first.file = "takes/new.flac";
        std::swap(job.takes[0], job.takes[1]);
        job.takes.insert(job.takes.begin() + 1, first);
    });
    REQUIRE(after["takes"].size() == 3);
    CHECK(after["takes"][0] == json["takes"][1]);
    CHECK(after["takes"][1]["file"] == "takes/new.flac");
    CHECK_FALSE(after["takes"][1].contains("newer"));
    CHECK(after["takes"][2] == json["takes"][0]);

    const Json fewer = changed(json, [](Job& job) { job.takes.erase(job.takes.begin()); });
    REQUIRE(fewer["takes"].size() == 1);
    CHECK(fewer["takes"][0] == json["takes"][1]);
}

TEST_CASE("observations keep what is theirs, by content or else by place", "[patch]") {
    const Json json = strange_job();
    const Json fewer = changed(json, [](Job& job) { job.observations.erase(job.observations.begin()); });
    REQUIRE(fewer["observations"].size() == 2);
    CHECK(fewer["observations"][0]["newer"] == 1);
    CHECK(fewer["observations"][1]["newer"] == 2);

    const Json mended = changed(json, [](Job& job) { job.observations[1].heard = "quieter"; });
    CHECK(mended["observations"][1]["value"] == "quieter");
    CHECK(mended["observations"][1]["newer"] == 1);
    CHECK(mended["observations"][1]["hookup"] == "shorted_at_amp");  // still the bare word
}

TEST_CASE("sections that were not there are added, and emptied ones keep what is not known", "[patch]") {
    const Json bare = {
        {"schema", "hushtrace.job/1"}, {"title", "t"}, {"cables", {{"newer", 1}}}, {"takes", nullptr}};
    const Json after = changed(bare, [](Job& job) {
        job.cables.signal_m = 5;
        job.takes.push_back(parse(whole_job_text()).takes[0]);
        job.interface.volts_full_scale = {7.0};
    });
    CHECK(after["cables"] == Json{{"newer", 1}, {"signal_m", 5}});
    CHECK(after["takes"][0]["file"] == "takes/idle.flac");
    CHECK(after["interface"]["volts_full_scale"] == Json::array({7}));
    CHECK_FALSE(after.contains("amplifiers"));
}

TEST_CASE("a converter that was written as a ratio may be changed to another loss", "[patch]") {
    Json json = strange_job();
    json["amplifiers"][0]["converter"] = {{"step_down", 4}, {"newer", 1}};
    const Json after = changed(json, [](Job& job) { job.amplifiers[0].converter->loss_db = 6.0; });
    CHECK(after["amplifiers"][0]["converter"] == Json{{"newer", 1}, {"loss_db", 6.0}});
    CHECK(parse(after.dump()).amplifiers[0].converter->loss_db == 6.0);
    // what doesn't concern it leaves it as it was written
    const Json other = changed(json, [](Job& job) { job.amplifiers[0].converter->isolating = true; });
    CHECK(parse(other.dump()).amplifiers[0].converter->loss_db == Approx(12.04).margin(0.01));
}
