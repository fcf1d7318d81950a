#include <catch2/catch.hpp>

#include <filesystem>
#include <fstream>
#include <set>

#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_text.hpp"
#include "temporary_folder.hpp"
#include "job/whole_job.hpp"

using namespace hushtrace;

namespace {

std::multiset<std::string> codes_of(const OpenedJob& opened) {
    std::multiset<std::string> codes;
    for (const Warning& warning : check_job(opened)) codes.insert(warning.code);
    return codes;
}

}  // namespace

TEST_CASE("an empty job lacks everything, and is told so", "[job_check]") {
    const TemporaryFolder place;
    OpenedJob opened;
    opened.folder = place.path();
    const auto codes = codes_of(opened);
    CHECK(codes.count("before_leads") == 2);
    CHECK(codes.count("for_volts") == 2);
    CHECK(codes.count("for_noise") == 4);
    CHECK(codes.count("for_gain") == 2);
    opened.job.vehicle.drive = Drive::electric;  // no engine to run, no cylinders to count
    CHECK(codes_of(opened).count("for_noise") == 2);
}

TEST_CASE("missing and unlisted takes are named", "[job_check]") {
    const TemporaryFolder place;
    OpenedJob opened;
    opened.folder = place.path();
    opened.job = parse_job(whole_job_text(), opened.warnings);
    std::filesystem::create_directory(place.path() / "takes");
    for (const char* const name : {"idle.flac", "idle.csv", "steps.flac"})
        std::ofstream(place.path() / "takes" / name) << "x";
    CHECK(codes_of(opened).count("take_missing") == 0);
    CHECK(codes_of(opened).count("rpm_log_missing") == 0);
    CHECK(codes_of(opened).count("rpm_log_unusable") == 1);  // "x" is no log
    std::ofstream(place.path() / "takes/idle.csv") << "time_s,rpm\n0,760\n1,761\n";
    CHECK(codes_of(opened).count("rpm_log_unusable") == 0);
    CHECK(codes_of(opened).count("take_not_listed") == 0);
    std::filesystem::rename(place.path() / "takes" / "idle.flac", place.path() / "takes" / "other.flac");
    std::filesystem::remove(place.path() / "takes" / "idle.csv");
    const auto codes = codes_of(opened);
    CHECK(codes.count("take_missing") == 1);
    CHECK(codes.count("rpm_log_missing") == 1);
    CHECK(codes.count("take_not_listed") == 1);
    CHECK(check_job(opened).front().take == "takes/idle.flac");
}

TEST_CASE("what contradicts itself is named", "[job_check]") {
    const TemporaryFolder place;
    OpenedJob opened;
    opened.folder = place.path();
    opened.job = parse_job(whole_job_text(), opened.warnings);
    opened.job.speakers[0].amplifier = "front";
    opened.job.takes[0].conditions.engine = Engine::off;  // with 760 rpm
    opened.job.amplifiers[0].load_ohm.reset();
    const auto codes = codes_of(opened);
    CHECK(codes.count("amplifier_unknown") == 1);
    CHECK(codes.count("conditions_contrary") == 1);
    CHECK(codes.count("for_gain") == 1);
    opened.job.speakers.clear();
    opened.job.amplifiers.push_back(opened.job.amplifiers[0]);  // which of the two a branch, a speaker or a take means, nobody can tell
    CHECK(codes_of(opened).count("amplifier_unknown") == 1);
}

TEST_CASE("a reading that says stop stands first until a better one was made", "[job_check]") {
    const TemporaryFolder place;
    OpenedJob opened;
    opened.folder = place.path();
    const auto read = [&](const std::string& what, std::optional<double> volts, std::optional<std::string> heard = {}) {
        Observation one;
        one.what = what;
        one.value = volts;
        one.heard = heard;
        opened.job.observations.push_back(one);
    };
    read("shell_to_amplifier_ground", -12);
    read("ground_drop", 0.3);
    read("amplifier_wakes", std::nullopt, "only_with_lead");
    CHECK(codes_of(opened).count("stop") == 3);
    CHECK(check_job(opened).front().code == "stop");
    read("shell_to_amplifier_ground", 0.02);
    read("ground_drop", 0.05);
    CHECK(codes_of(opened).count("stop") == 1);
    read("amplifier_wakes", std::nullopt, "by_itself");
    CHECK(codes_of(opened).count("stop") == 0);
}
