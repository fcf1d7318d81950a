#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "../takes/click_trains.hpp"
#include "engine_speed.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"
#include "noise_sources.hpp"

namespace hushtrace {
namespace {

// Before anything is measured: that a train of clicks in a running engine's take is none of the engine's, and over
// which range of rates such trains lie evenly [natural logarithm].
constexpr double kStranger = 0.25, kStrangerRange = 3.4;
// Most strangers click with the engine at rest as well (common practice, no source): how much less likely one is where the
// take at rest has none.
constexpr double kOnlyRunning = 0.3;

// Common practice, no source: what clicks at rest as well is seldom the engine's; an engine idles less steadily than a
// switch.
constexpr double kThereAtRest = 0.02, kSteadyBesideOther = 0.3, kSteady = 0.003;

double normal(double deviation, double sd) {
    const double z = deviation / sd;
    return std::exp(-0.5 * z * z) / (sd * std::sqrt(2.0 * std::numbers::pi));
}

/// How much likelier the train's movement is for the engine's clicks than for a stranger's: a train that keeps to the
/// whine, or one that holds still while the engine wanders.
double likelihood_of_moving(const Track& rate, const Track& engine, double correlation) {
    const double own = rate.wander(), other = engine.wander();
    if (other < 0.004) return 1.0;  // a held engine tells nothing
    if (correlation > 0.5) return 1.0 + 12.0 * (correlation - 0.5) / 0.5;
    if (correlation < 0.2 && own < 0.4 * other) return 0.1;
    return correlation < 0.2 ? 0.6 : 1.0;
}

std::string order_text(double order, double all, double rpm) {
    if (std::abs(order - all) < 1e-6) return fmt::format("as every firing gives at {:.0f} rpm", rpm);
    if (std::abs(order - 0.5) < 1e-6)
        return fmt::format("once in two turns at {:.0f} rpm, as one cylinder gives that differs from the others",
                           rpm);
    if (std::abs(order - 1.0) < 1e-6)
        return fmt::format("once a turn at {:.0f} rpm, as one coil of a pair gives", rpm);
    return fmt::format("{:g} a turn at {:.0f} rpm", order, rpm);
}

/// How well a train fits the engine: the density of its speed, by what is known without it.
double fits_engine(const ImpulseTrain& train, const TakeSurvey& survey, const TakeSurvey* off, const VehicleData& vehicle) {
    const double rate = train.rate.mean_hz();
    double fit = 1e-6;
    for (const auto& [order, likely] : click_orders(vehicle))
        fit += likely * log_speed_density(60.0 * rate / order, survey.take->conditions);
    return off && has_clicks_of(*off, rate) ? kThereAtRest * fit : fit;
}

}  // namespace

void settle_clicks(TakeSurvey& survey, const TakeSurvey* off, const VehicleData& vehicle) {
    const ImpulseTrain* first = strongest_clicks(survey);
    if (!first) return;
    const ImpulseTrain* other = other_clicks(survey, first->rate.mean_hz());
    double first_hz = first->rate.mean_hz(), other_hz = other ? other->rate.mean_hz() : 0.0;
    if (other && engine_turns(survey.take->conditions.engine)) {
        double one = fits_engine(*first, survey, off, vehicle), two = fits_engine(*other, survey, off, vehicle);
        const bool steady = first->rate.wander() < kSteady, other_steady = other->rate.wander() < kSteady;
        if (steady && !other_steady) one *= kSteadyBesideOther;
        if (other_steady && !steady) two *= kSteadyBesideOther;
        if (two > one) std::swap(first_hz, other_hz);
    }
    for (ChannelSurvey& channel : survey.channels) {
        const ImpulseTrain* own = train_of_rate(channel, first_hz);
        const ImpulseTrain* beside = other_hz > 0.0 ? train_of_rate(channel, other_hz) : nullptr;
        std::optional<ImpulseTrain> clicks, more;
        if (own) clicks = *own;
        if (beside) more = *beside;
        channel.clicks = std::move(clicks);
        channel.other_clicks = std::move(more);
    }
}

std::optional<ClicksInTake> clicks_in(const TakeSurvey& survey, const TakeSurvey* off, const WhineInTake* whine,
                                      const VehicleData& vehicle, const EngineInTake* speed) {
    const ImpulseTrain* strongest = strongest_clicks(survey);
    if (!strongest) return std::nullopt;
    return judged_clicks(*strongest, survey, off, whine, vehicle, speed);
}

ClicksInTake judged_clicks(const ImpulseTrain& train, const TakeSurvey& survey, const TakeSurvey* off, const WhineInTake* whine,
                           const VehicleData& vehicle, const EngineInTake* speed) {
    ClicksInTake clicks;
    clicks.survey = &survey;
    clicks.train = train;
    const double rate = rate_of_clicks(survey, train).mean_hz;
    clicks.rate_hz = rate;
    const Conditions& conditions = survey.take->conditions;
    if (whine && whine->family)
        clicks.moves_with_whine = correlation_of(train.rate, survey.families[*whine->family].ridge.track);
    if (!engine_turns(conditions.engine)) {
        clicks.why = fmt::format("{:.1f} clicks a second with the engine at rest", rate);
        return clicks;
    }
    if (off && has_clicks_of(*off, rate)) {
        clicks.why = fmt::format("{:.1f} clicks a second, with the engine off as well", rate);
        return clicks;
    }
    const bool known = speed && speed->rpm && speed->rpm_from != "firing" && speed->rpm_from != "typed";
    double engine = 0, best = 0, best_order = 0;
    for (const auto& [order, likely] : click_orders(vehicle)) {
        const double rpm = 60.0 * rate / order;
        const double density = known
                                   ? normal(std::log(rpm / *speed->rpm), std::max(0.01, *speed->rpm_sd / *speed->rpm))
                                   : log_speed_density(rpm, conditions);
        engine += likely * density;
        if (likely * density <= best) continue;
        best = likely * density;
        best_order = order;
    }
    engine *= 1.0 - kStranger;
    // a line whose constant no alternator has may be none of the engine's, and tells nothing of its speed
    if (whine && clicks.moves_with_whine && (whine->usual_constant || *clicks.moves_with_whine > 0.5))
        engine *= likelihood_of_moving(train.rate, survey.families[*whine->family].ridge.track,
                                       *clicks.moves_with_whine);
    const double stranger = kStranger / kStrangerRange * (off ? kOnlyRunning : 1.0);
    clicks.probability = engine / (engine + stranger);
    const std::string head = fmt::format("{:.1f} clicks a second, ", rate);
    if (clicks.probability < 0.5) {
        clicks.why = head + "which the engine at this speed does not give";
        return clicks;
    }
    clicks.ignition = true;
    const bool one_order = best * (1.0 - kStranger) > 0.8 * engine || (vehicle.cylinders && best > 0.0);
    if (one_order) clicks.rpm = 60.0 * rate / best_order;
    const char* what = vehicle.drive == Drive::diesel ? " (a diesel's injectors)" : "";
    if (clicks.rpm && vehicle.cylinders)
        clicks.why =
            head +
            order_text(best_order, firing_order(*vehicle.cylinders, vehicle.strokes.value_or(4)), *clicks.rpm) + what;
    else
        clicks.why = head + "within what a running engine gives" + what;
    return clicks;
}

namespace {

/// Whether a rate and one or more of its low multiples stand as lines of their own, as those of something switched do.
bool has_low_lines(const TakeSurvey& survey, double rate_hz) {
    constexpr double solid = 7.0;
    return std::any_of(survey.channels.begin(), survey.channels.end(), [rate_hz](const ChannelSurvey& channel) {
        if (channel.still.density.empty()) return false;
        int lines = 0;
        const auto stands = [&](int n) { return channel.still.peak_near(n * rate_hz, channel.still.bin_hz).surprise > solid; };
        for (int n = 2; n <= 4; ++n) lines += stands(n);
        return stands(1) && lines > 0;
    });
}

}  // namespace

void add_clicks(std::list<NoiseSource>& sources, const ClicksInTake& clicks) {
    const Take& take = *clicks.survey->take;
    const double rate = clicks.rate_hz;
    // nothing ticks so fast for long: the edges of something that is switched
    const bool edges = !clicks.ignition && rate >= PulseWidth::least_hz;
    if (edges && !has_low_lines(*clicks.survey, rate)) return;   // another noise's pulses, counted by threes
    const NoiseKind kind = clicks.ignition ? NoiseKind::ignition_tick : edges ? NoiseKind::switched_load : NoiseKind::periodic_tick;
    NoiseSource* source = nullptr;
    for (NoiseSource& known : sources)
        if (known.kind == kind && (clicks.ignition || std::abs(*known.frequency_hz / rate - 1.0) < 0.02))
            source = &known;
    if (!source) source = &sources.emplace_back();
    source->kind = kind;
    std::vector<double> power;
    for (const ChannelSurvey& channel : clicks.survey->channels) {
        const ImpulseTrain* train = train_of_rate(channel, clicks.train.rate.mean_hz());
        power.push_back(train ? train->mean_square : 0.0);
    }
    const auto before = source->level_dbfs;
    add_levels(*source, *clicks.survey, power, 1.0);
    if (!before || (source->level_dbfs && *source->level_dbfs > *before)) {
        source->frequency_hz = rate;
        source->frequency_sd_hz =
            std::max(0.02, clicks.train.rate.wander() * rate / std::sqrt(std::max(1.0, clicks.survey->duration_s)));
        if (clicks.rpm) source->engine_order = rate / (*clicks.rpm / 60.0);
    }
    const bool running = engine_turns(take.conditions.engine);
    const double p = clicks.probability;
    rest_on(*source, edges              ? "load: by its edges"
                     : !running         ? "clicks: at rest"
                     : !clicks.ignition ? "clicks: running, none of the engine's"
                     : p < 0.85         ? "clicks: ignition, under 0.85"
                                        : "clicks: ignition, 0.85 and more");
    source->evidence.push_back({clicks.why + ".", rate, "Hz", std::nullopt, {take.file}, {}});
    source->evidence.push_back(
        {fmt::format("At each click the power above 2 kHz stands {:.1f} dB above that between clicks.",
                     clicks.train.contrast_db),
         clicks.train.contrast_db,
         "dB",
         std::nullopt,
         {take.file},
         {}});
    if (clicks.moves_with_whine && std::abs(*clicks.moves_with_whine) > 0.5)
        source->evidence.push_back(
            {fmt::format("Its rate moves with the whine (correlation {:.2f}).", *clicks.moves_with_whine),
             *clicks.moves_with_whine,
             "",
             std::nullopt,
             {take.file},
             {}});
}

}  // namespace hushtrace
