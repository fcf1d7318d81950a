#include <algorithm>
#include <cmath>

#include "gain_parts.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kKept = 2;  // the second speaks where the first shows too little of the rail

Knee knee_of(const ToneClipping& found, const VolumeStep& step, std::optional<double> volts_full_scale,
             std::optional<double> scale_sd_db) {
    Knee out;
    out.kind = std::string(to_word(found.kind));
    out.sides = std::string(to_word(found.sides));
    out.step = step.number;
    out.volume = step.volume;
    out.dbfs = found.knee_dbfs;
    if (!out.dbfs || !volts_full_scale) return out;
    const double volts = volts_from_dbv(dbv_from_dbfs(out.dbfs->value, *volts_full_scale));
    const double sd_db = std::hypot(out.dbfs->sd, scale_sd_db.value_or(0.0));
    out.v = Reading{volts, volts * (amplitude_from_decibels(sd_db) - 1.0), out.dbfs->limited_by};
    return out;
}

}  // namespace

void KneeWatch::offer(const VolumeStep& step, std::span<const double> samples) {
    if (step.input_overload || step.thd_percent - 2.0 * step.thd_sd_percent <= limit_percent_) return;
    if (kept_.size() == kKept && step.level_dbfs >= kept_.back().step.level_dbfs) return;
    const auto place = std::upper_bound(kept_.begin(), kept_.end(), step.level_dbfs,
                                        [](double level, const Kept& one) { return level < one.step.level_dbfs; });
    kept_.insert(place, {step, {samples.begin(), samples.end()}});
    if (kept_.size() > kKept) kept_.pop_back();
}

std::optional<Knee> KneeWatch::read(double sample_rate_hz, const ToneSearch& search, std::optional<double> volts_full_scale,
                                    std::optional<double> scale_sd_db) const {
    std::optional<Knee> without_level;
    for (const Kept& one : kept_) {
        try {
            const ToneClipping found = read_tone_clipping(one.samples, sample_rate_hz, search);
            if (found.kind == ClippingKind::none || found.kind == ClippingKind::input_overload) continue;
            const Knee knee = knee_of(found, one.step, volts_full_scale, scale_sd_db);
            if (knee.dbfs) return knee;
            if (!without_level) without_level = knee;
        } catch (const Error&) {  // too few cycles or harmonics for it: the ceiling stands without
        }
    }
    return without_level;
}

std::optional<Folding> KneeWatch::read_folding(double sample_rate_hz) const {
    for (const Kept& one : kept_)
        if (const auto found = find_folding(one.samples, sample_rate_hz, one.step.frequency_hz)) return found;
    return std::nullopt;
}

}  // namespace hushtrace
