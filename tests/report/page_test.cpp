#include "hushtrace/report/page.hpp"

#include <sys/stat.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "holds.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/signal/error.hpp"
#include "report/entry_sample.hpp"
#include "report/sample.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

namespace {

Analyses both() {
    Analyses analyses;
    analyses.noise = sample::noise();
    analyses.gain = sample::gain();
    return analyses;
}

/// Elements are closed in the order in which they were opened. The page has no comments and no '>' inside
/// attributes.
std::string first_imbalance(const std::string& page) {
    const std::vector<std::string> void_elements = {"!DOCTYPE", "meta", "br"};
    std::vector<std::string> open;
    for (std::size_t at = page.find('<'); at != std::string::npos; at = page.find('<', at + 1)) {
        const std::size_t stop = page.find('>', at);
        if (stop == std::string::npos) return "unclosed tag";
        const std::string tag = page.substr(at + 1, stop - at - 1);
        const std::string name =
            tag.substr(tag[0] == '/' ? 1 : 0, tag.find_first_of(" \n", 1) - (tag[0] == '/' ? 1 : 0));
        if (tag[0] == '/') {
            if (open.empty() || open.back() != name) return "closes " + name;
            open.pop_back();
        } else if (tag.back() != '/' && std::count(void_elements.begin(), void_elements.end(), name) == 0) {
            open.push_back(name);
        }
    }
    return open.empty() ? "" : "left open: " + open.back();
}

struct Folder {
    fs::path path = fs::temp_directory_path() / ("hushtrace-page-" + std::to_string(::getpid()));
    Folder() { fs::create_directories(path); }
    ~Folder() { fs::remove_all(path); }
};

std::string content_of(const fs::path& file) {
    std::ifstream stream(file, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    return text.str();
}

}  // namespace

TEST_CASE("the page tells findings first, then actions, gain, pictures, conditions, warnings, cautions",
          "[page]") {
    const std::string page = record_page(sample::job(), both(), "9.8.7");
    std::size_t before = 0;
    for (const std::string heading : {"For the customer", "<h2>What was found", "<h2>What to do", "<h2>Where it gets in", "<h2>Gain",
                                      "<h2>Levels from source to ear", "<h2>Pictures", "<h2>Noise floor", "<h2>Takes and their conditions",
                                      "<h2>Method", "<h2>Warnings", "<h2>Cautions", "Made by Hushtrace 9.8.7"}) {
        INFO(heading);
        const std::size_t at = page.find(heading);
        REQUIRE(at != std::string::npos);
        CHECK(at > before);
        before = at;
    }
    CHECK(holds(page, "Alternator whine at 1.231 kHz"));
    CHECK(holds(page, "Expect: 25 dB quieter (±5)"));
    CHECK(holds(page, "outside the amplifier&#39;s range 0.2 to 6 V"));
    CHECK(first_imbalance(page) == "");
}

TEST_CASE("the page asks for no gain to be set where there is no ceiling", "[page]") {
    Analyses analyses;
    analyses.gain = sample::gain();
    CHECK(holds(record_page(sample::job(), analyses, "9.8.7"), "turn the gain up until the output reads the target"));
    analyses.gain->ceiling.reset();
    analyses.gain->ceiling_reason = "always_distorted";
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK_FALSE(holds(page, "turn the gain up"));
    CHECK(holds(page, "without a ceiling no gain can be set"));
}

TEST_CASE("the page needs no network and runs nothing", "[page]") {
    const std::string page = record_page(sample::job(), both(), "9.8.7");
    for (const std::string part :
         {"http:", "https:", "<script", "<link", "<iframe", "@import", "url(", " onload", "javascript:"}) {
        INFO(part);
        CHECK_FALSE(holds(page, part));
    }
    CHECK(holds(page, "href=\"data:image/png;base64,iVBORw0KGgo"));
}

TEST_CASE("what a user or a file wrote can't become markup", "[page]") {
    const std::string evil = "</title><script>alert('x')</script><b a=\"\x01\">\xFF";
    OpenedJob opened = sample::job();
    opened.job.title = opened.job.vehicle.description = opened.job.source.description = evil;
    opened.job.complaint = evil;
    opened.job.takes[1].marks[0].text = evil;
    opened.job.takes[1].conditions.loads = {evil};
    opened.job.takes[1].conditions.attached = {{evil, PoweredFrom::vehicle}};
    opened.job.takes[1].after_change = evil;
    opened.job.observations[0].what = opened.job.observations[0].unit = evil;
    opened.warnings = {{evil, evil, evil}};
    Analyses analyses = both();
    for (TakePicture& one : analyses.noise->pictures) one.lines[0].label = one.take = evil;
    analyses.noise->noise_sources[0].evidence[0].text = evil;
    analyses.noise->noise_sources[0].levels[0].take = evil;
    analyses.noise->entry_paths[0].paths = {evil};
    analyses.noise->actions[0] = {evil, evil, "whine-1", -3.0, 1.0};
    analyses.noise->health = {{evil, evil, 0.5}};
    analyses.noise->tests_made = sample::tests_made("whine-1", 3);
    for (TestMade& one : analyses.noise->tests_made) {
        one.name = one.outcome.text = one.ways[1].name = evil;
        one.outcome.takes = {"takes/off.flac", "takes/idle.flac"};
        if (!one.ruled_out.empty()) one.ruled_out[0] = evil;
    }
    analyses.noise->supply_transfers = {sample::transfer(Channel::supply, -20.0)};
    analyses.noise->supply_transfers[0].take = analyses.noise->supply_transfers[0].text = analyses.noise->supply_transfers[0].source_id = evil;
    analyses.noise->changes = {
        {evil, "hum-1", "takes/off.flac", "takes/idle.flac", Channel::right, {-3.0, 1.0, {}}, false, std::nullopt, "kept", evil}};
    analyses.noise->cures = {{evil, evil, evil, -3.0, 1.0, evil}};
    analyses.noise->floor[0].take = evil;
    analyses.gain->ceiling_text = evil;
    analyses.gain->amplifiers[0].name = evil;
    analyses.gain->amplifiers[0].notes = {evil};
    analyses.gain->curves[0].take = analyses.gain->curves[0].ceiling_reason = evil;
    const std::string page = record_page(opened, analyses, "9.8.7");
    CHECK_FALSE(holds(page, "<script"));
    CHECK_FALSE(holds(page, "<b a="));
    CHECK_FALSE(holds(page, "\x01"));
    CHECK_FALSE(holds(page, "\xFF"));
    CHECK(first_imbalance(page) == "");
    CHECK(escaped("a<b>&\"'") == "a&lt;b&gt;&amp;&quot;&#39;");
}

TEST_CASE("where noise gets in is drawn, with its tests, what they changed and the supply's transfer, each in words too", "[page]") {
    Analyses analyses = both();
    NoiseAnalysis& noise = *analyses.noise;
    noise.tests_made = sample::tests_made("whine-1", 2);
    for (TestMade& one : noise.tests_made) one.outcome.takes = {"takes/idle.flac", "takes/off.flac"};
    for (const TestMade& one : sample::tests_made("hum-1", 1)) noise.tests_made.push_back(one);
    noise.supply_transfers = {sample::transfer(Channel::supply_current, 1.0)};
    noise.supply_transfers[0].spoilt = true;
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK(first_imbalance(page) == "");
    for (const std::string part : {"Where it gets in: finding 1, Alternator whine at 1.231 kHz", "<li>A: a ground loop, 82 %.</li>",
                                   "Tests made, and what each ruled out: finding 1", "Without and with a test with a name: finding 1", "<li>1.23",
                                   "Signal (left) over the supply&#39;s current", "not to be trusted",
                                   "<summary>The tests made for finding 2, Mains hum at 50.00 Hz</summary>"}) {
        INFO(part);
        CHECK(holds(page, part));
    }
    // every picture in two sizes, each with an id of its own
    std::set<std::string> ids;
    std::size_t count = 0;
    for (std::size_t at = page.find(" id=\""); at != std::string::npos; at = page.find(" id=\"", at + 1), ++count)
        ids.insert(page.substr(at, page.find('"', at + 5) - at));
    CHECK(ids.size() == count);
    noise.entry_paths.clear(), noise.tests_made.clear(), noise.supply_transfers.clear();
    CHECK_FALSE(holds(record_page(sample::job(), analyses, "9.8.7"), "<h2>Where it gets in"));
}

TEST_CASE("the page says what it would help to buy, and what became of a change", "[page]") {
    Analyses analyses = both();
    CHECK_FALSE(holds(record_page(sample::job(), analyses, "9.8.7"), "Would it help"));
    analyses.noise->cures = {{"whine-1", "isolator", "an isolating transformer in the lead", -24.6, 6.0, "It costs bass."}};
    ChangeMade made;
    made.change = "ground remade";
    made.source_id = "whine-1";
    made.before = "takes/idle.flac";
    made.after = "takes/mended.flac";
    made.verdict = "failed";
    made.text = "The promise failed.";
    analyses.noise->changes = {made};
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK(holds(page, "<h2>Would it help to buy ...?</h2>"));
    CHECK(holds(page, "25 dB quieter (±6)"));
    CHECK(holds(page, "It costs bass."));
    CHECK(holds(page, "The promise failed."));
    CHECK(holds(page, "takes/mended.flac against takes/idle.flac"));
    CHECK(first_imbalance(page) == "");
}

TEST_CASE("a page without findings, without gain or without any take is whole", "[page]") {
    Analyses nothing;
    nothing.noise = NoiseAnalysis{};
    nothing.noise->takes = {"takes/off.flac"};
    const std::string quiet = record_page(sample::job(), nothing, "9.8.7");
    CHECK(holds(quiet, "Nothing found above the floor in 1 take."));
    for (const std::string part : {"<svg", "<h2>Gain", "<h2>Pictures", "<h2>Noise floor", "<h2>What to do"}) {
        INFO(part);
        CHECK_FALSE(holds(quiet, part));
    }
    Analyses gain_alone;
    gain_alone.gain = sample::gain();
    const std::string tuned = record_page(sample::job(), gain_alone, "9.8.7");
    CHECK(holds(tuned, "<h2>Gain"));
    CHECK_FALSE(holds(tuned, "<h2>What was found"));
    CHECK(first_imbalance(tuned) == "");
    CHECK(first_imbalance(record_page(OpenedJob{}, Analyses{}, "9.8.7")) == "");
}

TEST_CASE("two hundred findings make a page, each listed once in full or in the table", "[page]") {
    Analyses analyses = both();
    NoiseAnalysis& noise = *analyses.noise;
    for (int i = 0; i < 198; ++i) {
        NoiseSource tone = noise.noise_sources[1];
        tone.id = "tone-" + std::to_string(i), tone.kind = NoiseKind::unexplained_tone;
        tone.frequency_hz = 60.0 * std::pow(1.028, i);
        noise.noise_sources.push_back(tone);
        noise.pictures[2].lines.push_back({*tone.frequency_hz, -95.0, tone.id, "unexplained tone"});
    }
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK(holds(page, "<th scope=\"row\">200</th>"));
    CHECK(holds(page, "188 more are listed under Further findings."));
    CHECK(first_imbalance(page) == "");
    CHECK(page.size() < 2'000'000);
}

TEST_CASE("uncalibrated and one-channel takes are told in dBFS", "[page]") {
    Analyses analyses;
    analyses.noise = sample::uncalibrated(sample::noise());
    analyses.noise->pictures.resize(1);
    for (NoiseSource& one : analyses.noise->noise_sources)
        one.channels = {Channel::left}, one.levels.resize(1);
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK(holds(page, "-61.5 dBFS (not calibrated)"));
    CHECK(holds(page, ">dBFS<"));
    CHECK_FALSE(holds(page, ">dBV<"));
}

TEST_CASE("engine off is laid under engine running where all else is alike", "[page]") {
    OpenedJob opened = sample::job();
    const NoiseAnalysis analysis = sample::noise();
    auto figures = choose_spectra(opened.job, analysis, 8);
    REQUIRE(figures.size() == 2);  // left and right of the idle take; the others are seen under them
    for (const SpectrumFigure& one : figures) {
        CHECK(one.picture->take == "takes/idle.flac");
        REQUIRE(one.under);
        CHECK(one.under->take == "takes/off.flac");
        CHECK(one.under->channel == one.picture->channel);
    }
    opened.job.takes[0].conditions.hookup = {Hookup::inputs_shorted};
    figures = choose_spectra(opened.job, analysis, 8);
    CHECK(figures.size() == 4);
    for (const SpectrumFigure& one : figures) CHECK_FALSE(one.under);
    CHECK(figures[1].picture->take == "takes/off.flac");  // each take once before the second channels
    CHECK(choose_spectra(opened.job, analysis, 3).size() == 3);
}

TEST_CASE("page and data are written whole, beside each other, and leave nothing else", "[page]") {
    const Folder folder;
    const RecordFiles files =
        write_record(sample::job(), both(), "9.8.7", folder.path / "records" / "report.html");
    CHECK(files.data == folder.path / "records" / "report.json");
    CHECK(holds(content_of(files.page), "</html>"));
    CHECK(nlohmann::json::parse(content_of(files.data))["schema"] == "hushtrace.report/1");
    CHECK(std::distance(fs::directory_iterator(folder.path / "records"), fs::directory_iterator()) == 2);
    write_record(sample::job(), both(), "9.8.8", files.page);
    CHECK(holds(content_of(files.page), "Hushtrace 9.8.8"));
    CHECK(std::distance(fs::directory_iterator(folder.path / "records"), fs::directory_iterator()) == 2);
}

TEST_CASE("a record never takes the place of a job, a folder, or of what isn't a page", "[page]") {
    const Folder folder;
    std::ofstream(folder.path / "job.json") << "{}";
    CHECK_THROWS_AS(write_record(sample::job(), both(), "1", folder.path / "job.html"), Error);
    CHECK(content_of(folder.path / "job.json") == "{}");
    CHECK_THROWS_AS(write_record(sample::job(), both(), "1", folder.path / "page.flac"), Error);
    fs::create_directories(folder.path / "page.html");
    CHECK_THROWS_AS(write_record(sample::job(), both(), "1", folder.path / "page.html"), Error);
    std::ofstream(folder.path / "file") << "x";
    CHECK_THROWS_AS(write_record(sample::job(), both(), "1", folder.path / "file" / "page.html"), Error);
    CHECK(std::distance(fs::directory_iterator(folder.path), fs::directory_iterator()) == 3);
}
