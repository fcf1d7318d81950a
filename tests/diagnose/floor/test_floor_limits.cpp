#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"

using namespace hushtrace;
using namespace floor_job;
using Catch::Matchers::Contains;
using Catch::Matchers::Equals;

namespace {

FloorVerdict judged(const Job& job, FloorRecord record, const std::string& what) {
    judge_floor(job, record);
    const FloorVerdict* found = verdict(record, what);
    REQUIRE(found);
    return *found;
}

}  // namespace

TEST_CASE("each limit is asked with its own proposal, and told with its place", "[floor_limits]") {
    Job job;
    FloorRecord record = record_of();
    judge_floor(job, record);
    REQUIRE(record.acceptance.size() == 3);
    struct Row {
        const char *what, *unit;
        double limit, found;
        std::optional<double> judge_to;
    };
    const std::vector<Row> rows{{"line_below_full_power_db", "dB", -90, -100, -75},
                                {"hiss_below_full_power_db", "dB", -85, -104, -75},
                                {"at_ear_off_db_spl", "dB SPL", 15, 0, std::nullopt}};
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const FloorVerdict& one = record.acceptance[i];
        CHECK(one.what == rows[i].what);
        CHECK(one.unit == rows[i].unit);
        CHECK(one.limit == rows[i].limit);
        CHECK(one.judge_to == rows[i].judge_to);
        CHECK(one.found->db.value == rows[i].found);
        CHECK_FALSE(one.written);
        CHECK(one.origin == "proposal, no source");
        CHECK(one.verdict == "pass");
        CHECK(one.condition == "as named");
        CHECK(one.take == "takes/one.flac");
        CHECK(one.channel == Channel::rear_left);
        CHECK(one.amplifier == "front");
    }
    job.limits.line_below_full_power_db = -99;
    const FloorVerdict written = judged(job, record_of(), "line_below_full_power_db");
    CHECK(written.limit == -99);
    CHECK(written.written);
    CHECK(written.origin == "job.json");
    CHECK_FALSE(written.judge_to);
    for (const auto& [engine, what, limit] : {std::tuple{Engine::off, "at_ear_off_db_spl", 15.0},
                                              {Engine::accessory, "at_ear_off_db_spl", 15.0},
                                              {Engine::key_on, "at_ear_off_db_spl", 15.0},
                                              {Engine::ready, "at_ear_running_db_spl", 25.0},
                                              {Engine::idle, "at_ear_running_db_spl", 25.0},
                                              {Engine::raised, "at_ear_running_db_spl", 25.0}})
        CHECK(judged({}, record_of(engine), what).limit == limit);
}

TEST_CASE("a verdict stands where the figure with its two standard deviations lies on one side", "[floor_limits]") {
    Job job, strict;
    strict.limits.line_below_full_power_db = -90;
    // sd 1 dB: 2 dB either way of -90 and of -75
    for (const auto& [found, wanted, wanted_written] : {std::tuple{-92.0, "pass", "pass"},
                                                        {-91.9, "undecided", "undecided"},
                                                        {-88.0, "undecided", "undecided"},
                                                        {-87.9, "judge", "fail"},
                                                        {-77.0, "judge", "fail"},
                                                        {-76.9, "undecided", "fail"},
                                                        {-73.0, "undecided", "fail"},
                                                        {-72.9, "fail", "fail"}}) {
        FloorRecord record = record_of();
        amplifier_of(record).line_re_full_power_db = ratio(found);
        INFO(found);
        CHECK(judged(job, record, "line_below_full_power_db").verdict == wanted);
        CHECK(judged(strict, record, "line_below_full_power_db").verdict == wanted_written);
        // what is at most so loud passes, or can't be told
        amplifier_of(record).line_re_full_power_db = ratio(found, 1.0, true);
        CHECK(judged(strict, record, "line_below_full_power_db").verdict == (found == -92.0 ? "pass" : "undecided"));
    }
    // a proposal for the ear has nothing between
    for (const auto& [found, wanted] : {std::pair{13.0, "pass"}, {17.0, "undecided"}, {17.1, "fail"}}) {
        FloorRecord record = record_of();
        amplifier_of(record).line_at_ear_db_spl = ratio(found);
        CHECK(judged(job, record, "at_ear_off_db_spl").verdict == wanted);
    }
    // no number is no verdict, and a proposal without one no line of the table
    FloorRecord record = record_of();
    amplifier_of(record).line_re_full_power_db = ratio(-std::numeric_limits<double>::infinity());
    CHECK(judged(strict, record, "line_below_full_power_db").verdict == "not_measured");
    judge_floor(job, record);
    CHECK(verdict(record, "line_below_full_power_db") == nullptr);
    CHECK(verdict(record, "hiss_below_full_power_db") != nullptr);
}

TEST_CASE("only a written limit that fails fails the job", "[floor_limits]") {
    FloorRecord record;
    CHECK_FALSE(fails_limit(record));
    for (const auto& [written, word, wanted] :
         {std::tuple{true, "pass", false}, {false, "fail", false}, {true, "undecided", false}, {true, "fail", true}}) {
        FloorVerdict one;
        one.written = written;
        one.verdict = word;
        record.acceptance.push_back(one);
        CHECK(fails_limit(record) == wanted);
    }
}

TEST_CASE("what was found is named by its line", "[floor_limits]") {
    const auto said = [](const std::string& name, double hz, bool wanders) {
        FloorRecord record = record_of();
        FloorLine line;
        line.name = name;
        line.frequency_hz = hz;
        line.wanders = wanders;
        channel_of(record).lines.push_back(line);
        amplifier_of(record).loudest_line = 1;
        return judged({}, record, "line_below_full_power_db").found_text;
    };
    CHECK(said("fan", 312.34, false) == "fan, at 312.3 Hz");
    CHECK(said("fan", 312.34, true) == "fan, about 312.3 Hz");
    CHECK(said("fan", 999.9, false) == "fan, at 999.9 Hz");
    CHECK(said("fan", 1000.0, false) == "fan, at 1000 Hz");
    CHECK(said("not named", 50, true) == "a line without a name at 50.0 Hz");

    FloorRecord record = record_of();
    CHECK(judged({}, record, "at_ear_off_db_spl").found_text == "fan, at 312.3 Hz");
    for (const double over_db : {0.0, -7.4}) {  // below the threshold of hearing a line passes however loud it is
        amplifier_of(record).line_over_threshold_db = over_db;
        amplifier_of(record).line_at_ear_db_spl = ratio(40);
        const FloorVerdict ear = judged({}, record, "at_ear_off_db_spl");
        CHECK(ear.verdict == "pass");
        CHECK_FALSE(ear.found);
        CHECK_THAT(ear.found_text, Contains(over_db < 0 ? "by 7 dB, is fan, at 312.3 Hz" : "by 0 dB") || Contains("by -0 dB"));
    }
}

TEST_CASE("where no line stands out the whole floor is the most that one can be", "[floor_limits]") {
    FloorRecord record = record_of();
    amplifier_of(record).line_re_full_power_db.reset();
    amplifier_of(record).line_at_ear_db_spl.reset();
    channel_of(record).lines.clear();
    const auto said = [&](const char* what, double unweighted_dbv, double sd_db, bool hidden) {
        channel_of(record).floor.unweighted.dbv = Reading{unweighted_dbv, sd_db, {}};
        channel_of(record).floor.limited_by_interface = hidden;
        const FloorVerdict one = judged({}, record, what);
        CHECK_FALSE(one.found);
        CHECK_THAT(one.found_text, Contains("no line stands out of the noise"));
        CHECK((one.found_text.find("the interface's own may hide one") != std::string::npos) == (one.verdict == "undecided"));
        return one.verdict;
    };
    CHECK(said("line_below_full_power_db", -60, 0, false) == "pass");
    CHECK(said("line_below_full_power_db", -60, 0, true) == "undecided");
    CHECK(said("line_below_full_power_db", -92, 1, true) == "pass");
    CHECK(said("line_below_full_power_db", -91.9, 1, true) == "undecided");
    // 10 V at full power: 20 dB
    amplifier_of(record).full_power_v = 10.0;
    CHECK(said("line_below_full_power_db", -71.9, 1, true) == "undecided");
    CHECK(said("line_below_full_power_db", -72.1, 1, true) == "pass");
    // the hiss of -104 dBV makes -4 dB SPL: 100 dB from one to the other, 15 dB SPL asked
    CHECK(said("at_ear_off_db_spl", -60, 0, false) == "pass");
    CHECK(said("at_ear_off_db_spl", -86.9, 1, true) == "undecided");
    CHECK(said("at_ear_off_db_spl", -87.1, 1, true) == "pass");
}

TEST_CASE("a line of the set-up's own that is louder than the limit leaves it open", "[floor_limits]") {
    FloorRecord record = record_of();
    FloorLine own;
    const auto said = [&](double hz, double level_dbv, LimitedBy limit, bool bass_only) {
        own.frequency_hz = hz;
        own.dbv = Reading{level_dbv, 1, limit};
        channel_of(record).lines = {own, own};
        channel_of(record).lines[0].dbv.reset();
        amplifier_of(record).bass_only = bass_only;
        const FloorVerdict one = judged({}, record, "line_below_full_power_db");
        CHECK((one.verdict == "undecided") ==
              (one.found_text.find("the set-up's own line at " + std::to_string(int(hz)) + " Hz is louder than the limit") != std::string::npos));
        return one.verdict;
    };
    CHECK(said(250, -91.9, LimitedBy::interface, false) == "undecided");
    CHECK(said(250, -92.1, LimitedBy::interface, false) == "pass");
    CHECK(said(250, -80, LimitedBy::nothing, false) == "pass");
    CHECK(said(250, -80, LimitedBy::interface, true) == "undecided");
    CHECK(said(251, -80, LimitedBy::interface, true) == "pass");
    amplifier_of(record).full_power_v = 10.0;  // 20 dB more asks for 20 dB more
    CHECK(said(50, -72.1, LimitedBy::interface, false) == "pass");
    CHECK(said(50, -71.9, LimitedBy::interface, false) == "undecided");
    amplifier_of(record).line_re_full_power_db.reset();
    CHECK(said(50, -71.9, LimitedBy::interface, false) == "undecided");
    amplifier_of(record).line_re_full_power_db = ratio(-60);
    CHECK(said(50, -71.9, LimitedBy::interface, false) == "fail");
    amplifier_of(record).line_re_full_power_db = ratio(-100);
    amplifier_of(record).full_power_v.reset();
    CHECK(said(50, -71.9, LimitedBy::interface, false) == "pass");
}

TEST_CASE("the hiss says what is in it, or what it was heard ahead of", "[floor_limits]") {
    FloorRecord record = record_of();
    const auto said = [&] { return judged({}, record, "hiss_below_full_power_db").found_text; };
    CHECK(said().empty());
    amplifier_of(record).bass_only = true;
    CHECK(said() == "ahead of its low-pass");
    amplifier_of(record).hiss_re_full_power_db = ratio(-104, 1, true, LimitedBy::interface);
    CHECK(said() == "the interface's own noise is all that was seen");
    amplifier_of(record).hiss_re_full_power_db = ratio(-104, 1, true, LimitedBy::noise);
    CHECK(said() == "something that was not followed is in it");
}

TEST_CASE("a written limit without a figure says why, in the order in which one would mend it", "[floor_limits]") {
    Job job;
    job.limits.line_below_full_power_db = job.limits.hiss_below_full_power_db = -90;
    job.limits.at_ear_off_db_spl = job.limits.at_ear_running_db_spl = 15;
    FloorRecord record = record_of();
    AmplifierFloor& amplifier = amplifier_of(record);
    amplifier.line_re_full_power_db.reset();
    amplifier.hiss_re_full_power_db.reset();
    amplifier.line_at_ear_db_spl.reset();
    amplifier.hiss_at_ear_db_spl.reset();
    amplifier.full_power_v.reset();
    const auto all_say = [&](const char* line, const char* ear) {
        for (const auto& [what, words] :
             {std::pair{"line_below_full_power_db", line}, {"hiss_below_full_power_db", line}, {"at_ear_off_db_spl", ear}}) {
            const FloorVerdict one = judged(job, record, what);
            CHECK(one.verdict == "not_measured");
            CHECK_FALSE(one.found);
            CHECK(one.found_text == words);
        }
    };
    all_say("its power and load aren't known", "no speaker of it with a sensitivity");
    amplifier.gain_db.reset();
    all_say("the amplifier's gain isn't known", "the amplifier's gain isn't known");
    channel_of(record).floor.unweighted.dbv.reset();
    amplifier.full_power_v = 1.0;
    amplifier.hiss_at_ear_db_spl = ratio(0);
    all_say("not calibrated", "not calibrated");
    // silence has no amplifiers of its own: each of the job's is asked
    channel_of(record).floor.third_octaves.clear();
    channel_of(record).amplifiers.clear();
    job.amplifiers.resize(2);
    job.amplifiers[1].name = "sub";
    all_say("digital silence: no sound came in", "digital silence: no sound came in");
    FloorRecord silent = record;
    judge_floor(job, silent);
    CHECK(silent.acceptance.size() == 7);
    CHECK(silent.acceptance[5].amplifier == "sub");
    CHECK(silent.acceptance[6].what == "at_ear_running_db_spl");
    CHECK(silent.acceptance[6].found_text == "no take with the engine running");
    CHECK(silent.acceptance[6].verdict == "not_measured");
    // a channel that feeds none
    channel_of(record).floor.third_octaves.resize(1);
    CHECK(judged(job, record, "line_below_full_power_db").found_text == "no channel that was captured feeds an amplifier of the job");
    CHECK(judged(job, record, "hiss_below_full_power_db").found_text == "no channel that was captured feeds an amplifier of the job");
    CHECK(judged(job, record, "at_ear_off_db_spl").found_text == "no take with the engine off");
    job.amplifiers.clear();
    CHECK(judged(job, record, "at_ear_running_db_spl").found_text == "job.json describes no amplifier");
    record.conditions.clear();
    CHECK(judged(job, record, "at_ear_off_db_spl").found_text == "no floor was captured at the amplifier's input");
    CHECK(judged(job, record, "at_ear_off_db_spl").condition.empty());
    // what isn't written isn't asked
    job.limits = {};
    judge_floor(job, record);
    CHECK(record.acceptance.empty());
}
