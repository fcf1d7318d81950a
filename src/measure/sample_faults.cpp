#include "sample_faults.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace hushtrace {
namespace {

constexpr std::uint64_t rail_run = 3, hard_rail_run = 2, flat_run = 3, flat_occasions = 3;
constexpr std::uint64_t zero_run = 32, held_run = 64;
constexpr double hard_rail = 0.99999, flat_least = 0.9;
constexpr double zero_steps = 8, held_steps = 64;  // rms of the sound around a gap, in steps of its grid
constexpr double crown_steps = 4.0, resume_steps = 4.0;  // of the grid
constexpr double recent_s = 0.00025, recent_least = 8, longest_gap_s = 2.0;   // at least so many samples
constexpr std::size_t most_kept = 2000;

constexpr std::uint64_t window = 32, ring = 1U << 14U, furthest = 8192, least_replay = 64;
constexpr std::uint64_t base = 0x9E3779B97F4A7C15U;
constexpr std::size_t most_replays = 2000;

std::uint64_t mixed(std::uint64_t x) {  // SplitMix64's finaliser
    x = (x ^ (x >> 30U)) * 0xBF58476D1CE4E5B9U;
    x = (x ^ (x >> 27U)) * 0x94D049BB133111EBU;
    return x ^ (x >> 31U);
}

}  // namespace

void SampleRunFinder::keep(const SampleRun& run) {
    const bool gap = run.what == SampleRun::What::zeros || run.what == SampleRun::What::held;
    ++(gap ? gaps_ : overloads_);
    if ((gap ? kept_gaps_ : kept_overloads_)++ < most_kept) runs_.push_back(run);
}

void SampleRunFinder::end_rail_run() {
    const std::uint64_t needed = rail_peak_ >= hard_rail ? hard_rail_run : rail_run;
    if (rail_length_ >= needed)
        keep({SampleRun::What::overload, position_ - rail_length_, rail_length_, rail_peak_});
    rail_length_ = 0;
    rail_peak_ = 0;
}

void SampleRunFinder::end_equal_run(double next) {
    const std::uint64_t start = position_ - equal_length_;
    const double into = std::abs(last_ - before_run_), out = std::abs(next - last_);
    const double height = std::abs(last_);
    // A round crown with these steps beside it would have risen so far above the run's ends. Within some steps of the grid the
    // wave may well be whole: a bass tone's crown holds one code for some samples.
    const auto count = static_cast<double>(equal_length_);
    const double missing_crown = std::min(into, out) * 0.25 * count * count / (count + 1.0);
    if (equal_length_ >= flat_run && height >= flat_least && height < rail_ && missing_crown > crown_steps * grid_) {
        if (height > top_) {
            top_ = height;
            top_count_ = 0;
            tops_.clear();
        }
        if (height == top_) {
            const SampleRun run{SampleRun::What::flat_top, start, equal_length_, last_};
            if (++top_count_ < flat_occasions) {
                tops_.push_back(run);
            } else {
                for (const SampleRun& earlier : tops_) keep(earlier);
                tops_.clear();
                keep(run);
            }
        }
    }
    const bool zeros = last_ == 0 && equal_length_ >= zero_run,
               held = last_ != 0 && equal_length_ >= held_run;
    if (!(zeros || held) || height >= flat_least ||
        static_cast<double>(equal_length_) > longest_gap_s * rate_)
        return;
    // Sound before it, and a step back into sound after it, both well above what the grid alone would hold
    // still.
    const double steps = (zeros ? zero_steps : held_steps) * grid_;
    // After a held value sound goes on where it would be by then; a slow wave, or a dc with little upon it, by a step of the grid.
    if (grid_ > 0 && recent_power_ > steps * steps && start > 0 && next != last_ && (zeros || out > resume_steps * grid_)) {
        keep({zeros ? SampleRun::What::zeros : SampleRun::What::held, start, equal_length_, last_});
    }
}

void SampleRunFinder::step(double sample) {
    if (std::abs(sample) >= rail_) {
        ++rail_length_;
        rail_peak_ = std::max(rail_peak_, std::abs(sample));
    } else if (rail_length_ > 0) {
        end_rail_run();
    }
    if (position_ > 0 && sample == last_) {
        ++equal_length_;
    } else {
        if (equal_length_ >= flat_run) end_equal_run(sample);
        equal_length_ = 1;
        before_run_ = last_;
        if (position_ > 0) {
            const double difference = std::abs(sample - last_);
            grid_ = grid_ == 0 ? difference : std::min(grid_, difference);
        }
    }
    if (equal_length_ <= 2) recent_power_ += (sample * sample - recent_power_) / std::max(recent_least, recent_s * rate_);
    last_ = sample;
    ++position_;
}

void SampleRunFinder::add(std::span<const double> samples) {
    for (const double sample : samples) step(sample);
}

ReplayFinder::ReplayFinder(std::size_t) : history_(ring, 0), table_(ring) {
    for (std::uint64_t i = 0; i < window; ++i) power_ *= base;
}

void ReplayFinder::add(std::span<const double> frame) {
    std::uint64_t frame_hash = 0;
    for (const double sample : frame)
        frame_hash = mixed(frame_hash ^ std::bit_cast<std::uint64_t>(sample + 0.0));
    if (frame_hash != last_frame_hash_)
        changes_ = std::min(changes_ + 1, window);
    else
        changes_ = changes_ > 0 ? changes_ - 1 : 0;  // still sound that mostly holds a value says nothing
    last_frame_hash_ = frame_hash;
    const std::uint64_t oldest = history_[(position_ - window) % ring];
    history_[position_ % ring] = frame_hash;
    window_hash_ = window_hash_ * base + frame_hash - (position_ >= window ? power_ * oldest : 0);
    ++position_;

    if (match_lag_ > 0 && frame_hash == history_[(position_ - 1 - match_lag_) % ring]) {
        ++match_length_;
    } else {
        end_match(position_ - 1);
    }
    if (position_ < window) return;
    Entry& entry = table_[mixed(window_hash_) % ring];
    if (match_lag_ == 0 && entry.hash == window_hash_ && changes_ >= window / 2 &&
        position_ > entry.position && position_ - entry.position <= furthest && entry.position > 0) {
        match_lag_ = position_ - entry.position;
        match_length_ = window;
    }
    entry = {window_hash_, position_};
}

void ReplayFinder::end_match(std::uint64_t end) {
    if (match_lag_ > 0 && match_length_ >= least_replay && match_length_ <= match_lag_ + window &&
        replays_.size() < most_replays)
        replays_.push_back({end - match_length_, match_length_, match_lag_});
    match_lag_ = 0;
    match_length_ = 0;
}

}  // namespace hushtrace
