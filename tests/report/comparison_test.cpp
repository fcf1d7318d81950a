#include <catch2/catch.hpp>
#include <cmath>

#include "comparison_sample.hpp"
#include "holds.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using made::compared;
using made::item;
using made::Json;
using made::Record;

namespace made {
bool has_item(const Comparison& comparison, const std::string& what) {
    for (const ComparedItem& one : comparison.items)
        if (one.what.find(what) != std::string::npos) return true;
    return false;
}
ComparedItem item(const Comparison& comparison, const std::string& what) {
    for (const ComparedItem& one : comparison.items)
        if (one.what.find(what) != std::string::npos) return one;
    FAIL("no item " << what);
    return {};
}
}  // namespace made

namespace {

/// Whine and mains hum at a held speed.
Record whining(double whine_dbv, double rpm = 2000) {
    Record out;
    out.take("held", {{"rpm", rpm}}).floor("held", -80);
    out.source("alternator_whine", 15.6 * rpm / 60, 15.6, {{"held", whine_dbv}});
    out.source("mains_hum", 50, nullptr, {{"held", -75.0}});
    return out;
}

std::string refusal(const Record& before, const Record& after) {
    try {
        compared(before, after);
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("what didn't change is unchanged, what fell is better, what rose is worse", "[comparison]") {
    const Comparison same = compared(whining(-60), whining(-60.8));
    CHECK(item(same, "Alternator whine").verdict == ChangeVerdict::unchanged);
    CHECK(item(same, "Noise floor, A-weighted").verdict == ChangeVerdict::unchanged);
    CHECK(holds(same.in_short.front(), "as good as it was"));
    const Comparison fell = compared(whining(-60), whining(-71));
    CHECK(item(fell, "Alternator whine").verdict == ChangeVerdict::better);
    CHECK(*item(fell, "Alternator whine").difference == Approx(-11));
    CHECK(item(fell, "Mains hum").verdict == ChangeVerdict::unchanged);
    CHECK(holds(fell.in_short.front(), "better than it was"));
    const Comparison rose = compared(whining(-71), whining(-60));
    CHECK(item(rose, "Alternator whine").verdict == ChangeVerdict::worse);
    CHECK(*item(rose, "Alternator whine").difference == Approx(11));
    CHECK(holds(rose.in_short.front(), "not as good"));
}

TEST_CASE("a change counts from the root of the sums of squares of what repeats and of two spreads", "[comparison]") {
    const ComparedItem one = item(compared(whining(-60), whining(-62)), "Alternator whine");
    // 1.96 from tables of the normal distribution; 0.2 dB on either side; 2 dB at a held speed
    CHECK(*one.limit == Approx(std::hypot(1.95996 * std::hypot(0.2, 0.2), 2.0)).epsilon(1e-4));
    CHECK(one.repeatability == "proposal");
    Record idle, later;
    for (Record* record : {&idle, &later})
        record->take("idle", {{"engine", "idle"}, {"rpm", 760}}).floor("idle", -80).source("hiss", 1000, nullptr, {{"idle", -81.0}});
    CHECK(*item(compared(idle, later), "Hiss").limit == Approx(std::hypot(1.95996 * std::hypot(0.2, 0.2), 4.0)).epsilon(1e-4));
}

TEST_CASE("repeated takes tell what repeats, with Student's t for how few they are", "[comparison]") {
    const auto three = [](double a, double b, double c) {
        Record out;
        for (const char* name : {"one", "two", "three"}) out.take(name).floor(name, -80);
        out.source("mains_hum", 50, nullptr, {{"one", a}, {"two", b}, {"three", c}}, 0.0);
        return out;
    };
    const Comparison comparison = compared(three(-61, -60, -59), three(-63, -62, -61));
    REQUIRE(comparison.pairs.size() == 1);
    CHECK(comparison.pairs[0].after.size() == 3);
    const ComparedItem one = item(comparison, "Mains hum");
    CHECK(one.repeatability == "takes");
    CHECK(*one.difference == Approx(-2));
    // each three stray by 1 dB about their mean: pooled sd 1 with 4 degrees of freedom; t = 2.776 in any table
    CHECK(*one.limit == Approx(2.7764 * std::sqrt(2.0 / 3.0)).epsilon(1e-3));
    // one side alone: 2 degrees of freedom, t = 4.303
    Record single;
    single.take("held").floor("held", -80).source("mains_hum", 50, nullptr, {{"held", -70.0}}, 0.0);
    CHECK(*item(compared(three(-61, -60, -59), single), "Mains hum").limit == Approx(4.3027 * std::sqrt(4.0 / 3.0)).epsilon(1e-3));
}

TEST_CASE("whine is matched by engine order though the speed differs, and what it gains by speed alone is no change", "[comparison]") {
    const Comparison comparison = compared(whining(-60), whining(-59, 2200));
    const ComparedItem one = item(comparison, "Alternator whine");
    CHECK(holds(one.what, "engine order 15.6"));
    CHECK(one.verdict == ChangeVerdict::unchanged);
    CHECK(*one.limit == Approx(std::hypot(1.95996 * std::hypot(0.2, 0.2), 2.0) + 20 * std::log10(1.1)).epsilon(1e-4));
    REQUIRE(comparison.pairs.size() == 1);
    CHECK(holds(comparison.pairs[0].remarks.back(), "10.0 % faster"));
    // 35 % faster is another condition
    const std::string why = refusal(whining(-60), whining(-60, 2700));
    CHECK(holds(why, "engine speed: 35 % higher now"));
}

TEST_CASE("two sources are never matched with one", "[comparison]") {
    Record before, after;
    before.take("held").floor("held", -80).source("unexplained_tone", 1000, nullptr, {{"held", -60.0}});
    after.take("held").floor("held", -80).source("unexplained_tone", 1004, nullptr, {{"held", -66.0}});
    after.source("unexplained_tone", 1001, nullptr, {{"held", -60.0}});
    const Comparison comparison = compared(before, after);
    CHECK(item(comparison, "at 1.001 kHz").verdict == ChangeVerdict::unchanged);  // the nearer one
    CHECK(item(comparison, "at 1.004 kHz").verdict == ChangeVerdict::appeared);
}

TEST_CASE("what isn't found any more fell by what the noise in its place leaves open", "[comparison]") {
    Record gone;
    gone.take("held").floor("held", -80, -95).source("mains_hum", 50, nullptr, {{"held", -75.0}});
    const Comparison comparison = compared(whining(-60), gone);
    const ComparedItem one = item(comparison, "Alternator whine");
    CHECK(one.verdict == ChangeVerdict::gone);
    CHECK(one.at_least);
    CHECK(one.after->at_most);
    CHECK(*one.difference == Approx(-35));  // from -60 to the band's -95
    CHECK(item(compared(gone, whining(-60)), "Alternator whine").verdict == ChangeVerdict::appeared);
    // a band as loud as the whine was hides it
    Record hidden;
    hidden.take("held").floor("held", -58, -61).source("mains_hum", 50, nullptr, {{"held", -75.0}});
    CHECK(item(compared(whining(-60), hidden), "Alternator whine").verdict == ChangeVerdict::not_comparable);
    // without bands the whole floor is the bound
    Record whole = gone;
    whole.noise["floor"][0].erase("third_octaves");
    CHECK(*item(compared(whining(-60), whole), "Alternator whine").difference == Approx(-20));
}

TEST_CASE("a faint trace is no news, but what was sure and is faint now is followed", "[comparison]") {
    Record faint;
    faint.take("held").floor("held", -80).source("unexplained_tone", 3000, nullptr, {{"held", -100.0}}, 0.5, false);
    Record bare;
    bare.take("held").floor("held", -80);
    CHECK_FALSE(made::has_item(compared(bare, faint), "3.000 kHz"));
    Record loud;
    loud.take("held").floor("held", -80).source("unexplained_tone", 3000, nullptr, {{"held", -70.0}});
    CHECK(*item(compared(loud, faint), "3.000 kHz").difference == Approx(-30));
}

TEST_CASE("calibrations made apart count, one calibration cancels, half a calibration is refused", "[comparison]") {
    Record before = whining(-60), after = whining(-60);
    const auto give_scale = [](Record& record, double volts, double sd) {
        record.job["interface"] = {{"volts_full_scale", {volts, volts}}, {"volts_full_scale_sd_db", {sd, sd}}};
        for (Json& source : record.noise["noise_sources"])
            for (Json& level : source["levels"]) level["dbv_sd_db"] = std::hypot(0.2, sd);
    };
    give_scale(before, 7.0, 1.0);
    give_scale(after, 7.0, 1.0);
    CHECK(*item(compared(before, after), "Alternator whine").limit == Approx(std::hypot(1.95996 * std::hypot(0.2, 0.2), 2.0)).epsilon(1e-3));
    give_scale(after, 7.1, 1.0);
    CHECK(*item(compared(before, after), "Alternator whine").limit == Approx(std::hypot(1.95996 * std::sqrt(0.08 + 2.0), 2.0)).epsilon(1e-3));
    after.job["interface"] = Json::object();
    const ComparedItem refused = item(compared(before, after), "Alternator whine");
    CHECK(refused.verdict == ChangeVerdict::not_comparable);
    CHECK(holds(refused.text, "calibrated then and isn't now"));
    // neither: as if the knobs hadn't moved, and it says so; a pad is added back
    before.job["interface"] = Json::object();
    after.job["takes"][0]["attenuation_db"] = {20.0};
    for (Json& source : after.noise["noise_sources"])
        for (Json& level : source["levels"]) level["level_dbfs"] = level["level_dbfs"].get<double>() - 20;
    const Comparison bare = compared(before, after);
    CHECK(item(bare, "Alternator whine").unit == "dBFS");
    CHECK(*item(bare, "Alternator whine").difference == Approx(0).margin(1e-9));
    CHECK(holds(bare.notes.front(), "as if the interface's input knobs hadn't moved"));
}

TEST_CASE("a floor that the interface limits is a bound", "[comparison]") {
    Record before = whining(-60), after = whining(-60);
    after.noise["floor"] = Json::array();
    after.floor("held", -95, -110, 0.1, "interface");
    const ComparedItem fell = item(compared(before, after), "Noise floor, unweighted");
    CHECK(fell.verdict == ChangeVerdict::better);
    CHECK(fell.at_least);
    CHECK(item(compared(after, after), "Noise floor, unweighted").verdict == ChangeVerdict::not_comparable);
    const ComparedItem rose = item(compared(after, before), "Noise floor, unweighted");
    CHECK(rose.verdict == ChangeVerdict::worse);
    CHECK(rose.at_least);
}

TEST_CASE("what wasn't made alike is left out, each with what differs and how to make it again", "[comparison]") {
    struct Case {
        const char* field;
        Json change;
        const char* said;
    };
    const Case cases[] = {
        {"lead", {{"hookup", {"isolator"}}}, "lead: normal then, isolator now"},
        {"engine", {{"engine", "idle"}}, "engine: raised then, idle now"},
        {"point", {{"point", "source_output"}}, "point: amp input then, source output now"},
        {"loads", {{"loads", {"headlights"}}}, "loads: none then, headlights now"},
        {"volume", {{"volume", 25}}, "volume: 20 then, 25 now"},
        {"volume", {{"volume", nullptr}}, "volume: 20 then, not stated now"},
        {"input", {{"input", "tuner"}}, "input: usb then, tuner now"},
        {"source", {{"source", "muted"}}, "source: on then, muted now"},
        {"attached", {{"attached", {{{"device", "phone"}, {"powered_from", "vehicle"}}}}}, "attached: nothing then, phone fed from vehicle now"},
        {"laptop on", {{"laptop", "mains"}}, "laptop on: battery then, mains now"},
        {"engine speed", {{"rpm", nullptr}}, "engine speed: not known on both sides"}};
    for (const Case& one : cases) {
        INFO(one.said);
        Record before, after;
        before.take("held").floor("held", -80).take("off", {{"engine", "off"}, {"rpm", nullptr}}).floor("off", -90);
        after.take("held", one.change).floor("held", -80).take("off", {{"engine", "off"}, {"rpm", nullptr}}).floor("off", -90);
        if (one.change.contains("engine")) after.job["takes"][0]["rpm"] = 760;
        const Comparison comparison = compared(before, after);
        CHECK(comparison.pairs.size() == 1);
        REQUIRE(comparison.left_out.size() == 2);
        CHECK(holds(comparison.left_out[1].text, one.said));
        CHECK(std::find(comparison.left_out[1].differs.begin(), comparison.left_out[1].differs.end(), one.field) !=
              comparison.left_out[1].differs.end());
        CHECK(holds(comparison.left_out[0].text, "make a take now with engine raised at 2000 rpm"));
        CHECK(holds(comparison_text(comparison), "Takes that were not made alike"));
    }
    CHECK(holds(refusal(Record().take("a").floor("a", -80), Record().take("a", {{"hookup", {"isolator"}}}).floor("a", -80)),
                "nothing in it was measured as it is now"));
}

TEST_CASE("facts that contradict make two vehicles, descriptions that differ a warning", "[comparison]") {
    Record other = whining(-60);
    other.job["vehicle"]["cylinders"] = 6;
    CHECK(holds(refusal(whining(-60), other), "vehicle.cylinders is 4 in the earlier record and 6 in this one"));
    other = whining(-60);
    other.job["vehicle"]["supply_v"] = 24;
    CHECK(holds(refusal(whining(-60), other), "vehicle.supply_v"));
    Record diesel = whining(-60), electric = whining(-60);
    diesel.job["vehicle"]["drive"] = "diesel";
    electric.job["vehicle"]["drive"] = "electric";
    CHECK(holds(refusal(diesel, electric), "vehicle.drive"));
    other = whining(-60);
    other.job["vehicle"]["description"] = "estate, blue";
    other.version = "9.9.9";
    const Comparison comparison = compared(other, whining(-60));
    REQUIRE(comparison.notes.size() == 2);
    CHECK(holds(comparison.notes[0], "version 9.9.9"));
    CHECK(holds(comparison.notes[1], "description differs"));
}

TEST_CASE("of several states of the work the last one speaks, and one job can be held against its own beginning", "[comparison]") {
    Record job = whining(-60);
    job.take("mended", {{"after_change", "ground remade"}}).floor("mended", -85);
    job.noise["noise_sources"][0]["levels"].push_back(
        {{"take", "takes/mended.flac"}, {"channel", "left"}, {"level_dbfs", -94}, {"level_dbv", -80}, {"sd_db", 0.2}, {"dbv_sd_db", 0.2}});
    const ComparedItem since = item(compared(whining(-60), job), "Alternator whine");
    CHECK(*since.difference == Approx(-20));
    CHECK(since.take_after == "takes/mended.flac");
    const RecordedSystem read = job.read();
    CHECK(*item(compare_records(read, read, RecordState::first), "Alternator whine").difference == Approx(-20));
    const RecordedSystem one = whining(-60).read("van");
    CHECK_THROWS_WITH(compare_records(one, one, RecordState::first), Catch::Contains("van: it holds one state alone"));
}
