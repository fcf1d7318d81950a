// Serves a board with made-up figures, as a session would, for tests/end_to_end/test_phone.py. Prints the address, then
// obeys one command a line on stdin and answers in one line of JSON:
//   requests      the requests that came since it was last asked
//   tell N        N events
//   pause, go     no snapshots any more; again
//   gaps          the longest time between two snapshots since it was last asked, and the longest call of publish() [ms]
//   code STYLE    the lines of the code to scan
//   uncalibrated DBFS  one channel at this level, without volts; 0: both, calibrated
//   task WORD     gain or follow; state WORD: waiting, running or ended
//   change DB     of what is followed, against the start; -6.2 at first. hidden DB: the same, covered by other noise
//   tones LEFT RIGHT  what the channels' tones look like, by to_word(ToneState); clean distorted at first
//   self          its own threads, open files and processor time
//   close         the board is closed; ends the program
// Snapshots come every 10 ms; their time_s is the steady clock's, so that whoever gets one knows how old it is.
#include <fmt/format.h>
#include <sys/resource.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
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

struct Shown {
    double change_db = -6.2;
    bool hidden = false;
    ToneState left = ToneState::clean, right = ToneState::distorted;
};

ToneState tone_named(std::string_view word) {
    for (const ToneState one : {ToneState::moving, ToneState::clean, ToneState::distorted, ToneState::unsure, ToneState::overloaded})
        if (to_word(one) == word) return one;
    return ToneState::absent;
}

LiveSnapshot figures(LiveTask task, LiveState state, std::size_t kept, double uncalibrated_dbfs, const Shown& shown) {
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
    snapshot.levels = {{Channel::left, -9.5, 2.345, 7.4, -6.4, 0.021, 0.002, shown.left},
                       {Channel::right, -9.6, 2.321, 7.3, -6.5, 1.9, 0.01, shown.right}};
    if (uncalibrated_dbfs < 0) snapshot.levels = {{Channel::left, uncalibrated_dbfs, {}, {}, -6.4, 0.021, 0.002, ToneState::clean}};
    for (std::size_t i = 1; i <= 5; ++i)
        snapshot.steps.push_back({i, 17.0 + static_cast<double>(i), -20.0 + 2.0 * static_cast<double>(i), 0.5 * static_cast<double>(i), 0.02,
                                  0.002, ToneState::clean, Channel::left});
    snapshot.ceiling = LiveCeiling{snapshot.steps[3], true};
    if (task == LiveTask::follow)
        snapshot.follow = LiveFollow{"alternator whine", Channel::left, true, 1187.3, -62.1 + shown.change_db, -70.1, -62.1, shown.change_db,
                                     0.2, shown.hidden};
    return snapshot;
}

/// /proc/self is right also where process numbers are another's (a bare root file system).
std::string of_itself() {
    std::size_t threads = 0, files = 0;
    for ([[maybe_unused]] const auto& one : std::filesystem::directory_iterator("/proc/self/task")) ++threads;
    for ([[maybe_unused]] const auto& one : std::filesystem::directory_iterator("/proc/self/fd")) ++files;
    rusage used{};
    ::getrusage(RUSAGE_SELF, &used);
    const auto of = [](const timeval& time) { return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec); };
    return fmt::format("{{\"threads\":{},\"files\":{},\"cpu_s\":{:.3f}}}", threads, files, of(used.ru_utime) + of(used.ru_stime));
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
        Shown shown;
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
                const Shown now_shown = [&] {
                    const std::lock_guard lock(mutex);
                    return shown;
                }();
                const auto begun = Clock::now();
                board.publish(figures(task, state, page.phones(), uncalibrated_dbfs, now_shown));
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
            } else if (word == "self") {
                answer = of_itself();
            } else if (word == "code") {
                const auto style = rest == "ascii" ? CodeStyle::ascii : rest == "coloured" ? CodeStyle::coloured : CodeStyle::half_blocks;
                answer = nlohmann::json(draw_scan_code(scan_code(page.address()), style)).dump();
            } else if (word == "task") {
                task = rest == "follow" ? LiveTask::follow : LiveTask::gain;
            } else if (word == "change" || word == "hidden") {
                const std::lock_guard lock(mutex);
                shown.change_db = std::stod(rest);
                shown.hidden = word == "hidden";
            } else if (word == "tones") {
                const std::lock_guard lock(mutex);
                shown.left = tone_named(rest.substr(0, rest.find(' ')));
                shown.right = tone_named(rest.substr(rest.find(' ') + 1));
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
