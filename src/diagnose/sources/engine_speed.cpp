#include "engine_speed.hpp"
#include "../takes/click_trains.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace {
namespace {

constexpr double kLagStep_s = 0.05;
constexpr double kMostLag_s = 6.0;          // a reader's clock against the take's: a few seconds
constexpr double kLogSd = 0.0025;           // of a log's speed: an engine's own counter, common practice, no source
constexpr double kClicksNotEngines = 0.25;  // before: that a train of clicks is none of the engine's

double median_of(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Standard deviation of a normal law by its median deviation.
double spread_of(std::vector<double> values) {
    const double middle = median_of(values);
    for (double& value : values) value = std::abs(value - middle);
    return 1.4826 * median_of(values);
}

double normal(double deviation, double sd) {
    const double z = deviation / sd;
    return std::exp(-0.5 * z * z) / (sd * std::sqrt(2.0 * std::numbers::pi));
}

struct LogRow {
    double time_s, log_rpm;
};
/// Rows of a turning engine, at most twenty a second.
std::vector<LogRow> rows_of(const RpmLog& log) {
    std::vector<LogRow> rows;
    for (std::size_t i = 0; i < log.time_s.size(); ++i)
        if (log.rpm[i] > 100.0 && (rows.empty() || log.time_s[i] >= rows.back().time_s + 0.049))
            rows.push_back({log.time_s[i], std::log(log.rpm[i])});
    return rows;
}

/// Level of what lies above a frequency in each column of the spectrogram [dB], smoothed over 0.6 s.
std::vector<double> levels_above(const ChannelSurvey& channel, double from_hz) {
    std::vector<double> power;
    const auto from = static_cast<std::size_t>(from_hz / std::max(1e-9, channel.spectrogram_bin_hz));
    for (const auto& column : channel.spectrogram_dbfs) {
        double sum = 1e-30;
        for (std::size_t k = from; k < column.size(); ++k)
            sum += std::pow(10.0, 0.1 * static_cast<double>(column[k]));
        power.push_back(sum);
    }
    const auto reach = static_cast<std::size_t>(std::max(1.0, 0.3 / std::max(1e-3, channel.column_s)));
    std::vector<double> level_db;
    for (std::size_t i = 0; i < power.size(); ++i) {
        double sum = 0;
        const std::size_t first = i > reach ? i - reach : 0, last = std::min(power.size() - 1, i + reach);
        for (std::size_t j = first; j <= last; ++j) sum += power[j];
        level_db.push_back(10.0 * std::log10(sum / static_cast<double>(last - first + 1)));
    }
    return level_db;
}

/// The one place where a level changes for good: by 1.5 dB or more, and by four times what it strays on either side.
struct Step {
    std::size_t at;
    double by_db;
};
std::optional<Step> step_in(const std::vector<double>& level_db) {
    const std::size_t count = level_db.size(), least = count / 8;
    if (count < 32) return std::nullopt;
    std::vector<double> sum(count + 1), squares(count + 1);
    for (std::size_t i = 0; i < count; ++i) {
        sum[i + 1] = sum[i] + level_db[i];
        squares[i + 1] = squares[i] + level_db[i] * level_db[i];
    }
    std::optional<Step> best;
    double best_left = 1e300;
    for (std::size_t at = least; at + least < count; ++at) {
        const auto n = static_cast<double>(at), m = static_cast<double>(count - at);
        const double before = sum[at] / n, after = (sum[count] - sum[at]) / m;
        const double left = squares[count] - n * before * before - m * after * after;
        if (left >= best_left) continue;
        best_left = left;
        best = Step{at, after - before};
    }
    const double strays = std::sqrt(std::max(0.0, best_left) / static_cast<double>(count));
    if (!best || std::abs(best->by_db) < std::max(1.5, 4.0 * strays)) return std::nullopt;
    return best;
}

/// The track's logarithm, smoothed over 0.15 s, on a grid.
class SmoothLog {
public:
    explicit SmoothLog(const Track& track) : from_s_(track.time_s.front()), to_s_(track.time_s.back()) {
        for (double t = from_s_; t <= to_s_ + 0.5 * kLagStep_s; t += kLagStep_s) {
            double sum = 0;
            for (int j = -1; j <= 1; ++j) sum += std::log(std::max(1e-3, track.at(t + j * kLagStep_s)));
            values_.push_back(sum / 3.0);
        }
    }
    std::optional<double> at(double time_s) const {
        if (time_s < from_s_ || time_s > to_s_) return std::nullopt;
        const double place = (time_s - from_s_) / kLagStep_s;
        const auto i = std::min(static_cast<std::size_t>(place), values_.size() - 1);
        const std::size_t next = std::min(i + 1, values_.size() - 1);
        return values_[i] + (place - static_cast<double>(i)) * (values_[next] - values_[i]);
    }

private:
    double from_s_, to_s_;
    std::vector<double> values_;
};

/// Rows that lie within the track at a lag: the ratios' logarithms, and the speeds'.
struct Shared {
    std::vector<double> ratios, speeds;
    /// How far the ratio strays, against how far the speed does: 1 where the line has nothing to do with it.
    double straying() const { return spread_of(ratios) / std::max(0.002, spread_of(speeds)); }
};
Shared shared_at(const SmoothLog& track, const std::vector<LogRow>& rows, double lag_s) {
    Shared shared;
    for (const LogRow& row : rows)
        if (const auto line = track.at(row.time_s - lag_s)) {
            shared.ratios.push_back(*line - row.log_rpm);
            shared.speeds.push_back(row.log_rpm);
        }
    return shared;
}

/// The lag at which the ratio strays least; unset where that is hardly less than at other lags.
struct LagFound {
    std::optional<double> lag_s;
    double least_straying = 1e9;  ///< at any lag
};
LagFound lag_between(const SmoothLog& track, const std::vector<LogRow>& rows, double most_lag_s, double duration_s) {
    most_lag_s = std::min(most_lag_s, 0.45 * duration_s);
    std::vector<double> lags, straying;
    const std::size_t all = shared_at(track, rows, 0.0).ratios.size();
    for (double lag = -most_lag_s; lag <= most_lag_s + 1e-9; lag += kLagStep_s) {
        const Shared shared = shared_at(track, rows, lag);
        if (shared.ratios.size() < 5 || 2 * shared.ratios.size() < all) continue;
        lags.push_back(lag);
        straying.push_back(shared.straying());
    }
    LagFound found;
    if (!straying.empty()) found.least_straying = *std::min_element(straying.begin(), straying.end());
    if (lags.size() < 3) return found;
    const auto best = static_cast<std::size_t>(std::min_element(straying.begin(), straying.end()) - straying.begin());
    std::vector<double> sorted = straying;
    const double usual = median_of(sorted);
    const double independent = std::min(static_cast<double>(rows.size()), 2.0 * duration_s);
    const double needed = std::clamp(1.0 - 2.5 / std::sqrt(std::max(1.0, independent)), 0.15, 0.7);
    if (best == 0 || best + 1 == lags.size() || straying[best] > needed * usual) return found;
    for (std::size_t i = 0; i < lags.size(); ++i)  // an idle that comes and goes evenly fits at more than one lag
        if (std::abs(lags[i] - lags[best]) > 1.0 && straying[best] > 0.8 * straying[i]) return found;
    // where a parabola through the hollow's foot is lowest
    const double before = straying[best - 1], here = straying[best], after = straying[best + 1];
    const double bend = before - 2.0 * here + after;
    const double part = bend > 0.0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0.0;
    found.lag_s = lags[best] + part * kLagStep_s;
    return found;
}

}  // namespace

std::optional<TrackAgainstSpeed> hold_against(const Track& track, const RpmLog& log, double most_lag_s) {
    if (track.time_s.size() < 3) return std::nullopt;
    const std::vector<LogRow> rows = rows_of(log);
    if (rows.size() < 5) return std::nullopt;
    const SmoothLog line(track);
    const double duration_s = track.time_s.back() - track.time_s.front();
    TrackAgainstSpeed held;
    LagFound lag;
    if (most_lag_s > 0.0) lag = lag_between(line, rows, most_lag_s, duration_s);
    held.lag_s = lag.lag_s;
    Shared shared = shared_at(line, rows, held.lag_s.value_or(0.0));
    std::vector<double>& ratios = shared.ratios;
    if (ratios.size() < 5) return std::nullopt;
    held.speed_wander = spread_of(shared.speeds);
    held.residual_share = spread_of(ratios);
    held.least_straying = std::min(lag.least_straying, shared.straying());
    held.step_share = log.step_rpm / std::exp(shared.speeds.front()) / std::sqrt(12.0);
    const double independent = std::max(1.0, std::min(static_cast<double>(ratios.size()), 2.0 * duration_s));
    const double middle = median_of(ratios);
    held.hz_per_rpm = std::exp(middle);
    held.sd_share = std::hypot(1.25 * held.residual_share / std::sqrt(independent), 0.0005);
    return held;
}

std::vector<std::pair<double, double>> click_orders(const VehicleData& vehicle) {
    if (vehicle.cylinders && *vehicle.cylinders > 0) {
        const double all = firing_order(*vehicle.cylinders, vehicle.strokes.value_or(4));
        std::vector<std::pair<double, double>> orders = {{all, 0.81}};
        const auto add = [&](double order, double weight) {
            for (auto& [known, likely] : orders)
                if (std::abs(known - order) < 1e-6) {
                    likely += weight;
                    return;
                }
            orders.emplace_back(order, weight);
        };
        add(all / *vehicle.cylinders, 0.06);  // one coil or injector differs from the others
        add(0.5, 0.02);                       // odd-fire: the pattern comes again each second turn
        add(1.0, 0.03);                       // a pair of cylinders on one coil
        add(0.5 * all, 0.06);                 // pairs that fire unevenly, or one bank
        add(2.0 * all, 0.02);
        return orders;
    }
    return {{2.0, 0.42}, {3.0, 0.18}, {1.5, 0.12},  {4.0, 0.12}, {1.0, 0.05},
            {0.5, 0.04}, {2.5, 0.04}, {5.0, 0.015}, {6.0, 0.015}};
}

std::pair<std::vector<SpeedGuess>, bool> stated_guesses(const Conditions& conditions) {
    const double typed = conditions.rpm.value_or(0.0);
    if (typed > 0.0 && conditions.engine != Engine::sweep) return {{{typed, 0.015, 0.4}, {typed, 0.05, 0.6}}, false};
    switch (conditions.engine) {  // common practice, no source
        case Engine::idle:
            return {{{790.0, 0.18, 0.8}, {1150.0, 0.25, 0.2}}, true};  // warm, cold
        case Engine::raised:
            return {{{2000.0, 0.35, 1.0}}, true};
        case Engine::sweep:
            return {{{1600.0, 0.5, 1.0}}, true};
        case Engine::cranking:
            return {{{230.0, 0.3, 1.0}}, true};
        case Engine::ready:
            return {{{1200.0, 0.5, 0.5}}, true};
        default:
            return {{}, true};
    }
}

double log_speed_density(double rpm, const Conditions& conditions) {
    double density = 0;
    for (const SpeedGuess& guess : stated_guesses(conditions).first)
        density += guess.weight * normal(std::log(rpm / guess.rpm), std::hypot(guess.sd_share, 0.02));
    return density;
}

ClickRate rate_of_clicks(const TakeSurvey& survey, const ImpulseTrain& clicks) {
    ClickRate rate;
    const Track& track = clicks.rate;
    rate.mean_hz = track.mean_hz();
    rate.sd_share = std::hypot(0.0015, 0.04 * track.wander());
    rate.from_s = track.time_s.front();
    rate.to_s = track.time_s.back();
    // where the sound above 2 kHz steps down or up for good the engine may have stopped or started: its train is then
    // read in the louder part alone, where that makes a difference
    for (const ChannelSurvey& channel : survey.channels) {
        if (!channel.clicks || &*channel.clicks != &clicks) continue;
        const std::vector<double> level_db = levels_above(channel, 2000.0);
        const auto step = step_in(level_db);
        if (!step) break;
        const double at_s = static_cast<double>(step->at) * channel.column_s;
        double sum = 0, count = 0;
        for (std::size_t i = 0; i < track.time_s.size(); ++i) {
            const bool before = track.time_s[i] < at_s;
            if (before != (step->by_db < 0.0) || std::abs(track.time_s[i] - at_s) < 0.4) continue;
            sum += track.frequency_hz[i];
            count += 1;
        }
        if (count < 20 || std::abs(sum / count / rate.mean_hz - 1.0) < 0.004) break;
        rate.mean_hz = sum / count;
        rate.sd_share = std::max(rate.sd_share, 0.004);
        (step->by_db < 0.0 ? rate.to_s : rate.from_s) = at_s;
        rate.stopped = true;
    }
    return rate;
}

TakeSpeed speed_of(const TakeSurvey& survey, const VehicleData& vehicle, std::vector<Warning>& warnings) {
    TakeSpeed found;
    const Conditions& conditions = survey.take->conditions;
    if (!engine_turns(conditions.engine) && conditions.engine != Engine::ready) return found;
    const auto [stated, by_state] = stated_guesses(conditions);
    if (!by_state) found.from = "typed";
    found.guesses = stated;
    double logged = 0;  // none
    if (survey.rpm_log) {
        const RpmLog& log = *survey.rpm_log;
        double least = 0.5;
        for (const MovingFamily& family : survey.families) {
            const auto held = hold_against(family.ridge.track, log, kMostLag_s);
            if (!held || !held->lag_s || !held->follows() || held->residual_share > least * held->speed_wander)
                continue;
            least = held->residual_share / held->speed_wander;
            found.lag_s = held->lag_s;
        }
        const double lag_s = found.lag_s.value_or(0.0);
        auto mean = log.mean_rpm(lag_s, survey.duration_s + lag_s);
        if (!mean)
            mean = log.mean_rpm(std::max(0.0, log.time_s.front()), std::min(survey.duration_s, log.time_s.back()));
        if (mean.value_or(0.0) > 100.0) {
            logged = *mean;
            const double step_share = log.step_rpm / logged / std::sqrt(12.0) / 4.0;
            found.guesses = {{logged, std::hypot(kLogSd, step_share), 0.97}};
            found.from = "log";
        }
    }
    const ImpulseTrain* clicks = strongest_clicks(survey);
    if (clicks && engine_turns(conditions.engine)) {
        const ClickRate clicked = rate_of_clicks(survey, *clicks);
        const double rate = clicked.mean_hz;
        std::vector<SpeedGuess> by_order;
        std::vector<double> orders;
        double all = kClicksNotEngines / std::log(30.0);  // any rate from 6 to 180 a second is as likely
        for (const auto& [order, likely] : click_orders(vehicle)) {
            const double rpm = 60.0 * rate / order;
            const double density =
                logged > 0 ? normal(std::log(rpm / logged), 0.01) : log_speed_density(rpm, conditions);
            by_order.push_back({rpm, clicked.sd_share, (1.0 - kClicksNotEngines) * likely * density});
            orders.push_back(order);
            all += by_order.back().weight;
        }
        double engines = 0;
        std::size_t best = 0;
        for (std::size_t i = 0; i < by_order.size(); ++i) {
            engines += by_order[i].weight /= all;
            if (by_order[i].weight > by_order[best].weight) best = i;
        }
        if (engines > 0.5) found.firing_hz = rate;
        if (engines > 0.5 && clicked.stopped)
            warnings.push_back(
                {"engine_stopped",
                 fmt::format("{}: the clicks are there from {:.1f} to {:.1f} s only: did the engine stop or start? "
                             "Its speed is that of this part; capture again at steady idle.",
                             survey.take->file, clicked.from_s, clicked.to_s),
                 survey.take->file});
        if (by_order[best].weight > 0.8) found.firing_order = orders[best];
        if (!(logged > 0)) {
            for (SpeedGuess& guess : found.guesses) guess.weight *= 1.0 - engines;
            if (by_order[best].weight > 0.8) found.from = "firing";
            found.guesses.insert(found.guesses.end(), by_order.begin(), by_order.end());
            std::sort(found.guesses.begin(), found.guesses.end(),
                      [](const auto& a, const auto& b) { return a.weight > b.weight; });
        }
    }
    if (logged > 0 && !by_state && std::abs(std::log(logged / *conditions.rpm)) > 0.15)
        warnings.push_back({"rpm_log_contrary",
                            fmt::format("{}: {:.0f} rpm were stated, its log reads {:.0f}; the log counts",
                                        survey.take->file, *conditions.rpm, logged),
                            survey.take->file});
    return found;
}

}  // namespace hushtrace
