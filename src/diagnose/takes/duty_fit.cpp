#include "duty_fit.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"

namespace hushtrace {
namespace {

constexpr double kModel_sd_db = 2.0;   // what leads, filters and edges do to single lines beyond a tilt

struct Place {
    int number;
    double level_db;
    bool stands;
};

struct Try {
    double cost = 0, level_db = 0;
};

/// Cost of a duty and tilt at its best level. A place where no line stands costs when the pulse would show there.
Try cost_of(const std::vector<Place>& places, double duty, double tilt) {
    Try out;
    double sum = 0, n = 0;
    for (const Place& one : places)
        if (one.stands) {
            sum += one.level_db - pulse_harmonic_db(one.number, duty, tilt);
            n += 1.0;
        }
    out.level_db = sum / n;
    for (const Place& one : places) {
        const double off = one.level_db - pulse_harmonic_db(one.number, duty, tilt) - out.level_db;
        if (!one.stands && off > 0.0) continue;
        const double z = std::abs(off) / kModel_sd_db;
        out.cost += z < 3.0 ? 0.5 * z * z : 4.5 + std::min(z - 3.0, 4.0);   // no odd line decides
    }
    return out;
}

}  // namespace

DutyFit fit_duty(const LineComb& comb, std::size_t channel, const std::vector<double>& least_mean_square) {
    DutyFit fit;
    std::vector<Place> places;
    for (std::size_t i = 0; i < least_mean_square.size(); ++i) {
        const int n = static_cast<int>(i) + 1;
        const CombTooth* tooth = comb.tooth(n);
        const double here = tooth && channel < tooth->mean_square.size() ? tooth->mean_square[channel] : 0.0;
        if (here > 0.0) {
            places.push_back({n, decibels_from_power(here), true});
            ++fit.lines;
        } else if (least_mean_square[i] > 0.0) {
            places.push_back({n, decibels_from_power(least_mean_square[i]), false});
        }
    }
    if (fit.lines < 2) return fit;
    double best = 1e300, weight = 0, mean = 0, squares = 0, level_db = 0;
    for (double duty = 0.02; duty <= 0.5001; duty += 0.005)
        for (double tilt = -1.0; tilt <= 1.001; tilt += 0.125) {
            const Try one = cost_of(places, duty, tilt);
            if (one.cost < best) {
                const double keep = std::exp(std::max(one.cost - best, -700.0));
                weight *= keep;
                mean *= keep;
                squares *= keep;
                best = one.cost;
                level_db = one.level_db;
                fit.tilt = tilt;
                fit.duty = duty;
            }
            const double w = std::exp(best - one.cost);
            weight += w;
            mean += w * duty;
            squares += w * duty * duty;
        }
    const double best_duty = fit.duty;
    fit.duty = mean / weight;
    fit.duty_sd = std::hypot(std::sqrt(std::max(0.0, squares / weight - fit.duty * fit.duty)), 0.005);
    double off = 0;
    for (const Place& one : places)
        if (one.stands) off += std::pow(one.level_db - pulse_harmonic_db(one.number, best_duty, fit.tilt) - level_db, 2);
    fit.misfit_db = std::sqrt(off / static_cast<double>(fit.lines));
    return fit;
}

}  // namespace hushtrace
