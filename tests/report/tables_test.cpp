#include "hushtrace/report/tables.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/signal/error.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using Json = nlohmann::ordered_json;
namespace fs = std::filesystem;

namespace {

std::string table(const Json& results, const std::string& name) {
    for (const CsvTable& one : tables_of(Json{{"schema", "hushtrace.report/1"}, {"results", results}}.dump()))
        if (one.name == name) return one.text;
    return "no such table";
}

}  // namespace

TEST_CASE("a cell is quoted after RFC 4180, and is no formula", "[tables]") {
    CHECK(csv_text("plain") == "plain");
    CHECK(csv_text("") == "");
    CHECK(csv_text("a,b") == "\"a,b\"");
    CHECK(csv_text("say \"no\"") == "\"say \"\"no\"\"\"");
    CHECK(csv_text("two\r\nlines") == "\"two\r\nlines\"");
    CHECK(csv_text("=1+1") == "'=1+1");
    CHECK(csv_text("+49 1") == "'+49 1");
    CHECK(csv_text("-3") == "'-3");
    CHECK(csv_text("@SUM(A1)") == "'@SUM(A1)");
    CHECK(csv_text(" =1") == "' =1");
    CHECK(csv_text("\t=1") == "'\t=1");
    CHECK(csv_text("\tx") == "'\tx");
    CHECK(csv_text("'quoted") == "''quoted");   // so that one apostrophe taken off gives every text back
    CHECK(csv_text("=HYPERLINK(\"x\",\"y\")") == "\"'=HYPERLINK(\"\"x\"\",\"\"y\"\")\"");
}

TEST_CASE("lists become tables, what is inside them tables that say whose they are", "[tables]") {
    const Json whine = {{"id", "whine-1"}, {"level_dbv", -52.39}, {"takes", {"a.wav", "b.wav"}}, {"loudness", nullptr},
                        {"levels", {{{"take", "a.wav"}, {"level_dbv", -1e-7}}, {{"take", "b.wav"}, {"level_dbv", nullptr}}}}};
    const Json hum = {{"id", "=hum"}, {"level_dbv", nullptr}, {"takes", Json::array()}, {"loudness", {{"audible", "unknown"}}},
                      {"levels", Json::array()}};
    const Json noise = {{"noise", {{"noise_sources", {whine, hum}}}}};
    CHECK(table(noise, "noise-noise_sources") ==
          "row,of.row,id,level_dbv,takes,loudness.audible\r\n1,1,whine-1,-52.39,a.wav; b.wav,\r\n2,1,'=hum,,,unknown\r\n");
    CHECK(table(noise, "noise-noise_sources-levels") == "row,of.row,of.id,take,level_dbv\r\n1,1,whine-1,a.wav,-1e-07\r\n2,1,whine-1,b.wav,\r\n");
    const Json track = {{"noise", {{"tracks", {{{"source_id", "w"}, {"mean_hz", 2.5}, {"time_s", {0.0, 0.5}}, {"frequency_hz", {2, 3}}}}}}}};
    CHECK(table(track, "noise-tracks") == "row,of.row,source_id,mean_hz\r\n1,1,w,2.5\r\n");
    CHECK(table(track, "noise-tracks-points") == "row,of.row,of.source_id,time_s,frequency_hz\r\n1,1,w,0.0,2\r\n2,1,w,0.5,3\r\n");
    CHECK_THROWS_AS(tables_of("[]"), Error);
    CHECK_THROWS_AS(tables_of("not"), Error);
}

TEST_CASE("no key leads out of the folder", "[tables]") {
    const TemporaryFolder top;
    const Json list = Json::array({{{"x", 1}}});
    const Json hostile = {{"results", {{"../../up", list}, {"job", {{"/etc/Passwd", list}, {std::string(5000, 'k'), list}}}}}};
    write_tables(hostile.dump(), top / "in/here");
    for (const auto& one : fs::recursive_directory_iterator(top.path()))
        if (one.is_regular_file()) CHECK(one.path().parent_path() == top / "in/here");
    CHECK(fs::exists(top / "in/here/______up.csv"));
    CHECK(fs::exists(top / "in/here/job-_etc_passwd.csv"));
}

TEST_CASE("tables of an earlier record go, other files stay", "[tables]") {
    const TemporaryFolder top;
    const Json before = {{"results", {{"gain", {{"ceilings", {{{"volume", 3}}}}}}}}};
    const Json after = {{"results", {{"noise", {{"floor", {{{"take", "a"}}}}}}}}};
    write_tables(before.dump(), top.path());
    CHECK(fs::exists(top / "gain-ceilings.csv"));
    write_whole(top / "mine.csv", "mine");
    write_whole(top / "notes.txt", "mine");
    CHECK(write_tables(after.dump(), top.path()) == 3);   // report, noise, noise-floor
    CHECK_FALSE(fs::exists(top / "gain-ceilings.csv"));
    CHECK(fs::exists(top / "noise-floor.csv"));
    CHECK(fs::exists(top / "mine.csv"));
    CHECK(fs::exists(top / "notes.txt"));
    CHECK(read_whole(top / "tables.csv", 1000) == "table,rows\r\nnoise,1\r\nnoise-floor,1\r\nreport,1\r\n");
}
