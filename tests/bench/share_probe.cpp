// Serves a board with made-up figures, as a session would, for tests/end_to_end/test_phone.py. Prints the address, then
// obeys one command a line on stdin and answers in one line of JSON:
//   requests      the requests that came since it was last asked
//   tell N        N events
//   pause, go     no snapshots any more; again
//   gaps          the longest time between two snapshots since it was last asked, and the longest call of publish() [ms]
//   code STYLE    the lines of the code to scan
//   uncalibrated DBFS  one channel at this level, without volts; 0: both, calibrated
//   task WORD     gain or follow; state WORD: waiting, running or ended
//   close         the board is closed; ends the program
// Snapshots come every 10 ms; their time_s is the steady clock's, so that whoever gets one knows how old it is.
#include <fmt/format.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <iostream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>

#include "hushtrace/live/live_json.hpp"
#include "hushtrace/live/scan_code.hpp"
#include "hushtrace/live/share_page.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using Clock = std::chrono::steady_clock;

namespace {

double seconds(Clock::time_point at) {
    return std::chrono::duration<double>(at.time_since_epoch()).count();
}

LiveSnapshot figures(LiveTask task, LiveState state, std::size_t kept, double uncalibrated_dbfs) {
    LiveSnapshot snapshot;
    snapshot.time_s = seconds(Clock::now());
    snapshot.task = task;
    snapshot.state = state;
    snapshot.title = "<b>Van</b> & \"sub\" </script><script>document.title='broken'</script>";
    snapshot.tone_hz = 997;
    snapshot.volume = 22;
    snapshot.headline = state == LiveState::running ? "Step 5 of volume 22 is clean." : "Tone is there. Press start.";
    snapshot.next = "Turn the volume up by one, hold it for two seconds.";
    snapshot.kept = kept;
    snapshot.levels = {{Channel::left, -9.5, 2.345, 7.4, -6.4, 0.021, 0.002, ToneState::clean},
                       {Channel::right, -9.6, 2.321, 7.3, -6.5, 1.9, 0.01, ToneState::distorted}};
    if (uncalibrated_dbfs < 0) snapshot.levels = {{Channel::left, uncalibrated_dbfs, {}, {}, -6.4, 0.021, 0.002, ToneState::clean}};
    for (std::size_t i = 1; i <= 5; ++i)
        snapshot.steps.push_back({i, 17.0 + static_cast<double>(i), -20.0 + 2.0 * static_cast<double>(i), 0.5 * static_cast<double>(i), 0.02,
                                  0.002, ToneState::clean, Channel::left});
    snapshot.ceiling = LiveCeiling{snapshot.steps[3], true};
    if (task == LiveTask::follow)
        snapshot.follow = LiveFollow{"alternator whine", Channel::left, true, 1187.3, -68.3, -70.1, -62.1, -6.2, 0.2, false};
    return snapshot;
}

}  // namespace

int main(int argc, char** argv) {
    try {
        LiveBoard board;
        SharePage page(board, share_wish(argc > 1 ? argv[1] : ""));
        std::cout << page.address() << std::endl;
        std::atomic<bool> going = true, paused = false;
        std::atomic<LiveTask> task = LiveTask::gain;
        std::atomic<double> uncalibrated_dbfs = 0;
        std::atomic<LiveState> state = LiveState::running;
        std::mutex mutex;
        double longest_gap_s = 0, longest_call_s = 0;
        std::thread publisher([&] {
            auto due = Clock::now(), before = due;
            while (going) {
                due += std::chrono::milliseconds(10);
                std::this_thread::sleep_until(due);
                if (paused) {
                    before = due = Clock::now();
                    continue;
                }
                const auto begun = Clock::now();
                board.publish(figures(task, state, page.phones(), uncalibrated_dbfs));
                const auto done = Clock::now();
                const std::lock_guard lock(mutex);
                longest_gap_s = std::max(longest_gap_s, seconds(begun) - seconds(before));
                longest_call_s = std::max(longest_call_s, seconds(done) - seconds(begun));
                before = begun;
            }
        });
        std::string line;
        while (std::getline(std::cin, line) && line != "close") {
            const auto space = line.find(' ');
            const std::string word = line.substr(0, space), rest = space == line.npos ? "" : line.substr(space + 1);
            std::string answer = "{}";
            if (word == "requests") {
                answer = "[";
                for (const LiveRequest request : board.take_requests())
                    answer += fmt::format("{}\"{}\"", answer.size() > 1 ? "," : "", to_word(request));
                answer += "]";
            } else if (word == "tell") {
                for (int i = std::stoi(rest); i > 0; --i) board.tell(1.5, "step", "Step <i>reached</i>.");
            } else if (word == "pause" || word == "go") {
                paused = word == "pause";
            } else if (word == "gaps") {
                const std::lock_guard lock(mutex);
                answer = fmt::format("{{\"gap_ms\":{:.3f},\"call_ms\":{:.3f},\"phones\":{}}}", 1000 * longest_gap_s, 1000 * longest_call_s,
                                     page.phones());
                longest_gap_s = longest_call_s = 0;
            } else if (word == "code") {
                const auto style = rest == "ascii" ? CodeStyle::ascii : rest == "coloured" ? CodeStyle::coloured : CodeStyle::half_blocks;
                answer = nlohmann::json(draw_scan_code(scan_code(page.address()), style)).dump();
            } else if (word == "task") {
                task = rest == "follow" ? LiveTask::follow : LiveTask::gain;
            } else if (word == "uncalibrated") {
                uncalibrated_dbfs = std::stod(rest);
            } else if (word == "state") {
                state = rest == "waiting" ? LiveState::waiting : rest == "ended" ? LiveState::ended : LiveState::running;
            } else {
                answer = "{\"error\":\"no such command\"}";
            }
            std::cout << answer << std::endl;
        }
        going = false;
        publisher.join();
        board.tell(2.0, "ended", "The end.");
        board.close();
    } catch (const Error& error) {
        std::cerr << error.what() << std::endl;
        return 2;
    }
    return 0;
}
