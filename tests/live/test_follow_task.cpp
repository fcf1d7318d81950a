#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <ctime>
#include <functional>
#include <iomanip>
#include <numbers>
#include <random>
#include <sstream>
#include <thread>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/follow_task.hpp"
#include "hushtrace/live/live_figures.hpp"
#include "hushtrace/live/live_session.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "live/fake_link.hpp"
#include "measure/wandering.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

constexpr double rate = 48000;

FollowWish wish(const std::string& what, Engine engine = Engine::idle) {
    FollowWish out;
    out.what = what;
    out.take.channels = {Channel::left, Channel::right};
    out.take.conditions.engine = engine;
    out.sample_rate_hz = rate;
    out.waits = true;
    return out;
}

/// A whine at `hz` on a wandering engine, in noise; its level changes as told; the right channel has half of it.
Block whine(double seconds, double hz, const std::function<double(double)>& gain_db, double speed = 1.0) {
    Block out(2, static_cast<std::size_t>(seconds * rate));
    std::vector<double> line(out.frames(), 0.0);
    wandering::add_tone(line, hz * speed, 1.0, 0.015);
    for (std::size_t c = 0; c < 2; ++c) {
        const auto noise = wandering::noise(seconds, 3e-4, 7 + static_cast<unsigned>(c));
        for (std::size_t n = 0; n < line.size(); ++n)
            out.channel(c)[n] = noise[n] + (c == 0 ? 4e-3 : 2e-3) * std::pow(10.0, gain_db(static_cast<double>(n) / rate) / 20.0) * line[n];
    }
    return out;
}

void feed(FollowTask& task, const Block& sound, const std::function<void(double)>& at = nullptr) {
    for (std::size_t from = 0; from < sound.frames(); from += 1024) {
        Block part(sound.channels(), std::min<std::size_t>(1024, sound.frames() - from));
        for (std::size_t c = 0; c < sound.channels(); ++c)
            std::copy_n(sound.channel(c).subspan(from).begin(), part.frames(), part.channel(c).begin());
        task.add(part);
        if (at) at(static_cast<double>(from + part.frames()) / rate);
    }
}

}  // namespace

TEST_CASE("with nothing named the loudest source is found, and its change in level is told in words", "[follow]") {
    FollowTask task(wish(""));
    CHECK(task.now().looking);
    CHECK(task.headline() == "looking for the loudest noise source");
    feed(task, whine(16, 1300, [](double t) { return t < 8 ? 0.0 : t < 12 ? -5.0 : 1.0; }), [&](double t) {
        const LiveFollow now = task.now();
        if (t > 7.5 && t < 7.95) {
            REQUIRE_FALSE(now.looking);
            CHECK(now.name == "alternator whine");
            CHECK(now.channel == Channel::left);
            // a sine of amplitude 4e-3 is -47.96 dBFS (AES17)
            CHECK(*now.level_db == Approx(-47.96).margin(0.3));
            CHECK(std::abs(*now.change_db) < 0.4);
            CHECK(now.steady);
            CHECK(task.headline() == "as loud as at the start");
            CHECK(*now.frequency_hz == Approx(1300 * wandering::speed(t - 0.05, 0.015)).epsilon(0.02));
        }
        if (t > 8.75 && t < 8.85) CHECK(*now.change_db == Approx(-5.0).margin(0.5));
        if (t > 11.5 && t < 11.95) {
            CHECK(task.headline().find(" dB quieter than at the start") != std::string::npos);
            CHECK(*now.lowest_db == Approx(-52.96).margin(0.4));
        }
    });
    CHECK(*task.now().change_db == Approx(1.0).margin(0.4));
    CHECK(*task.now().lowest_db == Approx(-52.96).margin(0.4));
    CHECK_FALSE(task.now().lowest_at_most);
    task.take_reference();
    CHECK(*task.now().change_db == Approx(0.0).margin(0.4));
    CHECK(*task.now().lowest_db == Approx(-46.96).margin(0.4));
}

TEST_CASE("a whine that goes is told as at most so much; a faster engine is pointed out", "[follow]") {
    FollowTask task(wish("whine"));
    feed(task, whine(12, 1300, [](double t) { return t < 8 ? 0.0 : -100.0; }));
    LiveFollow now = task.now();
    CHECK(now.at_most);
    CHECK_FALSE(now.frequency_hz);
    CHECK(*now.change_db < -15.0);
    CHECK(now.lowest_at_most);
    CHECK(task.headline().ends_with("quieter than at the start, or more"));
    feed(task, whine(3, 1300, [](double) { return 0.0; }, 1.12));
    CHECK(*task.now().speed_change == Approx(0.12).margin(0.04));
    CHECK(task.next().find("faster than at the start") != std::string::npos);
}

TEST_CASE("engine off, no noise: nothing is made up, and what is missing is said", "[follow]") {
    FollowTask task(wish("whine", Engine::off));
    feed(task, whine(6, 1300, [](double) { return -200.0; }));
    CHECK(task.now().looking);
    CHECK_FALSE(task.now().level_db);
    CHECK(task.headline() == "alternator whine: not found yet");
    FollowTask silent(wish("hiss", Engine::off));
    feed(silent, Block(2, 6 * 48000));
    CHECK_FALSE(silent.now().level_db);
    CHECK(silent.headline() == "digital silence");
}

TEST_CASE("the headline says of a change what the screen and the phone say of it", "[follow]") {
    FollowTask task(wish("all", Engine::off));
    std::mt19937_64 random(4);
    std::normal_distribution<double> normal(0.0, 1e-3);
    Block sound(2, 15 * 48000);
    for (std::size_t n = 0; n < sound.frames(); ++n) {
        const double t = static_cast<double>(n) / rate, gain = std::pow(10.0, (t < 8 ? 0.0 : t < 11 ? -0.8 : -1.5) / 20.0);
        for (std::size_t c = 0; c < 2; ++c) sound.channel(c)[n] = gain * normal(random);
    }
    feed(task, sound, [&](double t) {
        const LiveFollow now = task.now();
        if (!now.change_db) return;
        CHECK((task.headline().find("quieter") != std::string::npos) == (followed(now) == Followed::quieter));
        if (t > 9.5 && t < 10.9) {
            CHECK(*now.change_db == Approx(-0.8).margin(0.2));
            CHECK(task.headline() == "as loud as at the start");   // less than 1 dB is not heard
        }
        if (t > 12.5) CHECK(task.headline().ends_with(" dB quieter than at the start"));
    });
}

TEST_CASE("levels are dBV where the channel is calibrated", "[follow]") {
    FollowWish asked = wish("1300hz");
    asked.job.interface.volts_full_scale = {7.0, 7.0};
    FollowTask task(asked);
    feed(task, whine(7, 1300, [](double) { return 0.0; }));
    CHECK(task.now().calibrated);
    // 4e-3 of 7 V full scale is 28 mV peak: 20 log10(0.028 / sqrt 2) = -34.07 dBV
    CHECK(*task.now().level_db == Approx(-34.07).margin(0.4));
}

TEST_CASE("words that name nothing to follow are refused with what would do", "[follow]") {
    for (const std::string what : {"banana", "0", "-5hz", "nan", "1e9hz", "order", "order-3", "order12", "whine-1", "clipping", "30khz"}) {
        INFO(what);
        CHECK_THROWS_AS(FollowTask(wish(what)), Error);
    }
    FollowWish order = wish("order12");
    order.take.conditions.rpm = 780;
    CHECK(FollowTask(order).now().name == "engine order 12");
    for (const std::string what : {"whine", "HUM", "ignition", "hiss", "hiss-a", "motor", "pwm", "all", "1187", "1187hz", "alternator_whine"}) {
        INFO(what);
        CHECK_NOTHROW(FollowTask(wish(what)));
    }
    FollowWish none = wish("whine");
    none.take.channels.clear();
    CHECK_THROWS_AS(FollowTask(none), Error);
    FollowTask task(wish("all"));
    CHECK_THROWS_AS(task.add(Block(1, 100)), Error);
}

namespace {

/// Noise, louder by `rise_db` from a frame on.
class JumpingLink final : public Link {
public:
    std::uint64_t jumps_at = 0, ends_at = 0, jumps_again_at = ~std::uint64_t{0}, loses_at = ~std::uint64_t{0};
    double rise_db = 12;
    std::function<void(double)> at_each_transfer;
    std::string name() const override { return "fake"; }
    double sample_rate_hz() const override { return rate; }
    std::size_t input_channels() const override { return 2; }
    void start() override {}
    void stop() noexcept override {}
    LinkNotice transfer(const PlaySupply&, Block& captured) override {
        if (at_each_transfer) at_each_transfer(static_cast<double>(done_) / rate);
        captured.reset(2, 1024);
        for (std::size_t c = 0; c < 2; ++c)
            for (double& v : captured.channel(c)) v = rise(done_ >= jumps_at) * rise(done_ >= jumps_again_at) * normal_(random_);
        LinkNotice notice;
        notice.input_overflow = done_ <= loses_at && loses_at < done_ + 1024;
        done_ += 1024;
        notice.ended = done_ >= ends_at;
        return notice;
    }

private:
    double rise(bool yes) const { return yes ? std::pow(10.0, rise_db / 20.0) : 1.0; }
    std::uint64_t done_ = 0;
    std::mt19937_64 random_{5};
    std::normal_distribution<double> normal_{0.0, 1e-3};
};

LiveOrder order_in(const std::filesystem::path& folder) {
    Job job;
    job.title = "bench";
    create_job(folder, job);
    LiveOrder order;
    order.task = LiveTask::follow;
    order.follow = "all";
    order.unpaced = true;
    order.stores_take = false;
    order.job = job;
    order.capture.job_folder = folder;
    order.capture.take.channels = {Channel::left, Channel::right};
    order.capture.take.conditions.engine = Engine::idle;
    order.capture.take.conditions.loads = {"headlights"};
    return order;
}

}  // namespace

TEST_CASE("armed, a jump stores the minute round it as a take, with the moment as a mark", "[follow]") {
    TemporaryFolder top;
    LiveOrder order = order_in(top.path() / "job");
    order.armed = true;
    JumpingLink link;
    link.jumps_at = 20 * 48000;
    link.ends_at = 35 * 48000;
    LiveBoard board;
    const LiveOutcome outcome = run_live(link, order, board);
    CHECK(outcome.kept == 1);
    const auto takes = open_job(order.capture.job_folder).job.takes;
    REQUIRE(takes.size() == 1);
    CHECK(takes[0].file == "takes/kept-1.flac");
    CHECK(takes[0].conditions.loads == std::vector<std::string>{"headlights"});
    CHECK(takes[0].faults.empty());
    REQUIRE(takes[0].marks.size() == 1);
    CHECK(takes[0].marks[0].time_s == Approx(20.0).margin(0.1));
    // its sound began the half minute that was heard since before it was stored
    std::tm began{};
    std::istringstream(takes[0].recorded_at.value()) >> std::get_time(&began, "%Y-%m-%dT%H:%M:%S");
    began.tm_isdst = -1;
    CHECK(std::difftime(std::time(nullptr), std::mktime(&began)) >= 29.0);
    TakeReader reader(order.capture.job_folder / takes[0].file);
    Block piece;
    std::size_t frames = 0;
    double early = 0, late = 0;
    while (reader.read(piece, 48000) > 0) {
        for (const double v : piece.channel(0)) (frames++ < 20 * 48000 ? early : late) += v * v;
    }
    // from the beginning until ten seconds after the jump, however late the thread that stores comes to it
    CHECK(static_cast<double>(frames) == Approx(30 * 48000).margin(0.1 * 48000));
    CHECK(10 * std::log10(late / early * 20.0 / 10.0) == Approx(12.0).margin(0.5));
    const auto events = board.events_after(0);
    const auto told = [&](const std::string& kind) {
        return std::count_if(events.begin(), events.end(), [&](const LiveEvent& event) { return event.kind == kind; });
    };
    CHECK(told("jump") == 1);
    CHECK(told("kept") == 1);
}

TEST_CASE("unarmed, nothing is stored but on request; the end does not lose what waits", "[follow]") {
    TemporaryFolder top;
    LiveOrder order = order_in(top.path() / "job");
    JumpingLink link;
    link.jumps_at = 10 * 48000;
    link.ends_at = 14 * 48000;
    LiveBoard board;
    int asked = 0;
    link.at_each_transfer = [&](double t) {
        if (t > 5.0 && asked == 0) board.ask(LiveRequest::mark), ++asked;
        if (t > 6.0 && asked == 1) board.ask(LiveRequest::keep), ++asked;
        if (t > 9.0 && asked == 2) board.ask(LiveRequest::arm), ++asked;   // the jump comes a second later, the end before its ten are over
    };
    const LiveOutcome outcome = run_live(link, order, board);
    CHECK(outcome.kept == 2);
    const auto takes = open_job(order.capture.job_folder).job.takes;
    REQUIRE(takes.size() == 2);
    CHECK(takes[1].file == "takes/kept-2.flac");
    REQUIRE_FALSE(takes[0].marks.empty());
    CHECK(takes[0].marks[0].text == "mark");
    CHECK(takes[1].marks.size() == 2);
    CHECK_FALSE(outcome.stored);
}

TEST_CASE("a jump before it was armed does not keep an armed one from counting", "[follow]") {
    TemporaryFolder top;
    LiveOrder order = order_in(top.path() / "job");
    JumpingLink link;
    link.jumps_at = 10 * 48000;
    link.jumps_again_at = 30 * 48000;
    link.ends_at = 33 * 48000;
    LiveBoard board;
    bool asked = false;
    link.at_each_transfer = [&](double t) {
        if (t > 25.0 && !std::exchange(asked, true)) board.ask(LiveRequest::arm);
    };
    CHECK(run_live(link, order, board).kept == 1);
    const auto takes = open_job(order.capture.job_folder).job.takes;
    REQUIRE(takes.size() == 1);
    REQUIRE(takes[0].marks.size() == 1);
    CHECK(takes[0].marks[0].time_s == Approx(30.0).margin(0.1));
}

TEST_CASE("a kept take in which the device lost sound says so, one after it does not", "[follow]") {
    TemporaryFolder top;
    LiveOrder order = order_in(top.path() / "job");
    JumpingLink link;
    link.jumps_at = 1000 * 48000;
    link.loses_at = 3 * 48000;   // noise goes on after it: nothing but the device's word tells of it
    link.ends_at = 66 * 48000;
    LiveBoard board;
    int asked = 0;
    link.at_each_transfer = [&](double t) {
        if (t > 2.0 && asked == 0) board.ask(LiveRequest::keep), ++asked;
        if (t > 6.0 && asked == 1) board.ask(LiveRequest::keep), ++asked;
        if (t > 7.0 && asked == 2) std::this_thread::sleep_for(std::chrono::milliseconds(300)), ++asked;   // this sound comes faster than any
        if (t > 65.0 && asked == 3) board.ask(LiveRequest::keep), ++asked;   // holds 60 s: from 5 s on
    };
    CHECK(run_live(link, order, board).kept == 3);
    const auto takes = open_job(order.capture.job_folder).job.takes;
    REQUIRE(takes.size() == 3);
    CHECK(takes[0].faults.empty());
    CHECK(takes[1].faults == std::vector{TakeFault::dropout});
    CHECK(takes[2].faults.empty());
    const auto events = board.events_after(0);
    CHECK(std::count_if(events.begin(), events.end(), [](const LiveEvent& event) {
              return event.kind == "kept" && event.text.find("sound was lost within") != std::string::npos;
          }) == 1);
}
