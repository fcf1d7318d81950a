#include <catch2/catch.hpp>

#include <cstdint>
#include <numeric>
#include <random>
#include <thread>
#include <vector>

#include "hushtrace/audio/ring.hpp"

using hushtrace::Ring;

TEST_CASE("a ring holds what its capacity says and not one sample more", "[ring]") {
    Ring<int> ring(5);
    CHECK(ring.capacity() == 8);
    std::vector<int> in(11);
    std::iota(in.begin(), in.end(), 1);
    CHECK(ring.write(in) == 8);
    CHECK(ring.writable() == 0);
    CHECK(ring.write(in) == 0);

    std::vector<int> out(11, -1);
    CHECK(ring.read(out) == 8);
    CHECK(out == std::vector<int>{1, 2, 3, 4, 5, 6, 7, 8, -1, -1, -1});
    CHECK(ring.read(out) == 0);
    CHECK(ring.writable() == 8);
}

TEST_CASE("samples keep their order across the ring's seam", "[ring]") {
    Ring<int> ring(8);
    int next_in = 0, next_out = 0;
    for (int round = 0; round < 100; ++round) {
        std::vector<int> in(static_cast<std::size_t>(1 + round % 7));
        for (int& sample : in) sample = next_in++;
        REQUIRE(ring.write(in) == in.size());
        std::vector<int> out(in.size());
        REQUIRE(ring.read(out) == out.size());
        for (const int sample : out) REQUIRE(sample == next_out++);
    }
}

TEST_CASE("nothing is lost, doubled or swapped between two threads", "[ring]") {
    constexpr std::uint32_t total = 3'000'000;
    Ring<std::uint32_t> ring(1000);
    std::thread writer([&ring] {
        std::mt19937 random(7);
        std::vector<std::uint32_t> piece;
        for (std::uint32_t next = 0; next < total;) {
            piece.resize(std::min<std::size_t>(1 + random() % 600, total - next));
            std::iota(piece.begin(), piece.end(), next);
            const std::size_t taken = ring.write(piece);
            if (taken == 0) std::this_thread::yield();
            next += static_cast<std::uint32_t>(taken);
        }
    });
    std::mt19937 random(11);
    std::vector<std::uint32_t> piece;
    std::uint32_t expected = 0, wrong = 0;
    while (expected < total) {
        piece.resize(1 + random() % 900);
        const std::size_t got = ring.read(piece);
        if (got == 0) std::this_thread::yield();
        for (std::size_t i = 0; i < got; ++i) wrong += piece[i] != expected++ ? 1u : 0u;
    }
    writer.join();
    CHECK(wrong == 0);
    CHECK(ring.readable() == 0);
}
