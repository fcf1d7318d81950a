#include <atomic>
#include <catch2/catch.hpp>
#include <chrono>
#include <thread>
#include <vector>

#include "hushtrace/live/live_board.hpp"

using namespace hushtrace;
using namespace std::chrono_literals;

namespace {

LiveSnapshot at(double time_s) {
    LiveSnapshot snapshot;
    snapshot.time_s = time_s;
    return snapshot;
}

}  // namespace

TEST_CASE("a view sees the newest snapshot and knows how many it missed", "[live]") {
    LiveBoard board;
    CHECK(board.latest()->number == 0);
    board.publish(at(1.0));
    board.publish(at(2.0));
    CHECK(board.latest()->number == 2);
    CHECK(board.latest()->time_s == 2.0);
    CHECK(board.wait_beyond(1, 0ms)->number == 2);
}

TEST_CASE("who waits is woken by the next snapshot, by the end, or by the time", "[live]") {
    LiveBoard board;
    board.publish(at(1.0));
    const auto begun = std::chrono::steady_clock::now();
    CHECK(board.wait_beyond(1, 30ms)->number == 1);
    CHECK(std::chrono::steady_clock::now() - begun >= 30ms);
    std::atomic<std::uint64_t> seen = 0;
    std::thread waits([&] { seen = board.wait_beyond(1, 10s)->number; });
    std::this_thread::sleep_for(20ms);
    board.publish(at(2.0));
    waits.join();
    CHECK(seen == 2);
    std::thread waits_for_the_end([&] { board.wait_beyond(2, 10s); });
    board.close();
    waits_for_the_end.join();
    CHECK(board.closed());
}

TEST_CASE("events are numbered without gaps, and a view that was away gets those it missed", "[live]") {
    LiveBoard board;
    for (int i = 1; i <= 5; ++i) board.tell(i, "step", "step");
    const auto missed = board.events_after(3);
    REQUIRE(missed.size() == 2);
    CHECK(missed.front().number == 4);
    CHECK(missed.back().time_s == 5.0);
    CHECK(board.events_after(5).empty());
    for (std::size_t i = 0; i < LiveBoard::most_events; ++i) board.tell(9, "mark", "mark");
    CHECK(board.events_after(0).size() == LiveBoard::most_events);  // the oldest are forgotten, memory is bounded
    CHECK(board.events_after(0).front().number == 6);
}

TEST_CASE("requests come in order, once, and no flood of them fills the memory", "[live]") {
    LiveBoard board;
    CHECK(board.ask(LiveRequest::start));
    CHECK(board.ask(LiveRequest::stepped_up));
    CHECK(board.take_requests() == std::vector{LiveRequest::start, LiveRequest::stepped_up});
    CHECK(board.take_requests().empty());
    for (std::size_t i = 0; i < LiveBoard::most_requests; ++i) CHECK(board.ask(LiveRequest::mark));
    CHECK_FALSE(board.ask(LiveRequest::mark));
    board.take_requests();
    board.close();
    CHECK_FALSE(board.ask(LiveRequest::stop));
}

TEST_CASE("many readers never hold up the one who publishes", "[live]") {
    LiveBoard board;
    std::atomic<bool> end = false;
    std::vector<std::thread> readers;
    for (int i = 0; i < 4; ++i)
        readers.emplace_back([&] {
            std::uint64_t number = 0;
            while (!end) {
                const auto seen = board.wait_beyond(number, 5ms);
                if (seen->number < number) std::abort();  // time never runs back
                number = seen->number;
                board.events_after(0);
                board.ask(LiveRequest::mark);
            }
        });
    for (int i = 0; i < 2000; ++i) {
        board.publish(at(i));
        board.tell(i, "step", "step");
        board.take_requests();
    }
    end = true;
    for (auto& reader : readers) reader.join();
    CHECK(board.latest()->number == 2000);
}
