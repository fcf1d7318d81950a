#include "ground_estimate.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include "hushtrace/vehicle/supply_wiring.hpp"
#include "steady_draws.hpp"

namespace hushtrace {
namespace {

constexpr int kDraws = 12000;
constexpr double kMeter = 0.1;  // of a meter's reading, in ln
constexpr double kCopper_ohm_mm2_per_m = 0.0175;

double or_usual(const std::optional<double>& value, double usual) {
    return value && std::isfinite(*value) && *value > 0.0 ? *value : usual;
}

/// What a job's amplifiers draw while nothing plays [A]: some 3 % of what they may draw at most (common practice, no source).
double idling_a(const Job& job) {
    constexpr double share = 0.03, least_a = 0.7, most_a = 3.0, usual_a = 1.5;
    double sum = 0;
    for (const AmplifierData& one : job.amplifiers) {
        const double power_w = or_usual(one.power_w, 0.0),
                     by_power = power_w > 0.0 ? draw_of_power_a(power_w, or_usual(job.vehicle.supply_v, 12.0)) : 0.0,
                     most = or_usual(one.max_current_a, by_power);
        sum += most > 0.0 ? std::clamp(share * most, least_a, most_a) : usual_a;
    }
    return sum > 0.0 ? sum : usual_a;
}

/// A circuit that fits a vehicle [ohm, A, V]; usual sizes are common practice, no source.
struct Circuit {
    double ground, source_ground, strap, body, branch, reactance, current_a, battery_strap_v, made_good, on_signal;

    /// The amplifier's ripple current, against that with no ground resistance at all: its branch lies beside the battery.
    double current(double ground_ohm) const { return 1.0 / std::hypot(branch + ground_ohm, reactance); }
    double loop_v(double ground_ohm) const { return current(ground_ohm) * (ground_ohm + body); }
    double strap_db() const {
        // the current divides between the ground and strap with source's ground; what stands over the strap is left to drive the lead's shield
        const double share = strap / (strap + source_ground + ground + body),
                     both = (ground + body) * (strap + source_ground) / (strap + source_ground + ground + body);
        return 20.0 * std::log10(current(both) * (ground + body) * share / loop_v(ground));
    }
    double remade_db() const { return 20.0 * std::log10(loop_v(made_good) / loop_v(ground)); }
    double drop_v() const { return current_a * (ground + body) + battery_strap_v; }
};

Circuit drawn(SteadyDraws& draws, const Job& job, double frequency_hz, bool at_rest) {
    const double length_m = or_usual(job.supply.length_m, 5.0), area_mm2 = or_usual(job.supply.area_mm2, 21.0);
    const double metal = job.supply.conductor == Conductor::copper_clad_aluminium ? 1.6 : 1.0;
    Circuit one{};
    one.ground = 1e-3 * draws.about(10.0, 0.9);
    one.source_ground = 1e-3 * draws.about(1.5, 0.7);
    one.strap = 1e-3 * draws.about(15.0, 0.25);  // 4 m of 6 mm2, a fuse, two clamps
    one.body = 1e-3 * draws.about(0.1, 0.8);
    const double cable = metal * kCopper_ohm_mm2_per_m * length_m / area_mm2;
    one.branch = cable + 1e-3 * draws.about(22.0, 0.35);  // capacitors' own and the battery's
    const double omega = 2.0 * std::numbers::pi * frequency_hz;
    one.reactance = omega * length_m * draws.about(0.45e-6, 0.25) - 1.0 / (omega * draws.about(6e-3, 0.6));
    one.current_a = draws.about(idling_a(job), 0.35);   // idling, since its signal leads are out
    one.battery_strap_v = draws.about(at_rest ? 0.002 : 0.015, 0.6);  // the vehicle's current in the strap from body to battery
    one.made_good = 1e-3 * draws.about(kGoodGround_mohm, 0.35);
    one.on_signal = std::min(1.0, draws.about(0.6, 0.35));
    return one;
}

double quantile(const std::vector<std::pair<double, double>>& weighed, double share) {
    double sum = 0, all = 0;
    for (const auto& [value, weight] : weighed) all += weight;
    for (const auto& [value, weight] : weighed)
        if ((sum += weight) >= share * all) return value;
    return weighed.back().first;
}

/// Of logarithms, read to so much.
double likeliness_ln(double read, double expected, double sd) {
    constexpr double wrong = 0.05, over = 7.0;
    const double z = (std::log(read) - std::log(expected)) / sd;
    return (1.0 - wrong) * std::exp(-0.5 * z * z) / (sd * std::sqrt(2.0 * std::numbers::pi)) + wrong / over;
}

}  // namespace

GroundEstimate estimate_ground(const GroundSeen& seen, const Job& job, double frequency_hz) {
    SteadyDraws draws;
    WeighedSum change;
    std::vector<std::pair<double, double>> ground;
    ground.reserve(kDraws);
    const bool drop = seen.drop_v && std::isfinite(*seen.drop_v) && *seen.drop_v > 0.0;
    for (int i = 0; i < kDraws; ++i) {
        const Circuit one = drawn(draws, job, std::clamp(frequency_hz, 20.0, 20000.0), seen.drop_at_rest);
        double weight = 1.0;
        if (seen.strap) weight *= likeliness_db(seen.strap->change_db, std::max(0.5, seen.strap->sd_db), seen.strap->at_most, one.strap_db());
        if (drop) weight *= likeliness_ln(*seen.drop_v, one.drop_v(), kMeter);
        if (seen.shared_mohm && seen.shared_mohm->value > 0.0)
            weight *= likeliness_ln(1e-3 * seen.shared_mohm->value, one.on_signal * (one.ground + one.body),
                                    std::max(kMeter, seen.shared_mohm->sd / seen.shared_mohm->value));
        change.add(one.remade_db(), weight);
        ground.emplace_back(1e3 * one.ground, weight);
    }
    std::sort(ground.begin(), ground.end());
    GroundEstimate out;
    out.low_mohm = quantile(ground, 0.1);
    out.middle_mohm = quantile(ground, 0.5);
    out.high_mohm = quantile(ground, 0.9);
    out.remade_db = change.reading();
    out.measured = seen.strap || drop || seen.shared_mohm;
    return out;
}

}  // namespace hushtrace
