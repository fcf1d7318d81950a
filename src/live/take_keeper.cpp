#include "take_keeper.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <system_error>
#include <utility>
#include <variant>

#include "hushtrace/job/job_folder.hpp"

namespace hushtrace {
namespace {

constexpr int most_attempts = 20;

/// The local time of so many seconds ago.
std::string time_text(double ago_s) {
    const std::time_t then = std::time(nullptr) - static_cast<std::time_t>(std::llround(ago_s));
    std::tm local{};
    localtime_r(&then, &local);
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
    options.tone_pauses = take.tone->burst_s.has_value();
    options.near_silence_played = std::holds_alternative<NearSilence>(take.tone->waveform);
    return options;
}

}  // namespace

TakeKeeper::TakeKeeper(const CaptureOrder& order, double sample_rate_hz, std::size_t channels)
    : folder_(order.job_folder), take_(order.take), rate_(sample_rate_hz) {
    take_.marks.clear();
    take_.faults.clear();
    began(0.0);
    for (int attempt = 0;; ++attempt) {
        const OpenedJob opened = open_job(folder_);
        take_.file = free_take_name(opened, order.name, order.suffix);
        file_ = opened.folder / take_.file;
        std::error_code ignored;
        std::filesystem::create_directories(file_.parent_path(), ignored);  // else the writer names the fault
        try {
            recorder_.emplace(file_, rate_, channels, fault_options(take_));
            return;
        } catch (const Error&) {
            const bool taken_meanwhile = std::filesystem::exists(file_, ignored);
            if (!taken_meanwhile || attempt == most_attempts) throw;
        }
    }
}

void TakeKeeper::began(double ago_s) { take_.recorded_at = time_text(ago_s); }

void TakeKeeper::enter_as_stopped() {
    Take entry = take_;
    mark(entry, TakeFault::stopped);
    enter(folder_, entry);
    entered_ = true;
}

void TakeKeeper::finish(CaptureOutcome& out) {
    TakeRecorder::Result stored = recorder_->finish();
    if (stored.failure && !out.failure) out.failure = stored.failure;
    out.frames = stored.frames;
    out.faults = std::move(stored.faults);
    take_.faults = out.faults.take_faults();
    if (out.flagged_overflows + out.flagged_underflows > 0) mark(take_, TakeFault::dropout);
    if (out.failure) mark(take_, TakeFault::stopped);
    const double stored_s = static_cast<double>(stored.frames) / rate_;
    std::erase_if(take_.marks, [stored_s](const Mark& one) { return one.time_s > stored_s; });
    out.take = take_;
    try {
        enter(folder_, take_);
    } catch (const Error& error) {  // the entry made at the start stands, and says that the take broke off
        if (!out.failure) out.failure = Error(ErrorKind::disk_failed, error.what());
    }
}

void TakeKeeper::discard() {
    recorder_.reset();
    std::error_code ignored;
    std::filesystem::remove(file_, ignored);
    if (entered_)
        change_job(folder_, [this](Job& job) {
            std::erase_if(job.takes, [this](const Take& one) { return one.file == take_.file; });
        });
}

}  // namespace hushtrace
