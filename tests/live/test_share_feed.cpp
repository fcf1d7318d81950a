#include <catch2/catch.hpp>
#include <chrono>
#include <string>
#include <thread>
#include <vector>

#include "hushtrace/live/share_feed.hpp"

using namespace hushtrace;
using namespace std::chrono_literals;

namespace {

/// The numbers after "id: ", in order.
std::vector<int> ids(const std::string& text) {
    std::vector<int> found;
    for (auto at = text.find("id: "); at != std::string::npos; at = text.find("id: ", at + 1)) found.push_back(std::stoi(text.substr(at + 4)));
    return found;
}

std::size_t count(const std::string& text, const std::string& what) {
    std::size_t found = 0;
    for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++found;
    return found;
}

}  // namespace

TEST_CASE("a phone that comes back gets every event that it missed, then the newest snapshot", "[live]") {
    LiveBoard board;
    for (int i = 1; i <= 5; ++i) board.tell(i, "step", "step");
    board.publish({});
    board.publish({});
    ShareFeed feed(board, 2);
    const std::string text = feed.next(0ms);
    CHECK(ids(text) == std::vector{3, 4, 5});
    CHECK(count(text, "event: snapshot") == 1);
    CHECK(text.find("\"number\":2,") != std::string::npos);
    CHECK(text.find("event: snapshot") > text.find("id: 5"));
    board.tell(6, "mark", "mark");
    CHECK(ids(feed.next(100ms)) == std::vector{6});
    CHECK(feed.next(0ms).empty());
}

TEST_CASE("a number that this board never gave means that the phone has nothing", "[live]") {
    LiveBoard board;
    board.tell(1, "step", "step");
    CHECK(ids(ShareFeed(board, 77).next(0ms)) == std::vector{1});
    CHECK(ids(ShareFeed(board, 1).next(0ms)).empty());
    CHECK(event_number("12") == 12);
    for (const char* wrong : {"", "-1", "+1", " 1", "1 ", "0x1", "1e3", "99999999999999999999"}) CHECK(event_number(wrong) == 0);
}

TEST_CASE("events that the board has forgotten are said to be missing", "[live]") {
    LiveBoard board;
    for (std::size_t i = 0; i < LiveBoard::most_events + 10; ++i) board.tell(1, "mark", "mark");
    const std::string text = ShareFeed(board, 3).next(0ms);
    CHECK(text.find("event: gap\ndata: {\"missed\":7}") != std::string::npos);  // 4 to 10
    CHECK(ids(text).front() == 11);
    CHECK(ids(text).size() == LiveBoard::most_events);
}

TEST_CASE("snapshots are thinned to sixteen a second, and none is old", "[live]") {
    LiveBoard board;
    ShareFeed feed(board, 0);
    feed.next(0ms);
    std::size_t sent = 0;
    const auto begun = std::chrono::steady_clock::now();
    std::jthread publisher([&board](const std::stop_token& stop) {
        while (!stop.stop_requested()) {
            board.publish({});
            std::this_thread::sleep_for(2ms);
        }
    });
    while (std::chrono::steady_clock::now() - begun < 600ms) sent += count(feed.next(250ms), "event: snapshot");
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
    CHECK(static_cast<double>(sent) <= seconds / 0.060 + 2);
    CHECK(sent >= 5);
}

TEST_CASE("the end is told with all that came before it, once", "[live]") {
    LiveBoard board;
    ShareFeed feed(board, 0);
    feed.next(0ms);
    board.tell(1, "ended", "The end.");
    LiveSnapshot last;
    last.state = LiveState::ended;
    board.publish(last);
    board.close();
    CHECK_FALSE(feed.over());
    const std::string text = feed.next(100ms);
    CHECK(feed.over());
    CHECK(ids(text) == std::vector{1});
    CHECK(text.find("\"state\":\"ended\"") != std::string::npos);
    CHECK(text.find("event: closed") > text.find("event: snapshot"));
    CHECK(feed.next(0ms).empty());
}
