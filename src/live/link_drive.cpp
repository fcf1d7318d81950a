#include "link_drive.hpp"

#include <algorithm>
#include <chrono>
#include <exception>

namespace hushtrace {

PlaySupply LinkDrive::supply() {
    return [this](std::span<double> into) {
        std::fill(into.begin(), into.end(), 0.0);
        if (sound_ && begun_) sound_->render(into);
    };
}

void LinkDrive::start() {
    link_.start();
    Block unused;
    const auto frames = static_cast<std::uint64_t>(link_.settling_s() * link_.sample_rate_hz());
    for (std::uint64_t done = 0; done < frames;) {
        if (link_.transfer(supply(), unused).ended) break;
        done += unused.frames();
    }
    begun_ = true;
}

LinkNotice LinkDrive::transfer(Block& captured) {
    const LinkNotice notice = link_.transfer(supply(), captured);
    overflows_ += notice.input_overflow ? 1 : 0;
    underflows_ += notice.output_underflow ? 1 : 0;
    return notice;
}

void LinkDrive::fade_out() noexcept {
    if (!sound_ || !begun_) return;
    using Clock = std::chrono::steady_clock;
    try {
        sound_->release();
        Block unused;
        const auto deadline = Clock::now() + std::chrono::seconds(5);
        const auto tail = static_cast<std::uint64_t>(link_.output_delay_s() * link_.sample_rate_hz());
        std::uint64_t after = 0;
        while (Clock::now() < deadline && (!sound_->over() || after < tail)) {
            if (link_.transfer(supply(), unused).ended) return;
            if (sound_->over()) after += std::max<std::uint64_t>(unused.frames(), 1);
        }
    } catch (const std::exception&) {  // the capture is complete: that the device died just now changes nothing
    }
}

}  // namespace hushtrace
