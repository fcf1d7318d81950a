#include "hushtrace/report/entry_picture.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <regex>

#include "holds.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "report/entry_sample.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

std::vector<std::smatch> all_of(const std::string& text, const std::string& pattern) {
    const std::regex wanted(pattern);
    return {std::sregex_iterator(text.begin(), text.end(), wanted), std::sregex_iterator()};
}
double number(const std::smatch& found, std::size_t group) { return std::stod(found[group].str()); }

std::string plain(std::string text) {
    for (const auto& [from, to] : {std::pair<std::string, std::string>{"&#39;", "'"}, {"&quot;", "\""}, {"&lt;", "<"}, {"&gt;", ">"}, {"&amp;", "&"}})
        for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + 1)) text.replace(at, from.size(), to);
    return text;
}

/// Every text and every rectangle lies inside the view box, by the width that labels are placed with; nothing reads "nan" or "inf".
void check_inside(const std::string& svg) {
    const auto boxes = all_of(svg, "viewBox=\"0 0 (\\d+) (\\d+)\"");
    const auto fonts = all_of(svg, "font-size=\"(\\d+)\"");
    REQUIRE(boxes.size() == 1);
    const double width = number(boxes[0], 1), height = number(boxes[0], 2), font = number(fonts.at(0), 1);
    for (const auto& one : all_of(svg, "<text class=\"[^\"]*\" x=\"([-\\d.]+)\" y=\"([-\\d.]+)\" text-anchor=\"(\\w+)\">([^<]*)</text>")) {
        const double wide = text_width_px(display_width(plain(one[4].str())), font), x = number(one, 1), y = number(one, 2);
        const double left = one[3] == "start" ? x : one[3] == "end" ? x - wide : x - wide / 2;
        INFO(one[4].str());
        CHECK(left >= 0.0);
        CHECK(left + wide <= width);
        CHECK(y >= 0.8 * font);
        CHECK(y <= height);
    }
    for (const auto& one : all_of(svg, "<rect [^>]*x=\"([-\\d.]+)\" y=\"([-\\d.]+)\" width=\"([-\\d.]+)\" height=\"([-\\d.]+)\"")) {
        CHECK(number(one, 1) >= 0.0);
        CHECK(number(one, 1) + number(one, 3) <= width);
        CHECK(number(one, 2) + number(one, 4) <= height);
    }
    CHECK_FALSE(std::regex_search(svg, std::regex("=\"[^\"]*(nan|inf)[^\"]*\"")));
}

struct Spot {
    double x, y, r;
};
Spot mark_of(const std::string& svg, EntryWay way) {
    const auto found = all_of(svg, "data-way=\"" + std::to_string(static_cast<int>(way)) + "\" cx=\"([\\d.]+)\" cy=\"([\\d.]+)\" r=\"([\\d.]+)\"");
    REQUIRE(found.size() == 1);
    return {number(found[0], 1), number(found[0], 2), number(found[0], 3)};
}

std::vector<const TestMade*> pointers(const std::vector<TestMade>& tests) {
    std::vector<const TestMade*> out;
    for (const TestMade& one : tests) out.push_back(&one);
    return out;
}

NoiseSource comb_source() {
    NoiseSource source;
    source.id = "tone-1";
    source.frequency_hz = 400.0;
    source.levels = {{"takes/before.flac", Channel::left, -50.0, std::nullopt, 0.3, {}}};
    for (int n = 1; n <= 4; ++n) source.harmonics.push_back({double(n), 400.0 * n, -50.0, std::nullopt});
    return source;
}

}  // namespace

TEST_CASE("a way's chance is the sum over the sets that hold it", "[entry]") {
    NoiseAnalysis analysis;
    analysis.entry_paths = {
        {"w", {"ground_loop"}, std::nullopt, 0.5, {}, {}},      {"w", {"ground_loop", "cable_pickup"}, "capacitive", 0.3, {}, {}},
        {"w", {"cable_pickup"}, "loop", 0.16, {}, {}},          {"w", {"antenna_lead"}, std::nullopt, 0.04, {}, {}},
        {"other", {"antenna_lead"}, std::nullopt, 1.0, {}, {}}, {"w", {"contact"}, std::nullopt, std::numeric_limits<double>::quiet_NaN(), {}, {}}};
    const auto ways = ways_in(analysis, "w", 0.05);
    REQUIRE(ways.size() == 3);
    CHECK(ways[0].way == EntryWay::ground_loop);
    CHECK(ways[0].probability == Approx(0.8));
    CHECK(ways[1].way == EntryWay::pickup_capacitive);
    CHECK(ways[1].probability == Approx(0.3));
    CHECK(ways[2].way == EntryWay::pickup_loop);
    CHECK(ways_in(analysis, "nobody", 0.0).empty());
}

TEST_CASE("the chain's marks stand where each way lies, and grow with its chance", "[entry]") {
    std::vector<WayChance> ways;
    for (std::size_t w = 0; w < kEntryWays; ++w) ways.push_back({static_cast<EntryWay>(w), 0.3});
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = chain_svg(ways, size, "a", "t <b>");
        check_inside(svg);
        CHECK(holds(svg, "t &lt;b&gt;"));
        const bool wide = size == PictureSize::wide;
        const auto along = [&](EntryWay way) { return wide ? mark_of(svg, way).x : mark_of(svg, way).y; };  // from source to speakers
        CHECK(along(EntryWay::antenna_lead) < along(EntryWay::source_internal));
        CHECK(along(EntryWay::source_internal) < along(EntryWay::source_shield_open));
        CHECK(along(EntryWay::source_shield_open) < along(EntryWay::pickup_lead));
        CHECK(along(EntryWay::pickup_lead) < along(EntryWay::contact));
        CHECK(along(EntryWay::contact) < along(EntryWay::amplifier_internal));
        CHECK(along(EntryWay::amplifier_internal) < along(EntryWay::speaker_side));
        // across: body, the loop between body and lead, the lead, what lies between lead and feed
        const auto across = [&](EntryWay way) { return wide ? -mark_of(svg, way).y : mark_of(svg, way).x; };
        CHECK(across(EntryWay::ground_loop) < across(EntryWay::pickup_loop));
        CHECK(across(EntryWay::pickup_loop) < across(EntryWay::pickup_lead));
        CHECK(across(EntryWay::pickup_lead) < across(EntryWay::pickup_capacitive));
        // no two marks of 30 % cover each other
        for (std::size_t a = 0; a < kEntryWays; ++a)
            for (std::size_t b = a + 1; b < kEntryWays; ++b) {
                const Spot one = mark_of(svg, static_cast<EntryWay>(a)), other = mark_of(svg, static_cast<EntryWay>(b));
                INFO(a << " and " << b);
                CHECK(std::hypot(one.x - other.x, one.y - other.y) > one.r + other.r);
            }
    }
    const std::string two = chain_svg({{EntryWay::ground_loop, 0.8}, {EntryWay::antenna_lead, 0.1}}, PictureSize::wide, "a", "t");
    CHECK(mark_of(two, EntryWay::ground_loop).r > 1.5 * mark_of(two, EntryWay::antenna_lead).r);
    CHECK(holds(two, "a ground loop: 80 %"));
    CHECK(holds(two, "B: the antenna lead, 10 %."));
}

TEST_CASE("from one test to twelve, the tree keeps inside its picture and names each way that leaves", "[entry]") {
    for (std::size_t count = 1; count <= 12; ++count) {
        const auto tests = sample::tests_made("whine-1", count);
        for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
            const std::string svg = tests_svg(pointers(tests), size, "a", "t");
            INFO(count);
            check_inside(svg);
            CHECK(holds(svg, "before any test: 12 ways open"));
            // one strand a way; a way is ruled out by each test but the twelfth, which finds the ground loop alone
            const std::size_t gone = std::min<std::size_t>(count, 11);
            CHECK(all_of(svg, "class=\"strand gone\"").size() == gone);
            CHECK(all_of(svg, "class=\"strand( bold)?\"").size() == kEntryWays - gone);
            CHECK(holds(svg, "ruled out: measuring"));
        }
        const auto words = tests_words(pointers(tests));
        REQUIRE(words.size() == count);
        CHECK(holds(words[0], "25 dB down at least"));
        CHECK(holds(words[0], "a ground loop: from 10 to 16 %."));
        CHECK(holds(words[0], "Ruled out: the measuring set-up."));
    }
    // a row is told in reading order: its bars' lengths follow the chance
    const auto tests = sample::tests_made("whine-1", 1);
    const std::string svg = tests_svg(pointers(tests), PictureSize::wide, "a", "t");
    const auto bars = all_of(svg, "class=\"bar\" x=\"[\\d.]+\" y=\"[\\d.]+\" width=\"([\\d.]+)\""),
               rooms = all_of(svg, "class=\"bar-room\" x=\"[\\d.]+\" y=\"[\\d.]+\" width=\"([\\d.]+)\"");
    REQUIRE(bars.size() == 4);
    CHECK(number(bars[0], 1) / number(rooms[0], 1) == Approx(0.16).margin(0.002));
    CHECK(number(bars[1], 1) / number(rooms[0], 1) == Approx(0.08).margin(0.002));
}

TEST_CASE("a way that a later test opens again keeps its strand, and both turns are told", "[entry]") {
    std::vector<TestMade> tests(2);
    for (TestMade& one : tests) one.source_id = "w", one.name = "a test <i>", one.outcome.text = "";
    tests[0].ways = {{"a ground loop", 0.5, 0.99}, {"the antenna lead", 0.5, 0.01}};
    tests[0].ruled_out = {"the antenna lead"};
    tests[1].ways = {{"the antenna lead", 0.01, 0.9}, {"a ground loop", 0.99, 0.1}};
    const std::string svg = tests_svg(pointers(tests), PictureSize::narrow, "a", "t");
    CHECK(all_of(svg, "class=\"strand gone\"").empty());
    CHECK(holds(svg, "ruled out for now: antenna lead"));
    CHECK(holds(svg, "open again: antenna lead"));
    CHECK(holds(svg, "a test &lt;i&gt;"));
    CHECK(holds(tests_words(pointers(tests))[1], "Open again: the antenna lead."));
    tests[1].ways[0].after = std::numeric_limits<double>::quiet_NaN();
    tests[1].ways[1].after = 7.0;
    check_inside(tests_svg(pointers(tests), PictureSize::wide, "a", "t"));
    tests[1].ways.clear();
    CHECK(holds(tests_svg(pointers(tests), PictureSize::wide, "a", "t"), "nothing is left open"));
}

TEST_CASE("a source's lines are read in both takes; what stands no longer out fell by so much or more", "[entry]") {
    const NoiseSource source = comb_source();
    const TakePicture before = sample::comb("takes/before.flac", {-50, -60, -114, -90}),
                      after = sample::comb("takes/after.flac", {-63, -117, -50, -85});
    const BeforeAfter pair{&source, &before, &after, "an isolator & more", false, "", std::nullopt};
    const auto lines = line_changes(pair);
    REQUIRE(lines.size() == 3);  // the third line doesn't stand out before
    CHECK(lines[0].before_hz == Approx(400.0));
    CHECK(lines[0].change_db() == Approx(-13.0));
    CHECK_FALSE(lines[0].at_least);
    CHECK(lines[1].at_least);
    CHECK(lines[1].change_db() == Approx(-56.0).margin(1.1));  // to the highest of the floor's bins near it, -116 dBFS
    CHECK(lines[2].change_db() == Approx(5.0));
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = before_after_svg(pair, size, "a", "t");
        check_inside(svg);
        CHECK(holds(svg, "-13 dB"));
        CHECK(holds(svg, "≤ -56 dB"));
        CHECK(holds(svg, "400.0 Hz: 13 dB quieter."));
        CHECK(all_of(svg, "class=\"mark was\"").size() == 3);
    }
    BeforeAfter told = pair;
    CHECK_FALSE(contradicts(told));
    for (const auto& [db, wrong] : {std::pair{-13.0, false}, {-22.0, false}, {-31.0, true}, {-4.0, false}, {-1.0, true}}) {
        told.told_db = db;
        INFO(db);
        CHECK(contradicts(told) == wrong);  // the strongest line falls by 13 dB
    }
    CHECK(before_after_words(told).back() == "The strongest line doesn't show that change: look twice.");
    const TakePicture silent = sample::comb("takes/after.flac", {});
    for (const auto& [db, wrong] : {std::pair{-25.0, false}, {-90.0, false}, {-12.0, true}})
        CHECK(contradicts({&source, &before, &silent, "", false, "", db}) == wrong);
    NoiseSource clicks = source;
    clicks.kind = NoiseKind::ignition_tick;
    CHECK(line_changes({&clicks, &before, &after, "", false, "", std::nullopt}).empty());
}

TEST_CASE("of the tests the one that changed a source most is drawn, and each take after a change with the like one before", "[entry]") {
    NoiseAnalysis analysis;
    analysis.noise_sources = {comb_source()};
    analysis.pictures = {sample::comb("takes/before.flac", {-50}), sample::comb("takes/after.flac", {-63}), sample::comb("takes/mended.flac", {-90})};
    TestMade small, large, ear;
    small.source_id = large.source_id = ear.source_id = "tone-1";
    small.name = "small", large.name = "large", ear.name = "ear";
    small.outcome = {"", -3.0, "dB", 1.0, {"takes/before.flac", "takes/mended.flac"}, {}};
    large.outcome = {"It falls.", -13.0, "dB", 1.0, {"takes/before.flac", "takes/after.flac"}, {}};
    ear.outcome = {"", 99.0, "V", std::nullopt, {}, {0}};
    analysis.tests_made = {small, large, ear};
    Job job;
    for (const char* file : {"takes/before.flac", "takes/after.flac", "takes/mended.flac"}) {
        Take take;
        take.file = file;
        take.conditions.engine = Engine::idle;
        job.takes.push_back(take);
    }
    job.takes[1].conditions.hookup = {Hookup::isolator};
    auto pairs = choose_before_after(job, analysis, 4);
    REQUIRE(pairs.size() == 1);
    CHECK(pairs[0].what == "large");
    CHECK(pairs[0].after->take == "takes/after.flac");
    job.takes[2].after_change = "ground remade";
    pairs = choose_before_after(job, analysis, 4);
    REQUIRE(pairs.size() == 2);
    CHECK(pairs[0].mended);
    CHECK(pairs[0].before->take == "takes/before.flac");  // the isolator's take is not like it
    CHECK(pairs[0].what == "ground remade");
    ChangeMade told;
    told.source_id = "tone-1", told.change = "told", told.before = "takes/after.flac", told.after = "takes/mended.flac", told.text = "It kept.";
    analysis.changes = {told};
    pairs = choose_before_after(job, analysis, 4);
    REQUIRE(pairs.size() == 2);
    CHECK(pairs[0].said == "It kept.");
    analysis.pictures.clear();
    CHECK(choose_before_after(job, analysis, 4).empty());
}

TEST_CASE("a transfer's points lie on its line, and the laws that are expected are named", "[entry]") {
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = transfer_svg(sample::transfer(Channel::supply, -20.0), size, "a", "t");
        check_inside(svg);
        const auto fits = all_of(svg, "class=\"fit\" x1=\"([\\d.]+)\" y1=\"([\\d.]+)\" x2=\"([\\d.]+)\" y2=\"([\\d.]+)\"");
        REQUIRE(fits.size() == 2);  // in the picture and in the key
        const double x1 = number(fits[0], 1), y1 = number(fits[0], 2), slope = (number(fits[0], 4) - y1) / (number(fits[0], 3) - x1);
        const auto dots = all_of(svg, "<circle class=\"mark[^\"]*\" cx=\"([\\d.]+)\" cy=\"([\\d.]+)\"");
        REQUIRE(dots.size() == 5);
        for (const auto& dot : dots) CHECK(number(dot, 2) == Approx(y1 + slope * (number(dot, 1) - x1)).margin(0.4));
        CHECK(slope > 0.0);  // falls: down the picture
        // the shared resistance's law is the line that was fitted
        const auto laws = all_of(svg, "class=\"guide r\" x1=\"[\\d.]+\" y1=\"([\\d.]+)\" x2=\"[\\d.]+\" y2=\"([\\d.]+)\"");
        REQUIRE(laws.size() == 2);
        CHECK(number(laws[0], 1) == Approx(y1).margin(0.2));
        CHECK(all_of(svg, "class=\"mark hollow\"").size() == 1);
        CHECK(holds(svg, "slope -20 ±4 dB a decade"));
        CHECK(holds(svg, "capacitive: +20 dB a decade"));
    }
    const std::string current = transfer_svg(sample::transfer(Channel::supply_current, 20.0), PictureSize::wide, "a", "t");
    CHECK(holds(current, "shared resistance: flat"));
    CHECK(holds(current, "capacitive: follows the voltage"));
    CHECK(holds(current, "dB re 1 V/A"));
    CHECK(all_of(current, "class=\"guide c\"").empty());
    CHECK(holds(transfer_words(sample::transfer(Channel::supply, -20.0)).back(), "6.400 kHz: -76.1 ±3.0 dB, coherence 0.30."));
}

TEST_CASE("a transfer of one point, without a slope, or with what is no number, is drawn or left out", "[entry]") {
    const double nan = std::numeric_limits<double>::quiet_NaN(), inf = std::numeric_limits<double>::infinity();
    SupplyTransfer one;
    CHECK_FALSE(has_transfer(one));
    one.points = {{nan, {-60, 1, {}}, 1}, {500, {nan, 1, {}}, 1}, {0, {-60, 1, {}}, 1}};
    CHECK_FALSE(has_transfer(one));
    one.points.push_back({500, {-60, inf, {}}, nan});
    REQUIRE(has_transfer(one));
    check_inside(transfer_svg(one, PictureSize::narrow, "a", "t"));
    one.points.push_back({520, {-300, 500, {}}, 0.9});
    one.slope_db_per_decade = Reading{-400, 300, {}};
    check_inside(transfer_svg(one, PictureSize::wide, "a", "t"));
    CHECK(holds(transfer_svg(one, PictureSize::wide, "a", "t"), "slope -400 ±600 dB a decade"));
}
