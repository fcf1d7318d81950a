#include "hushtrace/live/played_sound.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <type_traits>
#include <variant>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double ramp_s = 0.05, quiet_s = 0.5, release_s = 0.1;
constexpr double quiet_db = -40.0;
constexpr double rounding = 1e-9;  // a level asked for exactly at the limit is within it

/// 0 before `from`, 1 after `to`, a raised cosine between.
double raised_cosine(double at, double from, double to) {
    const double part = std::clamp((at - from) / (to - from), 0.0, 1.0);
    return 0.5 - 0.5 * std::cos(std::numbers::pi * part);
}

bool plays_once(const Waveform& waveform) {
    return std::holds_alternative<Sweep>(waveform) || std::holds_alternative<Stepped>(waveform);
}

double peak_dbfs(const Waveform& waveform) {
    return decibels_from_amplitude(peak_of(waveform));
}

Sine announcement_of(const Waveform& waveform) {
    Sine sine;
    if (const auto* stepped = std::get_if<Stepped>(&waveform)) sine.frequency_hz = stepped->frequency_hz;
    if (const auto* sweep = std::get_if<Sweep>(&waveform))
        sine.frequency_hz = std::sqrt(sweep->from_hz * sweep->to_hz);
    sine.level_dbfs = peak_dbfs(waveform) + quiet_db;
    return sine;
}

}  // namespace

void require_allowed(const Waveform& waveform, double max_level_dbfs, double sample_rate_hz) {
    if (!(max_level_dbfs <= 0.0) || !std::isfinite(max_level_dbfs))
        throw Error(ErrorKind::invalid_request, "--max-level: the loudest there is is 0 dBFS");
    const ToneGenerator checked(waveform, sample_rate_hz);
    const double excess_db = peak_dbfs(waveform) - max_level_dbfs;
    if (excess_db <= rounding) return;
    throw Error(
        ErrorKind::invalid_request,
        fmt::format(
            "--level: this {} peaks at {:.1f} dBFS, above the {:.1f} dBFS that are allowed; lower it by "
            "{:.1f} dB, or allow more with --max-level {:.1f} once the speakers are disconnected",
            tone_kind_word(waveform), peak_dbfs(waveform), max_level_dbfs, std::ceil(10.0 * excess_db) / 10.0,
            std::ceil(10.0 * peak_dbfs(waveform)) / 10.0));
}

Waveform lowered_to(Waveform waveform, double max_level_dbfs) {
    const double excess_db = peak_dbfs(waveform) - max_level_dbfs;
    if (!(excess_db > 0)) return waveform;
    std::visit(
        [excess_db](auto& one) {
            using Kind = std::decay_t<decltype(one)>;
            if constexpr (std::is_same_v<Kind, Stepped> || std::is_same_v<Kind, TwoTone>) {
                for (double& level_dbfs : one.levels_dbfs) level_dbfs -= excess_db;
            } else if constexpr (!std::is_same_v<Kind, NearSilence>) {
                one.level_dbfs -= excess_db;
            }
        },
        waveform);
    return waveform;
}

PlayedSound::PlayedSound(const Waveform& waveform, double max_level_dbfs, double sample_rate_hz,
                         std::optional<double> burst_s)
    : tone_(waveform, sample_rate_hz),
      announcement_(announcement_of(waveform), sample_rate_hz),
      rate_(sample_rate_hz),
      allowed_peak_(amplitude_from_decibels(max_level_dbfs)),
      burst_s_(burst_s),
      once_s_(plays_once(waveform) ? natural_duration_s(waveform) : 0.0) {
    require_allowed(waveform, max_level_dbfs, sample_rate_hz);
    if (burst_s && once_s_ > 0)
        throw Error(ErrorKind::invalid_request, fmt::format("--burst: a {} plays once, without bursts", tone_kind_word(waveform)));
    if (burst_s && !(*burst_s >= shortest_burst_s && *burst_s <= longest_burst_s))
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--burst: {:g} s is not from {:g} to {:g} s", *burst_s, shortest_burst_s, longest_burst_s));
}

double PlayedSound::announced(double at_s) {
    if (at_s >= quiet_s) return 0.0;
    double sample = 0.0;
    announcement_.render({&sample, 1});
    return sample * raised_cosine(at_s, 0.0, ramp_s) * (1.0 - raised_cosine(at_s, quiet_s - ramp_s, quiet_s));
}

double PlayedSound::gain(double at_s) const {
    if (once_s_ > 0)
        return raised_cosine(at_s, 0.0, ramp_s) * (1.0 - raised_cosine(at_s, once_s_ - ramp_s, once_s_));
    return raised_cosine(at_s, 0.0, ramp_s) * burst_gain(at_s) *
           amplitude_from_decibels(quiet_db * (1.0 - raised_cosine(at_s, quiet_s, lead_s)));
}

/// 0 dB in a burst, 40 dB down between two, both ramps within the pause.
double PlayedSound::burst_gain(double at_s) const {
    if (!burst_s_ || at_s < lead_s) return 1.0;
    const double within_s = std::fmod(at_s - lead_s, 2.0 * *burst_s_);
    if (within_s < *burst_s_) return 1.0;
    const double down =
        raised_cosine(within_s, *burst_s_, *burst_s_ + ramp_s) * (1.0 - raised_cosine(within_s, 2.0 * *burst_s_ - ramp_s, 2.0 * *burst_s_));
    return amplitude_from_decibels(quiet_db * down);
}

void PlayedSound::render(std::span<double> into) {
    for (double& sample : into) {
        const double at_s = static_cast<double>(position_) / rate_;
        if (over()) {
            sample = 0.0;
            ++position_;
            continue;
        }
        if (once_s_ > 0 && at_s < lead_s) {
            sample = announced(at_s);
        } else {
            tone_.render({&sample, 1});
            sample *= gain(once_s_ > 0 ? at_s - lead_s : at_s);
        }
        if (released_at_)
            sample *=
                1.0 - raised_cosine(static_cast<double>(position_ - *released_at_) / rate_, 0.0, release_s);
        sample = std::clamp(sample, -allowed_peak_, allowed_peak_);
        ++position_;
    }
}

void PlayedSound::release() {
    if (!released_at_) released_at_ = position_;
}

bool PlayedSound::over() const {
    const double at_s = static_cast<double>(position_) / rate_;
    if (released_at_ && static_cast<double>(position_ - *released_at_) / rate_ >= release_s) return true;
    return once_s_ > 0 && at_s >= lead_s + once_s_;
}

}  // namespace hushtrace
