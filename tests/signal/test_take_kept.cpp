// What is left of a take after a kill or on a full disk. Not for Windows: it has no fork and no limit of a file's size.
#ifndef _WIN32
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>

#include "signal/written_takes.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

TEST_CASE("a kill in the middle of a recording loses less than a second", "[take_file]") {
    TemporaryFolder folder;
    const std::string suffix = GENERATE(".flac", ".wav");
    const fs::path file = folder / ("killed" + suffix);
    // The child writes five seconds of sound in blocks of 10 ms, says so, goes on, and is killed without a
    // word.
    int told[2];
    REQUIRE(::pipe(told) == 0);
    const pid_t child = ::fork();
    if (child == 0) {
        try {
            TakeWriter writer(file, 48000, 2);
            for (std::size_t i = 0;; ++i) {
                writer.write(sine_block(2, 480, 480 * i, 48000));
                if (i == 499 && ::write(told[1], "x", 1) != 1) ::_exit(2);
                if (i > 499) ::usleep(2000);
            }
        } catch (...) {
            ::_exit(1);
        }
    }
    char word = 0;
    REQUIRE(::read(told[0], &word, 1) == 1);
    ::usleep(50000);
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    ::close(told[0]);
    ::close(told[1]);
    REQUIRE(WIFSIGNALED(status));
    const ReadBack got = read_back(file);
    CHECK(got.frames >= 500 * 480 - 48000);
    CHECK(got.largest_error <= 0x1p-23);
    CHECK(judges_accept(file));
}

TEST_CASE("a full disk leaves a valid file that holds what fitted", "[take_file]") {
    TemporaryFolder folder;
    const std::string suffix = GENERATE(".flac", ".wav");
    const rlim_t room = GENERATE(rlim_t{40}, rlim_t{200}, rlim_t{300001}, rlim_t{654321});
    CAPTURE(suffix, room);
    const fs::path file = folder / ("full" + suffix);
    // A limit on the file's size in a child stands for the disk: the write that crosses it goes in by part.
    const pid_t child = ::fork();
    if (child == 0) {
        ::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{room, room};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        std::uint64_t kept = 0;
        try {
            TakeWriter writer(file, 48000, 2);
            try {
                for (std::size_t i = 0; i < 2000; ++i) writer.write(sine_block(2, 333, 333 * i, 48000));
                writer.close();
            } catch (const Error& error) {
                kept = writer.frames_written();
                const bool again = [&] {
                    try {
                        writer.write(Block(2, 1));
                    } catch (const Error&) {
                        return true;
                    }
                    return false;
                }();
                ::_exit(error.kind() == ErrorKind::disk_failed && again && read_back(file).frames == kept
                            ? 0
                            : 3);
            }
        } catch (const Error& error) {  // not even the header fitted: nothing is left
            ::_exit(error.kind() == ErrorKind::file_unwritable && !fs::exists(file) ? 7 : 4);
        }
        ::_exit(5);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    REQUIRE(WIFEXITED(status));
    if (WEXITSTATUS(status) == 7) {
        CHECK(room == 40);
        return;
    }
    CHECK(WEXITSTATUS(status) == 0);
    if (room < 1000) return;  // a header without sound: the judges call that an error
    const ReadBack got = read_back(file);
    CHECK(got.frames > room / 8 - 9000);
    CHECK(got.largest_error <= 0x1p-23);
    CHECK(judges_accept(file));
}
#endif
