#include "kept_takes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <system_error>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "take_keeper.hpp"

namespace hushtrace {
namespace {

constexpr double marks_remembered_s = 120.0, bytes_a_sample = 3.0, megabyte = 1e6;

std::optional<double> free_megabytes(const std::filesystem::path& folder) {
    std::error_code fault;
    const auto space = std::filesystem::space(folder, fault);
    if (fault) return std::nullopt;
    return static_cast<double>(space.available) / megabyte;
}

std::string in_words(double megabytes) {
    return megabytes >= 1000.0 ? fmt::format("{:.0f} GB", megabytes / 1000.0) : fmt::format("{:.0f} MB", megabytes);
}

/// A minute of sound is a hundred times what a session uses at once; when it is freed it lies in pieces between what is not, and glibc keeps them.
void give_free_memory_back() {
#ifdef __GLIBC__
    ::malloc_trim(0);
#endif
}

}  // namespace

KeptTakes::KeptTakes(const CaptureOrder& order, double sample_rate_hz, const RecentSound& sound)
    : order_(order), rate_(sample_rate_hz), sound_(sound), thread_([this] { work(); }) {}

KeptTakes::~KeptTakes() {
    {
        const std::lock_guard lock(mutex_);
        ending_ = true;
    }
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
}

void KeptTakes::mark(double time_s, const std::string& text) {
    const std::lock_guard lock(mutex_);
    std::erase_if(marks_, [time_s](const Mark& one) { return one.time_s < time_s - marks_remembered_s; });
    marks_.push_back({time_s, text});
}

void KeptTakes::lost(double from_s, double to_s) {
    const std::lock_guard lock(mutex_);
    std::erase_if(losses_, [from_s](const auto& one) { return one.second < from_s - marks_remembered_s; });
    losses_.emplace_back(from_s, to_s);
}

void KeptTakes::queue(double end_s) {
    const std::lock_guard lock(mutex_);
    if (waiting_.size() > 2) {
        news_.emplace_back("fault", "not kept: the disk is still busy with the last ones");
        return;
    }
    waiting_.push_back(static_cast<std::uint64_t>(std::llround(end_s * rate_)));
    changed_.notify_all();
}

void KeptTakes::keep(double now_s) {
    if (now_s > 0.0) queue(now_s);
}

void KeptTakes::keep_later(double moment_s, const std::string& text) {
    mark(moment_s, text);
    if (!due_s_) due_s_ = moment_s + after_s;
}

void KeptTakes::go_on(double now_s) {
    if (!due_s_ || now_s < *due_s_) return;
    due_s_.reset();
    queue(now_s);
}

void KeptTakes::finish(double now_s) {
    if (due_s_ && now_s > 0.0) queue(now_s);
    due_s_.reset();
    {
        const std::lock_guard lock(mutex_);
        ending_ = true;
    }
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
}

std::size_t KeptTakes::kept() const {
    const std::lock_guard lock(mutex_);
    return kept_;
}

std::vector<std::pair<std::string, std::string>> KeptTakes::news() {
    const std::lock_guard lock(mutex_);
    return std::exchange(news_, {});
}

void KeptTakes::work() {
    for (;;) {
        std::size_t number = 0;
        std::uint64_t end_frame = 0;
        {
            std::unique_lock lock(mutex_);
            changed_.wait(lock, [this] { return ending_ || !waiting_.empty(); });
            if (waiting_.empty()) return;   // what still waits is stored first
            end_frame = waiting_.front();
            number = kept_ + 1;
        }
        std::pair<std::string, std::string> told;
        try {
            told = store(number, end_frame);
        } catch (const std::exception& fault) {
            told = {"fault", fmt::format("not kept: {}", fault.what())};
        }
        give_free_memory_back();
        const std::lock_guard lock(mutex_);
        waiting_.pop_front();
        if (told.first == "kept") ++kept_;
        news_.push_back(std::move(told));
    }
}

std::pair<std::string, std::string> KeptTakes::store(std::size_t number, std::uint64_t end_frame) {
    if (number > most_takes) return {"fault", fmt::format("not kept: {} takes are stored already; end and start live again for more", most_takes)};
    std::uint64_t overtaken = 0;
    // by the second: handed over and let go one by one, so that a minute is in memory once, and its places fit the next one
    std::deque<Block> sound = sound_.parts_until(end_frame, std::max<std::size_t>(1, static_cast<std::size_t>(rate_)), &overtaken);
    if (sound.empty()) return {"fault", "not kept: the sound was gone before the disk was ready"};
    const std::size_t channels = sound.front().channels();
    std::size_t frames = 0;
    for (const Block& part : sound) frames += part.frames();
    const double need_mb = static_cast<double>(frames * channels) * bytes_a_sample / megabyte;
    const auto free_mb = free_megabytes(order_.job_folder);
    if (free_mb && *free_mb < need_mb + least_free_mb) return {"fault", fmt::format("not kept: the disk has only {} left", in_words(*free_mb))};

    CaptureOrder order = order_;
    order.name = fmt::format("kept-{}", number);
    while (std::filesystem::exists(order.job_folder / ("takes/" + order.name + order.suffix))) order.name = fmt::format("kept-{}", ++number);
    TakeKeeper keeper(order, rate_, channels);
    keeper.began(static_cast<double>(sound_.added() - end_frame + frames) / rate_);
    const double begin_s = static_cast<double>(end_frame - frames) / rate_, end_s = static_cast<double>(end_frame) / rate_;
    CaptureOutcome out;
    out.flagged_overflows = overtaken > 0 ? 1 : 0;
    {
        const std::lock_guard lock(mutex_);
        for (const Mark& one : marks_)
            if (one.time_s >= begin_s && one.time_s <= end_s) keeper.take().marks.push_back({one.time_s - begin_s, one.text});
        out.flagged_overflows += static_cast<std::uint64_t>(std::count_if(
            losses_.begin(), losses_.end(), [&](const auto& loss) { return loss.first < end_s && loss.second > begin_s; }));
    }
    keeper.enter_as_stopped();
    for (; !sound.empty(); sound.pop_front()) keeper.add(std::move(sound.front()));
    keeper.finish(out);
    if (out.failure) return {"fault", fmt::format("{} is cut short: {}", keeper.take().file, out.failure->what())};
    return {"kept", fmt::format("the last {:.0f} s are kept as {}{}{}", end_s - begin_s, keeper.take().file,
                                out.flagged_overflows > 0 ? "; sound was lost within them" : "",
                                free_mb ? fmt::format("; {} free on the disk", in_words(*free_mb - need_mb)) : "")};
}

}  // namespace hushtrace
