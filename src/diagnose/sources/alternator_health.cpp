#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "engine_view.hpp"

/// What lines below the whine say of the alternator. Levels of the stator's orders in the output current, in dB
/// against the six-pulse line (idealised model of a three-phase rectifier into a battery): one diode open +11 to +23
/// at order 1, 7 below that at order 2, 17 below at order 3, and 12 at -20; one phase open +12 to +21 at order 2, no
/// odd ones, 12 at -14; a phase 10 % weak, order 2 at +2. Inductive coupling takes 6 dB an octave towards lower
/// frequencies.
namespace hushtrace {
namespace {

constexpr double kWorthSaying = 0.5;
constexpr double kLeastProminence_db = 12.0;  // a weaker whine can't show that its lower orders are missing
constexpr double kNothingElse = 0.95;         // no model of a fault is surer than that

double share_below(double value, double at, double width) {
    return 1.0 / (1.0 + std::exp((value - at) / width));
}

/// The stator's orders against the six-pulse line.
struct StatorOrders {
    std::optional<double> first, second, third, fourth, twelfth;
};
StatorOrders stator_orders(const WhineOrders& orders, bool two_sets) {
    // the leader is order 12 on two sets, order 6 is what the second set leaves of it
    if (two_sets) return {orders.twelfth, orders.sixth, std::nullopt, orders.third, std::nullopt};
    return {orders.sixth, orders.third, orders.half, orders.two_thirds, orders.twice};
}

/// Coupling's slope [dB an octave], by how far the twelfth order lies from where the current has it.
double slope_of(const StatorOrders& orders, double twelfth_in_current_db) {
    if (!orders.twelfth) return 3.0;  // half-way between a resistance and an inductance
    return std::clamp(*orders.twelfth - twelfth_in_current_db, 0.0, 6.0);
}

struct Chances {
    double diode = 0, phase = 0, unbalanced = 0;
};
Chances chances_of(const StatorOrders& orders) {
    Chances chances;
    if (orders.first) {
        const double in_current_db = *orders.first + std::log2(6.0) * slope_of(orders, -20.0);
        const double alone = orders.second || orders.third ? 1.0 : 0.4;
        chances.diode = kNothingElse * alone * share_below(-in_current_db, -4.0, 2.0);
    }
    if (orders.second) {
        const double slope = slope_of(orders, -14.0);
        const double in_current_db = *orders.second + std::log2(3.0) * slope;
        // the odd ones against it, as in the current
        const double first_db = orders.first ? *orders.first + slope - *orders.second : -40.0;
        const double no_odd = share_below(first_db, -10.0, 2.0);
        chances.phase = kNothingElse * no_odd * share_below(-in_current_db, -7.0, 1.5);
        chances.unbalanced =
            kNothingElse * no_odd * share_below(-in_current_db, 7.0, 1.5) * share_below(in_current_db, 7.0, 1.5);
    }
    return chances;
}

}  // namespace

std::vector<HealthFinding> alternator_health(const std::list<WhineInTake>& whines, std::optional<int> sets) {
    double count = 0;
    Chances sum;
    const WhineInTake* clearest = nullptr;
    for (const WhineInTake& whine : whines) {
        // by a constant that no alternator has, the line isn't the six-pulse one, and the orders below it are others
        if (!whine.family || (whine.hz_per_rpm && !whine.usual_constant)) continue;
        const StatorOrders orders = stator_orders(whine.orders, sets == 2);
        if (whine.orders.lead_prominence_db < kLeastProminence_db && !orders.first && !orders.second) continue;
        const Chances here = chances_of(orders);
        count += 1;
        sum.diode += here.diode;
        sum.phase += here.phase;
        sum.unbalanced += here.unbalanced;
        if (!clearest || whine.orders.lead_prominence_db > clearest->orders.lead_prominence_db) clearest = &whine;
    }
    std::vector<HealthFinding> found;
    if (!(count > 0)) return found;
    const StatorOrders orders = stator_orders(clearest->orders, sets == 2);
    const std::string& take = clearest->survey->take->file;
    const auto against = [](std::optional<double> level_db) {
        return fmt::format("{:+.0f} dB", level_db.value_or(-99.0));
    };
    if (const double p = sum.diode / count; p >= kWorthSaying)
        found.push_back(
            {"diode_open",
             fmt::format("In {} the line at the stator's own frequency stands {} against the whine, with its "
                         "multiples: that is what an open rectifier diode does, or a shorted one. Have the "
                         "alternator tested; the wiring is not the cause.",
                         take, against(orders.first)),
             p});
    if (const double p = sum.phase / count; p >= kWorthSaying)
        found.push_back(
            {"phase_open",
             fmt::format("In {} the line at twice the stator's frequency stands {} against the whine, without the "
                         "one at the stator's frequency: a stator phase, or both its diodes, may be open. Have the "
                         "alternator tested; the wiring is not the cause.",
                         take, against(orders.second)),
             p});
    if (const double p = sum.unbalanced / count; p >= kWorthSaying)
        found.push_back(
            {"phases_unbalanced",
             fmt::format("In {} the line at twice the stator's frequency stands {} against the whine: one phase "
                         "of the alternator gives less than the others, by a bad joint or shorted turns.",
                         take, against(orders.second)),
             p});
    return found;
}

}  // namespace hushtrace
