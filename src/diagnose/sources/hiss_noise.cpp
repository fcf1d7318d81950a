#include <algorithm>
#include <cmath>

#include "../takes/floor_reading.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "noise_sources.hpp"

namespace hushtrace {
namespace {

/// Lines that sweep over octaves smear over the whole band: over the take's mean, nothing tells them from hiss.
bool swept(const TakeSurvey& survey) {
    constexpr double widest_idle = 0.06;
    return survey.take->conditions.engine == Engine::sweep ||
           std::any_of(survey.families.begin(), survey.families.end(), [](const MovingFamily& family) { return family.wander > widest_idle; });
}

/// What the channel's own reading leaves open of its hiss: `left`, of which the interface's noise `own` was taken off in power.
void say_spread(LevelInTake& level, const Reading& with_own, double own, double left, const ChannelSurvey& channel) {
    const double own_sd = own * (power_from_decibels(kOwnNoiseSd_db) - 1.0);
    level.sd_db = decibels_from_power(1.0 + std::hypot(with_own.sd, own_sd) / left);
    if (level.level_dbv && channel.volts_full_scale_sd_db)
        level.dbv_sd_db = std::hypot(level.sd_db, *channel.volts_full_scale_sd_db);
    level.limited_by = with_own.value < 2.0 * own ? LimitedBy::interface : with_own.limited_by;
}

}  // namespace

void add_hiss(std::list<NoiseSource>& sources, const TakeSurvey& survey, const ClicksInTake* clicks,
              const Job& job) {
    if (swept(survey)) return;
    std::vector<double> power, own_power(survey.channels.size(), 0.0);
    bool above = false, known = false;
    for (std::size_t c = 0; c < survey.channels.size(); ++c) {
        const ChannelSurvey& channel = survey.channels[c];
        power.push_back(channel.silent ? 0.0 : channel.hiss.all.unweighted.value);
        if (clicks && channel.clicks && channel.clicks->mean_square > 0.2 * channel.hiss.all.unweighted.value) return;
        const auto own_dbv = job.own_noise_at_probe_dbv(kOwnNoiseFields.front(), *survey.take, channel.file_channel);
        if (!channel.volts_full_scale || !own_dbv || channel.silent) continue;
        known = true;
        const double own = power_from_decibels(*own_dbv);
        const double here = power_from_decibels(dbv_from_dbfs(
            dbfs_from_mean_square(std::max(channel.hiss.all.unweighted.value, 1e-30)), *channel.volts_full_scale));
        if (here > 1.6 * own) above = true;  // 2 dB over the set-up's own
        own_power[c] = power.back() * own / here;
        power.back() = std::max(0.0, power.back() - own_power[c]);
    }
    if (known && !above) return;  // the floor readings say that the interface is the limit
    NoiseSource* hiss = nullptr;
    for (NoiseSource& source : sources)
        if (source.kind == NoiseKind::hiss) hiss = &source;
    if (!hiss) hiss = &sources.emplace_back();
    hiss->kind = NoiseKind::hiss;
    hiss->band_hz = {20.0, survey.channels.front().hiss.upper_hz};
    std::size_t added = hiss->levels.size();
    add_levels(*hiss, survey, power, 0.0);   // their spread comes below
    for (std::size_t c = 0; c < power.size(); ++c)
        if (power[c] > 0.0)
            say_spread(hiss->levels[added++], survey.channels[c].hiss.all.unweighted, own_power[c], power[c], survey.channels[c]);
    hiss->confidence = std::max(hiss->confidence, known ? 0.85 : 0.4);
    if (hiss->evidence.empty())
        hiss->evidence.push_back({known ? "Smooth noise, above what the set-up makes by itself (taken off)."
                                        : "Smooth noise; how much of it the interface makes is not known: "
                                          "capture once with --hookup inputs_shorted.",
                                  0,
                                  "",
                                  std::nullopt,
                                  hiss->takes,
                                  {}});
}

}  // namespace hushtrace
