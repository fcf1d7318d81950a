#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <sstream>

#include "holds.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/floor_picture.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/text.hpp"

using namespace hushtrace;

namespace {

const std::string kEvil = "</text><script>alert('x')</script>\"&\x1b[31m";

FloorReading floor_of(Channel channel, double level_dbv) {
    FloorReading out;
    out.take = "takes/" + kEvil + ".flac";
    out.channel = channel;
    const auto figure = [](double dbv) { return FloorFigure{Reading{dbv - 13, 0.05, {}}, Reading{dbv, 0.2, {}}, false}; };
    out.unweighted = figure(level_dbv);
    out.a_weighted = figure(level_dbv - 5);
    out.broadband_a_weighted = figure(level_dbv - 9);
    out.broadband_a_weighted.dbv->limited_by = LimitedBy::interface;
    for (double hz = 20; hz < 21000; hz *= std::pow(10, 0.1))
        out.third_octaves.push_back({std::round(hz), hz, figure(level_dbv - 20 + hz / 4000), false});
    return out;
}

ConditionFloor condition_of(const std::string& name, Engine engine, double level_dbv, std::size_t channels = 2) {
    ConditionFloor out;
    out.name = name;
    out.engine = engine;
    out.take = "takes/" + kEvil + ".flac";
    out.after_change = kEvil;
    constexpr Channel all[] = {Channel::left, Channel::right, Channel::rear_left, Channel::rear_right, Channel::center, Channel::sub};
    for (std::size_t c = 0; c < channels; ++c) {
        ChannelFloor channel;
        channel.channel = all[c];
        channel.floor = floor_of(all[c], level_dbv);
        channel.signal_to_noise_a_db = FloorRatio{{101.25, 0.06, LimitedBy::interface}, true};
        channel.lines.push_back({1242, true, Reading{-80, 0.1, {}}, Reading{-67, 0.2, {}}, "alternator_whine-1", "alternator whine", std::nullopt});
        AmplifierFloor amplifier;
        amplifier.amplifier = "front " + kEvil;
        amplifier.line_re_full_power_db = FloorRatio{{-74.3, 0.1, {}}, false};
        channel.amplifiers.push_back(amplifier);
        out.channels.push_back(std::move(channel));
    }
    return out;
}

FloorRecord record_of() {
    FloorRecord record;
    record.conditions = {condition_of("engine off", Engine::off, -95), condition_of("idle, " + kEvil, Engine::idle, -80)};
    record.interface = {floor_of(Channel::left, -110)};
    FloorVerdict one;
    one.what = "line_below_full_power_db";
    one.condition = "idle, " + kEvil;
    one.amplifier = "front " + kEvil;
    one.unit = "dB";
    one.limit = -90;
    one.judge_to = -75;
    one.verdict = "pass";
    one.channel = Channel::right;
    one.found = FloorRatio{{-95.0, 0.1, {}}, false};
    record.acceptance.push_back(one);
    one.verdict = "judge";
    one.channel = Channel::left;
    one.found = FloorRatio{{-80.0, 0.1, {}}, false};
    record.acceptance.push_back(one);
    record.gaps.push_back({"condition_raised", "No floor at a raised speed.", "hushtrace capture --job '" + kEvil + "'"});
    return record;
}

OpenedJob job_of() {
    OpenedJob opened;
    opened.job.title = kEvil;
    return opened;
}

}  // namespace

TEST_CASE("the record's text fits the terminal, whatever the names", "[floor_record]") {
    FloorRecord record = record_of();
    record.conditions.push_back(condition_of("raised", Engine::raised, -78, 6));
    const std::string text = floor_record_text(job_of(), record);
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        INFO(line);
        CHECK(display_width(line) <= 80);
    }
    CHECK_FALSE(holds(text, "\x1b"));
    CHECK(holds(text, "Engine off\n"));
    CHECK(holds(text, "unweighted, dBV"));
    CHECK(holds(text, "-95.0 ±0.4"));
    CHECK(holds(text, "≥ 101.2 ±0.1"));
    CHECK(holds(text, "≤ -104.0 ±0.4"));
    CHECK(holds(text, "about 1.242 kHz: -67.0 dBV ±0.4 dB, alternator whine"));
    // of a limit the channel that keeps it worst is shown
    CHECK(holds(text, "judge by ear: idle"));
    CHECK(holds(text, "-80.0 ±0.2 dB, left"));
    CHECK_FALSE(holds(text, "-95.0 ±0.2 dB, right"));
    CHECK(holds(text, "1 to be judged by ear, 1 pass"));
    CHECK(holds(text, "sub"));
    CHECK(holds(floor_record_text(job_of(), FloorRecord{}), "No floor to tell"));
}

TEST_CASE("the page's section escapes every name, and its tables have headers", "[floor_record]") {
    Analyses analyses;
    analyses.noise = NoiseAnalysis{};
    analyses.floor_record = record_of();
    const std::string page = record_page(job_of(), analyses, "0");
    const std::size_t from = page.find("<h2>How quiet it is</h2>");
    REQUIRE(from != std::string::npos);
    const std::string section = page.substr(from, page.find("</section>", from) - from);
    CHECK_FALSE(holds(page, "<script"));
    CHECK_FALSE(holds(page, "\x1b"));
    CHECK(holds(section, "&lt;script&gt;"));
    CHECK(holds(section, "<th scope=\"col\">left</th>"));
    CHECK(holds(section, "<th scope=\"row\">unweighted, dBV</th><td data-label=\"left\">-95.0 ±0.4</td>"));
    CHECK(holds(section, "<td data-label=\"verdict\">judge by ear</td>"));
    CHECK(holds(section, "shaded: the interface by itself"));
}

TEST_CASE("thirds of octaves are told in a picture by dash and shape, and in words", "[floor_record]") {
    const FloorRecord record = record_of();
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = third_octave_svg(record, Channel::left, size, "t", "Floor");
        CHECK(holds(svg, "role=\"img\""));
        CHECK(holds(svg, "<title"));
        CHECK(holds(svg, "loudest at"));
        CHECK(holds(svg, "class=\"trace\""));
        CHECK(holds(svg, "class=\"trace second\""));
        CHECK(holds(svg, "<circle"));
        CHECK(holds(svg, "<rect"));
        CHECK_FALSE(holds(svg, "nan"));
    }
    CHECK_FALSE(holds(third_octave_svg(record, Channel::right, PictureSize::wide, "t", "Floor"), "shaded"));
    const auto words = third_octave_words(record, Channel::left);
    REQUIRE(words.size() == 2);
    CHECK(holds(words[0], "engine off: loudest at 20 kHz, -110 dBV"));
    CHECK(holds(words[1], "over engine off most at"));
    CHECK(holds(words[1], "by 15 dB"));
    CHECK(drawn_channels(record).size() == 2);
    // four at most, and one with loads among them
    FloorRecord many;
    for (int i = 0; i < 6; ++i) many.conditions.push_back(condition_of("state", Engine::idle, -90));
    many.conditions.push_back(condition_of("loaded", Engine::idle, -90));
    many.conditions.back().loads = {"headlights"};
    const auto drawn = drawn_conditions(many, Channel::left);
    REQUIRE(drawn.size() == 4);
    CHECK(drawn.back()->name == "loaded");
}

TEST_CASE("the record's data hold every figure, and never a NaN", "[floor_record]") {
    FloorRecord record = record_of();
    record.conditions[0].channels[0].signal_to_noise_db = FloorRatio{{std::numeric_limits<double>::quiet_NaN(), 0.1, {}}, false};
    const auto document = nlohmann::json::parse(noise_document(job_of(), NoiseAnalysis{}, "0", &record));
    const auto& told = document.at("results").at("floor_record");
    const auto& left = told.at("conditions").at(0).at("channels").at(0);
    CHECK(left.at("signal_to_noise_db").is_null());
    CHECK(left.at("signal_to_noise_a_db") == 101.25);
    CHECK(left.at("signal_to_noise_a_db_is_bound") == true);
    CHECK(left.at("signal_to_noise_a_db_limited_by") == "interface");
    CHECK(left.at("floor").at("third_octaves").size() == 31);
    CHECK(left.at("floor").at("third_octaves_interface") == "nothing");
    CHECK(left.at("ceiling").is_null());
    CHECK(told.at("acceptance").at(1).at("judge_to") == -75);
    CHECK(told.at("gaps").at(0).at("what") == "condition_raised");
    CHECK(nlohmann::json::parse(noise_document(job_of(), NoiseAnalysis{}, "0")).at("results").at("floor_record").is_null());
}
