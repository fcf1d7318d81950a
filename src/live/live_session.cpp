#include "hushtrace/live/live_session.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <utility>
#include <variant>

#include "hushtrace/signal/decibel.hpp"
#include "level_meter.hpp"
#include "level_watch.hpp"
#include "link_drive.hpp"
#include "take_keeper.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;
constexpr auto between_snapshots = std::chrono::milliseconds(19);

const Sine* sine_of(const LiveOrder& order) {
    const auto& tone = order.capture.take.tone;
    return tone ? std::get_if<Sine>(&tone->waveform) : nullptr;
}

void check(const Link& link, const LiveOrder& order) {
    const auto refuse = [](const std::string& why) { throw Error(ErrorKind::invalid_request, why); };
    const Take& take = order.capture.take;
    if (take.channels.size() != link.input_channels())
        refuse(fmt::format("{} channels are named, but {} come from {}", take.channels.size(), link.input_channels(),
                           link.name()));
    if (order.capture.plays_tone && !take.tone) refuse("there is no tone to play");
    if (order.task == LiveTask::gain && !sine_of(order))
        refuse("the source's ceiling is found with a steady sine: --tone sine");
    if (const auto& most_s = order.capture.duration_s; most_s && !(*most_s > 0 && *most_s <= longest_capture_s))
        refuse("a session lasts more than 0 s and at most a day");
    if (!std::is_sorted(order.knob_script.begin(), order.knob_script.end(),
                        [](const KnobTurn& a, const KnobTurn& b) { return a.time_s < b.time_s; }))
        refuse("the knob's script must go forward in time");
}

/// Closes the board on every way out.
class Closing {
public:
    explicit Closing(LiveBoard& board) : board_(board) {}
    ~Closing() { board_.close(); }
    Closing(const Closing&) = delete;
    Closing& operator=(const Closing&) = delete;

private:
    LiveBoard& board_;
};

/// One run of run_live().
class LiveSession {
public:
    LiveSession(Link& link, const LiveOrder& order, LiveBoard& board)
        : link_(link),
          order_(order),
          board_(board),
          rate_(link.sample_rate_hz()),
          drive_(link, sound()),
          levels_(link.input_channels(), rate_),
          whole_(link.input_channels()),
          volume_(order.volume_start) {
        out_.capture.sample_rate_hz = rate_;
        out_.capture.take = order.capture.take;
        last_frame_ = order.capture.duration_s
                          ? static_cast<std::uint64_t>(std::llround(*order.capture.duration_s * rate_))
                          : std::numeric_limits<std::uint64_t>::max();
    }

    LiveOutcome run() {
        if (order_.stores_take) keeper_.emplace(order_.capture, rate_, link_.input_channels());
        try {
            drive_.start();
            if (volume_) link_.set_volume(*volume_);
            board_.tell(0, "started", "listening");
            listen();
        } catch (const Error& error) {
            const bool broke_off =
                error.kind() == ErrorKind::device_failed || error.kind() == ErrorKind::disk_failed;
            if (!broke_off || captured_ == 0) discard_and_throw(error);
            out_.capture.failure = error;
        }
        if (!out_.capture.failure) drive_.fade_out();
        drive_.stop();
        return finish();
    }

private:
    std::optional<PlayedSound> sound() const {
        if (!order_.capture.plays_tone) return std::nullopt;
        return PlayedSound(order_.capture.take.tone->waveform, order_.capture.max_level_dbfs, rate_);
    }
    double captured_s() const { return static_cast<double>(captured_) / rate_; }

    void listen() {
        Block block;
        while (captured_ < last_frame_ && !(keeper_ && keeper_->failed())) {
            if (captured_ > 0 && order_.stop && order_.stop()) ended_ = true;
            answer_requests();
            if (ended_) {
                out_.capture.stopped_by_user = true;
                return;
            }
            const LinkNotice notice = drive_.transfer(block);
            heard_at_ = Clock::now();
            take_in(block);
            if (notice.ended) return;
        }
    }

    void take_in(Block& block) {
        if (block.empty()) return;
        if (captured_ == 0 && keeper_ && !link_.ends_by_itself()) keeper_->enter_as_stopped();
        levels_.add(block);
        whole_.add(block);
        captured_ += block.frames();
        if (keeper_) keeper_->add(std::exchange(block, Block()));
        follow_script();
        publish(LiveState::running);
    }

    void answer_requests() {
        for (const LiveRequest request : board_.take_requests()) switch (request) {
                case LiveRequest::stop: ended_ = true; break;
                case LiveRequest::stepped_up: step(order_.volume_step); break;
                case LiveRequest::stepped_down: step(-order_.volume_step); break;
                case LiveRequest::mark: mark(); break;
                case LiveRequest::start:
                case LiveRequest::reference:
                case LiveRequest::keep:
                case LiveRequest::arm: break;
            }
    }

    void step(double by) {
        if (!volume_) return;
        volume_ = std::max(0.0, *volume_ + by);
        if (order_.volume_top) volume_ = std::min(*volume_, *order_.volume_top);
        link_.set_volume(*volume_);
    }

    void mark() {
        if (keeper_) keeper_->take().marks.push_back({captured_s(), "mark"});
        board_.tell(captured_s(), "mark", "marked");
    }

    void follow_script() {
        while (next_turn_ < order_.knob_script.size() && order_.knob_script[next_turn_].time_s <= captured_s()) {
            volume_ = order_.knob_script[next_turn_++].volume;
            link_.set_volume(*volume_);
        }
    }

    LiveSnapshot snapshot(LiveState state) const {
        LiveSnapshot now;
        now.time_s = captured_s();
        now.task = order_.task;
        now.state = state;
        now.title = order_.job.title;
        if (const Sine* sine = sine_of(order_)) now.tone_hz = sine->frequency_hz;
        now.limit_thd_percent = order_.job.ceiling_thd_percent();
        now.volume = volume_;
        now.turns_volume = link_.turns_volume();
        const Take& take = order_.capture.take;
        for (std::size_t c = 0; c < take.channels.size(); ++c) {
            LiveLevel level;
            level.channel = take.channels[c];
            level.level_dbfs = levels_.rms_dbfs(c);
            level.peak_dbfs = levels_.peak_dbfs(c);
            if (const auto scale = order_.job.volts_full_scale(take, c); scale && std::isfinite(level.level_dbfs)) {
                level.level_dbv = dbv_from_dbfs(level.level_dbfs, *scale);
                level.level_v = volts_from_dbv(*level.level_dbv);
            }
            now.levels.push_back(level);
        }
        now.dropouts = drive_.overflows() + (keeper_ ? keeper_->dropouts_so_far() : 0);
        now.overloads = keeper_ ? keeper_->overloads_so_far() : 0;
        now.headline = "listening";
        if (out_.capture.failure) now.failure = out_.capture.failure->what();
        now.heard_at = heard_at_;
        return now;
    }

    void publish(LiveState state) {
        const auto now = Clock::now();
        if (state == LiveState::running && now - published_at_ < between_snapshots) return;
        published_at_ = now;
        board_.publish(snapshot(state));
    }

    [[noreturn]] void discard_and_throw(const Error& error) {
        drive_.stop();
        if (keeper_) keeper_->discard();
        throw error;
    }

    LiveOutcome finish() {
        if (captured_ == 0)
            discard_and_throw(Error(ErrorKind::empty_input, fmt::format("{}: nothing was captured", link_.name())));
        out_.capture.levels = whole_.levels();
        out_.capture.flagged_overflows = drive_.overflows();
        out_.capture.flagged_underflows = drive_.underflows();
        if (keeper_) keeper_->finish(out_.capture);
        out_.stored = keeper_.has_value();
        board_.tell(captured_s(), "ended", out_.capture.failure ? out_.capture.failure->what() : "ended");
        publish(LiveState::ended);
        return std::move(out_);
    }

    Link& link_;
    const LiveOrder& order_;
    LiveBoard& board_;
    double rate_;
    LinkDrive drive_;
    LevelWatch levels_;
    LevelMeter whole_;
    std::optional<TakeKeeper> keeper_;
    LiveOutcome out_;
    std::optional<double> volume_;
    std::uint64_t captured_ = 0, last_frame_ = 0;
    std::size_t next_turn_ = 0;
    bool ended_ = false;
    Clock::time_point heard_at_{}, published_at_{};
};

}  // namespace

LiveOutcome run_live(Link& link, const LiveOrder& order, LiveBoard& board) {
    const Closing closing(board);
    check(link, order);
    return LiveSession(link, order, board).run();
}

}  // namespace hushtrace
