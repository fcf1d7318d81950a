#pragma once
#include <cmath>
#include <cstddef>
#include <deque>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

/// Level of all sound over the last tenth of a second, and the largest sample of the last second, of each channel.
class LevelWatch {
public:
    LevelWatch(std::size_t channels, double sample_rate_hz) : channels_(channels), rate_(sample_rate_hz) {}

    void add(const Block& block) {
        if (block.empty()) return;
        Piece piece{block.frames(), std::vector<double>(channels_), std::vector<double>(channels_)};
        for (std::size_t c = 0; c < channels_; ++c)
            for (const double sample : block.channel(c)) {
                piece.squares[c] += sample * sample;
                piece.peak[c] = std::max(piece.peak[c], std::abs(sample));
            }
        frames_ += piece.frames;
        pieces_.push_back(std::move(piece));
        while (static_cast<double>(frames_ - pieces_.front().frames) >= rate_) {
            frames_ -= pieces_.front().frames;
            pieces_.pop_front();
        }
    }
    double rms_dbfs(std::size_t channel) const {
        double squares = 0;
        std::size_t frames = 0;
        for (auto piece = pieces_.rbegin(); piece != pieces_.rend() && static_cast<double>(frames) < 0.1 * rate_; ++piece) {
            squares += piece->squares[channel];
            frames += piece->frames;
        }
        return dbfs_from_mean_square(frames > 0 ? squares / static_cast<double>(frames) : 0.0);
    }
    double peak_dbfs(std::size_t channel) const {
        double peak = 0;
        for (const Piece& piece : pieces_) peak = std::max(peak, piece.peak[channel]);
        return decibels_from_amplitude(peak);
    }

private:
    struct Piece {
        std::size_t frames = 0;
        std::vector<double> squares, peak;  // [channel]
    };
    std::size_t channels_;
    double rate_;
    std::deque<Piece> pieces_;
    std::size_t frames_ = 0;
};

}  // namespace hushtrace
