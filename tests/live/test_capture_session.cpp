#ifndef _WIN32
#include <sys/resource.h>
#endif
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <csignal>
#include <fstream>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/capture_session.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"
#include "live/fake_link.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

namespace {

/// A job in a folder of its own, and an order for a take in it.
struct Bench {
    TemporaryFolder folder;
    CaptureOrder order;
    Bench() {
        Job job;
        job.title = "bench";
        create_job(folder.path() / "job", job);
        order.job_folder = folder.path() / "job";
        order.name = "one";
        order.duration_s = 3.0;
        order.take.channels = {Channel::left, Channel::right};
        order.take.conditions.engine = Engine::idle;
    }
    void play(const Waveform& waveform) {
        order.take.tone = PlayedTone{waveform, ToneVia::interface_output};
        order.plays_tone = true;
    }
    std::vector<Take> takes() const { return open_job(order.job_folder).job.takes; }
    Block sound(const std::string& file) const {
        TakeReader reader(order.job_folder / file);
        Block piece, all(reader.channels(), 0);
        std::vector<std::vector<double>> channels(reader.channels());
        while (reader.read(piece, 4096) > 0)
            for (std::size_t c = 0; c < channels.size(); ++c)
                channels[c].insert(channels[c].end(), piece.channel(c).begin(), piece.channel(c).end());
        all.reset(channels.size(), channels.front().size());
        for (std::size_t c = 0; c < channels.size(); ++c)
            std::copy(channels[c].begin(), channels[c].end(), all.channel(c).begin());
        return all;
    }
    bool holds_no_take() const {
        return takes().empty() &&
               (!fs::exists(order.job_folder / "takes") || fs::is_empty(order.job_folder / "takes"));
    }
};

double peak(std::span<const double> samples) {
    double largest = 0;
    for (const double sample : samples) largest = std::max(largest, std::abs(sample));
    return largest;
}

#ifndef _WIN32
/// Files may not grow beyond so many bytes while one of these lives: a full disk without filling one.
class FullDisk {
public:
    explicit FullDisk(rlim_t bytes) {
        getrlimit(RLIMIT_FSIZE, &before_);
        handler_ = std::signal(SIGXFSZ, SIG_IGN);
        rlimit limited = before_;
        limited.rlim_cur = bytes;
        setrlimit(RLIMIT_FSIZE, &limited);
    }
    ~FullDisk() {
        setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, handler_);
    }

private:
    rlimit before_{};
    void (*handler_)(int) = SIG_DFL;
};
#endif

}  // namespace

TEST_CASE("a capture is stored to the frame and entered with its conditions", "[session]") {
    Bench bench;
    FakeLink link;
    bench.order.take.conditions.rpm = 760;
    bench.order.take.after_change = "ground mended";
    const CaptureOutcome outcome = run_capture(link, bench.order);
    CHECK(outcome.frames == 144000);
    CHECK_FALSE(outcome.failure);
    CHECK_FALSE(link.running);
    const auto takes = bench.takes();
    REQUIRE(takes.size() == 1);
    CHECK(takes[0].file == "takes/one.flac");
    CHECK(takes[0].conditions.rpm == 760);
    CHECK(takes[0].after_change == "ground mended");
    CHECK(takes[0].faults.empty());
    REQUIRE(takes[0].recorded_at);
    CHECK(takes[0].recorded_at->size() == 19);
    const Block sound = bench.sound(takes[0].file);
    CHECK(sound.frames() == 144000);
    CHECK(outcome.levels[0].peak_dbfs == Approx(-20.0).margin(0.01));
    CHECK(outcome.levels[0].rms_dbfs == Approx(-20.0).margin(0.01));  // AES17: a sine's rms reads as its peak
    // 24-bit FLAC: each sample within half a step
    CHECK(sound.channel(0)[12345] ==
          Approx(0.1 * std::sin(2 * 3.14159265358979 * 997 * 12345 / 48000)).margin(1e-7));

    run_capture(link, bench.order);
    CHECK(bench.takes().at(1).file == "takes/one-2.flac");
}

TEST_CASE("what is played starts quiet, is never above the limit and is ramped down to the end",
          "[session]") {
    Bench bench;
    FakeLink link;
    link.looped_back = true;
    bench.play(Sine{997, -12.0});
    run_capture(link, bench.order);
    const double limit = amplitude_from_decibels(-12.0);
    CHECK(peak(link.played) <= limit);
    CHECK(peak({link.played.data(), 24000}) < limit / 90);
    CHECK(peak({link.played.data() + 96000, 24000}) == Approx(limit).epsilon(0.001));
    CHECK(link.played.size() > 144000);  // the ramp down comes after the last stored frame
    CHECK(std::abs(link.played.back()) == 0.0);
    CHECK(peak(bench.sound("takes/one.flac").channel(0)) == Approx(limit).epsilon(0.001));

    bench.play(Sine{997, -11.0});
    CHECK_THROWS_AS(run_capture(link, bench.order), Error);
    CHECK(bench.takes().size() == 1);
}

TEST_CASE("a user's stop keeps what there is, unmarked, and still ramps down", "[session]") {
    Bench bench;
    FakeLink link;
    link.looped_back = true;
    bench.play(Sine{997, -12.0});
    CaptureHooks hooks;
    std::uint64_t now = 0;
    link.at_each_transfer = [&](std::uint64_t frame) { now = frame; };
    hooks.stop = [&] { return now >= 72000; };
    const CaptureOutcome outcome = run_capture(link, bench.order, hooks);
    CHECK(outcome.stopped_by_user);
    CHECK_FALSE(outcome.failure);
    CHECK(outcome.frames >= 72000);
    CHECK(outcome.frames < 73100);
    CHECK_FALSE(bench.takes().at(0).has(TakeFault::stopped));
    CHECK(std::abs(link.played.back()) == 0.0);
    double steepest = 0;
    for (std::size_t i = 1; i < link.played.size(); ++i)
        steepest = std::max(steepest, std::abs(link.played[i] - link.played[i - 1]));
    CHECK(steepest < 0.252 * 2 * 3.14159265358979 * 997 / 48000 * 1.02);  // no edge
}

TEST_CASE("a device that dies leaves a valid take, marked stopped", "[session]") {
    Bench bench;
    FakeLink link;
    link.dies_at = 80000;
    const CaptureOutcome outcome = run_capture(link, bench.order);
    REQUIRE(outcome.failure);
    CHECK(outcome.failure->kind() == ErrorKind::device_failed);
    CHECK(outcome.frames == 80384);  // the whole blocks before it died
    CHECK(bench.takes().at(0).has(TakeFault::stopped));
    CHECK(bench.sound("takes/one.flac").frames() == 80384);
}

TEST_CASE("a device that never delivers leaves nothing", "[session]") {
    Bench bench;
    FakeLink link;
    link.dies_at = 0;
    CHECK_THROWS_AS(run_capture(link, bench.order), Error);
    CHECK(bench.holds_no_take());
    CHECK_FALSE(link.running);
}

#ifndef _WIN32
TEST_CASE("a full disk leaves a valid take, marked stopped", "[session]") {
    for (const char* suffix : {".flac", ".wav"}) {
        Bench bench;
        FakeLink link;
        bench.order.suffix = suffix;
        bench.order.duration_s = 10.0;
        CaptureOutcome outcome;
        {
            const FullDisk disk(400'000);
            outcome = run_capture(link, bench.order);
        }
        REQUIRE(outcome.failure);
        CHECK(outcome.failure->kind() == ErrorKind::disk_failed);
        CHECK(bench.takes().at(0).has(TakeFault::stopped));
        CHECK(outcome.frames > 40000);
        CHECK(bench.sound(outcome.take.file).frames() == outcome.frames);
    }
}

#endif

TEST_CASE("a take is known, and marked stopped, while it is being recorded", "[session]") {
    Bench bench;
    FakeLink link;
    std::vector<Take> seen;
    link.at_each_transfer = [&](std::uint64_t frame) {
        if (frame == 512 * 100) seen = bench.takes();  // what a kill at this moment would leave
    };
    run_capture(link, bench.order);
    REQUIRE(seen.size() == 1);
    CHECK(seen[0].has(TakeFault::stopped));
    CHECK_FALSE(bench.takes().at(0).has(TakeFault::stopped));
}

TEST_CASE("a loss is marked when the device owns up to it, and when only the data shows it", "[session]") {
    for (const bool owns_up : {true, false}) {
        Bench bench;
        FakeLink link;
        bench.order.duration_s = 6.0;
        bench.order.take.tone = PlayedTone{Sine{997, -20.0}, ToneVia::stick};
        link.loses_at = 150'000;
        link.lost = owns_up ? 0 : 337;  // 337 frames of 997 Hz leave 0.08 degrees
        link.owns_up = owns_up;
        const CaptureOutcome outcome = run_capture(link, bench.order);
        CHECK(outcome.flagged_overflows == (owns_up ? 1u : 0u));
        CHECK(outcome.faults.has_dropout() == !owns_up);
        CHECK(bench.takes().at(0).has(TakeFault::dropout));
    }
    Bench clean;
    FakeLink link;
    clean.order.duration_s = 6.0;
    clean.order.take.tone = PlayedTone{Sine{997, -20.0}, ToneVia::stick};
    run_capture(link, clean.order);
    CHECK(clean.takes().at(0).faults.empty());
}

TEST_CASE("marks are stored with their times, those beyond the sound are not", "[session]") {
    Bench bench;
    FakeLink link;
    CaptureHooks hooks;
    bool done = false;
    hooks.marks = [&](double now_s) {
        std::vector<Mark> made;
        if (now_s > 1.0 && !done) {
            done = true;
            made = {{now_s, "bump"}, {99.0, "later"}};
        }
        return made;
    };
    run_capture(link, bench.order, hooks);
    const auto marks = bench.takes().at(0).marks;
    REQUIRE(marks.size() == 1);
    CHECK(marks[0].text == "bump");
    CHECK(marks[0].time_s == Approx(1.0).margin(0.02));
}

TEST_CASE("volume steps are turned by the link, or by a hand that is told", "[session]") {
    for (const bool turns : {true, false}) {
        Bench bench;
        FakeLink link;
        link.turns = turns;
        bench.play(Sine{997, -20.0});
        bench.order.duration_s.reset();
        bench.order.step_s = 1.0;
        bench.order.take.volume_steps = {20, 21, 22};
        std::vector<double> told;
        CaptureHooks hooks;
        hooks.turn_to = [&](double volume) { told.push_back(volume); };
        const CaptureOutcome outcome = run_capture(link, bench.order, hooks);
        CHECK(outcome.frames == 4 * 48000);  // a second until the tone stands, then three steps
        REQUIRE(link.volumes.size() == 3);
        CHECK(link.volumes[0].second == 0);
        CHECK(std::abs(static_cast<double>(link.volumes[1].second) - 2 * 48000.0) < 600);
        CHECK(std::abs(static_cast<double>(link.volumes[2].second) - 3 * 48000.0) < 600);
        CHECK(told == (turns ? std::vector<double>{} : std::vector<double>{20, 21, 22}));
        CHECK(bench.takes().at(0).volume_steps == std::vector<double>{20, 21, 22});
    }
}

TEST_CASE("in bursts the knob is turned in the pause ahead of each step's burst", "[session]") {
    Bench bench;
    FakeLink link;
    link.looped_back = link.turns = true;
    bench.play(Sine{997, -20.0});
    bench.order.take.tone->burst_s = 1.0;
    bench.order.duration_s.reset();
    bench.order.take.volume_steps = {20, 21, 22};
    const CaptureOutcome outcome = run_capture(link, bench.order);
    CHECK(outcome.frames == 6 * 48000);  // bursts from 1 to 2, 3 to 4 and 5 to 6 s
    REQUIRE(link.volumes.size() == 3);
    CHECK(std::abs(static_cast<double>(link.volumes[1].second) - 2 * 48000.0) < 600);
    CHECK(std::abs(static_cast<double>(link.volumes[2].second) - 4 * 48000.0) < 600);
    CHECK(bench.takes().at(0).tone->burst_s == 1.0);
    CHECK(bench.takes().at(0).faults.empty());  // its pauses are no mutes
}

TEST_CASE("progress tells how far, how loud and which step", "[session]") {
    Bench bench;
    FakeLink link;
    CaptureHooks hooks;
    std::vector<CaptureProgress> seen;
    hooks.progress = [&](const CaptureProgress& progress) { seen.push_back(progress); };
    run_capture(link, bench.order, hooks);
    REQUIRE(!seen.empty());
    CHECK(seen.back().captured_s == Approx(3.0));
    CHECK(seen.back().duration_s == Approx(3.0));
    CHECK(seen.back().levels.at(1).rms_dbfs == Approx(-20.0).margin(0.01));
}

TEST_CASE("a request that can't be met writes nothing", "[session]") {
    Bench bench;
    FakeLink link;
    SECTION("a duration that is none") {
        bench.order.duration_s = -1.0;
    }
    SECTION("one channel named, two delivered") {
        bench.order.take.channels = {Channel::left};
    }
    SECTION("a step without length") {
        bench.order.take.volume_steps = {1, 2};
        bench.order.step_s = 0;
    }
    SECTION("louder than full scale") {
        bench.play(Sine{997, 1.0});
        bench.order.max_level_dbfs = 0.0;
    }
    CHECK_THROWS_AS(run_capture(link, bench.order), Error);
    CHECK(bench.holds_no_take());
}

TEST_CASE("a file link's capture is as long as its file", "[session]") {
    Bench bench;
    FakeLink link;
    run_capture(link, bench.order);
    const auto from_file = open_file_link(bench.order.job_folder / "takes/one.flac", false);
    bench.order.duration_s.reset();
    bench.order.name = "again";
    const CaptureOutcome outcome = run_capture(*from_file, bench.order);
    CHECK(outcome.frames == 144000);
    const Block first = bench.sound("takes/one.flac"), second = bench.sound("takes/again.flac");
    CHECK(std::equal(first.channel(1).begin(), first.channel(1).end(), second.channel(1).begin()));
}

TEST_CASE("a file that turns out bad in the middle leaves nothing", "[session]") {
    Bench bench;
    const fs::path bad = bench.folder.path() / "bad.wav";
    Block sound(2, 96000);
    {
        TakeWriter writer(bad, 48000, 2);
        writer.write(sound);
        writer.close();
    }
    {
        std::fstream file(bad, std::ios::in | std::ios::out | std::ios::binary);
        file.seekp(400'000);
        const unsigned char not_a_number[4] = {0xFF, 0xFF, 0xFF, 0x7F};
        file.write(reinterpret_cast<const char*>(not_a_number), 4);
    }
    const auto link = open_file_link(bad, false);
    bench.order.duration_s.reset();
    CHECK_THROWS_AS(run_capture(*link, bench.order), Error);
    CHECK(bench.holds_no_take());
}
