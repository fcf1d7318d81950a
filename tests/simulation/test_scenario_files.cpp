#include <catch2/catch.hpp>
#include <limits>

#include "hushtrace/signal/error.hpp"
#include "scenario_tools.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

struct Refusal {
    ErrorKind kind = ErrorKind::disk_failed;
    std::string text = "was not refused";
};
Refusal refusal_of(const std::filesystem::path& file) {
    try {
        SimulatedVehicle vehicle(file);
    } catch (const Error& error) {
        return {error.kind(), error.what()};
    }
    return {};
}
Refusal refusal_of_text(const std::string& text) {
    TemporaryFile file(".json");
    file.write(text);
    Refusal refusal = refusal_of(file.path());
    CHECK(refusal.text.find(file.path().string()) != std::string::npos);
    return refusal;
}

}  // namespace

TEST_CASE("every vehicle in signals/ can be driven, and its job can be described", "[simulation]") {
    int seen = 0;
    for (const auto& entry : std::filesystem::directory_iterator(signals_folder())) {
        if (entry.path().extension() != ".json") continue;
        std::ifstream stream(entry.path());
        if (json::parse(stream).value("schema", "") != "hushtrace.vehicle/1") continue;
        INFO(entry.path());
        SimulatedVehicle vehicle(entry.path());
        SimulatedConditions set;
        set.conditions.engine = Engine::idle;
        vehicle.set_conditions(set);
        CHECK(rms(rendered(vehicle, 0.1).channel(0)) > 0);
        const json job = json::parse(vehicle.job_description_json());
        CHECK(job["schema"] == "hushtrace.job/1");
        CHECK(job["vehicle"]["cylinders"].is_number_integer());
        CHECK(job["source"]["volume_top"].is_number());
        CHECK(job["interface"]["volts_full_scale"] == json::array({nullptr, nullptr}));
        CHECK(job["amplifiers"].size() == 2);
        // The job's description knows nothing of what is wrong.
        for (const char* secret : {"fault", "note", "shell_to_ground_ohm", "ground_mohm", "rail", "contact",
                                   "rejection", "speaker_leads"})
            CHECK(job.dump().find(secret) == std::string::npos);
        ++seen;
    }
    CHECK(seen >= 12);
}

TEST_CASE("a refused scenario is told in one line that ends, whatever it holds", "[simulation]") {
    json scenario = read_json("healthy.json");
    const std::string long_word = "\x1b[2J\n" + std::string(100000, 'x');
    const auto check_line = [](const std::string& text) {
        const std::string told = refusal_of_text(text).text;
        CHECK(told.find_first_of("\x1b\n") == std::string::npos);
        CHECK(told.size() < 700);
    };
    scenario["schema"] = long_word;
    check_line(scenario.dump());
    scenario = read_json("healthy.json");
    scenario[long_word] = 1;
    check_line(scenario.dump());
    check_line(R"({"a)" + std::string(100000, 'x') + R"(":1,"a)" + std::string(100000, 'x') + R"(":1})");
    check_line("{" + std::string(100000, 'x'));
    CHECK(refusal_of_text("{\"a\xFF\"").text.find('\xFF') == std::string::npos);
}

TEST_CASE("a hostile scenario is refused by file and field", "[simulation]") {
    struct Case {
        const char* pointer;
        json value;
        const char* named;
    };
    const std::vector<Case> cases = {
        {"/vehicle/cylinders", "four", "vehicle.cylinders"},
        {"/vehicle/cylinders", 3.5, "vehicle.cylinders"},
        {"/vehicle/strokes", 3, "vehicle.strokes"},
        {"/vehicle/drive", "steam", "vehicle.drive"},
        {"/vehicle/drive", "electric", "vehicle.drive"},
        {"/vehicle/engine/idle_rpm", -700, "vehicle.engine.idle_rpm"},
        {"/vehicle/engine/idle_rpm", json::array({1, 2}), "vehicle.engine.idle_rpm"},
        {"/vehicle/alternator/fault", "tired", "vehicle.alternator.fault"},
        {"/vehicle/alternator", nullptr, "vehicle.alternator"},
        {"/vehicle/alternator", 3, "vehicle.alternator"},
        {"/vehicle/wings", 2, "vehicle.wings"},
        {"/colour", "red", "colour"},
        {"/schema", "hushtrace.vehicle/9", "schema"},
        {"/loads", 3, "loads"},
        {"/loads/0/current_a", true, "loads[0].current_a"},
        {"/loads/1/surprise", 1, "loads[1].surprise"},
        {"/source/left/positive_rail_v", -3, "source.left.positive_rail_v"},
        {"/source/volume", json{{"top", 40}}, "source.volume.db_per_step"},
        {"/source/volume", json{{"top", 40}, {"table_db", json::array({{10, -20}, {5, 0}})}},
         "source.volume.table_db"},
        {"/source/volume", json{{"top", 40}, {"table_db", json::array({{10, -20}, 7})}},
         "source.volume.table_db[1]"},
        {"/lead/parallel_m", 49, "lead.parallel_m"},
        {"/lead/contact", 3, "lead.contact"},
        {"/amplifier/pin1_ohm", 1e5, "amplifier.pin1_ohm"},
        {"/amplifier/gain_db", 500, "amplifier.gain_db"},
        {"/amplifier/rail_v", 0, "amplifier.rail_v"},
        {"/speaker_leads", json{{"length_m", 3}}, "speaker_leads.separation_m"},
        {"/speaker_leads", json{{"length_m", 3}, {"separation_m", 0.1}, {"beside", "river"}},
         "speaker_leads.beside"},
        {"/interface/output_pad_db", -3, "interface.output_pad_db"},
        {"/feed/conductor", "gold", "feed.conductor"},
        {"/interface/volts_full_scale", json::array({7}), "interface.volts_full_scale"},
        {"/interface/volts_full_scale", json::array({7, 0}), "interface.volts_full_scale[1]"},
        {"/interface/sample_rate_hz", 1e9, "interface.sample_rate_hz"},
        {"/interface/input", 5, "interface.input"},
    };
    for (const Case& one : cases) {
        INFO(one.pointer << " = " << one.value.dump());
        json scenario = read_json("healthy.json");
        scenario[json::json_pointer(one.pointer)] = one.value;
        const Refusal refusal = refusal_of_text(scenario.dump());
        CHECK(refusal.kind == ErrorKind::invalid_input);
        CHECK(refusal.text.find(std::string(": ") + one.named + ":") != std::string::npos);
        CHECK(refusal.text.find('\n') == std::string::npos);
    }
}

TEST_CASE("a scenario that isn't JSON, or not plain JSON, is refused", "[simulation]") {
    const std::string healthy = read_json("healthy.json").dump();
    const auto with = [&](const std::string& from, const std::string& to) {
        std::string text = healthy;
        const auto at = text.find(from);
        REQUIRE(at != std::string::npos);
        return text.replace(at, from.size(), to);
    };
    CHECK(refusal_of_text("{").kind == ErrorKind::invalid_input);
    CHECK(refusal_of_text("[]").kind == ErrorKind::invalid_input);
    CHECK(refusal_of_text("\xff\xfe").kind == ErrorKind::invalid_input);
    CHECK(refusal_of_text(std::string(100000, '[')).kind == ErrorKind::invalid_input);
    CHECK(refusal_of_text(with("\"idle_rpm\":760", "\"idle_rpm\":NaN")).kind == ErrorKind::invalid_input);
    CHECK(refusal_of_text(with("\"idle_rpm\":760", "\"idle_rpm\":1e999")).kind == ErrorKind::invalid_input);
    const Refusal twice = refusal_of_text(with("\"idle_rpm\":760", "\"idle_rpm\":760,\"idle_rpm\":900"));
    CHECK(twice.kind == ErrorKind::invalid_input);
    CHECK(twice.text.find("idle_rpm") != std::string::npos);
    CHECK(refusal_of_text("").kind == ErrorKind::file_unreadable);
    CHECK(refusal_of("/nowhere/at/all.json").kind == ErrorKind::file_unreadable);
    CHECK(refusal_of(std::filesystem::temp_directory_path()).kind == ErrorKind::file_unreadable);
}

TEST_CASE("a played file that can't be read leaves the drive as it was", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "healthy.json");
    SimulatedConditions set;
    set.played_file = "/nowhere/tone.wav";
    CHECK_THROWS_AS(vehicle.set_conditions(set), Error);
    CHECK(rendered(vehicle, 0.1).frames() == 4800);
}
