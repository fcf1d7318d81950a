#include "tone_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "hushtrace/live/gain_task.hpp"
#include "hushtrace/measure/clipping.hpp"

namespace hushtrace {
namespace {

constexpr double kHeard = 0.3, kLost = 0.5, kOther = 0.6;  // [s] of the tone, without it, of another
constexpr double kSameLine = 15.0;           // [Hz]: a marker's chirp moves on faster
constexpr double kStill = 0.01;              // relative change of the amplitude within the last windows
constexpr double kAudibleAmplitude = 0.003;  // -50 dBFS: a stray tone below that is no test tone

}  // namespace

void ToneWatch::Meter::add(std::span<const double> samples) {
    meter.add(samples);
    const auto& newest = meter.newest();
    if (!newest || newest->end_s == seen_s) return;
    seen_s = newest->end_s;
    amplitudes.push_back(newest->amplitude);
    // as far back as the windows share sound, and a little more
    if (static_cast<double>(amplitudes.size()) > meter.window_s() / meter.hop_s() + 2.0) amplitudes.pop_front();
}

bool ToneWatch::Meter::still(double thd_sd_ratio) const {
    if (amplitudes.empty()) return false;
    const auto [low, high] = std::minmax_element(amplitudes.begin(), amplitudes.end());
    return *high - *low < std::max(kStill, 4.0 * thd_sd_ratio) * *high;
}

bool ToneWatch::is_other(const ToneMeterReading& reading) const {
    // the moving reading of the frequency is less sure than a step's
    return reading.present && std::abs(reading.frequency_hz / tone_hz_ - 1.0) > 2.0 * tone_tolerance;
}

void ToneWatch::add(const Block& block) {
    bool heard = false;
    std::optional<double> other;
    for (Meter& one : meters_) {
        one.add(block.channel(one.file_channel));
        const auto& now = one.meter.newest();
        if (!now) continue;
        if (now->present && !is_other(*now)) heard = true;
        if (is_other(*now) && one.still(now->thd_sd_ratio)) other = now->frequency_hz;
        if (!now->present && now->strongest_share > 0.5 && now->largest > kAudibleAmplitude) other = now->strongest_hz;
    }
    const double block_s = static_cast<double>(block.frames()) / rate_;
    heard_for_s_ = heard ? heard_for_s_ + block_s : 0;
    missing_for_s_ = heard ? 0 : missing_for_s_ + block_s;
    look_for_others(block_s, other, heard);
    if (heard_for_s_ > kHeard) {
        if (!heard_once_ || lost_) news_.push_back(fmt::format("the {:g} Hz tone is there", tone_hz_));
        heard_once_ = true;
        lost_ = false;
    }
    if (heard_once_ && !lost_ && missing_for_s_ > kLost) {
        lost_ = true;
        news_.emplace_back("the tone is gone");
    }
}

void ToneWatch::look_for_others(double block_s, const std::optional<double>& other, bool heard) {
    const bool same = other && candidate_hz_ && std::abs(*other - *candidate_hz_) < kSameLine;
    candidate_for_s_ = same ? candidate_for_s_ + block_s : 0;
    if (!same) candidate_hz_ = other;
    if (heard || !other) other_hz_.reset();
    if (heard || !other || candidate_for_s_ < kOther) return;
    if (!other_hz_) news_.push_back(fmt::format("another tone plays: {:.1f} Hz, not {:g} Hz", *other, tone_hz_));
    other_hz_ = other;
}

bool ToneWatch::heard() const {
    return heard_for_s_ > kHeard;
}

LiveLevel ToneWatch::level_of(const Meter& meter) const {
    LiveLevel out;
    out.channel = meter.channel;
    out.level_dbfs = -std::numeric_limits<double>::infinity();
    const auto& now = meter.meter.newest();
    if (!now) return out;
    if (now->present) {
        out.level_dbfs = now->level_dbfs;
        const double percent = 100.0 * now->thd_ratio, sd_percent = 100.0 * now->thd_sd_ratio;
        out.tone = is_other(*now) ? ToneState::absent : judge_tone(percent, sd_percent, limit_percent_);
        if (!meter.still(now->thd_sd_ratio)) {
            out.tone = ToneState::moving;
        } else {
            out.thd_percent = percent;
            out.thd_sd_percent = sd_percent;
        }
    }
    if (now->pinned_share > kPinnedOverload) {
        out.tone = ToneState::overloaded;
        out.thd_percent.reset();
        out.thd_sd_percent.reset();
    }
    return out;
}

std::vector<LiveLevel> ToneWatch::levels() const {
    std::vector<LiveLevel> out;
    for (const Meter& meter : meters_) out.push_back(level_of(meter));
    return out;
}

std::vector<std::string> ToneWatch::take_news() {
    return std::exchange(news_, {});
}

}  // namespace hushtrace
