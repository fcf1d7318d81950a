#include "step_finder.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double kRest = 0.5, kRestCycles = 15.0;       // [s], cycles of the tone
constexpr double kLookBack = 5.0, kLookBackFrames = 80; // [s]
constexpr double kMuted = 2.3;                          // 20 dB in natural units
constexpr double kOverlap = 0.1;                        // [s]

}  // namespace

StepFinder::StepFinder(double sample_rate_hz, double tone_hz, std::vector<std::size_t> channels)
    : rest_s_(std::max(kRest, kRestCycles / tone_hz)), channels_(std::move(channels)) {
    for (std::size_t c = 0; c < channels_.size(); ++c) trackers_.emplace_back(sample_rate_hz, tone_hz);
}

void StepFinder::add(const Block& block) {
    for (std::size_t i = 0; i < channels_.size(); ++i) trackers_[i].add(block.channel(channels_[i]));
    if (trackers_.empty() || trackers_[0].track().frames.size() < searched_ + 2) return;
    searched_ = trackers_[0].track().frames.size();
    search();
}

bool StepFinder::muted(const Plateau& plateau) const {
    if (rests_.empty()) return false;
    for (std::size_t c = 0; c < plateau.level_ln.size(); ++c)
        if (plateau.level_ln[c] > rests_.back().level_ln[c] - kMuted) return false;
    return true;
}

void StepFinder::search() {
    const ToneTrack& first = trackers_[0].track();
    const auto look_back = static_cast<std::size_t>(std::max(kLookBack / first.hop_s, kLookBackFrames));
    const std::size_t from = searched_ > look_back ? searched_ - look_back : 0;
    const double offset_s = static_cast<double>(from) * first.hop_s;
    std::vector<ToneTrack> tracks;
    for (const ToneTracker& tracker : trackers_) {
        const ToneTrack& whole = tracker.track();
        tracks.push_back({whole.sample_rate_hz, whole.tone_hz, whole.frame_s, whole.hop_s, {}});
        tracks.back().frames.assign(whole.frames.begin() + static_cast<std::ptrdiff_t>(from), whole.frames.end());
    }
    for (const Plateau& plateau : find_plateaus(tracks)) {
        const double start_s = plateau.start_s + offset_s, end_s = plateau.end_s + offset_s;
        const auto longest = plateau.longest_part_s();
        const std::pair part_s{longest.first + offset_s, longest.second + offset_s};
        if (!rests_.empty() && start_s < rests_.back().end_s - kOverlap) {
            Rest& last = rests_.back();
            if (end_s < last.start_s + kOverlap) continue;  // an older one
            if (rests_.size() > 1 && own_ == 0 && start_s < rests_[rests_.size() - 2].end_s - kOverlap) {
                rests_.pop_back();
                changes_.push_back(Change::merged);
            }
            Rest& now = rests_.back();
            now.end_s = end_s;
            now.part_s = {std::max(part_s.first, now.start_s), part_s.second};
            now.level_ln = plateau.level_ln;
            continue;
        }
        if (end_s - start_s < rest_s_ || muted(plateau)) continue;
        rests_.push_back({start_s, end_s, part_s, plateau.level_ln});
        own_ = 0;
        changes_.push_back(Change::began);
    }
}

StepFinder::Change StepFinder::next_change() {
    if (changes_.empty()) return Change::none;
    const Change change = changes_.front();
    changes_.erase(changes_.begin());
    return change;
}

void StepFinder::repeat_last(double now_s) {
    if (rests_.empty()) return;
    Rest again = rests_.back();
    rests_.back().end_s = std::min(rests_.back().end_s, now_s);
    again.start_s = now_s;
    again.end_s = now_s + 2 * kOverlap;
    rests_.push_back(again);
    ++own_;
}

bool StepFinder::resting(double now_s) const {
    if (rests_.empty()) return false;
    const ToneTrack& track = trackers_[0].track();
    return now_s - rests_.back().end_s < 2.5 * track.frame_s + 0.02;
}

std::vector<Plateau> StepFinder::plateaus() const {
    std::vector<ToneTrack> tracks;
    for (const ToneTracker& tracker : trackers_) tracks.push_back(tracker.track());
    return find_plateaus(tracks);
}

}  // namespace hushtrace
