#include "hushtrace/live/capture_session.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <ctime>
#include <limits>
#include <memory>
#include <system_error>
#include <utility>

#include "hushtrace/job/job_folder.hpp"
#include "level_meter.hpp"
#include "take_recorder.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;

constexpr int most_attempts = 20;
constexpr double usual_duration_s = 10.0;
constexpr double tail_s = 0.5;  // captured behind a tone that ends
constexpr auto between_progress = std::chrono::milliseconds(100);

std::string now_text() {
    const std::time_t now = std::time(nullptr);
    std::tm local{};
    localtime_r(&now, &local);
    return fmt::format("{:%Y-%m-%dT%H:%M:%S}", local);
}

/// The take's entry, found by its file, is replaced or added.
void enter(const std::filesystem::path& folder, const Take& take) {
    change_job(folder, [&take](Job& job) {
        const auto found = std::find_if(job.takes.begin(), job.takes.end(),
                                        [&take](const Take& one) { return one.file == take.file; });
        if (found == job.takes.end())
            job.takes.push_back(take);
        else
            *found = take;
    });
}

void mark(Take& take, TakeFault fault) {
    if (!take.has(fault)) take.faults.push_back(fault);
}

CaptureFaultOptions fault_options(const Take& take) {
    CaptureFaultOptions options;
    if (!take.tone) return options;
    if (const auto* sine = std::get_if<Sine>(&take.tone->waveform))
        options.tone_frequency_hz = sine->frequency_hz;
    else if (const auto* stepped = std::get_if<Stepped>(&take.tone->waveform))
        options.tone_frequency_hz = stepped->frequency_hz;
    else
        options.look_for_tone = false;
    options.near_silence_played = std::holds_alternative<NearSilence>(take.tone->waveform);
    return options;
}

/// When the first volume step begins [s]: once the tone is there at its level.
double steps_begin_s(const CaptureOrder& order, const Link& link) {
    return order.plays_tone ? PlayedSound::lead_s + link.output_delay_s() : order.steps_begin_s;
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
        if (order.plays_tone) sound_.emplace(order.take.tone->waveform, order.max_level_dbfs, rate_);
        const double duration_s = capture_duration_s(order, link);
        last_frame_ = std::isfinite(duration_s) ? static_cast<std::uint64_t>(std::llround(duration_s * rate_))
                                                : std::numeric_limits<std::uint64_t>::max();
        out_.take = order.take;
        out_.take.marks.clear();
        out_.take.faults.clear();
        out_.sample_rate_hz = rate_;
        open_job(order.job_folder);  // its faults are told before anything is written
        out_.take.recorded_at = now_text();
    }

    CaptureOutcome run() {
        open_recorder();
        try {
            link_.start();
            settle();
            capture();
        } catch (const Error& error) {
            const bool broke_off =
                error.kind() == ErrorKind::device_failed || error.kind() == ErrorKind::disk_failed;
            if (!broke_off || captured_ == 0) discard_and_throw(error);
            out_.failure = error;
        }
        if (!out_.failure) fade_out();
        link_.stop();
        return finish();
    }

private:
    std::size_t channels() const { return link_.input_channels(); }
    double captured_s() const { return static_cast<double>(captured_) / rate_; }

    /// The take's file, under a name that neither the job nor another capture has taken meanwhile.
    void open_recorder() {
        for (int attempt = 0;; ++attempt) {
            const OpenedJob opened = open_job(order_.job_folder);
            out_.take.file = free_take_name(opened, order_.name, order_.suffix);
            file_ = opened.folder / out_.take.file;
            std::error_code ignored;
            std::filesystem::create_directories(file_.parent_path(),
                                                ignored);  // else the writer names the fault
            try {
                recorder_.emplace(file_, rate_, channels(), fault_options(out_.take));
                return;
            } catch (const Error&) {
                const bool taken_meanwhile = std::filesystem::exists(file_, ignored);
                if (!taken_meanwhile || attempt == most_attempts) throw;
            }
        }
    }

    PlaySupply supply() {
        return [this](std::span<double> into) {
            std::fill(into.begin(), into.end(), 0.0);
            if (sound_ && sound_begun_) sound_->render(into);
        };
    }

    /// Lets the link run in, playing silence and keeping nothing.
    void settle() {
        Block unused;
        const auto frames = static_cast<std::uint64_t>(link_.settling_s() * rate_);
        for (std::uint64_t done = 0; done < frames;) {
            if (link_.transfer(supply(), unused).ended) return;
            done += unused.frames();
        }
        sound_begun_ = true;
    }

    void capture() {
        sound_begun_ = true;
        turn_volume();
        Block block;
        while (captured_ < last_frame_ && !recorder_->failed()) {
            if (captured_ > 0 && hooks_.stop && hooks_.stop()) {
                out_.stopped_by_user = true;
                return;
            }
            const LinkNotice notice = link_.transfer(supply(), block);
            out_.flagged_overflows += notice.input_overflow ? 1 : 0;
            out_.flagged_underflows += notice.output_underflow ? 1 : 0;
            keep(block);
            if (notice.ended) return;
        }
    }

    void keep(Block& block) {
        if (block.empty()) return;
        if (captured_ + block.frames() > last_frame_) block = front_of(block, last_frame_ - captured_);
        if (captured_ == 0 && !link_.ends_by_itself()) enter_as_stopped();
        since_progress_.add(block);
        whole_.add(block);
        captured_ += block.frames();
        recorder_->add(std::exchange(block, Block()));
        if (hooks_.marks) {
            const auto made = hooks_.marks(captured_s());
            out_.take.marks.insert(out_.take.marks.end(), made.begin(), made.end());
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

    /// Until the capture has ended well, its entry says that it broke off. (A file can be captured again: a faulty
    /// one shall leave the job as it was.)
    void enter_as_stopped() {
        Take entry = out_.take;
        mark(entry, TakeFault::stopped);
        enter(order_.job_folder, entry);
        entered_ = true;
    }

    void turn_volume() {
        const auto& steps = order_.take.volume_steps;
        if (next_step_ >= steps.size()) return;
        const double due_s = step_start_s(next_step_);
        if (next_step_ > 0 && captured_s() < due_s) return;  // the first one stands from the beginning
        link_.set_volume(steps[next_step_]);
        if (!link_.turns_volume() && hooks_.turn_to) hooks_.turn_to(steps[next_step_]);
        ++next_step_;
    }
    double step_start_s(std::size_t step) const {
        return steps_begin_s(order_, link_) + static_cast<double>(step) * order_.step_s;
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
        progress.overloads = recorder_->overloads_so_far();
        progress.dropouts = recorder_->dropouts_so_far() + out_.flagged_overflows;
        if (next_step_ > 0) {
            progress.volume = order_.take.volume_steps[next_step_ - 1];
            progress.step_left_s = std::max(0.0, step_start_s(next_step_) - captured_s());
        }
        since_progress_.reset();
        hooks_.progress(progress);
    }

    /// The ramp down is heard to its end; what is captured meanwhile is not kept.
    void fade_out() noexcept {
        if (!sound_ || captured_ == 0) return;
        try {
            sound_->release();
            Block unused;
            const auto deadline = Clock::now() + std::chrono::seconds(5);
            const auto tail = static_cast<std::uint64_t>(link_.output_delay_s() * rate_);
            std::uint64_t after = 0;
            while (Clock::now() < deadline && (!sound_->over() || after < tail)) {
                if (link_.transfer(supply(), unused).ended) return;
                if (sound_->over()) after += std::max<std::uint64_t>(unused.frames(), 1);
            }
        } catch (const std::exception&) {  // the capture is complete: that the device died just now changes
                                           // nothing
        }
    }

    [[noreturn]] void discard_and_throw(const Error& error) {
        link_.stop();
        recorder_.reset();
        std::error_code ignored;
        std::filesystem::remove(file_, ignored);
        if (entered_)
            change_job(order_.job_folder, [this](Job& job) {
                std::erase_if(job.takes, [this](const Take& one) { return one.file == out_.take.file; });
            });
        throw error;
    }

    CaptureOutcome finish() {
        if (captured_ == 0)
            discard_and_throw(
                Error(ErrorKind::empty_input, fmt::format("{}: nothing was captured", link_.name())));
        report_progress(true);
        TakeRecorder::Result stored = recorder_->finish();
        if (stored.failure && !out_.failure) out_.failure = stored.failure;
        out_.frames = stored.frames;
        out_.levels = whole_.levels();
        out_.faults = std::move(stored.faults);
        out_.take.faults = out_.faults.take_faults();
        if (out_.flagged_overflows + out_.flagged_underflows > 0) mark(out_.take, TakeFault::dropout);
        if (out_.failure) mark(out_.take, TakeFault::stopped);
        const double stored_s = static_cast<double>(stored.frames) / rate_;
        std::erase_if(out_.take.marks, [stored_s](const Mark& one) { return one.time_s > stored_s; });
        try {
            enter(order_.job_folder, out_.take);
        } catch (
            const Error& error) {  // the entry made at the start stands, and says that the take broke off
            if (!out_.failure) out_.failure = Error(ErrorKind::disk_failed, error.what());
        }
        return std::move(out_);
    }

    Link& link_;
    const CaptureOrder& order_;
    const CaptureHooks& hooks_;
    double rate_;
    LevelMeter since_progress_, whole_;
    std::optional<PlayedSound> sound_;
    std::optional<TakeRecorder> recorder_;
    std::filesystem::path file_;
    CaptureOutcome out_;
    std::uint64_t captured_ = 0, last_frame_ = 0;
    std::size_t next_step_ = 0;
    bool sound_begun_ = false, entered_ = false;
    Clock::time_point last_progress_{};
};

}  // namespace

double capture_duration_s(const CaptureOrder& order, const Link& link) {
    if (order.duration_s) return *order.duration_s;
    const double begin_s = steps_begin_s(order, link);
    if (!order.take.volume_steps.empty())
        return begin_s + order.step_s * static_cast<double>(order.take.volume_steps.size());
    if (link.ends_by_itself()) return std::numeric_limits<double>::infinity();
    const double natural_s = order.plays_tone ? natural_duration_s(order.take.tone->waveform) : 0.0;
    return natural_s > 0 ? begin_s + natural_s + tail_s : usual_duration_s;
}

CaptureOutcome run_capture(Link& link, const CaptureOrder& order, const CaptureHooks& hooks) {
    return Session(link, order, hooks).run();
}

}  // namespace hushtrace
