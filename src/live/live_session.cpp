#include "hushtrace/live/live_session.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <cmath>
#include <limits>
#include <utility>
#include <variant>

#include "hushtrace/live/follow_task.hpp"
#include "hushtrace/live/gain_task.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "follow_session.hpp"
#include "channel_levels.hpp"
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

[[noreturn]] void refuse(const std::string& why) {
    throw Error(ErrorKind::invalid_request, why);
}

/// What can be told without a link, and at once.
void check_words(const LiveOrder& order) {
    const Take& take = order.capture.take;
    if (order.capture.plays_tone && !take.tone) refuse("there is no tone to play");
    if (order.task == LiveTask::gain && std::none_of(take.channels.begin(), take.channels.end(), carries_signal))
        refuse("none of the channels carries the signal: --channels left,right");
    if (order.task == LiveTask::gain && take.conditions.point == Point::amp_output)
        refuse("--point amp_output: the source's ceiling is read before the amplifier: --point amp_input (where its lead goes into the "
               "amplifier) or source_output");
    if (order.task == LiveTask::gain && !sine_of(order))
        refuse("the source's ceiling is found with a steady sine: --tone sine");
    if (const auto& most_s = order.capture.duration_s; most_s && !(*most_s > 0 && *most_s <= longest_capture_s))
        refuse("a session lasts more than 0 s and at most a day");
    if (!std::is_sorted(order.knob_script.begin(), order.knob_script.end(),
                        [](const KnobTurn& a, const KnobTurn& b) { return a.time_s < b.time_s; }))
        refuse("the knob's script must go forward in time");
}

void check(const Link& link, const LiveOrder& order) {
    const Take& take = order.capture.take;
    if (take.channels.size() != link.input_channels())
        refuse(fmt::format("{} channels are named, but {} come from {}", take.channels.size(), link.input_channels(),
                           link.name()));
    check_words(order);
}

GainWatch gain_watch(const LiveOrder& order, double sample_rate_hz, bool link_turns_volume) {
    GainWatch watch;
    const Take& take = order.capture.take;
    watch.sample_rate_hz = sample_rate_hz;
    watch.tone_hz = sine_of(order)->frequency_hz;
    watch.limit_thd_percent = order.job.ceiling_thd_percent();
    watch.channels = take.channels;
    for (std::size_t c = 0; c < take.channels.size(); ++c)
        watch.volts_full_scale.push_back(order.job.volts_full_scale(take, c));
    watch.volume_start = order.volume_start;
    watch.volume_top = order.volume_top;
    watch.volume_step = order.volume_step;
    watch.link_turns_volume = link_turns_volume;
    watch.source_plays = !order.capture.plays_tone;
    watch.waits_for_readings = order.unpaced;
    return watch;
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
          waiting_(order.task == LiveTask::gain) {
        if (order.task == LiveTask::gain) gain_.emplace(gain_watch(order, rate_, link.turns_volume()));
        if (looks_through_takes(order))
            board.tell(0, "started", "looking through the job's takes first");
        if (order.task == LiveTask::follow) follow_.emplace(order, rate_, order.unpaced);
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
            if (order_.volume_start) turn(*order_.volume_start);
            listen();
        } catch (const Error& error) {
            const bool broke_off =
                error.kind() == ErrorKind::device_failed || error.kind() == ErrorKind::disk_failed;
            if (!broke_off || kept_ == 0) discard_and_throw(error);
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
    double taken_s() const { return static_cast<double>(kept_) / rate_; }

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
        require_numbers(block);
        levels_.add(block);
        captured_ += block.frames();
        if (gain_) gain_->add(block);
        if (follow_) follow_->add(block, drive_.overflows() + drive_.underflows());
        if (!waiting_) keep(block);
        tell_events();
        if (waiting_ && gain_->hears_tone() && tone_is_up()) start();
        follow_script();
        publish(waiting_ ? LiveState::waiting : LiveState::running);
    }

    void require_numbers(const Block& block) const {
        for (std::size_t c = 0; c < block.channels(); ++c)
            for (const double sample : block.channel(c))
                if (!std::isfinite(sample))
                    throw Error(ErrorKind::device_failed,
                                fmt::format("{}: delivers values that are no numbers", link_.name()));
    }

    /// What the program plays itself begins quietly; until it has its level no step can be read.
    bool tone_is_up() const {
        return !order_.capture.plays_tone || captured_s() > PlayedSound::lead_s + link_.output_delay_s() + 0.1;
    }

    void start() {
        if (!waiting_) return;
        waiting_ = false;
        overflows_before_ = drive_.overflows();
        underflows_before_ = drive_.underflows();
        if (gain_) gain_->begin();
        board_.tell(captured_s(), "started", "steps are read from here on");
    }

    void keep(Block& block) {
        if (kept_ == 0 && keeper_) {
            keeper_->began(static_cast<double>(block.frames()) / rate_);
            if (!link_.ends_by_itself()) keeper_->enter_as_stopped();
        }
        whole_.add(block);
        kept_ += block.frames();
        if (keeper_) keeper_->add(std::exchange(block, Block()));
    }

    void tell_events() {
        if (gain_)
            for (auto& [kind, text] : gain_->take_events()) board_.tell(captured_s(), kind, text);
        if (follow_)
            for (auto& [kind, text] : follow_->take_events()) board_.tell(captured_s(), kind, text);
        const std::uint64_t dropouts = drive_.overflows() + (keeper_ ? keeper_->dropouts_so_far() : 0);
        if (dropouts > dropouts_told_)
            board_.tell(captured_s(), "fault", gain_ ? "sound was lost: the step during which it was may be wrong" : "sound was lost");
        dropouts_told_ = dropouts;
    }

    void answer_requests() {
        for (const LiveRequest request : board_.take_requests()) switch (request) {
                case LiveRequest::stop: ended_ = true; break;
                case LiveRequest::stepped_up: step(order_.volume_step); break;
                case LiveRequest::stepped_down: step(-order_.volume_step); break;
                case LiveRequest::mark: mark(); break;
                case LiveRequest::start:
                    start();
                    if (follow_) follow_->reference();
                    break;
                case LiveRequest::reference:
                    if (follow_) follow_->reference();
                    break;
                case LiveRequest::keep:
                    if (follow_) follow_->keep();
                    else
                        board_.tell(captured_s(), "mark", order_.stores_take ? "nothing is kept here: the whole session is stored as a take"
                                                                            : "nothing is kept here: this session stores nothing");
                    break;
                case LiveRequest::arm:
                    if (follow_) follow_->arm();
                    break;
            }
    }

    void step(double by) {
        if (!gain_) return;
        if (!order_.volume_start) {
            if (!std::exchange(uncounted_told_, true))
                board_.tell(captured_s(), "mark", "steps are not counted: --volume-start says where the knob stands");
            return;
        }
        if (!link_.turns_volume()) {
            by > 0 ? gain_->said_up() : gain_->said_down();
            return;
        }
        double to = std::max(0.0, volume_ + by);
        if (order_.volume_top) to = std::min(to, *order_.volume_top);
        turn(to);
    }

    void turn(double volume) {
        volume_ = volume;
        link_.set_volume(volume);
        if (gain_ && link_.turns_volume()) gain_->turned_to(volume);
    }

    void mark() {
        if (keeper_) keeper_->take().marks.push_back({taken_s(), "mark"});
        if (follow_) follow_->mark();
        board_.tell(captured_s(), "mark", "marked");
    }

    void follow_script() {
        while (next_turn_ < order_.knob_script.size() && order_.knob_script[next_turn_].time_s <= captured_s())
            turn(order_.knob_script[next_turn_++].volume);
        while (next_move_ < order_.moves.size() && order_.moves[next_move_].time_s <= captured_s()) order_.moves[next_move_++].make();
    }

    LiveSnapshot snapshot(LiveState state) const {
        LiveSnapshot now;
        now.time_s = captured_s();
        now.task = order_.task;
        now.state = state;
        now.title = order_.job.title;
        if (const Sine* sine = sine_of(order_)) now.tone_hz = sine->frequency_hz;
        now.limit_thd_percent = order_.job.ceiling_thd_percent();
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
        if (gain_) gain_->fill(now);
        if (follow_) follow_->fill(now);
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
        if (captured_ == 0 || kept_ == 0)
            discard_and_throw(Error(ErrorKind::empty_input,
                                    captured_ == 0 ? fmt::format("{}: nothing was captured", link_.name())
                                                   : fmt::format("the {:g} Hz tone never came: nothing is stored",
                                                                 sine_of(order_)->frequency_hz)));
        if (gain_) gain_->finish();
        tell_events();
        out_.capture.levels = whole_.levels();
        out_.capture.flagged_overflows = drive_.overflows() - overflows_before_;
        out_.capture.flagged_underflows = drive_.underflows() - underflows_before_;
        if (keeper_) {
            if (gain_) keeper_->take().volume_steps = gain_->volume_steps();
            keeper_->finish(out_.capture);
        }
        out_.stored = keeper_.has_value();
        if (follow_) {
            follow_->finish();
            out_.kept = follow_->kept();
        }
        tell_events();
        board_.tell(captured_s(), "ended", out_.capture.failure ? out_.capture.failure->what() : "ended");
        const LiveSnapshot last = snapshot(LiveState::ended);
        out_.steps = last.steps;
        out_.ceiling = last.ceiling;
        board_.publish(last);
        return std::move(out_);
    }

    Link& link_;
    const LiveOrder& order_;
    LiveBoard& board_;
    double rate_;
    LinkDrive drive_;
    LevelWatch levels_;
    ChannelLevels whole_;
    std::optional<TakeKeeper> keeper_;
    LiveOutcome out_;
    std::optional<GainTask> gain_;
    std::optional<FollowSession> follow_;
    double volume_ = 0;     // of a knob that the link turns
    bool uncounted_told_ = false;
    bool waiting_ = false;  // nothing is kept yet
    std::uint64_t overflows_before_ = 0, underflows_before_ = 0;  // what the device lost until then
    std::uint64_t captured_ = 0, kept_ = 0, last_frame_ = 0, dropouts_told_ = 0;
    std::size_t next_turn_ = 0, next_move_ = 0;
    bool ended_ = false;
    Clock::time_point heard_at_{}, published_at_{};
};

}  // namespace

bool looks_through_takes(const LiveOrder& order) {
    std::string what = order.follow;
    std::transform(what.begin(), what.end(), what.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    const auto dash = what.rfind('-');
    return order.task == LiveTask::follow && dash != std::string::npos && dash + 1 < what.size() &&
           std::isdigit(static_cast<unsigned char>(what[dash + 1])) && std::isalpha(static_cast<unsigned char>(what[0])) &&
           !what.starts_with("order");
}

void check_live(const LiveOrder& order, double sample_rate_hz) {
    check_words(order);
    if (order.task == LiveTask::gain) {
        const GainTask tried(gain_watch(order, sample_rate_hz, false));
        return;
    }
    FollowWish wish;
    wish.what = order.follow;
    wish.job = order.job;
    wish.job_folder = order.capture.job_folder;
    wish.take = order.capture.take;
    wish.sample_rate_hz = sample_rate_hz;
    const FollowTask tried(wish);
}

LiveOutcome run_live(Link& link, const LiveOrder& order, LiveBoard& board) {
    const Closing closing(board);
    check(link, order);
    return LiveSession(link, order, board).run();
}

}  // namespace hushtrace
