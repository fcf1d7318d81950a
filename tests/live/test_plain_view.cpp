#include <unistd.h>

#include <catch2/catch.hpp>
#include <csignal>
#include <cstdio>
#include <limits>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "hushtrace/live/plain_view.hpp"

using namespace hushtrace;

namespace {

LiveSnapshot at(double time_s, double level_dbfs = -12.0) {
    LiveSnapshot snapshot;
    snapshot.number = 1;
    snapshot.time_s = time_s;
    snapshot.state = LiveState::running;
    LiveLevel level;
    level.level_dbfs = level.peak_dbfs = level_dbfs;
    level.thd_percent = 0.012;
    level.tone = ToneState::clean;
    snapshot.levels = {level};
    return snapshot;
}

std::string lines_of(LiveBoard& board, PlainForm form = PlainForm::text) {
    std::FILE* const file = std::tmpfile();
    CHECK(show_plainly(board, file, PlainKeys::none, form));
    std::rewind(file);
    std::string text;
    for (int c = std::fgetc(file); c != EOF; c = std::fgetc(file)) text += static_cast<char>(c);
    std::fclose(file);
    return text;
}

}  // namespace

TEST_CASE("a plain line has its figures in one order", "[live][plain]") {
    LiveSnapshot snapshot = at(12.34);
    CHECK(plain_figures(snapshot) == "12.3 s  left -12.00 dBFS, peak -12.0 dBFS, THD 0.012 %, clean");
    snapshot.levels[0].level_v = 1.846;
    snapshot.levels[0].level_dbv = 5.324;
    snapshot.volume = 31;
    LiveStep step;
    step.volume = 31;
    snapshot.ceiling = LiveCeiling{step, true};
    snapshot.dropouts = 1;
    CHECK(plain_figures(snapshot) ==
          "12.3 s  left 1.846 V, 5.32 dBV, peak -12.0 dBFS, THD 0.012 %, clean; volume 31; ceiling volume 31; breaks 1");
    CHECK(plain_figures(LiveSnapshot{}) == "0.0 s  no sound yet");
}

TEST_CASE("a followed noise stands first in its line", "[live][plain]") {
    LiveSnapshot snapshot;
    snapshot.task = LiveTask::follow;
    snapshot.time_s = 3;
    snapshot.follow = LiveFollow{.name = "whine\x1b[2J", .calibrated = true, .frequency_hz = 1187.44, .level_db = -48.2, .lowest_db = -52.0,
                                 .start_db = -35.9, .change_db = -12.3, .sd_db = 0.3, .at_most = true};
    CHECK(plain_figures(snapshot) == "3.0 s  whine [2J, left at most -48.2 dBV, change -12.3 dB, lowest -52.0 dBV, start -35.9 dBV, 1187.4 Hz");
}

TEST_CASE("lines come once a second, and at once where something changed", "[live][plain]") {
    PlainPace pace;
    CHECK_FALSE(pace.due(LiveSnapshot{}));  // nothing was published
    CHECK(pace.due(at(0.0)));
    CHECK_FALSE(pace.due(at(0.5)));
    CHECK(pace.due(at(1.0)));
    CHECK_FALSE(pace.due(at(1.2, -12.9)));
    CHECK(pace.due(at(1.2, -13.1)));        // more than a decibel
    CHECK_FALSE(pace.due(at(1.25, -20.0)));  // at most ten a second
    CHECK(pace.due(at(1.3, -20.0)));
    LiveSnapshot distorted = at(1.5, -20.0);
    distorted.levels[0].tone = ToneState::distorted;
    CHECK(pace.due(distorted));
    CHECK(pace.due(at(1.7, -std::numeric_limits<double>::infinity())));
    CHECK_FALSE(pace.due(at(1.9, -std::numeric_limits<double>::infinity())));  // silence is no change of silence
}

TEST_CASE("what was said before the board was closed is told still, and what to do next when it changes", "[live][plain]") {
    LiveBoard board;
    LiveSnapshot snapshot = at(1.0);
    snapshot.next = "Turn it up one.";
    board.publish(snapshot);
    board.tell(1.0, "step", "Step 1\nis \x1b[2Jreached.");
    board.close();
    CHECK(lines_of(board) ==
          "1.0 s  step: Step 1 is  [2Jreached.\n1.0 s  left -12.00 dBFS, peak -12.0 dBFS, THD 0.012 %, clean\n1.0 s  next: Turn it up one.\n");
}

TEST_CASE("JSON lines hold a snapshot or an event each, the last snapshot among them", "[live][plain]") {
    LiveBoard board;
    std::thread session([&] {
        for (const double time_s : {1.0, 1.2}) {
            board.publish(at(time_s));
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
        LiveSnapshot end = at(1.25);
        end.failure = "a \"quoted\" \x1b[2J\xFF";
        board.publish(end);
        board.tell(1.25, "ended", "ended");
        board.close();
    });
    std::istringstream text(lines_of(board, PlainForm::json_lines));
    session.join();
    std::vector<nlohmann::json> lines;
    for (std::string line; std::getline(text, line);) lines.push_back(nlohmann::json::parse(line));
    REQUIRE(lines.size() >= 3);
    for (const auto& line : lines) {
        CHECK(line.at("schema") == "hushtrace.live/1");
        CHECK(line.contains("snapshot") != line.contains("event"));
    }
    CHECK(lines.front().at("snapshot").at("time_s") == 1.0);
    CHECK(lines.back().at("snapshot").at("time_s") == 1.25);
    CHECK(lines[lines.size() - 2].at("event").at("kind") == "ended");
}

#ifndef _WIN32
TEST_CASE("where nobody takes the lines any more the session is asked to stop", "[live][plain]") {
    const auto before = std::signal(SIGPIPE, SIG_IGN);  // as the phone page's server has it
    for (const PlainForm form : {PlainForm::text, PlainForm::json_lines})
        for (const std::size_t letters : {10U, 100000U}) {  // within what is held back before it is written, and beyond it
            INFO(letters << " letters");
            int ends[2];
            REQUIRE(pipe(ends) == 0);
            close(ends[0]);
            std::FILE* const file = fdopen(ends[1], "w");
            LiveBoard board;
            LiveSnapshot snapshot = at(1.0);
            snapshot.title = snapshot.next = std::string(letters, 'n');
            board.publish(snapshot);
            CHECK_FALSE(show_plainly(board, file, PlainKeys::none, form));
            CHECK(board.take_requests() == std::vector{LiveRequest::stop});
            CHECK_FALSE(board.closed());
            std::fclose(file);
        }
    std::signal(SIGPIPE, before);
}

#endif

TEST_CASE("every event stands in the lines once", "[live][plain]") {
    LiveBoard board;
    std::thread session([&] {
        for (int i = 0; i < 50; ++i) {
            board.tell(i, "mark", "mark " + std::to_string(i) + ";");
            board.publish(at(i * 0.02));
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
        board.close();
    });
    const std::string text = lines_of(board);
    session.join();
    for (int i = 0; i < 50; ++i) {
        const std::string one = "mark " + std::to_string(i) + ";";
        const auto found = text.find(one);
        CHECK(found != std::string::npos);
        CHECK(text.find(one, found + 1) == std::string::npos);
    }
}
