#include "hushtrace/report/first_sheet.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/wording.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

bool any_holds(const std::vector<std::string>& list, const std::string& part) {
    return std::any_of(list.begin(), list.end(), [&](const std::string& one) { return one.find(part) != std::string::npos; });
}

Analyses both() {
    Analyses analyses;
    analyses.noise = sample::noise();
    analyses.gain = sample::gain();
    return analyses;
}

/// The whine in a take after a change, so much quieter.
void mend(OpenedJob& opened, Analyses& analyses, double change_db, double sd_db, bool at_most = false) {
    Take after = opened.job.takes[1];
    after.file = "takes/after.flac";
    after.after_change = "Ground remade";
    opened.job.takes.push_back(after);
    NoiseSource& whine = analyses.noise->noise_sources[0];
    LevelInTake level = whine.levels[0];
    level.take = after.file;
    *level.level_dbv += change_db;
    whine.levels.push_back(level);
    ChangeMade made;
    made.change = "Ground remade";
    made.source_id = whine.id;
    made.before = "takes/idle.flac";
    made.after = after.file;
    made.measured_db = {change_db, sd_db, LimitedBy::nothing};
    made.at_most = at_most;
    analyses.noise->changes.push_back(made);
}

}  // namespace

TEST_CASE("the ear's words claim no more than the end of the interval that claims least", "[sheet]") {
    // loudness doubles with 10 dB: S. S. Stevens' sone, as ISO 532-1 has it; 1 and 3 dB are common practice, no source
    CHECK(ear_words(-12, 0.5, false) == "half as loud or less");
    CHECK(ear_words(-12, 1.1, false) == "clearly quieter");  // 9.8 dB are sure
    CHECK(ear_words(-12, 4.6, false) == "a little quieter");
    CHECK(ear_words(-12, 6.0, false) == "no difference that can be claimed");
    CHECK(ear_words(-25, 2.0, false) == "a quarter as loud or less");
    CHECK(ear_words(-40, 2.0, false) == "an eighth as loud or less");
    CHECK(ear_words(12, 0.5, false) == "twice as loud or more");
    CHECK(ear_words(2, 0.6, false) == "a difference that may be too small to hear");
    CHECK(ear_words(-12, 6.0, true) == "half as loud or less");  // at least 12 dB: the figure is the bound itself
    CHECK(ear_words(7, 1.0, true) == "no difference that can be claimed");
}

TEST_CASE("where nothing was changed the sheet says so and claims nothing", "[sheet]") {
    const FirstSheet sheet = first_sheet(sample::job(), both());
    CHECK(sheet.said == "Whistles with the engine, louder with the lights on");
    CHECK(sheet.done.empty());
    CHECK(sheet.not_done.find("Nothing has been changed yet") == 0);
    CHECK(sheet.figures.empty());
    CHECK(sheet.no_figures.find("Nothing was changed") == 0);
    CHECK(any_holds(sheet.found, "A whine from the alternator; its pitch follows the engine (very likely)"));
    CHECK(any_holds(sheet.found, "at different places (likely)"));                // the ground loop, 82 %
    CHECK(any_holds(sheet.found, "comes from the measuring equipment itself"));  // the hum
    CHECK(any_holds(sheet.found, "clean up to volume 31"));
    CHECK(any_holds(sheet.remains, "Keep the volume at 31 or below"));
    CHECK(any_holds(sheet.remains, "Move the source's ground to the amplifier's ground point."));
    CHECK_FALSE(any_holds(sheet.remains, "Run the laptop"));                      // no advice of the customer's
    CHECK(sheet.failed.empty());
}

TEST_CASE("before and after are told in one number each, with the change and what it is to the ear", "[sheet]") {
    OpenedJob opened = sample::job();
    Analyses analyses = both();
    mend(opened, analyses, -22.0, 1.5);
    FirstSheet sheet = first_sheet(opened, analyses);
    REQUIRE(sheet.figures.size() == 1);
    CHECK(sheet.figures[0].noise == "whine from the alternator");
    CHECK(sheet.figures[0].before == "-48 dBV at the amplifier, give or take 1");  // -61.5 dBFS at 7 V full scale: -47.6 dBV
    CHECK(sheet.figures[0].after == "-70 dBV at the amplifier, give or take 1");
    CHECK(sheet.figures[0].change == "22 dB quieter, give or take 3");
    CHECK(sheet.figures[0].to_the_ear == "half as loud or less");
    CHECK(sheet.done == std::vector<std::string>{"Ground remade"});
    CHECK(any_holds(sheet.remains, "Still found after what was done: whine from the alternator"));

    SECTION("at the ear where the speakers are known") {
        Loudness loudness;
        loudness.level_dbv = analyses.noise->noise_sources[0].level_dbv;
        loudness.ear_db_spl = 45.0;
        loudness.ear_sd_db = 4.0;
        loudness.audible = "audible_driving";
        analyses.noise->noise_sources[0].loudness = loudness;
        sheet = first_sheet(opened, analyses);
        CHECK(sheet.figures[0].before == "45 dB at the ear, give or take 8");
        CHECK(sheet.figures[0].after == "23 dB at the ear, give or take 8");
        CHECK(any_holds(sheet.found, "It can be heard while driving too."));
    }
    SECTION("a second change that follows the first adds up") {
        ChangeMade more = analyses.noise->changes[0];
        more.before = more.after;
        more.after = "takes/later.flac";
        more.measured_db = {-5.0, 2.0, LimitedBy::nothing};
        analyses.noise->changes.push_back(more);
        CHECK(first_sheet(opened, analyses).figures[0].change == "27 dB quieter, give or take 5");  // 2 sqrt(1.5² + 2²) = 5
    }
}

TEST_CASE("a change within its uncertainty is not claimed, what is gone is told as a bound", "[sheet]") {
    OpenedJob opened = sample::job();
    Analyses analyses = both();
    SECTION("within the uncertainty") {
        mend(opened, analyses, -3.0, 2.0);
        const FirstSheet sheet = first_sheet(opened, analyses);
        CHECK(sheet.figures[0].change == "no change beyond what the measurement can tell (4 dB)");
        CHECK(sheet.figures[0].to_the_ear == "no difference that can be claimed");
    }
    SECTION("gone") {
        mend(opened, analyses, -25.0, 1.0, true);
        const FirstSheet sheet = first_sheet(opened, analyses);
        CHECK(sheet.figures[0].after == "not found any more");
        CHECK(sheet.figures[0].change == "25 dB quieter at least");
        CHECK(any_holds(sheet.found, "After what was done it is not found any more."));
        CHECK_FALSE(any_holds(sheet.remains, "Move the source's ground"));
    }
    SECTION("not found, but other noise may hide it") {
        mend(opened, analyses, 4.0, 1.0, true);
        const FirstSheet sheet = first_sheet(opened, analyses);
        CHECK(sheet.figures[0].to_the_ear == "no difference that can be claimed");
        CHECK_FALSE(any_holds(sheet.found, "After what was done"));
        CHECK(any_holds(sheet.remains, "Still found"));
    }
    SECTION("changed, but never measured alike") {
        opened.job.takes[1].after_change = "Ground remade";
        const FirstSheet sheet = first_sheet(opened, analyses);
        CHECK(sheet.figures.empty());
        CHECK(sheet.no_figures.find("no improvement is claimed") != std::string::npos);
    }
}

TEST_CASE("a limit that is written and not met, and a cable that may burn, stand on the sheet", "[sheet]") {
    OpenedJob opened = sample::job();
    Analyses analyses = both();
    opened.job.limits.ceiling_thd_percent = 0.5;
    analyses.gain->ceiling.reset();
    analyses.gain->ceiling_reason = "always_distorted";
    analyses.power = PowerAnalysis{};
    PowerCable feed;
    feed.part = "feed";
    feed.verdict = CableVerdict::too_thin;
    analyses.power->cables = {feed};
    FloorVerdict hiss;
    hiss.what = "hiss_below_full_power_db";
    hiss.condition = "idle";
    hiss.amplifier = "front";
    hiss.found = FloorRatio{{-71.6, 0.2}, false};
    hiss.limit = -85;
    hiss.unit = "dB";
    hiss.verdict = "fail";
    analyses.floor_record = FloorRecord{};
    analyses.floor_record->acceptance = {hiss};
    CHECK_FALSE(any_holds(first_sheet(opened, analyses).failed, "Noise"));  // a proposal fails nothing
    analyses.floor_record->acceptance[0].written = true;
    const FirstSheet sheet = first_sheet(opened, analyses);
    CHECK(any_holds(sheet.failed, "0.5 % that were agreed"));
    CHECK(any_holds(sheet.failed, "Noise (idle, front): at most -85 dB was agreed, -72 dB found."));
    REQUIRE_FALSE(sheet.remains.empty());
    CHECK(sheet.remains[0].find("Danger of fire: the power cable (feed) is too thin") == 0);
    const std::string page = record_page(opened, analyses, "1");
    CHECK(page.find("Not as agreed:") != std::string::npos);
}

TEST_CASE("texts of any length and direction leave the sheet short and the rest unturned", "[sheet]") {
    OpenedJob opened = sample::job();
    const std::string hebrew = "\xD7\xA9\xD7\x9C\xD7\x95\xD7\x9D";
    opened.job.complaint = hebrew + std::string(10'000, 'W');
    for (int i = 0; i < 40; ++i) {
        opened.job.takes.push_back(opened.job.takes[1]);
        opened.job.takes.back().after_change = std::to_string(i) + std::string(10'000, 'x');
    }
    const FirstSheet sheet = first_sheet(opened, both());
    CHECK(sheet.said_in_part);
    CHECK(display_width(sheet.said) <= kComplaintColumns + 1);
    CHECK(sheet.done.size() == 4);  // three and how many more
    CHECK(sheet.done.back() == "37 more changes, told further below.");
    for (const std::string& one : sheet.done) CHECK(display_width(one) < 200);
    const std::string page = record_page(opened, both(), "1");
    CHECK(page.find("Cut short above, here in full") != std::string::npos);
}

TEST_CASE("text is cut at its columns, combining marks count, and right-to-left text is set apart", "[sheet]") {
    CHECK(shortened("abc", 3) == "abc");
    CHECK(shortened("abcd", 3) == "ab…");
    CHECK(shortened("車車車", 4) == "車…");
    std::string marks = "a";
    for (int i = 0; i < 5000; ++i) marks += "\xCC\x81";
    CHECK(shortened(marks, 10).size() < 40);
    CHECK(isolated("plain <b>") == "plain &lt;b&gt;");
    CHECK(isolated("\xD7\xA9 <b>") == "<bdi>\xD7\xA9 &lt;b&gt;</bdi>");
    CHECK(reads_from_right("\xD8\xB3\xD9\x84\xD8\xA7\xD9\x85"));  // Arabic
    CHECK_FALSE(reads_from_right("Größe, 車, Ω"));
    // XML 1.0 forbids U+FFFE and U+FFFF
    CHECK(escaped("a\xEF\xBF\xBE\xEF\xBF\xBF") == "a\xEF\xBF\xBD\xEF\xBF\xBD");
}
