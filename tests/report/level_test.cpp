#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/report/level_picture.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

/// 100 W into 4 ohm (20 V), 2.36 V in at the ceiling, noise of 10 µV at the input: levels by hand.
struct Known {
    Job job;
    GainAnalysis gain = sample::gain();
    Known() {
        AmplifierData amplifier;
        amplifier.name = "front";
        amplifier.power_w = 100;
        amplifier.load_ohm = 4;
        job.amplifiers = {amplifier};
        SpeakerData speaker;
        speaker.amplifier = "front";
        speaker.power_w = 200;
        speaker.sensitivity_db_2v83_1m = 90;
        speaker.distance_m = 2;
        job.speakers = {speaker};
        AmplifierSetting one;
        one.name = "front";
        one.volume = 31;
        one.input_v_at_ceiling = 2.0;
        one.target_output_v = one.rated_output_v = 20.0;
        one.gain_db = 20.0;
        one.noise_at_output_dbv = -80.0;
        NoiseParts parts;
        parts.total_dbv = -100;
        parts.sd_db = 0.1;
        parts.before_volume = {-104, -104};
        parts.after_volume = {-110, -110};
        parts.lead = {-103, -103};
        parts.takes = {"takes/off.flac"};
        one.noise_parts = parts;
        gain.amplifiers = {one};
    }
    LevelDiagram diagram() const { return level_diagrams(job, gain).at(0); }
};

std::size_t count(const std::string& text, const std::string& part) {
    std::size_t found = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
    return found;
}

}  // namespace

TEST_CASE("each stage of the level diagram holds what arithmetic gives", "[levels]") {
    const Known known;
    const LevelDiagram diagram = known.diagram();
    REQUIRE(diagram.stages.size() == 6);
    const LevelStage &source = diagram.stages[0], &lead = diagram.stages[1], &input = diagram.stages[2], &output = diagram.stages[3],
                     &speaker = diagram.stages[4], &ear = diagram.stages[5];
    CHECK(source.name == "source at volume 31");
    CHECK(*source.highest_db == Approx(6.02).margin(0.01));    // 20 lg 2
    CHECK(*source.floor_db == Approx(-103.03).margin(0.01));   // 10 lg (10^-10.4 + 10^-11)
    CHECK_FALSE(source.floor_at_most);
    CHECK(*lead.floor_db == Approx(-100.0));
    CHECK(input.floor_at_least);                               // the amplifier's own isn't known
    CHECK(*input.headroom_db() == Approx(0.0).margin(0.01));
    CHECK(*output.highest_db == Approx(26.02).margin(0.01));
    CHECK(*output.limit_db == Approx(26.02).margin(0.01));     // sqrt(100 W x 4 ohm) = 20 V
    CHECK(*output.room_db() == Approx(106.02).margin(0.01));
    CHECK(*speaker.headroom_db() == Approx(3.01).margin(0.01));  // twice the power
    // 90 dB at 2.83 V and 1 m; 20 V is 16.99 dB more, 2 m 6.02 dB less
    CHECK(*ear.highest_db == Approx(100.97).margin(0.01));
    CHECK(*ear.floor_db == Approx(-5.05).margin(0.05));
    CHECK(diagram.floors_from.find("takes/off.flac") != std::string::npos);
}

TEST_CASE("the amplifier's own noise joins at its input, a converter gets a stage and a limit of its own", "[levels]") {
    Known known;
    known.gain.amplifiers[0].noise_parts->amplifier_dbv = -100;
    ConverterData converter;
    converter.loss_db = 12;
    converter.max_output_v = 4;
    known.job.amplifiers[0].converter = converter;
    known.gain.amplifiers[0].converter_input_v = 8;
    const LevelDiagram diagram = known.diagram();
    CHECK(*diagram.stages[0].highest_db == Approx(18.06).margin(0.01));
    CHECK(diagram.stages[1].name == "converter's output");
    CHECK(*diagram.stages[1].headroom_db() == Approx(6.02).margin(0.01));  // 4 V over 2 V
    CHECK(*diagram.stages[2].floor_db == Approx(-96.99).margin(0.01));     // two alike: 3.01 dB more
    CHECK_FALSE(diagram.stages[2].floor_at_least);
}

TEST_CASE("what isn't known is drawn and told as not known", "[levels]") {
    Known known;
    AmplifierSetting& one = known.gain.amplifiers[0];
    known.job.speakers.clear();
    one.gain_db.reset(), one.rated_output_v.reset(), one.target_output_v.reset(), one.noise_at_output_dbv.reset(), one.noise_parts.reset();
    const LevelDiagram diagram = known.diagram();
    CHECK(has_levels(diagram));
    for (std::size_t i = 3; i < 6; ++i) {
        CHECK_FALSE(diagram.stages[i].highest_db);
        CHECK_FALSE(diagram.stages[i].floor_db);
        CHECK_FALSE(diagram.stages[i].unknown.empty());
    }
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = level_svg(diagram, size, "x", "levels");
        CHECK(count(svg, "class=\"unknown\"") == 6);   // no floor anywhere
        CHECK(count(svg, "class=\"level-top\"") == 3);
        CHECK(count(svg, "class=\"level-floor\"") == 0);
        CHECK(svg.find("nan") == std::string::npos);
        CHECK(svg.find("inf") == std::string::npos);
    }
    CHECK(level_words(diagram)[3] == "Amplifier's output: highest clean level not known; noise not known; missing: its gain (power_w and load_ohm of "
                                     "the amplifier).");
    known.gain.ceiling.reset();
    known.gain.ceiling_reason = "always_distorted";
    CHECK_FALSE(has_levels(known.diagram()));
}

TEST_CASE("the diagram draws six stages with their floors, and absurd levels stay inside it", "[levels]") {
    Known known;
    for (const double noise_dbv : {-100.0, -400.0, 300.0}) {
        known.gain.amplifiers[0].noise_parts->total_dbv = noise_dbv;
        const LevelDiagram diagram = known.diagram();
        for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
            const std::string svg = level_svg(diagram, size, "x", "levels");
            CHECK(count(svg, "class=\"level-top\"") == 6);
            CHECK(count(svg, "class=\"level-floor\"") == 6);
            CHECK(svg.find("<desc") != std::string::npos);
            CHECK(svg.find("height=\"-") == std::string::npos);
            CHECK(svg.find("width=\"-") == std::string::npos);
        }
    }
}
