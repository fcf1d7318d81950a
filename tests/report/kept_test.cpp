#include "hushtrace/report/kept.hpp"

#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/index.hpp"
#include "hushtrace/signal/error.hpp"
#include "report/sample.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using Json = nlohmann::json;
namespace fs = std::filesystem;

namespace {

Made made_at(const std::string& at) { return {at, "9.8.7", {{"out", "x.html"}}, {}}; }

std::string record(const std::string& at, double ceiling_volume) {
    return Json{{"schema", "hushtrace.report/1"},
                {"results", {{"made", {{"at", at}, {"version", "9.8.7"}}}, {"gain", {{"ceiling", {{"volume", ceiling_volume}}}}}}}}
        .dump();
}

OpenedJob in(const fs::path& folder) {
    OpenedJob opened = sample::job();
    opened.folder = folder;
    return opened;
}

Json line_of(const fs::path& folder) { return Json::parse(index_line(folder, "9.8.7").text); }

}  // namespace

TEST_CASE("a file's print is its SHA-256", "[kept]") {
    // NIST's examples of FIPS 180-4 (SHA256.pdf): "abc", and a million times 'a'; the empty one by sha256sum
    const TemporaryFolder folder;
    write_whole(folder / "abc", "abc");
    write_whole(folder / "empty", "");
    write_whole(folder / "million", std::string(1000000, 'a'));
    CHECK(sha256_of(folder / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    CHECK(sha256_of(folder / "empty") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    CHECK(sha256_of(folder / "million") == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    CHECK_FALSE(sha256_of(folder.path()));
    CHECK_FALSE(sha256_of(folder / "none"));
}

TEST_CASE("kept results are never written over, and are listed newest first", "[kept]") {
    const TemporaryFolder folder;
    const OpenedJob opened = in(folder.path());
    const fs::path first = keep_results(opened, made_at("2026-01-31T10:12:00Z"), record("2026-01-31T10:12:00Z", 1));
    CHECK(first.filename() == "20260131T101200Z-9.8.7.json");
    for (int more = 2; more <= 11; ++more) {
        const fs::path next = keep_results(opened, made_at("2026-01-31T10:12:00Z"), record("2026-01-31T10:12:00Z", more));
        CHECK(next.filename() == "20260131T101200Z-9.8.7-" + std::to_string(more) + ".json");
    }
    CHECK(read_whole(first, 10000) == record("2026-01-31T10:12:00Z", 1));
    keep_results(opened, made_at("2025-06-01T00:00:00Z"), record("2025-06-01T00:00:00Z", 5));
    const KeptList list = kept_results(folder.path());
    REQUIRE(list.results.size() == 12);
    CHECK(list.warnings.empty());
    CHECK(list.results.front().file.filename() == "20260131T101200Z-9.8.7-11.json");
    CHECK(list.results.back().at == "2025-06-01T00:00:00Z");
    CHECK(list.results.back().version == "9.8.7");
}

TEST_CASE("a damaged kept file is named and passed over, what a later version adds is no damage", "[kept]") {
    const TemporaryFolder folder;
    const OpenedJob opened = in(folder.path());
    CHECK(kept_results(folder.path()).results.empty());
    const std::string good = record("2026-01-31T10:12:00Z", 30);
    keep_results(opened, made_at("2026-01-31T10:12:00Z"), good);
    const fs::path kept = folder / "records/kept";
    write_whole(kept / "20270101T000000Z-9.9.9.json", good.substr(0, good.size() / 2));
    write_whole(kept / "20270102T000000Z-9.9.9.json", "[1, 2]");
    write_whole(kept / "20270103T000000Z-9.9.9.json", R"({"schema": "hushtrace.report/1", "results": {"made": 7}})");
    fs::create_directory(kept / "20270104T000000Z-9.9.9.json");
    write_whole(kept / "20260201T000000Z-9.9.9.json",
                R"({"schema": "hushtrace.report/1", "more": {},
                    "results": {"made": {"at": "2026-02-01T00:00:00Z", "version": "9.9.9", "by": 1}, "new": []}})");
    const KeptList list = kept_results(folder.path());
    REQUIRE(list.results.size() == 2);
    CHECK(list.results[0].version == "9.9.9");
    REQUIRE(list.warnings.size() == 4);
    CHECK(list.warnings[3].text == "records/kept/20270101T000000Z-9.9.9.json: is no JSON; it is passed over");
    CHECK(list.warnings[0].text.find("20270104T000000Z-9.9.9.json: can't be read") != std::string::npos);
}

TEST_CASE("the record says what made it, and of which files", "[kept]") {
    const TemporaryFolder folder;
    OpenedJob opened = in(folder.path());
    fs::create_directory(folder / "takes");
    REQUIRE(opened.job.takes.size() >= 2);
    write_whole(folder.path() / opened.job.takes[0].file, "no sound");
    Analyses analyses;
    analyses.gain = sample::gain();
    analyses.made = made_now(opened, "9.8.7", {{"tables", "true"}});
    const Json made = Json::parse(report_document(opened, analyses, "9.8.7", "a.html", "a.json"))["results"]["made"];
    CHECK(made["at"].get<std::string>().size() == 20);
    CHECK(made["version"] == "9.8.7");
    CHECK(made["settings"]["options"] == Json::array({{{"name", "tables"}, {"value", "true"}}}));
    CHECK(made["settings"]["limits"][0]["what"] == "ceiling_thd_percent");
    REQUIRE(made["takes"].size() == opened.job.takes.size());
    CHECK(made["takes"][0]["bytes"] == 8);
    CHECK(made["takes"][0]["seconds"].is_null());
    CHECK(made["takes"][1]["sha256"].is_null());   // not there
}

TEST_CASE("the index takes the newest record, and says what of a job it can", "[index]") {
    const TemporaryFolder top;
    for (const char* name : {"b", "a", "year/c"}) create_job(top / name, sample::job().job);
    fs::create_directory(top / ".hidden");
    fs::create_directory_symlink(top.path(), top / "loop");
    CHECK(jobs_below(top.path()) == std::vector<fs::path>{top / "a", top / "b", top / "year/c"});
    CHECK(jobs_below(top.path() / "a/") == std::vector<fs::path>{top / "a"});
    fs::create_directory(top / "none");
    CHECK_THROWS_AS(jobs_below(top / "none"), Error);
    CHECK_THROWS_AS(jobs_below(top / "absent"), Error);

    CHECK(line_of(top / "a")["results"].is_null());
    CHECK(line_of(top / "a")["title"] == sample::job().job.title);
    keep_results(in(top / "a"), made_at("2026-01-31T10:12:00Z"), record("2026-01-31T10:12:00Z", 30));
    CHECK(line_of(top / "a")["ceiling_volume"] == 30);
    write_whole(top / "a/records/report.json", record("2026-03-01T00:00:00Z", 31));
    write_whole(top / "a/records/damaged.json", "{");
    CHECK(line_of(top / "a")["results"] == "records/report.json");
    CHECK(line_of(top / "a")["ceiling_volume"] == 31);
    keep_results(in(top / "a"), made_at("2026-04-01T00:00:00Z"), record("2026-04-01T00:00:00Z", 32));
    write_whole(top / "a/records/kept/20270101T000000Z-9.9.9.json", "{");
    const Json line = line_of(top / "a");
    CHECK(line["ceiling_volume"] == 32);
    CHECK(line["damaged"].size() == 1);

    write_whole(top / "b/job.json", "{ \"schema\": 7 }");
    const IndexLine broken = index_line(top / "b", "9.8.7");
    CHECK(broken.failed);
    CHECK(Json::parse(broken.text)["error"].get<std::string>().find("job.json: schema") == 0);
}

TEST_CASE("the index tells the floor by the conditions of the noise-floor record, and written limits that fail", "[index]") {
    const TemporaryFolder top;
    create_job(top / "a", sample::job().job);
    Json whole = Json::parse(record("2026-01-31T10:12:00Z", 30));
    whole["results"]["job"] = {{"takes", {{{"file", "takes/idle.wav"}, {"engine", "idle"}, {"hookup", {"normal"}}}}}};
    whole["results"]["noise"] = {{"floor", {{{"take", "takes/idle.wav"}, {"channel", "left"}, {"a_weighted_dbv", -90.5}}}}};
    whole["results"]["chain"] = {{"limits", {{{"what", "balance_db"}, {"channel", "right"}, {"written", true}, {"verdict", "fail"}},
                                             {{"what", "response"}, {"channel", "left"}, {"written", false}, {"verdict", "fail"}}}}};
    write_whole(top / "a/records/report.json", whole.dump());
    Json line = line_of(top / "a");
    REQUIRE(line["floor"].size() == 1);
    CHECK(line["floor"][0]["engine"] == "idle");
    CHECK(line["floor"][0]["a_weighted_dbv"] == -90.5);
    CHECK(line["limits_failed"] == Json::array({"balance_db, right"}));

    const Json left = {{"channel", "left"}, {"floor", {{"take", "takes/up.wav"}, {"channel", "left"}, {"a_weighted_dbv", -80.25}}}};
    whole["results"]["floor_record"] = {
        {"conditions", Json::array({{{"engine", "raised"}, {"loads", Json::array()}, {"channels", Json::array({left})}}})},
        {"acceptance", Json::array({{{"what", "noise_dbv_a"}, {"condition", "raised"}, {"written", true}, {"verdict", "fail"}}})}};
    write_whole(top / "a/records/report.json", whole.dump());
    line = line_of(top / "a");
    REQUIRE(line["floor"].size() == 1);
    CHECK(line["floor"][0]["engine"] == "raised");
    CHECK(line["floor"][0]["take"] == "takes/up.wav");
    CHECK(line["limits_failed"] == Json::array({"balance_db, right", "noise_dbv_a, raised"}));
}

TEST_CASE("a record of any shape gives a line of the index, not a crash", "[index]") {
    const TemporaryFolder top;
    create_job(top / "a", sample::job().job);
    const Json odd = {nullptr, 7, "text", true, Json::array({1, nullptr, "x"}), {{"ceiling", 3}, {"noise_sources", {{"id", 4}}}}};
    for (const Json& one : odd)
        for (const char* part : {"noise", "gain", "chain", "power", "job", "made"}) {
            Json whole = Json::parse(record("2026-01-31T10:12:00Z", 1));
            whole["results"][part] = one;
            write_whole(top / "a/records/report.json", whole.dump());
            const IndexLine line = index_line(top / "a", "9.8.7");
            CHECK_FALSE(line.failed);
            CHECK(line.text.find('\n') == line.text.size() - 1);
        }
}

TEST_CASE("a record nested without end is passed over", "[index]") {
    const TemporaryFolder top;
    create_job(top / "a", sample::job().job);
    const std::size_t deep = 200000;   // copied and written by recursion, that is more than a stack
    const std::string hookup = std::string(deep, '[') + std::string(deep, ']');
    write_whole(top / "a/records/report.json",
                R"({"schema":"hushtrace.report/1","results":{"floor_record":{"conditions":[{"hookup":)" + hookup + R"(,"channels":[{"floor":{}}]}]}}})");
    CHECK(line_of(top / "a")["results"].is_null());
    fs::create_directories(top / "a/records/kept");
    fs::rename(top / "a/records/report.json", top / "a/records/kept/20270101T000000Z-9.9.9.json");
    CHECK(line_of(top / "a")["damaged"][0] == "records/kept/20270101T000000Z-9.9.9.json: is nested too deep for a record; it is passed over");
}
