#include "hushtrace/live/jump_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double memory_s = 10.0, frame_s = 0.025, crackle_frame_s = 0.005;
constexpr double holds_s = 0.05, rises_within_s = 1.0;
constexpr double faintest = 1e-14;   // mean square, -137 dBFS: below it nothing is heard or counts

/// Which of those that rise at once is told: the later goes before the earlier.
enum class Told { high_sound, all_sound, clicks, followed };

struct Rise {
    double time_s = 0, rise_db = 0;
    bool lasts = true;  ///< else quiet lies between: clicks
};

/// A level over time against what it usually is.
class Stream {
public:
    /// usual_share  the quantile of the newest ten seconds that is usual
    Stream(double every_s, double usual_share, bool again) : every_s_(every_s), usual_share_(usual_share), again_(again) {}

    /// When a jump began, and how high it is.
    std::optional<Rise> add(double time_s, double power, bool can_jump = true) {
        power = std::max(power, faintest);
        const auto found = can_jump ? judge(time_s, power) : std::nullopt;
        if (!can_jump) low_at_ = time_s, above_since_.reset();
        newest_.push_back(power);
        // what the last second holds is not yet usual
        if (static_cast<double>(newest_.size()) * every_s_ > rises_within_s) {
            settled_.push_back(newest_.front());
            newest_.pop_front();
        }
        if (static_cast<double>(settled_.size()) * every_s_ > memory_s) settled_.pop_front();
        if (++since_usual_ * every_s_ >= 0.25) find_usual();
        return found;
    }

private:
    std::optional<Rise> judge(double time_s, double power) {
        if (usual_ <= 0.0 || static_cast<double>(settled_.size()) * every_s_ < JumpWatch::settling_s - rises_within_s) return std::nullopt;
        const double rise_db = decibels_from_power(power / usual_);
        if (again_) return judge_crackle(time_s, rise_db);
        if (rise_db < JumpWatch::least_rise_db) {
            // only from here on is it a rise within a second
            if (rise_db < 0.5 * JumpWatch::least_rise_db) low_at_ = time_s;
            above_since_.reset();
            return std::nullopt;
        }
        if (!above_since_) above_since_ = time_s, highest_ = 0.0;
        highest_ = std::max(highest_, rise_db);
        if (!low_at_ || *above_since_ - *low_at_ > rises_within_s || time_s - *above_since_ + every_s_ < holds_s) return std::nullopt;
        return Rise{*above_since_, highest_, true};
    }
    std::optional<Rise> judge_crackle(double time_s, double rise_db) {
        if (rise_db < JumpWatch::least_rise_db) return std::nullopt;
        while (!crackles_.empty() && time_s - crackles_.front().first > rises_within_s) crackles_.pop_front();
        crackles_.emplace_back(time_s, rise_db);
        if (crackles_.size() < 3 || time_s - crackles_.front().first < holds_s) return std::nullopt;
        double highest = 0;
        for (const auto& one : crackles_) highest = std::max(highest, one.second);
        return Rise{crackles_.front().first, highest, is_loud_since(crackles_.front().first, time_s)};
    }
    /// Whether most of what came since then stands out by half of what a jump does.
    bool is_loud_since(double since_s, double time_s) const {
        const auto frames = std::min(newest_.size(), static_cast<std::size_t>(std::llround((time_s - since_s) / every_s_)));
        const double loud = usual_ * power_from_decibels(0.5 * JumpWatch::least_rise_db);
        const auto first = newest_.end() - static_cast<std::ptrdiff_t>(frames);
        const auto count = std::count_if(first, newest_.end(), [loud](double one) { return one > loud; });
        return 2 * static_cast<std::size_t>(count) > frames;
    }
    void find_usual() {
        since_usual_ = 0;
        if (settled_.empty()) return;
        sorted_.assign(settled_.begin(), settled_.end());
        const auto at = sorted_.begin() + static_cast<std::ptrdiff_t>(usual_share_ * static_cast<double>(sorted_.size() - 1));
        std::nth_element(sorted_.begin(), at, sorted_.end());
        usual_ = *at;
    }

    double every_s_, usual_share_;
    bool again_;
    std::deque<double> newest_, settled_;
    std::vector<double> sorted_;
    double usual_ = 0, highest_ = 0;
    int since_usual_ = 0;
    std::optional<double> low_at_, above_since_;
    std::deque<std::pair<double, double>> crackles_;
};

/// Mean squares of frames, one after the other.
struct Frames {
    std::size_t length = 1, filled = 0;
    double sum = 0;
    std::optional<double> next(double square) {
        sum += square;
        if (++filled < length) return std::nullopt;
        filled = 0;
        return std::exchange(sum, 0.0) / static_cast<double>(length);
    }
};

}  // namespace

struct JumpWatch::State {
    State(std::size_t channels, double rate) : sample_rate_hz(rate) {
        for (std::size_t c = 0; c < channels; ++c) {
            Ear ear{{}, {}, Stream(frame_s, 0.5, false), Stream(crackle_frame_s, 0.99, true), std::nullopt};
            ear.all.length = std::max<std::size_t>(1, static_cast<std::size_t>(frame_s * rate));
            ear.quick.length = std::max<std::size_t>(1, static_cast<std::size_t>(crackle_frame_s * rate));
            ears.push_back(std::move(ear));
        }
    }
    struct Ear {
        Frames all, quick;
        Stream level, crackle;
        std::optional<Stream> followed;
        double low = 0, before = 0;
    };
    void tell(const std::optional<Rise>& found, Told which, const std::string& what, double now_s) {
        if (!found || newest || found->time_s < counts_from_s || (taken_s && found->time_s - *taken_s < JumpWatch::quiet_s)) return;
        if (waiting && which <= waiting->which) return;
        const double due_s = which == Told::followed ? now_s : waiting ? waiting->due_s : now_s + JumpWatch::waits_s;
        const double began_s = waiting ? std::min(waiting->jump.time_s, found->time_s) : found->time_s;   // long windows see it late
        waiting = Waiting{Jump{began_s, found->rise_db, fmt::format("{} rose by {:.0f} dB at once", what, found->rise_db)}, which, due_s};
    }
    void pass_on(double now_s) {
        if (!waiting || now_s < waiting->due_s) return;
        newest = waiting->jump;
        waiting.reset();
    }
    double now_s() const { return static_cast<double>(frames) / sample_rate_hz; }

    struct Waiting {
        Jump jump;
        Told which;
        double due_s;
    };

    double sample_rate_hz;
    std::uint64_t frames = 0;
    std::vector<Ear> ears;
    double counts_from_s = 0;
    std::optional<double> taken_s, last_reading_s;
    std::optional<Waiting> waiting;
    std::optional<Jump> newest;
};

JumpWatch::JumpWatch(std::size_t channels, double sample_rate_hz) {
    if (channels == 0 || !(sample_rate_hz > 0.0)) throw Error(ErrorKind::invalid_request, "there is no sound to watch");
    state_ = std::make_unique<State>(channels, sample_rate_hz);
}
JumpWatch::~JumpWatch() = default;
JumpWatch::JumpWatch(JumpWatch&&) noexcept = default;
JumpWatch& JumpWatch::operator=(JumpWatch&&) noexcept = default;

void JumpWatch::add(const Block& block) {
    State& s = *state_;
    require_followable(block, s.ears.size());
    const double dc_share = std::min(1.0, 2.0 * 3.14159265358979 * 10.0 / s.sample_rate_hz);   // below 10 Hz nothing is heard
    for (std::size_t i = 0; i < block.frames(); ++i, ++s.frames)
        for (std::size_t c = 0; c < s.ears.size(); ++c) {
            State::Ear& ear = s.ears[c];
            const double x = block.channel(c)[i];
            ear.low += dc_share * (x - ear.low);
            const double step = x - std::exchange(ear.before, x);
            if (const auto power = ear.all.next((x - ear.low) * (x - ear.low)))
                s.tell(ear.level.add(s.now_s() - frame_s, *power), Told::all_sound, "all sound", s.now_s());
            if (const auto power = ear.quick.next(step * step)) {
                const auto found = ear.crackle.add(s.now_s() - crackle_frame_s, *power);
                const bool lasts = found && found->lasts;
                s.tell(found, lasts ? Told::high_sound : Told::clicks, lasts ? "high-pitched sound" : "crackle: clicks", s.now_s());
            }
        }
    s.pass_on(s.now_s());
}

void JumpWatch::add(const FollowedPower& reading, const std::string& name) {
    State& s = *state_;
    const double every_s = s.last_reading_s ? reading.time_s - *s.last_reading_s : 0.0;
    s.last_reading_s = reading.time_s;
    if (!(every_s > 1e-4 && every_s < 1.0)) return;
    for (std::size_t c = 0; c < std::min(s.ears.size(), reading.mean_square.size()); ++c) {
        auto& followed = s.ears[c].followed;
        if (!followed) followed.emplace(every_s, 0.5, false);
        s.tell(followed->add(reading.time_s, reading.mean_square[c].value, !reading.at_most[c]), Told::followed, name, reading.time_s);
    }
    s.pass_on(reading.time_s);
}

std::optional<Jump> JumpWatch::jump() {
    if (state_->newest) state_->taken_s = state_->newest->time_s, state_->waiting.reset();
    return std::exchange(state_->newest, std::nullopt);
}

void JumpWatch::watch_from_now() {
    State& s = *state_;
    s.counts_from_s = std::max(s.now_s(), s.last_reading_s.value_or(0.0));
    s.taken_s.reset();
    s.waiting.reset();
    s.newest.reset();
}

}  // namespace hushtrace
