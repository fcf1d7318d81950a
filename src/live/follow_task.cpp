#include "hushtrace/live/follow_task.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <deque>
#include <future>
#include <utility>

#include "follow_target.hpp"
#include "hushtrace/live/live_figures.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "settled_level.hpp"

namespace hushtrace {
namespace {

constexpr double looks_over_s = 4.0, looks_again_s = 8.0;
constexpr double least_power = 1e-22;     // -217 dBFS: digital silence
constexpr double speed_differs = 0.05;

/// A source that was found, with its follower, which has heard the sound that it was found in.
struct Found {
    FollowTarget target;
    std::unique_ptr<PowerFollower> follower;
    std::vector<FollowedPower> readings;
};

Block joined(const std::deque<Block>& blocks, std::size_t channels) {
    std::size_t frames = 0;
    for (const Block& one : blocks) frames += one.frames();
    Block out(channels, frames);
    std::size_t at = 0;
    for (const Block& one : blocks) {
        for (std::size_t c = 0; c < channels; ++c)
            std::copy(one.channel(c).begin(), one.channel(c).end(), out.channel(c).begin() + static_cast<std::ptrdiff_t>(at));
        at += one.frames();
    }
    return out;
}

std::optional<Found> find(const FollowAim& aim, const FollowWish& wish, const Block& sound) {
    std::optional<FollowTarget> target;
    if (aim.kind || aim.loudest) target = find_target(aim, wish, sound);
    if (!target && aim.target) target = *aim.target;
    if (!target) return std::nullopt;
    Found out{std::move(*target), nullptr, {}};
    out.follower = out.target.follower(wish.sample_rate_hz, sound.channels());
    if (auto* lines = dynamic_cast<LineFollower*>(out.follower.get())) lines->learn_others(sound);
    out.readings = out.follower->add(sound);
    return out;
}

}  // namespace

struct FollowTask::State {
    explicit State(const FollowWish& asked)
        : wish(asked), aim(read_aim(asked)), watch(std::max<std::size_t>(1, asked.take.channels.size()), asked.sample_rate_hz) {
        if (wish.take.channels.empty()) throw Error(ErrorKind::invalid_request, "there is no channel to follow a source in");
        if (aim.target) aim.target->follower(wish.sample_rate_hz, wish.take.channels.size());   // what can't be followed is refused now
        for (std::size_t c = 0; c < wish.take.channels.size(); ++c) scales.push_back(wish.job.volts_full_scale(wish.take, c));
    }

    void add(const Block& block) {
        watch.add(block);
        heard_frames += block.frames();
        if (found) {
            for (const FollowedPower& reading : found->follower->add(block)) take_in(reading);
            return;
        }
        waiting.push_back(block);
        if (search.valid()) {
            if (!wish.waits && search.wait_for(std::chrono::seconds(0)) != std::future_status::ready) return;
            end_search();
            return;
        }
        trim_waiting();
        const double rate = wish.sample_rate_hz;
        if (static_cast<double>(waiting_frames()) < looks_over_s * rate || static_cast<double>(heard_frames) < next_search_s * rate) return;
        first_frame = heard_frames - waiting_frames();
        searched_blocks = waiting.size();
        next_search_s = static_cast<double>(heard_frames) / rate + looks_again_s;
        search = std::async(std::launch::async, [this, sound = joined(waiting, block.channels())] { return find(aim, wish, sound); });
        if (wish.waits) end_search();
    }

    std::uint64_t waiting_frames() const {
        std::uint64_t frames = 0;
        for (const Block& one : waiting) frames += one.frames();
        return frames;
    }
    void trim_waiting() {
        const auto most = static_cast<std::uint64_t>(looks_over_s * wish.sample_rate_hz);
        for (std::uint64_t frames = waiting_frames(); !waiting.empty() && frames - waiting.front().frames() >= most; waiting.pop_front())
            frames -= waiting.front().frames();
    }

    void end_search() {
        found = search.get();
        ++searches;
        if (!found) return;
        const double offset_s = static_cast<double>(first_frame) / wish.sample_rate_hz;
        time_offset_s = offset_s;
        choose_channel();
        for (const FollowedPower& reading : found->readings) take_in(reading);
        found->readings.clear();
        for (std::size_t i = searched_blocks; i < waiting.size(); ++i)
            for (const FollowedPower& reading : found->follower->add(waiting[i])) take_in(reading);
        waiting.clear();
        events.emplace_back("started", fmt::format("following {}{}, {} channel", found->target.name,
                                     newest.frequency_hz ? fmt::format(" at {:.0f} Hz", *newest.frequency_hz) : "",
                                     to_word(wish.take.channels[channel])));
    }

    void choose_channel() {
        double most = -1;
        for (std::size_t c = 0; c < wish.take.channels.size(); ++c) {
            if (!carries_signal(wish.take.channels[c])) continue;
            double sum = 0;
            for (const FollowedPower& one : found->readings) sum += one.at_most[c] ? 0.0 : one.mean_square[c].value;
            if (sum > most) most = sum, channel = c;
        }
    }

    void take_in(const FollowedPower& reading) {
        FollowedPower shifted = reading;
        shifted.time_s += time_offset_s;
        watch.add(shifted, found->target.name);
        const Reading& power = reading.mean_square[channel];
        LevelNow now{shifted.time_s, std::nullopt, std::nullopt, reading.at_most[channel], reading.frequency_hz};
        if (power.value > least_power) {
            now.level_db = dbfs_from_mean_square(power.value);
            if (scales[channel]) now.level_db = dbv_from_dbfs(*now.level_db, *scales[channel]);
            if (!now.at_most) now.sd_db = 10.0 / std::log(10.0) * power.sd / power.value;
        }
        newest = now;
        settled.add(now);
        steady = settled.steady();
        if (!steady) return;
        if (wants_start && !steady->at_most) {
            start = steady;
            wants_start = false;
            lowest = steady;
            if (asked_start) events.emplace_back("reference", fmt::format("the start is now {:.1f} {}", *start->level_db, unit()));
        }
        if (start && (!lowest || *steady->level_db < *lowest->level_db)) lowest = steady;
    }

    const char* unit() const { return scales[channel] ? "dBV" : "dBFS"; }
    std::optional<double> speed_change() const {
        if (!found || !found->target.with_engine || !newest.frequency_hz || !start || !start->frequency_hz) return std::nullopt;
        return *newest.frequency_hz / *start->frequency_hz - 1.0;
    }
    bool speed_is_off() const { return std::abs(speed_change().value_or(0.0)) > speed_differs; }

    FollowWish wish;
    FollowAim aim;
    JumpWatch watch;
    std::vector<std::optional<double>> scales;
    std::uint64_t heard_frames = 0, first_frame = 0;
    std::deque<Block> waiting;           // sound that nothing follows yet
    std::size_t searched_blocks = 0, searches = 0;
    double next_search_s = 0, time_offset_s = 0;
    std::optional<Found> found;
    std::size_t channel = 0;
    LevelNow newest;
    SettledLevel settled;
    std::optional<LevelNow> steady, start, lowest;
    bool wants_start = true, asked_start = false;
    std::vector<std::pair<std::string, std::string>> events;   // kind, text
    std::future<std::optional<Found>> search;   // last: its thread uses aim and wish, and is waited for first
};

FollowTask::FollowTask(const FollowWish& wish) : state_(std::make_unique<State>(wish)) {}
FollowTask::~FollowTask() = default;
FollowTask::FollowTask(FollowTask&&) noexcept = default;
FollowTask& FollowTask::operator=(FollowTask&&) noexcept = default;

void FollowTask::add(const Block& block) {
    if (block.channels() != state_->wish.take.channels.size()) throw Error(ErrorKind::invalid_request, "the sound changed its number of channels");
    if (!block.empty()) state_->add(block);
}

LiveFollow FollowTask::now() const {
    const State& s = *state_;
    LiveFollow out;
    out.channel = s.wish.take.channels[s.channel];
    out.calibrated = s.scales[s.channel].has_value();
    out.looking = !s.found;
    if (!s.found) {
        out.name = s.aim.loudest ? "the loudest noise source" : s.aim.target ? s.aim.target->name : std::string(plain_name(*s.aim.kind));
        return out;
    }
    out.name = s.found->target.name;
    out.frequency_hz = s.newest.frequency_hz;
    out.level_db = s.newest.level_db;
    out.sd_db = s.newest.sd_db;
    out.at_most = s.newest.at_most && s.newest.level_db;
    out.steady = s.steady.has_value();
    if (s.start) out.start_db = s.start->level_db;
    if (s.lowest) {
        out.lowest_db = s.lowest->level_db;
        out.lowest_at_most = s.lowest->at_most;
    }
    if (out.level_db && out.start_db) {
        out.change_db = *out.level_db - *out.start_db;
        if (out.sd_db) out.change_sd_db = std::hypot(*out.sd_db, s.start->sd_db.value_or(0.0));
    }
    out.speed_change = s.speed_change();
    return out;
}

std::string FollowTask::headline() const {
    const State& s = *state_;
    const LiveFollow now = this->now();
    if (now.looking && s.searches == 0) return fmt::format("looking for {}", now.name);
    if (now.looking) return fmt::format("{}: not found yet", now.name);
    if (!now.level_db) return "digital silence";
    switch (followed(now)) {
        case Followed::quieter: return fmt::format("{:.1f} dB quieter than at the start{}", -*now.change_db, now.at_most ? ", or more" : "");
        case Followed::louder: return fmt::format("{:.1f} dB louder than at the start", *now.change_db);
        case Followed::same: return "as loud as at the start";
        case Followed::hidden: return now.start_db ? "covered by other noise" : fmt::format("{}: covered by other noise", now.name);
        case Followed::not_heard:
        case Followed::not_started: break;
    }
    return fmt::format("{}: finding its level", now.name);
}

std::string FollowTask::next() const {
    const State& s = *state_;
    const LiveFollow now = this->now();
    if (now.looking && s.searches == 0) return "touch nothing for some seconds: sound is being looked through";
    const char* const bring = "bring the vehicle into the state in which it is heard";
    if (now.looking) return bring;
    if (!now.level_db) return "nothing arrives: check leads and interface";
    if (s.speed_is_off())
        return fmt::format("engine {:.0f} % {} than at the start: bring it back, a whine's level goes with the speed",
                           100.0 * std::abs(*now.speed_change), *now.speed_change > 0 ? "faster" : "slower");
    if (!now.start_db) return now.at_most ? bring : "touch nothing for a second: the start is being read";
    if (!now.steady) return "hold still for a second";
    return "move one cable or press one ground, then hold still for a second";
}

void FollowTask::take_reference() {
    State& s = *state_;
    s.wants_start = s.asked_start = true;
    if (!s.steady || s.steady->at_most) return;
    s.start = s.lowest = s.steady;
    s.wants_start = false;
    s.events.emplace_back("reference", fmt::format("the start is now {:.1f} {}", *s.start->level_db, s.unit()));
}

std::optional<Jump> FollowTask::jump() { return state_->watch.jump(); }
void FollowTask::watch_from_now() { state_->watch.watch_from_now(); }
std::vector<std::pair<std::string, std::string>> FollowTask::news() { return std::exchange(state_->events, {}); }

}  // namespace hushtrace
