#include <catch2/catch.hpp>

#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/error.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using Catch::Contains;
namespace fs = std::filesystem;

namespace {

Job small_job() {
    Job job;
    job.title = "van";
    return job;
}
Take take_named(const std::string& file) {
    Take take;
    take.file = file;
    take.channels = {Channel::left};
    return take;
}
void write(const fs::path& file, const std::string& text) {
    std::ofstream(file, std::ios::binary) << text;
}

/// Names of all that lies in a folder, sorted.
std::vector<std::string> names_in(const fs::path& folder) {
    std::vector<std::string> names;
    for (const auto& entry : fs::directory_iterator(folder))
        names.push_back(entry.path().filename().string());
    std::sort(names.begin(), names.end());
    return names;
}

ErrorKind kind_of(const std::function<void()>& act, const std::string& reason) {
    try {
        act();
    } catch (const Error& error) {
        CHECK_THAT(error.what(), Contains(reason));
        return error.kind();
    }
    FAIL("accepted");
    return ErrorKind::invalid_request;
}

}  // namespace

TEST_CASE("a new job is a folder with its file, takes and records, and can be opened", "[job_folder]") {
    const TemporaryFolder place;
    const fs::path folder = place.path() / "customers" / "van";
    create_job(folder, small_job());
    CHECK(names_in(folder) == std::vector<std::string>{"job.json", "records", "takes"});
    const OpenedJob opened = open_job(folder);
    CHECK(opened.job.title == "van");
    CHECK(opened.warnings.empty());
    CHECK(kind_of([&] { create_job(folder, small_job()); }, "holds a job already") ==
          ErrorKind::invalid_request);
}

TEST_CASE("a job that can't be made leaves nothing behind", "[job_folder]") {
    const TemporaryFolder place;
    write(place.path() / "file", "x");
    CHECK(kind_of([&] { create_job(place.path() / "file" / "van", small_job()); }, "can't be made") ==
          ErrorKind::file_unwritable);
    Job wrong = small_job();
    wrong.takes = {take_named("../elsewhere.flac")};
    CHECK(kind_of([&] { create_job(place.path() / "a" / "b", wrong); }, "takes[0].file") ==
          ErrorKind::invalid_input);
    fs::create_directories(place.path() / "c" / "d");
    write(place.path() / "c" / "d" / "takes", "a file in the way");
    CHECK(kind_of([&] { create_job(place.path() / "c" / "d", small_job()); }, "takes") ==
          ErrorKind::file_unwritable);
    CHECK(names_in(place.path()) == std::vector<std::string>{"c", "file"});
    CHECK(names_in(place.path() / "c" / "d") == std::vector<std::string>{"takes"});
}

TEST_CASE("what is no job folder is refused without waiting", "[job_folder]") {
    const TemporaryFolder place;
    const auto refused = [&](const std::string& name, const std::string& reason) {
        INFO(name);
        CHECK(kind_of([&] { open_job(place.path() / name); }, reason) == ErrorKind::file_unreadable);
        CHECK(kind_of([&] { change_job(place.path() / name, [](Job&) {}); }, reason) ==
              ErrorKind::file_unreadable);
    };
    refused("none", "no such job folder");
    write(place.path() / "file", "x");
    refused("file", "is no folder");
    for (const char* const name : {"empty", "pipe", "folder", "link", "large"})
        fs::create_directory(place.path() / name);
    refused("empty", "there is no such file");
#ifndef _WIN32
    REQUIRE(::mkfifo((place.path() / "pipe" / "job.json").c_str(), 0600) == 0);
    refused("pipe", "is no regular file");
#endif
    fs::create_directory(place.path() / "folder" / "job.json");
    refused("folder", "is a folder");
    write(place.path() / "real.json", job_text(small_job()));
    fs::create_symlink(place.path() / "real.json", place.path() / "link" / "job.json");
    refused("link", "is a link");
    write(place.path() / "large" / "job.json", "");
    fs::resize_file(place.path() / "large" / "job.json",
                    std::uintmax_t{1} << 40);  // sparse: a terabyte of nothing
    refused("large", "larger than 16 MiB");
}

TEST_CASE("a take that leads out of the folder through a link is refused", "[job_folder]") {
    const TemporaryFolder place;
    const fs::path folder = place.path() / "van";
    create_job(folder, small_job());
    write(place.path() / "outside.flac", "x");
    fs::create_symlink("../../outside.flac", folder / "takes" / "a.flac");
    fs::create_symlink("b-real.flac", folder / "takes" / "b.flac");
    const auto add = [&](const std::string& file) {
        return [&, file] { change_job(folder, [&](Job& job) { job.takes.push_back(take_named(file)); }); };
    };
    CHECK(
        kind_of(add("takes/a.flac"), "takes[0].file: 'takes/a.flac' leaves the job folder through a link") ==
        ErrorKind::invalid_input);
    CHECK(open_job(folder).job.takes.empty());
    CHECK_NOTHROW(add("takes/b.flac")());  // a link that stays inside

    OpenedJob opened = open_job(folder);
    CHECK(take_path(opened, opened.job.takes[0]) == folder / "takes/b.flac");
    for (const char* const file : {"../x", "/etc/passwd", "takes/a.flac", ""})
        CHECK_THROWS_AS(take_path(opened, take_named(file)), Error);

    fs::create_directory_symlink(folder,
                                 place.path() / "shortcut");  // the folder itself may be reached by a link
    CHECK_NOTHROW(open_job(place.path() / "shortcut"));
}

TEST_CASE("a change that fails leaves the job as it was", "[job_folder]") {
    const TemporaryFolder place;
    const fs::path folder = place.path() / "van";
    create_job(folder, small_job());
    const std::string before = read_whole(folder / "job.json", 1 << 20);
    CHECK_THROWS_AS(change_job(folder, [](Job&) { throw std::runtime_error("no"); }), std::runtime_error);
    CHECK_THROWS_AS(change_job(folder, [](Job& job) { job.source.preout_v = -1; }), Error);
    CHECK_THROWS_AS(change_job(folder, [](Job& job) { job.title = "\xFF"; }), Error);
    CHECK(read_whole(folder / "job.json", 1 << 20) == before);
    CHECK(names_in(folder) == std::vector<std::string>{"job.json", "records", "takes"});
}

TEST_CASE("a new take's name is free in the job and on the disk, and plain", "[job_folder]") {
    const TemporaryFolder place;
    const fs::path folder = place.path() / "van";
    Job job = small_job();
    job.takes = {take_named("takes/idle.flac")};
    create_job(folder, job);
    write(folder / "takes" / "idle-2.flac", "x");
    const OpenedJob opened = open_job(folder);
    CHECK(free_take_name(opened, "idle") == "takes/idle-3.flac");
    CHECK(free_take_name(opened, "../etc/pass wd", ".wav") == "takes/___etc_pass_wd.wav");
    CHECK(free_take_name(opened, "") == "takes/take.flac");
}

TEST_CASE("a copy is whole, and takes nobody's place", "[job_folder]") {
    const TemporaryFolder place;
    const std::string content(200000, 'x');
    write(place.path() / "from", content);
    copy_whole(place.path() / "from", place.path() / "to");
    CHECK(read_whole(place.path() / "to", 1 << 20) == content);
    CHECK(kind_of([&] { copy_whole(place.path() / "from", place.path() / "to"); }, "exists already") ==
          ErrorKind::file_unwritable);
    CHECK(kind_of([&] { copy_whole(place.path(), place.path() / "x"); }, "is a folder") ==
          ErrorKind::file_unreadable);
    CHECK(names_in(place.path()) == std::vector<std::string>{"from", "to"});
}
