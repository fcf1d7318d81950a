#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <thread>

#include "hushtrace/live/recent_sound.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {
Block counted(std::uint64_t from, std::size_t frames, std::size_t channels = 2) {
    Block block(channels, frames);
    for (std::size_t c = 0; c < channels; ++c)
        for (std::size_t i = 0; i < frames; ++i) block.channel(c)[i] = (c == 0 ? 1.0 : -1.0) * static_cast<double>((from + i) % 100000);
    return block;
}
}  // namespace

TEST_CASE("the last seconds come back in order, whatever the blocks' sizes", "[recent]") {
    RecentSound recent(2, 1000, 10);
    CHECK(recent.copy().frames() == 0);
    std::uint64_t at = 0;
    for (std::size_t i = 0; i < 400; ++i) {
        const std::size_t frames = 1 + (i * 37) % 300;
        recent.add(counted(at, frames));
        at += frames;
        std::uint64_t end = 0;
        const Block copy = recent.copy(end);
        REQUIRE(end == at);
        REQUIRE(copy.frames() == std::min<std::uint64_t>(at, 10000));
        REQUIRE(copy.channel(0)[0] == static_cast<double>((at - copy.frames()) % 100000));
        REQUIRE(copy.channel(1)[copy.frames() - 1] == -static_cast<double>((at - 1) % 100000));
    }
    recent.add(counted(at, 50000));   // longer than all that is held
    at += 50000;
    CHECK(recent.copy().channel(0)[0] == static_cast<double>((at - 10000) % 100000));
}

TEST_CASE("a copy never holds up the one who adds, and holds no sample twice", "[recent]") {
    RecentSound recent(2, 48000, 60);
    recent.add(counted(0, 60 * 48000));
    std::atomic<bool> over{false};
    std::uint64_t at = 60 * 48000;
    double longest_s = 0;
    std::thread adding([&] {
        while (!over) {
            const Block block = counted(at, 512);
            const auto begun = std::chrono::steady_clock::now();
            recent.add(block);
            longest_s = std::max(longest_s, std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count());
            at += 512;
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
    });
    for (int i = 0; i < 10; ++i) {
        const Block copy = recent.copy();
        REQUIRE(copy.frames() == 60 * 48000);
        const auto samples = copy.channel(0);
        std::size_t broken = 0;
        for (std::size_t n = 1; n < samples.size(); ++n)
            if (samples[n] != samples[n - 1] + 1 && samples[n] != 0.0) ++broken;
        CHECK(broken == 0);
    }
    over = true;
    adding.join();
    CHECK(longest_s < 0.05);   // a copy of it all takes some 0.1 s; a busy machine is allowed for
}

TEST_CASE("what can't be remembered is refused", "[recent]") {
    CHECK_THROWS_AS(RecentSound(0, 48000, 60), Error);
    CHECK_THROWS_AS(RecentSound(2, 48000, 1e9), Error);
    RecentSound recent(2, 48000, 1);
    CHECK_THROWS_AS(recent.add(Block(1, 10)), Error);
}
