#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <thread>
#include <vector>

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
        REQUIRE(recent.added() == at);
        const Block copy = recent.copy();
        REQUIRE(copy.frames() == std::min<std::uint64_t>(at, 10000));
        REQUIRE(copy.channel(0)[0] == static_cast<double>((at - copy.frames()) % 100000));
        REQUIRE(copy.channel(1)[copy.frames() - 1] == -static_cast<double>((at - 1) % 100000));
    }
    recent.add(counted(at, 50000));   // longer than all that is held
    at += 50000;
    CHECK(recent.copy().channel(0)[0] == static_cast<double>((at - 10000) % 100000));
    CHECK(recent.copy_until(at - 2000).channel(0)[0] == static_cast<double>((at - 12000) % 100000));
}

TEST_CASE("parts are the whole copy, cut", "[recent]") {
    RecentSound recent(2, 1000, 10);
    recent.add(counted(0, 13500));
    for (const std::size_t frames : {std::size_t{1000}, std::size_t{770}, std::size_t{1}, std::size_t{50000}}) {
        std::uint64_t overtaken = 7;
        const auto parts = recent.parts_until(13000, frames, &overtaken);
        CHECK(overtaken == 0);
        REQUIRE(parts.size() == (10000 + frames - 1) / frames);
        std::uint64_t at = 3000;   // of counted(): from here on ten seconds
        for (const Block& part : parts) {
            REQUIRE(part.channels() == 2);
            REQUIRE(part.frames() <= frames);
            for (std::size_t i = 0; i < part.frames(); ++i, ++at)
                if (part.channel(0)[i] != static_cast<double>(at) || part.channel(1)[i] != -static_cast<double>(at))
                    FAIL("frame " << at << " of parts of " << frames);
        }
        CHECK(at == 13000);
    }
    recent.add(counted(13500, 30000));
    CHECK(recent.parts_until(13000, 1000).empty());   // gone
    CHECK_THROWS_AS(recent.parts_until(60000, 1000), Error);
    CHECK_THROWS_AS(recent.parts_until(43500, 0), Error);
}

TEST_CASE("a copy ends where it was asked to, however late it is made", "[recent]") {
    RecentSound recent(1, 1000, 10);   // holds 10 s, and 2 s and a piece to spare
    recent.add(counted(0, 15000, 1));
    recent.add(counted(15000, 1500, 1));
    const Block late = recent.copy_until(15000);
    REQUIRE(late.frames() == 10000);
    CHECK(late.channel(0)[0] == 5000.0);
    CHECK(late.channel(0)[9999] == 14999.0);
    recent.add(counted(16500, 9000, 1));   // the spare is used up: what is left of it still ends there
    const Block later = recent.copy_until(15000);
    REQUIRE(later.frames() > 0);
    REQUIRE(later.frames() < 10000);
    CHECK(later.channel(0)[0] == static_cast<double>(15000 - later.frames()));
    CHECK(later.channel(0)[later.frames() - 1] == 14999.0);
    recent.add(counted(25500, 20000, 1));
    CHECK(recent.copy_until(15000).empty());
    CHECK_THROWS_AS(recent.copy_until(50000), Error);
}

namespace {

/// Of ten copies of a minute, how many held up a block that came meanwhile for a twelfth of the copy's own time.
long held_up_by_copies() {
    using Clock = std::chrono::steady_clock;
    const auto seconds_since = [](Clock::time_point begun) { return std::chrono::duration<double>(Clock::now() - begun).count(); };
    RecentSound recent(2, 48000, 60);
    recent.add(counted(0, 60 * 48000));
    std::atomic<bool> over{false};
    std::vector<double> adds_s, copies_s;
    std::thread adding([&] {
        for (std::uint64_t at = 60 * 48000; !over; at += 512) {
            const Block block = counted(at, 512);
            const auto begun = Clock::now();
            recent.add(block);
            adds_s.push_back(seconds_since(begun));
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
    });
    std::size_t broken = 0, frames = 0;
    for (int i = 0; i < 10; ++i) {
        const auto begun = Clock::now();
        const Block copy = recent.copy();
        copies_s.push_back(seconds_since(begun));
        frames += copy.frames();
        const auto samples = copy.channel(0);
        for (std::size_t n = 1; n < samples.size(); ++n)
            if (samples[n] != samples[n - 1] + 1 && samples[n] != 0.0) ++broken;
    }
    over = true;
    adding.join();
    CHECK(frames == std::size_t{10} * 60 * 48000);
    CHECK(broken == 0);
    std::sort(copies_s.begin(), copies_s.end());
    return std::count_if(adds_s.begin(), adds_s.end(), [&](double s) { return s > copies_s[5] / 12; });
}

}  // namespace

TEST_CASE("a copy never holds up the one who adds, and holds no sample twice", "[recent]") {
    // One that holds the lock from end to end holds up a block each time; a machine that is busy does so, too: until it has a moment.
    long fewest = 10;
    for (int attempt = 0; attempt < 60 && fewest > 4; ++attempt) fewest = std::min(fewest, held_up_by_copies());
    CHECK(fewest <= 4);
}

TEST_CASE("a copy that is overtaken owns up to each frame that silence stands for", "[recent]") {
    RecentSound recent(2, 48000, 60);
    Block ones(2, 4 * 48000);
    for (std::size_t c = 0; c < 2; ++c) std::fill(ones.channel(c).begin(), ones.channel(c).end(), 1.0);
    for (int i = 0; i < 15; ++i) recent.add(ones);
    std::uint64_t overtaken = 99;
    CHECK(recent.copy_until(recent.added(), &overtaken).channel(0)[0] == 1.0);
    CHECK(overtaken == 0);
    std::atomic<bool> over{false};
    std::thread adding([&] {
        while (!over) {   // four seconds at once, where two are spare
            recent.add(ones);
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        }
    });
    std::uint64_t all = 0;
    for (int i = 0; i < 50 && (i < 3 || all == 0); ++i) {
        const Block copy = recent.copy_until(recent.added(), &overtaken);
        const auto samples = copy.channel(1);
        CHECK(static_cast<std::uint64_t>(std::count(samples.begin(), samples.end(), 0.0)) == overtaken);
        all += overtaken;
    }
    over = true;
    adding.join();
    CHECK(all > 0);
}

TEST_CASE("what can't be remembered is refused", "[recent]") {
    CHECK_THROWS_AS(RecentSound(0, 48000, 60), Error);
    CHECK_THROWS_AS(RecentSound(2, 48000, 1e9), Error);
    RecentSound recent(2, 48000, 1);
    CHECK_THROWS_AS(recent.add(Block(1, 10)), Error);
}
