#include <fcntl.h>
#include <unistd.h>
#include <catch2/catch.hpp>

#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <memory>
#include <stdexcept>
#include <string>
#include <thread>

#include "../../src/audio/guarded.hpp"
#include "hushtrace/audio/link.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

namespace {
const std::string healthy = std::string(HUSHTRACE_SOURCE_DIR) + "/signals/healthy.json";
double seconds_since(Clock::time_point then) {
    return std::chrono::duration<double>(Clock::now() - then).count();
}
}  // namespace

TEST_CASE("the simulated link captures what the vehicle renders", "[link]") {
    SimulatedVehicle direct(healthy), linked(healthy);
    const SimulatedConditions conditions;
    direct.set_conditions(conditions);
    const auto link = open_simulated_link(linked, conditions, false);
    REQUIRE(link->input_channels() == 2);
    link->start();
    Block captured, expected;
    std::size_t asked = 0;
    for (int i = 0; i < 5; ++i) {
        const LinkNotice notice =
            link->transfer([&](std::span<double> into) { asked += into.size(); }, captured);
        CHECK_FALSE(notice.ended);
        direct.render(std::vector<double>(captured.frames()), expected);
        REQUIRE(captured.frames() > 0);
        for (std::size_t c = 0; c < 2; ++c)
            CHECK(std::equal(captured.channel(c).begin(), captured.channel(c).end(),
                             expected.channel(c).begin()));
    }
    CHECK(asked == 5 * captured.frames());
}

TEST_CASE("a paced link keeps real time", "[link]") {
    SimulatedVehicle vehicle(healthy);
    const auto link = open_simulated_link(vehicle, SimulatedConditions{}, true);
    link->start();
    const auto begun = Clock::now();
    Block captured;
    std::size_t frames = 0;
    while (frames < 14400) {
        link->transfer({}, captured);
        frames += captured.frames();
    }
    CHECK(seconds_since(begun) >= static_cast<double>(frames) / link->sample_rate_hz() - 0.001);
}

TEST_CASE("a file link delivers its file and ends", "[link]") {
    const TemporaryFolder folder;
    const auto file = folder.path() / "sound.wav";
    Block sound(3, 5000);
    for (std::size_t c = 0; c < 3; ++c)
        for (std::size_t i = 0; i < 5000; ++i)
            sound.channel(c)[i] = static_cast<double>(i) / 8192 * (c == 1 ? -1 : 1);
    TakeWriter writer(file, 44100, 3);
    writer.write(sound);
    writer.close();
    const auto link = open_file_link(file, false);
    CHECK(link->sample_rate_hz() == 44100);
    CHECK(link->input_channels() == 3);
    link->start();
    Block captured;
    std::size_t at = 0;
    while (!link->transfer({}, captured).ended)
        for (std::size_t i = 0; i < captured.frames(); ++i, ++at) {
            REQUIRE(captured.channel(0)[i] == sound.channel(0)[at]);
            REQUIRE(captured.channel(1)[i] == sound.channel(1)[at]);
        }
    CHECK(at == 5000);
    CHECK_THROWS_AS(open_file_link(folder.path(), false), Error);
}

TEST_CASE("work that never ends is left behind in time", "[guarded]") {
    CHECK(audio::run_guarded([] {}, 5s));
    CHECK_FALSE(audio::work_was_abandoned());
    CHECK_THROWS_AS(audio::run_guarded([] { throw std::runtime_error("from within"); }, 5s),
                    std::runtime_error);
    const auto let_go = std::make_shared<std::atomic<bool>>(false);
    const auto begun = Clock::now();
    CHECK_FALSE(audio::run_guarded(
        [let_go] {
            while (!*let_go) std::this_thread::sleep_for(1ms);
        },
        100ms));
    CHECK(seconds_since(begun) < 2.0);
    CHECK(audio::work_was_abandoned());
    CHECK_THROWS_AS(list_devices(), Error);  // the library is not entered again
    *let_go = true;
}

TEST_CASE("stderr leads nowhere while silenced, and back afterwards", "[silence]") {
    const TemporaryFolder folder;
    const std::string path = (folder.path() / "stderr").string();
    const int before = dup(STDERR_FILENO);
    const int file = open(path.c_str(), O_WRONLY | O_CREAT, 0600);
    dup2(file, STDERR_FILENO);
    {
        const StderrSilence outer;
        const StderrSilence inner;
        std::fputs("chatter\n", stderr);
        std::fputs("ours\n", StderrSilence::voice());
    }
    std::fputs("after\n", stderr);
    std::fflush(stderr);
    dup2(before, STDERR_FILENO);
    close(before);
    close(file);
    char text[64] = {};
    std::FILE* read = std::fopen(path.c_str(), "r");
    const std::size_t count = std::fread(text, 1, sizeof text - 1, read);
    std::fclose(read);
    CHECK(std::string(text, count) == "ours\nafter\n");
}
