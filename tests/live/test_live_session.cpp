#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <numbers>
#include <thread>
#include <utility>
#include <vector>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/live_session.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "live/fake_link.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using Clock = std::chrono::steady_clock;
namespace fs = std::filesystem;

namespace {

/// A job in a folder of its own, a lead that carries 997 Hz from a source that clips at half of full scale, and a knob
/// that is turned at given frames.
struct Bench {
    TemporaryFolder folder;
    LiveOrder order;
    FakeLink link;
    LiveBoard board;
    std::vector<std::pair<double, double>> turns;  ///< (time_s, amplitude before the output stage)

    Bench() {
        Job job;
        job.title = "bench";
        create_job(folder.path() / "job", job);
        order.job = job;
        order.capture.job_folder = folder.path() / "job";
        order.capture.name = "steps";
        order.capture.duration_s = 8.0;
        order.capture.take.channels = {Channel::left, Channel::right};
        order.capture.take.tone = PlayedTone{Sine{997, 0}, ToneVia::stick};
        order.unpaced = true;
        link.sound = [this](std::size_t, std::uint64_t frame) {
            const double at_s = static_cast<double>(frame) / 48000;
            double amplitude = 0;
            for (const auto& [time_s, one] : turns)
                if (at_s >= time_s) amplitude = one;
            const double played = amplitude * std::sin(2 * std::numbers::pi * 997 * at_s);
            return std::clamp(played, -0.5, 0.5) + 1e-6 * static_cast<double>(frame % 7);
        };
    }
    std::vector<Take> takes() const { return open_job(order.capture.job_folder).job.takes; }
    bool holds_no_file() const {
        return !fs::exists(order.capture.job_folder / "takes") || fs::is_empty(order.capture.job_folder / "takes");
    }
    std::vector<std::string> told(const std::string& kind) const {
        std::vector<std::string> texts;
        for (const LiveEvent& event : board.events_after(0))
            if (event.kind == kind) texts.push_back(event.text);
        return texts;
    }
};

const std::vector<std::pair<double, double>> four_steps = {{0.5, 0.25}, {2, 0.35}, {3.5, 0.49}, {5, 0.7}};

}  // namespace

TEST_CASE("a live session stores what it heard, with the volumes that were counted", "[live_session]") {
    Bench bench;
    bench.turns = four_steps;
    bench.order.volume_start = 28;
    int said = 0;
    bench.link.at_each_transfer = [&](std::uint64_t frame) {  // a hand that speaks half a second after each turn
        if (said < 3 && frame > static_cast<std::uint64_t>((2.5 + 1.5 * said) * 48000)) {
            bench.board.ask(LiveRequest::stepped_up);
            ++said;
        }
    };
    const LiveOutcome outcome = run_live(bench.link, bench.order, bench.board);
    CHECK(bench.board.closed());
    CHECK(outcome.stored);
    REQUIRE(bench.takes().size() == 1);
    const Take take = bench.takes().front();
    CHECK(take.volume_steps == std::vector<double>{28, 29, 30, 31});
    CHECK(take.faults.empty());
    REQUIRE(outcome.ceiling);
    CHECK(outcome.ceiling->final);
    CHECK(outcome.ceiling->step.volume == 30);
    const auto last = bench.board.latest();
    CHECK(last->state == LiveState::ended);
    CHECK(last->steps.size() == 4);
    CHECK(bench.told("ceiling").size() == 1);
    CHECK(bench.told("step").size() == 4);
    CHECK(bench.told("ended").size() == 1);
    // the take begins where the tone was heard, not before
    TakeReader reader(bench.order.capture.job_folder / take.file);
    CHECK(static_cast<double>(*reader.promised_frames()) / 48000 == Approx(8.0 - 0.5 - 0.4).margin(0.15));
}

TEST_CASE("a link that turns the knob is turned by requests and by a script", "[live_session]") {
    Bench bench;
    bench.turns = {{0.2, 0.2}};
    bench.link.turns = true;
    bench.order.volume_start = 10;
    bench.order.volume_step = 2;
    bench.order.volume_top = 15;
    bench.order.capture.duration_s = 4.0;
    bench.order.knob_script = {{3.0, 5}};
    bool asked = false;
    bench.link.at_each_transfer = [&](std::uint64_t frame) {
        if (asked || frame < 48000) return;
        asked = true;
        for (int i = 0; i < 4; ++i) bench.board.ask(LiveRequest::stepped_up);
        bench.board.ask(LiveRequest::stepped_down);
    };
    run_live(bench.link, bench.order, bench.board);
    std::vector<double> volumes;
    for (const auto& [volume, frame] : bench.link.volumes) volumes.push_back(volume);
    CHECK(volumes == std::vector<double>{10, 12, 14, 15, 15, 13, 5});
    CHECK(bench.link.volumes.back().second == Approx(3.0 * 48000).margin(600));
    CHECK(bench.board.latest()->turns_volume);
}

TEST_CASE("a device that is lost half way leaves what was measured", "[live_session]") {
    Bench bench;
    bench.turns = four_steps;
    bench.link.dies_at = 48000 * 6 + 24000;
    const LiveOutcome outcome = run_live(bench.link, bench.order, bench.board);
    REQUIRE(outcome.capture.failure);
    CHECK(outcome.capture.failure->kind() == ErrorKind::device_failed);
    REQUIRE(outcome.ceiling);
    CHECK(outcome.ceiling->final);
    REQUIRE(bench.takes().size() == 1);
    CHECK(bench.takes().front().has(TakeFault::stopped));
    CHECK(bench.board.closed());
    CHECK(bench.board.latest()->state == LiveState::ended);
    CHECK(bench.board.latest()->failure.find("gone") != std::string::npos);
}

TEST_CASE("where nothing was heard nothing is stored", "[live_session]") {
    Bench bench;
    bench.order.capture.duration_s = 1.0;
    SECTION("no tone") {
        try {
            run_live(bench.link, bench.order, bench.board);
            FAIL("nothing was thrown");
        } catch (const Error& error) {
            CHECK(error.kind() == ErrorKind::empty_input);
            CHECK(std::string(error.what()).find("997 Hz") != std::string::npos);
        }
    }
    SECTION("the device was lost before the tone came") {
        bench.link.dies_at = 10000;
        CHECK_THROWS_AS(run_live(bench.link, bench.order, bench.board), Error);
    }
    SECTION("no tone is stated") {
        bench.order.capture.take.tone.reset();
        CHECK_THROWS_AS(run_live(bench.link, bench.order, bench.board), Error);
    }
    SECTION("channels don't match") {
        bench.order.capture.take.channels = {Channel::left};
        CHECK_THROWS_AS(run_live(bench.link, bench.order, bench.board), Error);
    }
    CHECK(bench.holds_no_file());
    CHECK(bench.takes().empty());
    CHECK(bench.board.closed());
    CHECK_FALSE(bench.link.running);
}

TEST_CASE("what can't be done is refused before a link is there", "[live_session]") {
    Bench bench;
    const auto refused = [&bench] {
        try {
            check_live(bench.order, 48000);
        } catch (const Error& error) {
            CHECK(error.kind() == ErrorKind::invalid_request);
            return std::string(error.what());
        }
        return std::string();
    };
    CHECK(refused().empty());
    SECTION("no tone is stated") {
        bench.order.capture.take.tone.reset();
        CHECK(refused().find("--tone sine") != std::string::npos);
    }
    SECTION("a tone whose distortion can't be seen") {
        bench.order.capture.take.tone = PlayedTone{Sine{8000, 0}, ToneVia::stick};
        CHECK(refused().find("third harmonic") != std::string::npos);
    }
    SECTION("behind an amplifier gain reads no ceiling") {
        bench.order.capture.take.conditions.point = Point::amp_output;
        const std::string why = refused();
        CHECK(why.find("amp_input") != std::string::npos);
        CHECK(why.find("source_output") != std::string::npos);
        CHECK_THROWS_AS(run_live(bench.link, bench.order, bench.board), Error);
        CHECK(bench.holds_no_file());
        bench.order.capture.take.conditions.point = Point::source_output;
        CHECK(refused().empty());
    }
    SECTION("nothing to follow by that name") {
        bench.order.task = LiveTask::follow;
        CHECK(refused().empty());
        bench.order.capture.take.conditions.point = Point::amp_output;  // noise is followed there, too
        CHECK(refused().empty());
        bench.order.follow = "banana";
        CHECK(refused().find("banana") != std::string::npos);
        bench.order.follow = "whine-1";  // of a job without takes
        CHECK(refused().find("no takes") != std::string::npos);
    }
    CHECK(bench.takes().empty());
}

TEST_CASE("only a source's id is looked for in the job's takes", "[live_session]") {
    LiveOrder order;
    order.task = LiveTask::follow;
    for (const char* what : {"", "whine", "hiss-a", "HISS-A", "1187hz", "order12", "order-3", "1e-5", "-1", "hiss-"}) {
        order.follow = what;
        INFO(what);
        CHECK_FALSE(looks_through_takes(order));
    }
    for (const char* what : {"alternator_whine-1", "whine-1", "Hiss-2", "mains_hum-12"}) {
        order.follow = what;
        INFO(what);
        CHECK(looks_through_takes(order));
    }
}

TEST_CASE("a gain session that is asked to keep the last minute says why it doesn't", "[live_session]") {
    Bench bench;
    bench.turns = four_steps;
    bool asked = false;
    bench.link.at_each_transfer = [&](std::uint64_t frame) {
        if (frame > 48000 && !std::exchange(asked, true)) bench.board.ask(LiveRequest::keep);
    };
    CHECK(run_live(bench.link, bench.order, bench.board).kept == 0);
    const auto told = bench.told("mark");
    REQUIRE(told.size() == 1);
    CHECK(told[0] == "nothing is kept here: the whole session is stored as a take");
    CHECK(bench.takes().size() == 1);
    Bench second;
    second.turns = four_steps;
    second.order.stores_take = false;
    second.board.ask(LiveRequest::keep);
    run_live(second.link, second.order, second.board);
    REQUIRE(second.told("mark").size() == 1);
    CHECK(second.told("mark")[0].find("stores nothing") != std::string::npos);
}

TEST_CASE("a start by hand keeps sound without a tone; a session told to store nothing stores nothing", "[live_session]") {
    Bench bench;
    bench.order.capture.duration_s = 2.0;
    bench.board.ask(LiveRequest::start);
    CHECK(run_live(bench.link, bench.order, bench.board).stored);
    CHECK(bench.takes().size() == 1);
    Bench second;
    second.turns = four_steps;
    second.order.stores_take = false;
    CHECK_FALSE(run_live(second.link, second.order, second.board).stored);
    CHECK(second.holds_no_file());
}

TEST_CASE("values that are no numbers end the session as a device that failed", "[live_session]") {
    Bench bench;
    bench.turns = four_steps;
    const auto sound = bench.link.sound;
    bench.link.sound = [sound](std::size_t c, std::uint64_t frame) {
        return frame == 48000 * 4 ? std::nan("") : sound(c, frame);
    };
    const LiveOutcome outcome = run_live(bench.link, bench.order, bench.board);
    REQUIRE(outcome.capture.failure);
    CHECK(outcome.capture.failure->kind() == ErrorKind::device_failed);
    CHECK(bench.takes().front().has(TakeFault::stopped));
}

TEST_CASE("what comes in is on the board within 100 ms and the window", "[live_session][latency]") {
    Bench bench;
    bench.order.unpaced = false;
    bench.order.stores_take = false;
    bench.order.capture.duration_s = 6.0;
    // steps of 2 dB up and down, six a second apart; the level shows each
    bench.turns = {{0.2, 0.2}};
    for (int i = 0; i < 8; ++i) bench.turns.emplace_back(1.5 + 0.5 * i, i % 2 == 0 ? 0.25 : 0.2);
    const auto begun = Clock::now();
    std::atomic<std::int64_t> arrived_ns{0};  // when the link handed over the last step
    std::size_t next = 1;
    bench.link.at_each_transfer = [&](std::uint64_t frame) {
        std::this_thread::sleep_until(begun + std::chrono::microseconds((frame + 512) * 1'000'000 / 48000));
        if (next < bench.turns.size() && static_cast<double>(frame + 512) > bench.turns[next].first * 48000) {
            arrived_ns = Clock::now().time_since_epoch().count();
            ++next;
        }
    };
    std::vector<double> late_s;
    std::size_t snapshots = 0;
    std::thread view([&] {
        std::uint64_t seen = 0;
        std::int64_t waiting_for = 0, done = 0;
        bool was_loud = false;
        while (!bench.board.closed()) {
            const auto now = bench.board.wait_beyond(seen, std::chrono::milliseconds(100));
            if (now->number == seen) continue;
            seen = now->number;
            ++snapshots;
            if (arrived_ns != waiting_for) waiting_for = arrived_ns;
            const bool loud = now->levels[0].level_dbfs > -12.1;  // 0.25 is -12.04 dBFS, 0.2 -13.98
            const bool quiet = now->levels[0].level_dbfs < -13.9;
            if (waiting_for != done && (was_loud ? quiet : loud)) {
                const auto arrived = Clock::time_point(Clock::duration(waiting_for));
                late_s.push_back(std::chrono::duration<double>(Clock::now() - arrived).count());
                done = waiting_for;
                was_loud = !was_loud;
            }
        }
    });
    run_live(bench.link, bench.order, bench.board);
    view.join();
    REQUIRE(late_s.size() >= 6);
    std::sort(late_s.begin(), late_s.end());
    const double window_s = 0.1;
    INFO("from the step's arrival to its full level on the board: median " << late_s[late_s.size() / 2] << " s, longest " << late_s.back()
                                                                           << " s; " << snapshots << " snapshots");
    CHECK(late_s[late_s.size() / 2] < window_s + 0.1);
    CHECK(late_s[late_s.size() / 2] > 0.03);  // half the window must have it
    CHECK(static_cast<double>(snapshots) > 15.0 * 6.0);
    WARN("latency: median " << late_s[late_s.size() / 2] << " s, longest " << late_s.back() << " s; " << snapshots << " snapshots in 6 s");
}
