#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "../../../src/diagnose/sources/heard_only.hpp"
#include "diagnose/even_survey.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

double dbfs(double mean_square) { return 10 * std::log10(2 * mean_square); }
double dbv_of_square(double volts_squared) { return 10 * std::log10(volts_squared); }

}  // namespace

TEST_CASE("noise that is heard where the input holds none comes from behind it", "[heard]") {
    struct Scene {
        MadeTake it{"takes/normal.wav", Engine::idle, 2};
        Job job;
        std::list<NoiseSource> sources;
        Observation heard;
        Scene() {
            heard.what = "noise_heard";
            heard.heard = "same";
            heard.conditions.engine = Engine::idle;
        }
    };
    struct Case {
        const char* what;
        std::function<void(Scene&)> change;
        double confidence;   // 0: not told
    };
    const auto source = [](NoiseKind kind, const char* take) {
        NoiseSource out;
        out.kind = kind;
        out.takes = {take};
        return out;
    };
    const Case cases[] = {
        {"as it is", [](Scene&) {}, 0.88},
        {"other words", [](Scene& s) { s.heard.heard = "louder"; }, 0.88},
        {"gone", [](Scene& s) { s.heard.heard = "gone"; }, 0},
        {"nothing said", [](Scene& s) { s.heard.heard.reset(); }, 0},
        {"no ear", [](Scene& s) { s.heard.what = "amplifier_wakes"; }, 0},
        {"shorted", [](Scene& s) { s.heard.conditions.hookup = {Hookup::shorted_at_amp}; }, 0.95},
        {"on a dummy", [](Scene& s) { s.heard.conditions.hookup = {Hookup::lead_on_dummy_at_amp}; }, 0.95},
        {"through an isolator", [](Scene& s) { s.heard.conditions.hookup = {Hookup::isolator}; }, 0},
        {"normal, and an isolator", [](Scene& s) { s.heard.conditions.hookup = {Hookup::normal, Hookup::isolator}; }, 0},
        {"engine off", [](Scene& s) { s.heard.conditions.engine = Engine::off; }, 0},
        {"loads in another order",
         [](Scene& s) {
             s.heard.conditions.loads = {"lights", "fan", "pump"};
             s.it.take.conditions.loads = {"pump", "lights", "fan"};
         },
         0.88},
        {"another load", [](Scene& s) { s.heard.conditions.loads = {"fan"}; }, 0},
        {"a volume, not stated with the take", [](Scene& s) { s.heard.conditions.volume = 20; }, 0.88},
        {"the same volume", [](Scene& s) { s.heard.conditions.volume = s.it.take.conditions.volume = 20; }, 0.88},
        {"another volume",
         [](Scene& s) {
             s.heard.conditions.volume = 20;
             s.it.take.conditions.volume = 21;
         },
         0},
        {"another input",
         [](Scene& s) {
             s.heard.conditions.input = SourceInput::aux;
             s.it.take.conditions.input = SourceInput::usb;
         },
         0},
        {"the source off",
         [](Scene& s) {
             s.heard.conditions.source = SourceState::off;
             s.it.take.conditions.source = SourceState::on;
         },
         0},
        {"after a change", [](Scene& s) { s.heard.after_change = "new ground"; }, 0},
        {"a take of the output", [](Scene& s) { s.it.take.conditions.point = Point::amp_output; }, 0},
        {"one silent channel", [](Scene& s) { s.it.survey.channels[0].silent = true; }, 0.88},
        {"silence", [](Scene& s) { s.it.survey.channels[0].silent = s.it.survey.channels[1].silent = true; }, 0},
        {"a take of another hookup", [](Scene& s) { s.it.take.conditions.hookup = {Hookup::shorted_at_amp}; }, 0},
        {"a take of two", [](Scene& s) { s.it.take.conditions.hookup = {Hookup::normal, Hookup::isolator}; }, 0},
        {"the take holds a motor", [&](Scene& s) { s.sources = {source(NoiseKind::motor_whine, "takes/normal.wav")}; }, 0},
        {"another take holds it", [&](Scene& s) { s.sources = {source(NoiseKind::motor_whine, "takes/other.wav")}; }, 0.88},
        {"the take holds hiss", [&](Scene& s) { s.sources = {source(NoiseKind::hiss, "takes/normal.wav")}; }, 0.88},
        {"a brief take", [](Scene& s) { s.it.survey.duration_s = 2.9; }, 0.7},
        {"not so brief", [](Scene& s) { s.it.survey.duration_s = 3.0; }, 0.88},
        {"brief, but shorted",
         [](Scene& s) {
             s.it.survey.duration_s = 2.9;
             s.heard.conditions.hookup = {Hookup::shorted_at_amp};
         },
         0.95},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        Scene scene;
        one.change(scene);
        scene.job.observations = {scene.heard};
        const std::size_t before = scene.sources.size();
        add_heard_only(scene.sources, {scene.it.survey}, scene.job);
        REQUIRE(scene.sources.size() == before + (one.confidence > 0));
        if (one.confidence == 0) continue;
        const NoiseSource& told = scene.sources.back();
        CHECK(told.kind == NoiseKind::heard_only);
        CHECK(told.confidence == one.confidence);
        CHECK(told.evidence.size() == 3);
    }
}

TEST_CASE("what was heard is evidence by its observation, and by the hiss of the take beside it", "[heard]") {
    MadeTake other("takes/other.wav", Engine::off), it("takes/normal.wav", Engine::idle, 3);
    for (std::size_t c = 0; c < 3; ++c) it.survey.channels[c].floor.all.unweighted.value = std::array{2e-9, 4e-9, 9e-9}[c];
    it.survey.channels[1].volts_full_scale = 2.0;
    it.survey.channels[2].silent = true;
    Job job;
    job.observations.resize(3);
    for (Observation& one : job.observations) {
        one.what = "noise_heard";
        one.heard = "quieter";
        one.conditions.engine = Engine::idle;
    }
    job.observations[1].heard = "gone";
    job.observations[2].conditions.hookup = {Hookup::shorted_at_amp};
    std::list<NoiseSource> sources;
    add_heard_only(sources, {other.survey, it.survey}, job);
    REQUIRE(sources.size() == 1);
    const std::vector<Evidence>& evidence = sources.front().evidence;
    REQUIRE(evidence.size() == 5);
    CHECK(evidence[0].text.find("from behind the amplifier's input") != std::string::npos);
    CHECK(evidence[0].value == 2);
    CHECK(evidence[0].unit == "observations");
    CHECK(evidence[0].observations == std::vector<std::size_t>{0, 2});
    CHECK(evidence[1].text == "Noise is heard (quieter) in the normal hookup.");
    CHECK(evidence[1].value == 1);
    CHECK(evidence[1].unit == "observation");
    CHECK(evidence[1].observations == std::vector<std::size_t>{0});
    CHECK(evidence[3].text == "Noise is heard (quieter) with the amplifier's input shorted.");
    CHECK(evidence[3].observations == std::vector<std::size_t>{2});
    for (const std::size_t hiss : {2u, 4u}) {   // the louder of those that sound, 4e-9 of full scale squared
        CHECK(evidence[hiss].text.find("nothing but hiss, -78.0 dBV") != std::string::npos);
        CHECK(evidence[hiss].value == Approx(dbv_of_square(1.6e-8)));
        CHECK(evidence[hiss].unit == "dBV");
        CHECK(evidence[hiss].takes == std::vector<std::string>{"takes/normal.wav"});
    }
    it.survey.channels[1].volts_full_scale.reset();
    std::list<NoiseSource> uncalibrated;
    add_heard_only(uncalibrated, {it.survey}, job);
    CHECK(uncalibrated.front().evidence[2].value == Approx(dbfs(4e-9)));
    CHECK(uncalibrated.front().evidence[2].unit == "dBFS");
}
