#pragma once
#include <cstddef>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/live/live_snapshot.hpp"
#include "hushtrace/measure/tone_meter.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// How far a tone may lie from the stated one [ratio]: clocks differ by 200 ppm at most.
inline constexpr double tone_tolerance = 500e-6;

/// The stated tone in each channel as the moving figures have it, and whether it is there at all.
class ToneWatch {
public:
    ToneWatch(double sample_rate_hz, double tone_hz, double limit_thd_percent)
        : rate_(sample_rate_hz), tone_hz_(tone_hz), limit_percent_(limit_thd_percent) {}
    void watch(Channel channel, std::size_t file_channel) { meters_.emplace_back(channel, file_channel, rate_, tone_hz_); }
    void add(const Block& block);

    /// Heard for a third of a second by now.
    bool heard() const;
    /// It was heard, and is no more.
    bool lost() const { return lost_; }
    /// What plays in its place.
    std::optional<double> other_hz() const { return other_hz_; }
    /// [watched channels] level, THD and state of the tone; -infinity where there is none.
    std::vector<LiveLevel> levels() const;
    /// Sentences on what became of the tone since the last call.
    std::vector<std::string> take_news();

private:
    struct Meter {
        Meter(Channel of, std::size_t in, double rate, double tone_hz) : channel(of), file_channel(in), meter(rate, tone_hz) {}
        void add(std::span<const double> samples);
        bool still(double thd_sd_ratio) const;

        Channel channel;
        std::size_t file_channel;
        ToneMeter meter;
        double seen_s = -1;
        std::deque<double> amplitudes;  // of the last windows
    };
    bool is_other(const ToneMeterReading& reading) const;
    LiveLevel level_of(const Meter& meter) const;
    void look_for_others(double block_s, const std::optional<double>& other, bool heard);

    double rate_, tone_hz_, limit_percent_;
    std::vector<Meter> meters_;
    double heard_for_s_ = 0, missing_for_s_ = 0, candidate_for_s_ = 0;
    bool heard_once_ = false, lost_ = false;
    std::optional<double> other_hz_, candidate_hz_;
    std::vector<std::string> news_;
};

}  // namespace hushtrace
