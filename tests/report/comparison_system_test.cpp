#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "comparison_sample.hpp"
#include "holds.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using made::compared;
using made::has_item;
using made::item;
using made::Json;
using made::Record;

namespace {

const Json kSine = {{"kind", "sine"}, {"frequency_hz", 997}, {"level_dbfs", 0}, {"via", "stick"}};

/// A stepped take: THD 0.01 % up to the ceiling, 3 % beyond.
Record stepped(int ceiling, double knee_v, double more_thd = 1, const Json& tone = kSine) {
    Record out;
    out.take("steps", {{"engine", "off"}, {"rpm", nullptr}, {"volume", nullptr}, {"volume_steps", {28, 30, 31, 32, 33}}, {"tone", tone}});
    Json steps = Json::array();
    for (const int volume : {28, 30, 31, 32, 33})
        steps.push_back({{"volume", volume},
                         {"level_dbfs", -20.0 + volume - 30},
                         {"level_sd_db", 0.01},
                         {"level_v", 0.5 * std::pow(10, (volume - 30) / 20.0)},
                         {"level_v_sd", 0.001},
                         {"thd_percent", volume <= ceiling ? 0.01 * more_thd : 3.0},
                         {"thd_percent_sd", 0.0005},
                         {"thd_percent_limited_by", "nothing"},
                         {"input_overload", false}});
    const Json who = {{"take", "takes/steps.flac"}, {"channel", "left"}, {"tone_hz", 997}};
    Json curve = who, found = who;
    curve["steps"] = steps;
    found.update(
        {{"volume", ceiling}, {"ceiling_reason", nullptr}, {"knee_v", knee_v}, {"knee_v_sd", 0.01}, {"knee_dbfs", -10}, {"knee_dbfs_sd", 0.05}});
    out.gain = {{"limit_thd_percent", 1.0},
                {"curves", {curve}},
                {"ceilings", {found}},
                {"balances", Json::array()},
                {"amplifiers", {{{"name", "sub"}, {"sensitivity_v", knee_v}, {"sensitivity_v_sd", 0.01}, {"output_readings", Json::array()}}}}};
    return out;
}

/// A sweep's path whose response has a shelf of so many dB below 89 Hz, the edge of a third-octave (IEC 61260-1).
Record swept(double bass_db, const std::string& polarity = "normal", double delay_ms = 0.1, double crosstalk_db = -60) {
    Record out;
    out.take("sweep", {{"engine", "off"},
                       {"rpm", nullptr},
                       {"tone", {{"kind", "sweep"}, {"from_hz", 20}, {"to_hz", 20000}, {"duration_s", 5}, {"level_dbfs", -20}}}});
    Json response = Json::array();
    for (int n = 0; n <= 120; ++n) {
        const double hz = 20 * std::pow(10.0, n / 40.0);
        response.push_back({{"frequency_hz", hz}, {"magnitude_db", -6 + (hz < 89.1 ? bass_db : 0.0)}, {"sd_db", 0.02}, {"limited_by", "nothing"}});
    }
    out.chain = {{"channels",
                  {{{"channel", "left"},
                    {"take", "takes/sweep.flac"},
                    {"silent", false},
                    {"polarity", polarity},
                    {"delay_ms", delay_ms},
                    {"delay_ms_sd", 0.002},
                    {"gain_db", -6},
                    {"gain_db_sd", 0.01},
                    {"level_dbfs", -30},
                    {"level_dbfs_sd", 0.01},
                    {"level_dbv", -16},
                    {"level_dbv_sd", 0.01},
                    {"crosstalk_db", crosstalk_db},
                    {"crosstalk_db_sd", 0.2},
                    {"response", response}}}}};
    return out;
}

const Comparison shown(const Comparison& comparison) {
    // whatever was compared, all three forms of it can be made
    CHECK(comparison_text(comparison).size() > 100);
    CHECK(Json::parse(comparison_document(comparison, "0", "p", "d"))["schema"] == "hushtrace.comparison/1");
    CHECK(holds(comparison_page(comparison, "0"), "</html>"));
    return comparison;
}

std::string reading_fails(const std::string& text) {
    try {
        read_recorded(text, "old.json");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("a ceiling that came down is worse, one step of the dial is none", "[comparison]") {
    const Comparison same = shown(compared(stepped(31, 2.6), stepped(32, 2.6)));
    CHECK(item(same, "Ceiling").verdict == ChangeVerdict::unchanged);
    CHECK(item(same, "Level at which").verdict == ChangeVerdict::unchanged);
    const Comparison fell = shown(compared(stepped(32, 2.6), stepped(28, 1.9)));
    CHECK(item(fell, "Ceiling").verdict == ChangeVerdict::worse);
    CHECK(holds(item(fell, "Ceiling").text, "it clips 4 steps of the dial earlier"));
    CHECK(*item(fell, "Level at which").difference == Approx(20 * std::log10(1.9 / 2.6)));
    CHECK(item(fell, "THD against volume").verdict == ChangeVerdict::worse);
    CHECK(holds(item(fell, "THD against volume").text, "volume 30"));
    CHECK(item(fell, "Input that must bring sub").verdict == ChangeVerdict::changed);
    CHECK(holds(fell.in_short[1], "plays clean up to volume 28, then up to 32"));
    CHECK_FALSE(holds(fell.in_short[1], "distorts"));  // the same thing once more
    CHECK(item(compared(stepped(28, 1.9), stepped(32, 2.6)), "Ceiling").verdict == ChangeVerdict::better);
}

TEST_CASE("THD counts as a level: a tenth more is none, twice as much is worse", "[comparison]") {
    CHECK(item(compared(stepped(31, 2.6), stepped(31, 2.6, 1.1)), "THD").verdict == ChangeVerdict::unchanged);
    CHECK(item(compared(stepped(31, 2.6), stepped(31, 2.6, 2.5)), "THD").verdict == ChangeVerdict::worse);
    CHECK(item(compared(stepped(31, 2.6, 2.5), stepped(31, 2.6)), "THD").verdict == ChangeVerdict::better);
}

TEST_CASE("another tone or another limit makes no like ceiling", "[comparison]") {
    Json phone = kSine;
    phone["via"] = "phone";
    CHECK_THROWS_WITH(compared(stepped(31, 2.6), stepped(31, 2.6, 1, phone)), Catch::Contains("via: stick then") || Catch::Contains("tone:"));
    Record strict = stepped(31, 2.6);
    strict.gain["limit_thd_percent"] = 0.1;
    CHECK(item(compared(stepped(31, 2.6), strict), "Ceiling").verdict == ChangeVerdict::not_comparable);
}

TEST_CASE("of the path the bands that changed are named, polarity, delay and crosstalk told", "[comparison]") {
    const Comparison same = shown(compared(swept(0), swept(0.2)));
    CHECK(item(same, "Response").verdict == ChangeVerdict::unchanged);
    CHECK(item(same, "Polarity").verdict == ChangeVerdict::unchanged);
    const Comparison other = shown(compared(swept(0), swept(-3, "inverted", 0.6, -40)));
    CHECK(item(other, "Response").verdict == ChangeVerdict::changed);
    CHECK(holds(item(other, "Response").text, "20 Hz to 80 Hz (-3.0 dB)"));
    CHECK(item(other, "Polarity").verdict == ChangeVerdict::changed);
    CHECK(*item(other, "Delay").difference == Approx(0.5));
    CHECK(item(other, "Crosstalk").verdict == ChangeVerdict::worse);
    REQUIRE(other.curves.size() == 1);
    for (const ComparedPoint& point : other.curves[0].points) CHECK(point.changed == (point.x < 90));
}

TEST_CASE("meter readings, health and the supply's reckoning are held against each other", "[comparison]") {
    Record before, after;
    for (Record* one : {&before, &after}) one->take("held").floor("held", -80);
    const auto observe = [](Record& record, const char* what, double value, const char* engine) {
        record.job["observations"].push_back({{"what", what}, {"value", value}, {"unit", "V"}, {"engine", engine}});
    };
    observe(before, "charging_voltage", 14.2, "raised");
    observe(after, "charging_voltage", 13.1, "raised");
    observe(before, "ground_drop", 0.30, "raised");
    observe(after, "ground_drop", 0.05, "raised");
    observe(before, "ripple", 0.10, "idle");
    observe(after, "ripple", 0.10, "raised");
    before.noise["health"].push_back({{"fault", "diode_open"}, {"why", "orders 1 and 2"}});
    after.noise["health"].push_back({{"fault", "charging_low"}, {"why", "13.1 V"}});
    before.power = {{"total_a", 80}, {"fuse_a", 100}, {"alternator", {{"reserve_a", 30}}}};
    after.power = {{"total_a", 80}, {"fuse_a", 100}, {"alternator", {{"reserve_a", 10}}}};
    const Comparison comparison = shown(compared(before, after));
    CHECK(item(comparison, "Charging voltage").verdict == ChangeVerdict::changed);
    CHECK(item(comparison, "Drop along the amplifier's ground").verdict == ChangeVerdict::better);
    CHECK(item(comparison, "Ripple").verdict == ChangeVerdict::not_comparable);
    CHECK(holds(item(comparison, "Ripple").text, "engine: idle then, raised now"));
    CHECK(item(comparison, "An open diode").verdict == ChangeVerdict::gone);
    CHECK(item(comparison, "The charging voltage is low").verdict == ChangeVerdict::appeared);
    CHECK(item(comparison, "Total current").verdict == ChangeVerdict::unchanged);
    CHECK(item(comparison, "Alternator's reserve").verdict == ChangeVerdict::worse);
}

TEST_CASE("bands are marked where they changed, and where nothing did at most one comparison in twenty marks any", "[comparison]") {
    Record before, after;
    before.take("held").floor("held", -80);
    after.take("held").floor("held", -80);
    after.noise["floor"][0]["third_octaves"][10]["level_dbv"] = -100.0;
    const Comparison comparison = compared(before, after);
    REQUIRE(comparison.curves.size() == 1);
    for (std::size_t k = 0; k < 31; ++k) CHECK(comparison.curves[0].points[k].changed == (k == 10));
    CHECK(holds(comparison.curves[0].text, "higher at 200 Hz (+10 dB)"));

    // nothing but the stated spreads between the two, and no allowance for what repeats: the test itself
    std::mt19937_64 random(77);
    std::normal_distribution<double> normal;
    const RepeatabilityRules none{.steady_db = 0, .idle_db = 0};
    int any_band = 0, floors = 0, sources = 0;
    constexpr int draws = 2000;
    for (int i = 0; i < draws; ++i) {
        Record one, two;
        for (Record* record : {&one, &two}) {
            record->take("held").floor("held", -80 + 0.4 * normal(random), -110, 0.4);
            record->source("mains_hum", 50, nullptr, {{"held", -70 + 0.4 * normal(random)}}, 0.4);
            for (Json& band : record->noise["floor"][0]["third_octaves"]) {
                band["level_dbv"] = -110 + 0.4 * normal(random);
            }
        }
        const Comparison drawn = compared(one, two, none);
        for (const ComparedPoint& point : drawn.curves[0].points)
            if (point.changed) {
                ++any_band;
                break;
            }
        floors += item(drawn, "Noise floor, unweighted").verdict != ChangeVerdict::unchanged;
        sources += item(drawn, "Mains hum").verdict != ChangeVerdict::unchanged;
    }
    // a share of 5 % of 2000 strays by 0.5 % (binomial); up to two of that, and each test does fire now and then
    for (const int count : {any_band, floors, sources}) {
        CHECK(count <= 0.05 * draws + 2 * std::sqrt(0.05 * 0.95 * draws));
        CHECK(count >= 2);
    }
}

TEST_CASE("with repeats that stray by themselves false changes stay under one in twenty", "[comparison]") {
    std::mt19937_64 random(78);
    std::normal_distribution<double> normal;
    int changed = 0;
    constexpr int draws = 2000;
    for (int i = 0; i < draws; ++i) {
        Record one, two;
        for (Record* record : {&one, &two}) {
            for (const char* name : {"a", "b", "c"}) record->take(name).floor(name, -80);
            record->source("mains_hum", 50, nullptr, {{"a", -70 + normal(random)}, {"b", -70 + normal(random)}, {"c", -70 + normal(random)}}, 0.05);
        }
        changed += item(compared(one, two), "Mains hum").verdict != ChangeVerdict::unchanged;
    }
    CHECK(changed <= 0.05 * draws + 2 * std::sqrt(0.05 * 0.95 * draws));
    CHECK(changed >= 4);
}

TEST_CASE("a record's data that can't be are refused by the field's name", "[comparison]") {
    CHECK(holds(reading_fails("{\"schema\": "), "old.json: not JSON"));
    CHECK(holds(reading_fails("[]"), "an object is wanted"));
    CHECK(holds(reading_fails("{\"schema\": \"hushtrace.noise/1\"}"), "'hushtrace.noise/1'"));
    CHECK(holds(reading_fails("{\"schema\": \"hushtrace.report/1\"}"), "holds no results"));
    CHECK(holds(reading_fails(std::string(100000, '[') + std::string(100000, ']')), "nested too deep"));
    Record record;
    record.take("held").floor("held", -80);
    Json whole = Json::parse(record.text());
    whole["results"]["noise"]["floor"][0]["unweighted_dbv"] = "loud";
    CHECK(holds(reading_fails(whole.dump()), "old.json.results.noise.floor[0]: unweighted_dbv: a number is wanted"));
    whole["results"]["noise"]["floor"][0]["unweighted_dbv"] = 1e9;
    CHECK(holds(reading_fails(whole.dump()), "can't be"));
    whole["results"]["noise"]["floor"][0]["unweighted_dbv"] = -80;
    whole["results"]["noise"]["floor"][0]["unweighted_dbv_sd"] = -1;
    CHECK(holds(reading_fails(whole.dump()), "never negative"));
    whole["results"]["noise"]["floor"][0]["unweighted_dbv_sd"] = nullptr;
    whole["results"]["job"]["takes"][0]["engine"] = "idel";
    CHECK(holds(reading_fails(whole.dump()), "old.json: results.job: takes[0].engine: 'idel'"));
    whole["results"].erase("job");
    const RecordedSystem old = read_recorded(whole.dump(), "old.json");
    CHECK_THROWS_WITH(compare_records(old, record.read()), Catch::Contains("old.json: it doesn't hold the conditions"));
}

TEST_CASE("foreign text stays text on the page", "[comparison]") {
    Record record;
    record.job["title"] = "<script>alert(1)</script>\u202e & co";
    record.job["vehicle"]["description"] = "a<b>";
    record.take("held", {{"loads", {"<img src=x>"}}}).floor("held", -80).source("<i>", 100, nullptr, {{"held", -60.0}});
    Record other = record;
    other.job["vehicle"]["description"] = "</style>";
    const std::string page = comparison_page(compared(other, record), "0");
    for (const char* bad : {"<script", "<img", "<i>", "a<b>", "'</style>"}) CHECK_FALSE(holds(page, bad));
    CHECK(holds(page, "&lt;script&gt;"));
}
