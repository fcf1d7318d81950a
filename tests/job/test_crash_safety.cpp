#include <catch2/catch.hpp>

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <random>
#include <set>
#include <string>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/signal/error.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

namespace {

/// Runs `act` in a process of its own, which ends with its return value and without any clean-up of the
/// test's.
pid_t run_apart(const std::function<int()>& act) {
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
        int code = 99;
        try {
            code = act();
        } catch (...) {
        }
        ::_exit(code);
    }
    return child;
}

int status_of(pid_t child) {
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    return status;
}

void add_take(const fs::path& folder, const std::string& file) {
    change_job(folder, [&](Job& job) {
        Take take;
        take.file = file;
        take.channels = {Channel::left};
        job.takes.push_back(take);
    });
}

fs::path new_job(const TemporaryFolder& place) {
    Job job;
    job.title = "van";
    create_job(place.path() / "van", job);
    return place.path() / "van";
}

}  // namespace

TEST_CASE("a kill at any moment leaves a whole job that lost nothing", "[crash]") {
    const std::uint32_t seed = 7;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    const TemporaryFolder place;
    const fs::path folder = new_job(place);
    int cut_short = 0;
    for (int round = 0; round < 40; ++round) {
        int done[2];
        REQUIRE(::pipe2(done, O_CLOEXEC) == 0);
        const pid_t child = run_apart([&] {
            for (int number = 0; number < 1000; ++number) {
                add_take(folder, "takes/" + std::to_string(round) + "-" + std::to_string(number) + ".flac");
                if (::write(done[1], "x", 1) != 1) return 1;  // only what was acknowledged must be there
            }
            return 0;
        });
        ::close(done[1]);
        ::usleep(static_cast<useconds_t>(random() % 20000));
        ::kill(child, SIGKILL);
        if (WIFSIGNALED(status_of(child))) ++cut_short;
        std::size_t acknowledged = 0;
        for (char one = 0; ::read(done[0], &one, 1) == 1;) ++acknowledged;
        ::close(done[0]);

        const OpenedJob opened = open_job(folder);
        const std::string prefix = "takes/" + std::to_string(round) + "-";
        const auto kept = static_cast<std::size_t>(
            std::count_if(opened.job.takes.begin(), opened.job.takes.end(),
                          [&](const Take& take) { return take.file.rfind(prefix, 0) == 0; }));
        CHECK(kept >= acknowledged);
        CHECK(kept <= acknowledged + 1);
        change_job(folder,
                   [](Job& job) { job.takes.clear(); });  // a temporary left behind is in nobody's way
        CHECK_FALSE(fs::exists(folder / ".job.json.new"));
    }
    CHECK(cut_short == 40);
}

TEST_CASE("two processes that change one job at once both keep their changes", "[crash]") {
    const TemporaryFolder place;
    const fs::path folder = new_job(place);
    std::vector<pid_t> children;
    for (const std::string who : {"a", "b"})
        children.push_back(run_apart([&] {
            for (int number = 0; number < 30; ++number)
                add_take(folder, "takes/" + who + std::to_string(number) + ".flac");
            return 0;
        }));
    for (const pid_t child : children) CHECK(status_of(child) == 0);
    std::set<std::string> files;
    for (const Take& take : open_job(folder).job.takes) files.insert(take.file);
    CHECK(files.size() == 60);
}

TEST_CASE("without a lock the same two processes lose takes", "[crash]") {
    // shows that the test above can fail: reads and writes as change_job does, but keeps nobody out
    const TemporaryFolder place;
    const fs::path file = place.path() / "count";
    std::set<std::size_t> lengths;
    for (int attempt = 0; attempt < 20; ++attempt) {
        write_whole(file, "-");
        std::vector<pid_t> children;
        for (const char who : {'a', 'b'})
            children.push_back(run_apart([&] {
                for (int number = 0; number < 30; ++number) {
                    const std::string text = read_whole(file, 1 << 20);
                    ::usleep(200);
                    try {
                        write_whole(file, text + who);
                    } catch (const Error&) {  // the other one took the temporary away
                    }
                }
                return 0;
            }));
        for (const pid_t child : children) CHECK(status_of(child) == 0);
        lengths.insert(read_whole(file, 1 << 20).size());
        if (*lengths.begin() < 61) break;
    }
    CHECK(*lengths.begin() < 61);
}

TEST_CASE("a disk that is full leaves the job as it was, and says so", "[crash]") {
    const TemporaryFolder place;
    const fs::path folder = new_job(place);
    add_take(folder, "takes/first.flac");
    const std::string before = read_whole(folder / "job.json", 1 << 20);
    const pid_t child = run_apart([&] {
        ::signal(SIGXFSZ, SIG_IGN);
        const rlimit tight{before.size(), before.size()};  // one more take doesn't fit
        if (::setrlimit(RLIMIT_FSIZE, &tight) != 0) return 1;
        try {
            add_take(folder, "takes/second.flac");
        } catch (const Error& error) {
            return error.kind() == ErrorKind::disk_failed ? 42 : 2;
        }
        return 3;
    });
    const int status = status_of(child);
    REQUIRE(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 42);
    CHECK(read_whole(folder / "job.json", 1 << 20) == before);
    CHECK_FALSE(fs::exists(folder / ".job.json.new"));
    add_take(folder, "takes/second.flac");
    CHECK(open_job(folder).job.takes.size() == 2);
}
