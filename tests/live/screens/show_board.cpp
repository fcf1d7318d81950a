/// Shows made-up snapshots, for tests/end_to_end/test_live_view.py: show_board WAY SCENE SECONDS. What was asked for stands on
/// stdout at the end, a line each.
#include <fmt/format.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <map>
#include <string>
#include <thread>

#include "hushtrace/live/live_board.hpp"
#include "hushtrace/live/plain_view.hpp"
#include "hushtrace/live/terminal_view.hpp"

using namespace hushtrace;

namespace {

LiveLevel level(Channel channel, double volts, double thd_percent, ToneState tone) {
    LiveLevel one;
    one.channel = channel;
    one.level_v = volts;
    one.level_dbv = 20 * std::log10(volts);
    one.level_dbfs = *one.level_dbv - 16.9;
    one.peak_dbfs = one.level_dbfs + 0.02;
    one.thd_percent = thd_percent;
    one.tone = tone;
    return one;
}

LiveSnapshot gain(ToneState tone, bool calibrated = true) {
    LiveSnapshot snapshot;
    snapshot.state = LiveState::running;
    snapshot.title = "Estate, front pair";
    snapshot.tone_hz = 997;
    snapshot.volume = 31;
    snapshot.levels = {level(Channel::left, 1.846, 0.012, ToneState::clean), level(Channel::right, 1.852, 0.013, tone)};
    for (int i = 0; i < 9; ++i) {
        LiveStep step;
        step.number = static_cast<std::size_t>(i) + 1;
        step.volume = 23 + i;
        step.level_v = 1.846 * std::pow(10.0, (i - 8) / 20.0);
        step.level_dbfs = -12.0 + i;
        step.thd_percent = 0.012;
        snapshot.steps.push_back(step);
    }
    snapshot.ceiling = LiveCeiling{snapshot.steps.back(), false};
    snapshot.headline = "volume 31 is clean";
    snapshot.next = "Turn it up one.";
    snapshot.move = tone == ToneState::clean ? LiveMove::up : LiveMove::hold;
    if (tone == ToneState::distorted) {
        snapshot.volume = 32;
        snapshot.levels = {level(Channel::left, 2.061, 0.014, ToneState::clean), level(Channel::right, 2.052, 2.31, tone)};
        LiveStep step = snapshot.steps.back();
        step.volume = 32;
        step.tone = tone;
        snapshot.steps.push_back(step);
        snapshot.ceiling->final = true;
        snapshot.move = LiveMove::back;
        snapshot.headline = "volume 32 is too far";
        snapshot.next = "Turn it back to 31: that is the ceiling. Then press q to end.";
    }
    if (!calibrated)
        for (LiveLevel& one : snapshot.levels) one.level_v = one.level_dbv = std::nullopt;
    return snapshot;
}

LiveSnapshot follow(double change_db) {
    LiveSnapshot snapshot;
    snapshot.task = LiveTask::follow;
    snapshot.state = LiveState::running;
    snapshot.title = "Estate, front pair";
    snapshot.levels = {level(Channel::left, 0.011, 0, ToneState::absent), level(Channel::right, 0.012, 0, ToneState::absent)};
    LiveFollow one;
    one.name = "alternator whine";
    one.calibrated = true;
    one.frequency_hz = 1187.4;
    one.start_db = -35.9;
    one.level_db = -35.9 + change_db;
    one.lowest_db = -52.0;
    one.change_db = change_db;
    one.sd_db = 0.3;
    snapshot.follow = one;
    snapshot.headline = "alternator whine, in the left channel";
    snapshot.next = "Move one cable or press one ground at a time, and watch.";
    snapshot.armed = true;
    snapshot.kept = 2;
    return snapshot;
}

LiveSnapshot hostile() {
    LiveSnapshot snapshot = gain(ToneState::overloaded);
    const double nan = std::numeric_limits<double>::quiet_NaN(), much = std::numeric_limits<double>::infinity();
    snapshot.title = "\x1b]0;owned\x07 title \x9b" "2J \n \xC3\x28 車 e\u0301 " + std::string(500, 'w');
    snapshot.headline = std::string(300, 'h');
    snapshot.next = "\x1b[31mred " + std::string(300, 'n');
    snapshot.levels[0].level_v = nan;
    snapshot.levels[1].level_v = 1e300;
    snapshot.levels[1].peak_dbfs = much;
    snapshot.levels[1].thd_percent = nan;
    for (int i = 0; i < 30; ++i) snapshot.levels.push_back(snapshot.levels[0]);
    snapshot.volume = 1e12;
    snapshot.ceiling->step.volume = -1e9;
    return snapshot;
}

LiveSnapshot scene(const std::string& name) {
    if (name == "distorted") return gain(ToneState::distorted);
    if (name == "moving") return gain(ToneState::moving);
    if (name == "overloaded") return gain(ToneState::overloaded);
    if (name == "uncalibrated") return gain(ToneState::clean, false);
    if (name == "quieter") return follow(-12.3);
    if (name == "louder") return follow(4.2);
    if (name == "same") return follow(0.4);
    if (name == "hidden") {
        LiveSnapshot snapshot = follow(-0.4);
        snapshot.follow->at_most = true;
        return snapshot;
    }
    if (name == "hostile") return hostile();
    LiveSnapshot snapshot = gain(ToneState::clean);
    if (name == "waiting") snapshot.state = LiveState::waiting;
    if (name == "failed") {
        snapshot.state = LiveState::ended;
        snapshot.failure = "the device is gone";
    }
    return snapshot;
}

const char* word(LiveRequest request) {
    static const std::map<LiveRequest, const char*> words = {
        {LiveRequest::start, "start"},         {LiveRequest::stop, "stop"}, {LiveRequest::stepped_up, "up"},
        {LiveRequest::stepped_down, "down"},   {LiveRequest::reference, "reference"},
        {LiveRequest::keep, "keep"},           {LiveRequest::arm, "arm"},   {LiveRequest::mark, "mark"}};
    return words.at(request);
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 4) return 2;
    const std::string way = argv[1], name = argv[2];
    const double seconds = std::atof(argv[3]);
    LiveBoard board;
    std::vector<LiveRequest> asked;
    std::atomic<double> longest_publish_s = 0;
    std::thread session([&] {
        using Clock = std::chrono::steady_clock;
        const auto begun = Clock::now();
        for (int frame = 0;; ++frame) {
            LiveSnapshot snapshot = scene(name);
            snapshot.time_s = std::chrono::duration<double>(Clock::now() - begun).count();
            snapshot.heard_at = name == "unheard" ? begun - std::chrono::seconds(5) : Clock::now();
            if (name == "clean") *snapshot.levels[0].level_v += 0.001 * (frame % 50);
            if (frame == 10) board.tell(snapshot.time_s, "step", "volume " + fmt::format("{:g}", snapshot.volume.value_or(0)) + " is reached");
            if (way == "crash" && snapshot.time_s > 0.5) std::abort();
            const double time_s = snapshot.time_s;
            const auto before = Clock::now();
            board.publish(std::move(snapshot));
            longest_publish_s = std::max<double>(longest_publish_s, std::chrono::duration<double>(Clock::now() - before).count());
            bool stop = time_s > seconds;
            for (const LiveRequest request : board.take_requests()) {
                asked.push_back(request);
                stop = stop || (request == LiveRequest::stop && way != "deaf");
            }
            if (stop) break;
            std::this_thread::sleep_for(std::chrono::milliseconds(33));
        }
        board.close();
    });
    if (way == "plain")
        show_plainly(board, stderr);
    else if (terminal_can_show())
        show_on_terminal(board);
    else
        fmt::print("no terminal\n");
    const auto closed = std::chrono::steady_clock::now();
    session.join();
    for (const LiveRequest request : asked) fmt::print("asked {}\n", word(request));
    fmt::print("left after {:.1f} s, longest publish {:.4f} s\n",
               std::chrono::duration<double>(std::chrono::steady_clock::now() - closed).count(), longest_publish_s.load());
    return 0;
}
