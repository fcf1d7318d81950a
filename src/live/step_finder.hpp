#pragma once
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "hushtrace/measure/plateaus.hpp"
#include "hushtrace/measure/tone_track.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// A stretch in which the knob rested, as far as it is known by now.
struct Rest {
    double start_s = 0, end_s = 0;
    std::pair<double, double> part_s;  ///< its longest undisturbed part
    std::vector<double> level_ln;      ///< [channels] as a Plateau has them
};

/// Finds rests while the sound comes in: find_plateaus() over the last seconds, twice a frame.
class StepFinder {
public:
    /// [file channels] that are searched
    StepFinder(double sample_rate_hz, double tone_hz, std::vector<std::size_t> channels);

    enum class Change { none, began, merged };
    void add(const Block& block);
    /// What became of the rests since the last call, one change at a time: the last one began, or it became one with
    /// that before it.
    Change next_change();
    const std::vector<Rest>& rests() const { return rests_; }
    /// One of the same sound as the last, which begins now: its volume was changed without a trace.
    void repeat_last(double now_s);
    /// Whether the last rest lasts on.
    bool resting(double now_s) const;
    /// All plateaus since the first sample, as `gain` will find them.
    std::vector<Plateau> plateaus() const;

private:
    void search();
    bool muted(const Plateau& plateau) const;

    double rest_s_ = 0;
    std::vector<std::size_t> channels_;
    std::vector<ToneTracker> trackers_;
    std::size_t searched_ = 0;
    std::vector<Rest> rests_;
    std::size_t own_ = 0;  // the last rests, of the same sound as that before them
    std::vector<Change> changes_;
};

}  // namespace hushtrace
