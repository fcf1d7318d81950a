#include "hushtrace/live/capture_session.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <utility>

#include "channel_levels.hpp"
#include "link_drive.hpp"
#include "take_keeper.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;

constexpr double usual_duration_s = 10.0;
constexpr double tail_s = 0.5;  // captured behind a tone that ends
constexpr auto between_progress = std::chrono::milliseconds(100);

/// When the first volume step begins [s]: once the tone is there at its level.
double steps_begin_s(const CaptureOrder& order, const Link& link) {
    return order.plays_tone ? PlayedSound::lead_s + link.output_delay_s() : order.steps_begin_s;
}

/// Bursts that the link plays: the knob is turned in the pause ahead of a step's burst.
std::optional<double> played_burst_s(const CaptureOrder& order) {
    return order.plays_tone && order.take.tone ? order.take.tone->burst_s : std::nullopt;
}

double step_start_s(const CaptureOrder& order, const Link& link, std::size_t step) {
    const double begin_s = steps_begin_s(order, link);
    const auto burst_s = played_burst_s(order);
    if (!burst_s) return begin_s + static_cast<double>(step) * order.step_s;
    return begin_s + (step == 0 ? 0.0 : (2.0 * static_cast<double>(step) - 1.0) * *burst_s);
}

void check(const CaptureOrder& order, const Link& link) {
    const auto refuse = [](const std::string& why) { throw Error(ErrorKind::invalid_request, why); };
    const auto sane = [](double seconds) { return seconds > 0 && seconds <= longest_capture_s; };
    if (order.duration_s && !sane(*order.duration_s))
        refuse("a capture lasts more than 0 s and at most a day");
    if (!order.take.volume_steps.empty() && !sane(order.step_s))
        refuse("a volume step lasts more than 0 s and at most a day");
    if (order.plays_tone && !order.take.tone) refuse("there is no tone to play");
    if (order.take.channels.size() != link.input_channels())
        refuse(fmt::format("{} channels are named, but {} come from {}", order.take.channels.size(),
                           link.input_channels(), link.name()));
}

/// One run of run_capture().
class Session {
public:
    Session(Link& link, const CaptureOrder& order, const CaptureHooks& hooks)
        : link_(link),
          order_(order),
          hooks_(hooks),
          rate_(link.sample_rate_hz()),
          since_progress_(channels()),
          whole_(channels()) {
        check(order, link);
        std::optional<PlayedSound> sound;
        if (order.plays_tone) sound.emplace(order.take.tone->waveform, order.max_level_dbfs, rate_, order.take.tone->burst_s);
        drive_.emplace(link, std::move(sound));
        const double duration_s = capture_duration_s(order, link);
        last_frame_ = std::isfinite(duration_s) ? static_cast<std::uint64_t>(std::llround(duration_s * rate_))
                                                : std::numeric_limits<std::uint64_t>::max();
        out_.sample_rate_hz = rate_;
    }

    CaptureOutcome run() {
        keeper_.emplace(order_, rate_, channels());
        try {
            drive_->start();
            capture();
        } catch (const Error& error) {
            const bool broke_off =
                error.kind() == ErrorKind::device_failed || error.kind() == ErrorKind::disk_failed;
            if (!broke_off || captured_ == 0) discard_and_throw(error);
            out_.failure = error;
        }
        if (!out_.failure) drive_->fade_out();
        drive_->stop();
        return finish();
    }

private:
    std::size_t channels() const { return link_.input_channels(); }
    double captured_s() const { return static_cast<double>(captured_) / rate_; }

    void capture() {
        turn_volume();
        Block block;
        while (captured_ < last_frame_ && !keeper_->failed()) {
            if (captured_ > 0 && hooks_.stop && hooks_.stop()) {
                out_.stopped_by_user = true;
                return;
            }
            const LinkNotice notice = drive_->transfer(block);
            keep(block);
            if (notice.ended) return;
        }
    }

    void keep(Block& block) {
        if (block.empty()) return;
        if (captured_ + block.frames() > last_frame_) block = front_of(block, last_frame_ - captured_);
        // A file can be captured again: a faulty one shall leave the job as it was.
        if (captured_ == 0 && !link_.ends_by_itself()) keeper_->enter_as_stopped();
        since_progress_.add(block);
        whole_.add(block);
        captured_ += block.frames();
        keeper_->add(std::exchange(block, Block()));
        if (hooks_.marks) {
            const auto made = hooks_.marks(captured_s());
            auto& marks = keeper_->take().marks;
            marks.insert(marks.end(), made.begin(), made.end());
        }
        turn_volume();
        report_progress(false);
    }

    static Block front_of(const Block& block, std::uint64_t frames) {
        Block front(block.channels(), static_cast<std::size_t>(frames));
        for (std::size_t c = 0; c < block.channels(); ++c)
            std::copy_n(block.channel(c).begin(), front.frames(), front.channel(c).begin());
        return front;
    }

    void turn_volume() {
        const auto& script = order_.knob_script;
        for (; next_turn_ < script.size() && script[next_turn_].time_s <= captured_s(); ++next_turn_)
            link_.set_volume(script[next_turn_].volume);
        const auto& steps = order_.take.volume_steps;
        if (next_step_ >= steps.size() || !script.empty()) return;
        const double due_s = step_start_s(next_step_);
        if (next_step_ > 0 && captured_s() < due_s) return;  // the first one stands from the beginning
        link_.set_volume(steps[next_step_]);
        if (!link_.turns_volume() && hooks_.turn_to) hooks_.turn_to(steps[next_step_]);
        ++next_step_;
    }
    double step_start_s(std::size_t step) const {
        return hushtrace::step_start_s(order_, link_, step);
    }

    void report_progress(bool last) {
        if (!hooks_.progress) return;
        const auto now = Clock::now();
        if (!last && now - last_progress_ < between_progress) return;
        last_progress_ = now;
        CaptureProgress progress;
        progress.captured_s = captured_s();
        progress.duration_s = last_frame_ == std::numeric_limits<std::uint64_t>::max()
                                  ? std::numeric_limits<double>::infinity()
                                  : static_cast<double>(last_frame_) / rate_;
        progress.levels = last ? whole_.levels() : since_progress_.levels();
        progress.overloads = keeper_->overloads_so_far();
        progress.dropouts = keeper_->dropouts_so_far() + drive_->overflows();
        if (next_step_ > 0) {
            progress.volume = order_.take.volume_steps[next_step_ - 1];
            progress.step_left_s = std::max(0.0, step_start_s(next_step_) - captured_s());
        }
        since_progress_.reset();
        hooks_.progress(progress);
    }

    [[noreturn]] void discard_and_throw(const Error& error) {
        drive_->stop();
        keeper_->discard();
        throw error;
    }

    CaptureOutcome finish() {
        if (captured_ == 0)
            discard_and_throw(
                Error(ErrorKind::empty_input, fmt::format("{}: nothing was captured", link_.name())));
        report_progress(true);
        out_.levels = whole_.levels();
        out_.flagged_overflows = drive_->overflows();
        out_.flagged_underflows = drive_->underflows();
        keeper_->finish(out_);
        return std::move(out_);
    }

    Link& link_;
    const CaptureOrder& order_;
    const CaptureHooks& hooks_;
    double rate_;
    ChannelLevels since_progress_, whole_;
    std::optional<LinkDrive> drive_;
    std::optional<TakeKeeper> keeper_;
    CaptureOutcome out_;
    std::uint64_t captured_ = 0, last_frame_ = 0;
    std::size_t next_step_ = 0, next_turn_ = 0;
    Clock::time_point last_progress_{};
};

}  // namespace

double capture_duration_s(const CaptureOrder& order, const Link& link) {
    if (order.duration_s) return *order.duration_s;
    if (!order.knob_script.empty()) return order.knob_script.back().time_s + order.step_s;
    const double begin_s = steps_begin_s(order, link);
    if (!order.take.volume_steps.empty())
        return step_start_s(order, link, order.take.volume_steps.size());
    if (link.ends_by_itself()) return std::numeric_limits<double>::infinity();
    const double natural_s = order.plays_tone ? natural_duration_s(order.take.tone->waveform) : 0.0;
    return natural_s > 0 ? begin_s + natural_s + tail_s : usual_duration_s;
}

CaptureOutcome run_capture(Link& link, const CaptureOrder& order, const CaptureHooks& hooks) {
    return Session(link, order, hooks).run();
}

}  // namespace hushtrace
