#pragma once
#include <algorithm>
#include <cstddef>
#include <optional>
#include <vector>

namespace hushtrace {

/// Median of the last magnitudes, renewed now and then: outliers and single events do not move it.
class RobustSpread {
public:
    RobustSpread(std::size_t memory, std::size_t renew_after) : memory_(memory), renew_after_(renew_after) {}
    void add(double magnitude) {
        if (values_.size() < memory_) {
            values_.push_back(magnitude);
        } else {
            values_[place_] = magnitude;
            place_ = (place_ + 1) % memory_;
        }
        if (++fresh_ >= renew_after_ || (values_.size() <= 64 && fresh_ >= 8)) renew();
    }
    std::size_t count() const { return values_.size(); }
    double median() const { return median_; }

private:
    void renew() {
        fresh_ = 0;
        sorted_ = values_;
        const auto middle = sorted_.begin() + static_cast<std::ptrdiff_t>(sorted_.size() / 2);
        std::nth_element(sorted_.begin(), middle, sorted_.end());
        median_ = *middle;
    }
    std::size_t memory_, renew_after_, place_ = 0, fresh_ = 0;
    double median_ = 0;
    std::vector<double> values_, sorted_;
};

/// Test scores of the recent past, with the instants that they belong to, so that a median can leave out what
/// an event itself caused.
class ScoreHistory {
public:
    /// keeps every `stride`-th score, at most `memory` of them
    ScoreHistory(std::size_t memory, std::size_t stride) : memory_(memory), stride_(stride) {}
    void add(std::size_t instant, double score) {
        if (++skipped_ < stride_) return;
        skipped_ = 0;
        if (entries_.size() < memory_) {
            entries_.push_back({instant, score});
        } else {
            entries_[place_] = {instant, score};
            place_ = (place_ + 1) % memory_;
        }
    }
    /// Median of the scores that lie more than `distance` instants from `instant`; nothing when fewer than
    /// `least` do.
    std::optional<double> median_away_from(std::size_t instant, std::size_t distance,
                                           std::size_t least) const {
        std::vector<double> scores;
        for (const auto& entry : entries_) {
            if (entry.instant + distance < instant || entry.instant > instant + distance)
                scores.push_back(entry.score);
        }
        if (scores.size() < std::max<std::size_t>(least, 1)) return std::nullopt;
        const auto middle = scores.begin() + static_cast<std::ptrdiff_t>(scores.size() / 2);
        std::nth_element(scores.begin(), middle, scores.end());
        return *middle;
    }

private:
    struct Entry {
        std::size_t instant;
        double score;
    };
    std::size_t memory_, stride_, skipped_ = 0, place_ = 0;
    std::vector<Entry> entries_;
};

}  // namespace hushtrace
