#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gain_parts.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

constexpr double kLowestForLaw = 200.0;                    // [Hz] bass may be turned down with the volume
constexpr double kAlike_db = 0.1, kAlikeShare = 0.15;      // common practice, no source
constexpr std::size_t kRisesCarriedOn = 4, kFewestRises = 2;

double median_of(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

/// A setting's place on the scale, its level, and whether it bears on the law.
struct Place {
    double at = 0;
    std::size_t step = 0;  // index into the curve's steps
    bool bears = false;    // clean, and before a limiter
};
std::vector<Place> places_of(const GainCurve& one, double limit_percent) {
    std::vector<Place> out;
    bool lags = false;
    for (const Rung& rung : rungs_of(one, limit_percent)) {
        lags = lags || (one.lags_from && one.lags_from->first == rung.worst);
        out.push_back({rung.volume.value_or(static_cast<double>(out.size() + 1)), rung.worst,
                       rung.verdict == StepVerdict::clean && !lags});
    }
    return out;
}

/// What a volume number is worth between a place and the one below it, where both bear on the law.
std::optional<double> rise_db(const GainCurve& one, const std::vector<Place>& places, std::size_t i) {
    if (i == 0 || !places[i].bears || !places[i - 1].bears) return std::nullopt;
    return (one.curve.steps[places[i].step].level_dbfs - one.curve.steps[places[i - 1].step].level_dbfs) /
           (places[i].at - places[i - 1].at);
}

/// Each step against the rises of the clean ones below it.
void read_lag(GainCurve& one, const std::vector<Place>& places) {
    std::vector<double> rises;
    std::optional<std::size_t> anchor;
    for (std::size_t i = 0; i < places.size(); ++i) {
        VolumeStep& step = one.curve.steps[places[i].step];
        if (anchor && rises.size() >= kFewestRises && !step.input_overload) {
            const std::vector<double> last(rises.end() - static_cast<std::ptrdiff_t>(std::min(rises.size(), kRisesCarriedOn)),
                                           rises.end());
            const double rise = median_of(last);
            double squares = 0;
            for (const double each : last) squares += (each - rise) * (each - rise);
            const double turned = places[i].at - places[*anchor].at;
            const VolumeStep& below = one.curve.steps[places[*anchor].step];
            step.compression_db = below.level_dbfs + rise * turned - step.level_dbfs;
            step.compression_sd_db = std::hypot(turned * std::sqrt(squares / static_cast<double>(last.size() - 1)),
                                                step.level_sd_db, below.level_sd_db);
        }
        if (const auto rise = rise_db(one, places, i)) rises.push_back(*rise);
        if (places[i].bears) anchor = i;
    }
    // steps that share a volume with the one that was read
    for (VolumeStep& step : one.curve.steps)
        for (const Place& place : places) {
            const VolumeStep& read = one.curve.steps[place.step];
            if (&read != &step && step.volume && step.volume == read.volume && read.compression_db) {
                step.compression_db = *read.compression_db + read.level_dbfs - step.level_dbfs;
                step.compression_sd_db = read.compression_sd_db;
            }
        }
}

bool is_right_of(Channel a, Channel b) {
    return (a == Channel::left && b == Channel::right) || (a == Channel::rear_left && b == Channel::rear_right);
}

ChannelBalance balance_of(const GainCurve& a, const GainCurve& b, double limit_percent) {
    ChannelBalance out;
    out.take = a.curve.take;
    out.tone_hz = a.curve.tone_hz;
    out.first = a.curve.channel;
    out.second = b.curve.channel;
    std::vector<double> clean;
    for (const VolumeStep& x : a.curve.steps)
        for (const VolumeStep& y : b.curve.steps) {
            if (x.number != y.number) continue;
            const bool both =
                judge_step(x, limit_percent) == StepVerdict::clean && judge_step(y, limit_percent) == StepVerdict::clean;
            out.steps.push_back({x.number, x.volume, a.level_at_probe_db(x) - b.level_at_probe_db(y), both});
            if (both) clean.push_back(out.steps.back().balance_db);
        }
    if (clean.empty()) return out;
    out.balance_db = median_of(clean);
    out.tracking_db = 0;
    for (const double each : clean) out.tracking_db = std::max(*out.tracking_db, std::abs(each - *out.balance_db));
    return out;
}

/// Where one channel bends the tone and the other doesn't, the other one shows what the volume did.
void read_lag_against(GainCurve& bent, const GainCurve& straight, const ChannelBalance& balance, double sign, double limit_percent) {
    std::vector<double> clean;
    for (const auto& each : balance.steps)
        if (each.clean) clean.push_back(sign * each.balance_db);
    if (clean.size() < 3) return;
    const double usual = median_of(clean);
    double squares = 0;
    for (const double each : clean) squares += (each - usual) * (each - usual);
    const double sd = std::sqrt(squares / static_cast<double>(clean.size() - 1));
    for (VolumeStep& x : bent.curve.steps)
        for (const VolumeStep& y : straight.curve.steps) {
            if (x.number != y.number || x.input_overload || judge_step(y, limit_percent) != StepVerdict::clean ||
                judge_step(x, limit_percent) == StepVerdict::clean)
                continue;
            const double sd_db = std::hypot(sd, x.level_sd_db, y.level_sd_db);
            if (x.compression_sd_db && *x.compression_sd_db < sd_db) continue;
            x.compression_db = straight.level_at_probe_db(y) + usual - bent.level_at_probe_db(x);
            x.compression_sd_db = sd_db;
        }
}

std::vector<VolumeLaw::Run> runs_of(const std::vector<double>& at, const std::vector<double>& rises) {
    std::vector<VolumeLaw::Run> runs;
    std::size_t in_run = 0;
    for (std::size_t i = 0; i < rises.size(); ++i) {
        const bool alike = !runs.empty() && std::abs(rises[i] - runs.back().rise_db) <=
                                                std::max(kAlike_db, kAlikeShare * std::abs(runs.back().rise_db));
        if (alike) {
            ++in_run;
            runs.back().to = at[i + 1];
            runs.back().rise_db += (rises[i] - runs.back().rise_db) / static_cast<double>(in_run);
        } else {
            runs.push_back({at[i], at[i + 1], rises[i]});
            in_run = 1;
        }
    }
    return runs;
}

std::optional<VolumeLaw> law_of(const GainCurve& one, const std::vector<Place>& places) {
    VolumeLaw law;
    law.take = one.curve.take;
    law.channel = one.curve.channel;
    law.tone_hz = one.curve.tone_hz;
    std::vector<double> at, rises;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (!places[i].bears) {
            if (!at.empty()) break;  // what lies above a step that isn't clean is no law
            continue;
        }
        const VolumeStep& step = one.curve.steps[places[i].step];
        const auto rise = at.empty() ? std::nullopt : rise_db(one, places, i);
        law.steps.push_back({step.volume, step.number, step.level_dbfs, rise});
        at.push_back(places[i].at);
        if (rise) rises.push_back(*rise);
    }
    if (law.steps.size() < 3) return std::nullopt;
    law.volumes_known = law.steps.front().volume.has_value();
    const double top_dbfs = law.steps.back().gain_db;
    for (VolumeLaw::Step& step : law.steps) step.gain_db -= top_dbfs;
    law.rise_db = median_of(rises);
    law.runs = runs_of(at, rises);
    law.even = law.runs.size() == 1;
    return law;
}

}  // namespace

void read_volume_law(std::vector<GainCurve>& curves, GainAnalysis& into) {
    const double limit_percent = into.limit_thd_percent;
    for (GainCurve& one : curves) {
        if (one.tone_is_stepped) continue;  // the tone's level was turned, not the volume
        const std::vector<Place> places = places_of(one, limit_percent);
        read_lag(one, places);
        const auto law = law_of(one, places);
        const auto better = [&] {
            if (!into.volume_law) return true;
            const bool high = one.curve.tone_hz >= kLowestForLaw, has_high = into.volume_law->tone_hz >= kLowestForLaw;
            return high != has_high ? high : law->steps.size() > into.volume_law->steps.size();
        };
        if (law && better()) into.volume_law = law;
    }
    for (std::size_t i = 0; i < curves.size(); ++i)
        for (std::size_t k = 0; k < curves.size(); ++k) {
            GainCurve &a = curves[i], &b = curves[k];
            if (a.take != b.take || !is_right_of(a.curve.channel, b.curve.channel) || a.curve.steps.empty() || b.curve.steps.empty()) continue;
            const ChannelBalance balance = balance_of(a, b, limit_percent);
            if (balance.steps.empty()) continue;
            if (!a.tone_is_stepped) {
                read_lag_against(a, b, balance, 1.0, limit_percent);
                read_lag_against(b, a, balance, -1.0, limit_percent);
            }
            if (a.compares_with(b)) {
                into.balances.push_back(balance);
                continue;
            }
            const GainCurve &known = a.referred.calibrated ? a : b, &open = a.referred.calibrated ? b : a;
            into.warnings.push_back({"balance_unknown",
                                     fmt::format("the {} channel is calibrated and the {} channel isn't, so which of them is louder can't be "
                                                 "told: calibrate both (hushtrace calibrate)",
                                                 spaced(to_word(known.curve.channel)), spaced(to_word(open.curve.channel))),
                                     a.curve.take});
        }
}

}  // namespace hushtrace
