#pragma once
#include <algorithm>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

namespace hushtrace {

/// A stretch of sound. A frame is one sample of each channel; a sample of ±1.0 is full scale.
///
/// Planar: the samples of one channel lie next to each other. Double precision, since 24-bit takes are analysed
/// down to harmonics 120 dB below the tone.
class Block {
public:
    Block() = default;
    Block(std::size_t channels, std::size_t frames)
        : channels_(channels), frames_(frames), samples_(channels * frames) {}

    std::size_t channels() const noexcept { return channels_; }
    std::size_t frames() const noexcept { return frames_; }
    bool empty() const noexcept { return frames_ == 0; }

    std::span<double> channel(std::size_t index) { return {samples_.data() + index * frames_, frames_}; }
    std::span<const double> channel(std::size_t index) const {
        return {samples_.data() + index * frames_, frames_};
    }

    /// Discards the content; all samples are 0 afterwards.
    void reset(std::size_t channels, std::size_t frames) {
        channels_ = channels;
        frames_ = frames;
        samples_.assign(channels * frames, 0.0);
    }

private:
    std::size_t channels_ = 0;
    std::size_t frames_ = 0;
    std::vector<double> samples_;
};

/// Anything that yields sound block by block: a take file, a capture in memory.
class BlockReader {
public:
    virtual ~BlockReader() = default;
    virtual double sample_rate_hz() const = 0;
    virtual std::size_t channels() const = 0;
    /// Reads the next frames, at most `most`, into `into` (resized to what came). Returns how many; 0 at the end.
    /// Throws Error: file_unreadable when the medium fails, not_finite for a NaN or an infinity.
    virtual std::size_t read(Block& into, std::size_t most) = 0;
};

/// A capture held in memory, read like a file.
class MemoryReader final : public BlockReader {
public:
    MemoryReader(Block sound, double sample_rate_hz) : sound_(std::move(sound)), rate_(sample_rate_hz) {}
    double sample_rate_hz() const override { return rate_; }
    std::size_t channels() const override { return sound_.channels(); }
    std::size_t read(Block& into, std::size_t most) override {
        const std::size_t count = std::min(most, sound_.frames() - position_);
        into.reset(sound_.channels(), count);
        for (std::size_t c = 0; c < sound_.channels(); ++c) {
            const auto from = sound_.channel(c).subspan(position_, count);
            std::copy(from.begin(), from.end(), into.channel(c).begin());
        }
        position_ += count;
        return count;
    }

private:
    Block sound_;
    double rate_;
    std::size_t position_ = 0;
};

}  // namespace hushtrace
