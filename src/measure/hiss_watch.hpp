#pragma once
#include <cstddef>
#include <cstdint>
#include <deque>
#include <span>
#include <vector>

namespace hushtrace {

/// Watches a source's own hiss while it plays near-silence: when the source mutes its output, the hiss falls
/// at once to the set-up's floor and stays there.
///
/// Blocks of 20 ms of the eighth difference over some 1/44100 s, which passes the treble and takes 48 dB off
/// at 8 kHz and 89 dB at 4.3 kHz against its top, so that hum and whine stay out. A change counts where the
/// medians of the half seconds before and after differ by 6 dB or more and both half seconds are steady
/// within 3 dB. Limits: common practice, no source.
class HissWatch {
public:
    explicit HissWatch(double sample_rate_hz);
    void add(std::span<const double> samples);
    void finish() { end_change(); }

    struct Change {
        double time_s = 0, rise_db = 0;  ///< negative: the hiss fell
    };
    const std::vector<Change>& changes() const { return changes_; }

private:
    void judge();
    void end_change();

    std::size_t block_;
    std::size_t lag_;
    double rate_, sum_ = 0;
    std::vector<double> recent_;  // the last eight lags and one sample, as a ring
    std::size_t place_ = 0;
    std::size_t in_block_ = 0;
    std::uint64_t blocks_ = 0;
    std::deque<double> levels_db_;
    Change largest_;
    std::vector<Change> changes_;
};

}  // namespace hushtrace
