#include "follow_session.hpp"

#include <fmt/format.h>

#include <cmath>
#include <utility>

namespace hushtrace {
namespace {

FollowWish wish_of(const LiveOrder& order, double sample_rate_hz, bool waits) {
    FollowWish wish;
    wish.what = order.follow;
    wish.job = order.job;
    wish.job_folder = order.capture.job_folder;
    wish.take = order.capture.take;
    wish.sample_rate_hz = sample_rate_hz;
    wish.waits = waits;
    return wish;
}

}  // namespace

FollowSession::FollowSession(const LiveOrder& order, double sample_rate_hz, bool waits)
    : rate_(sample_rate_hz), task_(wish_of(order, sample_rate_hz, waits)), recent_(order.capture.take.channels.size(), sample_rate_hz, remembers_s),
      keeper_(order.capture, sample_rate_hz, recent_), armed_(order.armed) {}

void FollowSession::add(const Block& block, std::uint64_t breaks) {
    const double from_s = heard_s();
    task_.add(block);
    recent_.add(block);
    frames_ += block.frames();
    if (breaks > std::exchange(breaks_, breaks)) keeper_.lost(from_s, heard_s());
    count_overloads(block);
    if (const auto jump = armed_ ? task_.jump() : std::nullopt) {
        events_.emplace_back("jump", fmt::format("{}; kept in {:.0f} s, with what comes until then", jump->text, KeptTakes::after_s));
        keeper_.keep_later(jump->time_s, "jump: " + jump->text);
    }
    keeper_.go_on(heard_s());
}

void FollowSession::count_overloads(const Block& block) {
    constexpr double rail = 0.999, apart_s = 0.2;
    bool full = false;
    for (std::size_t c = 0; c < block.channels(); ++c)
        for (const double sample : block.channel(c)) full = full || std::abs(sample) >= rail;
    if (!full) return;
    if (overloads_ == 0 || heard_s() - overload_s_ > apart_s) ++overloads_;
    if (overload_s_ == 0)
        events_.emplace_back("fault", "the interface runs against its end: turn its input down, or put a pad before it");
    overload_s_ = heard_s();
}

void FollowSession::arm() {
    armed_ = !armed_;
    if (armed_) task_.watch_from_now();
    events_.emplace_back("mark", armed_ ? "armed: a jump of the level stores the last minute" : "no longer armed");
}

std::vector<std::pair<std::string, std::string>> FollowSession::take_events() {
    auto out = std::exchange(events_, {});
    for (auto& one : task_.news()) out.push_back(std::move(one));
    for (auto& one : keeper_.news()) out.push_back(std::move(one));
    return out;
}

void FollowSession::fill(LiveSnapshot& into) const {
    into.follow = task_.now();
    into.headline = task_.headline();
    into.next = task_.next();
    into.armed = armed_;
    into.kept = keeper_.kept();
    into.overloads = overloads_;
}

}  // namespace hushtrace
