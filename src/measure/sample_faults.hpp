#pragma once
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace hushtrace {

/// A run of samples that no sound would make.
struct SampleRun {
    enum class What { overload, flat_top, zeros, held };
    What what = What::overload;
    std::uint64_t start = 0, length = 0;  ///< [frames]
    double value = 0;
};

/// Finds runs at the converter's rail and runs of one value in one channel, sample by sample.
///
/// overload  three or more samples in a row at |x| >= rail (two at 0.99999)
/// flat_top  three or more equal samples at the channel's highest level, 0.9 or above, on three occasions: a
/// converter
///           whose end lies below the rail. A clipping source's tops are not equal to the last bit in a
///           capture.
/// zeros     32 or more exact zeros between sounds that are well above one step of the samples' own grid
/// held      64 or more equal samples, likewise
/// Lengths: common practice, no source; real sound of some steps' height repeats a value a few times at most.
class SampleRunFinder {
public:
    SampleRunFinder(double sample_rate_hz, double rail) : rate_(sample_rate_hz), rail_(rail) {}
    void add(std::span<const double> samples);
    void finish() { end_rail_run(); }
    const std::vector<SampleRun>& runs() const { return runs_; }
    std::uint64_t overload_count() const { return overloads_; }
    std::uint64_t gap_count() const { return gaps_; }

private:
    void step(double sample);
    void end_rail_run();
    void end_equal_run(double next);
    void keep(const SampleRun& run);

    double rate_, rail_;
    std::uint64_t position_ = 0;
    double last_ = 0;
    double before_run_ = 0;    // the sample before the present run of equal ones
    std::uint64_t equal_length_ = 0, rail_length_ = 0;
    double rail_peak_ = 0;
    double recent_power_ = 0;  // of the last quarter of a millisecond, before the present run
    double grid_ = 0;          // smallest difference seen between neighbours: one step of the samples
    double top_ = 0;           // highest level held for three samples
    std::uint64_t top_count_ = 0;
    std::vector<SampleRun> tops_;
    std::vector<SampleRun> runs_;
    std::uint64_t overloads_ = 0, gaps_ = 0;
    std::uint64_t kept_overloads_ = 0, kept_gaps_ = 0;
};

/// A stretch of all channels that repeats an earlier one bit for bit.
struct Replay {
    std::uint64_t start = 0, length = 0, lag = 0;  ///< [frames]
};

/// Finds stretches of 64 frames or more that repeat what was delivered up to 8192 frames before, as a device
/// does that hands over a buffer twice. A sound that is periodic to the last bit (a tone straight from a
/// file) repeats for longer than its own period, a buffer does not: such repeats are passed over.
class ReplayFinder {
public:
    explicit ReplayFinder(std::size_t channels);
    /// One frame, all channels.
    void add(std::span<const double> frame);
    void finish() { end_match(position_); }
    const std::vector<Replay>& replays() const { return replays_; }

private:
    void end_match(std::uint64_t end);   ///< the frame after the last that matched
    struct Entry {
        std::uint64_t hash = 0, position = 0;
    };
    std::vector<std::uint64_t> history_;  // hashes of single frames, as a ring
    std::vector<Entry> table_;            // where a window of that hash ended last
    std::uint64_t position_ = 0, window_hash_ = 0, power_ = 1;
    std::uint64_t match_lag_ = 0, match_length_ = 0;
    std::uint64_t last_frame_hash_ = 0, changes_ = 0;
    std::vector<Replay> replays_;
};

}  // namespace hushtrace
