#include "hushtrace/live/recent_sound.hpp"

#include <algorithm>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {
constexpr std::size_t piece_frames = 4096;
constexpr double spare_s = 2.0;   // what may come while a copy is made, before it runs into it
}  // namespace

RecentSound::RecentSound(std::size_t channels, double sample_rate_hz, double seconds) : channels_(channels) {
    if (channels == 0 || !(sample_rate_hz > 0.0)) throw Error(ErrorKind::invalid_request, "there is no sound to remember");
    if (!(seconds > 0.0 && seconds <= most_seconds))
        throw Error(ErrorKind::invalid_request, "between 0 and 600 seconds of sound can be remembered");
    held_frames_ = std::max<std::size_t>(1, static_cast<std::size_t>(seconds * sample_rate_hz));
    ring_frames_ = held_frames_ + static_cast<std::size_t>(spare_s * sample_rate_hz) + piece_frames;
    ring_.assign(channels, std::vector<float>(ring_frames_, 0.0F));
}

void RecentSound::add(const Block& block) {
    if (block.channels() != channels_) throw Error(ErrorKind::invalid_request, "the sound changed its number of channels");
    // of a block longer than the ring its end is what counts
    const std::size_t skipped = block.frames() > ring_frames_ ? block.frames() - ring_frames_ : 0;
    const std::lock_guard lock(mutex_);
    const std::uint64_t begin = added_ + skipped;
    for (std::size_t c = 0; c < channels_; ++c) {
        const auto from = block.channel(c);
        auto at = static_cast<std::size_t>(begin % ring_frames_);
        for (std::size_t i = skipped; i < from.size(); ++i) {
            ring_[c][at] = static_cast<float>(from[i]);
            if (++at == ring_frames_) at = 0;
        }
    }
    added_ += block.frames();
}

std::uint64_t RecentSound::added() const {
    const std::lock_guard lock(mutex_);
    return added_;
}

Block RecentSound::copy() const {
    return copy_until(added());
}

std::pair<std::uint64_t, std::size_t> RecentSound::held(std::uint64_t end_frame) const {
    const std::uint64_t now = added(), oldest = now > ring_frames_ ? now - ring_frames_ : 0;
    if (end_frame > now) throw Error(ErrorKind::invalid_request, "that sound has not come yet");
    const std::uint64_t first = std::max(oldest, end_frame > held_frames_ ? end_frame - held_frames_ : 0);
    return {first, static_cast<std::size_t>(end_frame > first ? end_frame - first : 0)};
}

void RecentSound::copy_into(Block& out, std::uint64_t first, std::uint64_t* overtaken) const {
    for (std::size_t done = 0; done < out.frames(); done += piece_frames) {
        const std::size_t count = std::min(piece_frames, out.frames() - done);
        const std::lock_guard lock(mutex_);
        if (added_ > first + done + ring_frames_) {
            if (overtaken) *overtaken += count;
            continue;
        }
        for (std::size_t c = 0; c < channels_; ++c) {
            const auto to = out.channel(c);
            auto at = static_cast<std::size_t>((first + done) % ring_frames_);
            for (std::size_t i = 0; i < count; ++i) {
                to[done + i] = static_cast<double>(ring_[c][at]);
                if (++at == ring_frames_) at = 0;
            }
        }
    }
}

Block RecentSound::copy_until(std::uint64_t end_frame, std::uint64_t* overtaken) const {
    if (overtaken) *overtaken = 0;
    const auto [first, frames] = held(end_frame);
    Block out(channels_, frames);
    copy_into(out, first, overtaken);
    return out;
}

std::deque<Block> RecentSound::parts_until(std::uint64_t end_frame, std::size_t part_frames, std::uint64_t* overtaken) const {
    if (part_frames == 0) throw Error(ErrorKind::invalid_request, "a part of the sound has one frame or more");
    if (overtaken) *overtaken = 0;
    const auto [first, frames] = held(end_frame);
    std::deque<Block> parts;
    for (std::size_t done = 0; done < frames; done += part_frames)
        copy_into(parts.emplace_back(channels_, std::min(part_frames, frames - done)), first + done, overtaken);
    return parts;
}

}  // namespace hushtrace
