#include "reroute.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/vehicle/coupling.hpp"
#include "steady_draws.hpp"

namespace hushtrace {
namespace {

constexpr int kDraws = 4000;
constexpr double kTape = 0.2, kTape_m = 0.002;  // a separation is read to 20 %, and to 2 mm where wires nearly touch (common practice, no source)
constexpr double kHeight = 0.2;                 // heights vary along the run (common practice, no source)
constexpr double kUsualHeight_m = 0.015, kAnyHeight = 0.7;  // where nobody said: carpet over sheet metal
constexpr double kUsualSeparation_m = 0.03, kAnySeparation = 0.8;
constexpr double kTouching_m = 0.006;  // centres of two insulated wires that touch
constexpr double kModel_db = 1.5;      // straight wires over a plane are not a vehicle (common practice, no source)

double known(const std::optional<double>& value) {
    return value && std::isfinite(*value) && *value >= 0.0 ? *value : -1.0;
}

/// One vehicle that fits what is known, and the same with the lead elsewhere: pick-up in dB against some common level.
struct Route {
    double separation_m, height_m, supply_height_m, parallel;
};

double pickup_db(EntryWay way, const Route& route, double lead_width_m) {
    const double coupling = way == EntryWay::pickup_lead ? mutual_to_narrow_loop_h_per_m(route.separation_m, route.separation_m + lead_width_m)
                                                         : mutual_over_plane_h_per_m(route.height_m, route.supply_height_m, route.separation_m);
    return 20.0 * std::log10(coupling * route.parallel);
}

struct Drawn {
    double seats_db, moved_db;
};

/// Changes of drawn vehicles: by the lead across the seats, and by the new separation.
template <class Use>
void draw(EntryWay way, const CableData& cables, double separation_m, Use&& use) {
    SteadyDraws draws;
    const double stated = known(cables.separation_m), height = known(cables.above_metal_m);
    const double apart_m = stated >= 0.0 ? std::max(stated, kTouching_m) : kUsualSeparation_m;
    const double apart_sd = stated >= 0.0 ? std::hypot(kTape, kTape_m / apart_m) : kAnySeparation;
    const double height_m = height > 0.0 ? height : kUsualHeight_m, height_sd = height > 0.0 ? kHeight : kAnyHeight;
    for (int i = 0; i < kDraws; ++i) {
        Route now{std::max(kTouching_m, draws.about(apart_m, apart_sd)), draws.about(height_m, height_sd), draws.about(height_m, height_sd), 1.0};
        const double width_m = draws.about(0.001, 1.0);  // between core and what returns its current, of cheap and of good leads
        const Route moved{draws.about(separation_m, 0.1), now.height_m, now.supply_height_m, 1.0};
        // across the seats: half a metre and more from a cable along the sill, off the metal, beside it for a part of its way
        const Route seats{draws.about(0.6, 0.35), draws.about(0.15, 0.5), now.supply_height_m, draws.about(0.6, 0.3)};
        const double here_db = pickup_db(way, now, width_m);
        use(Drawn{std::max(kDeepestFall_db, pickup_db(way, seats, width_m) - here_db),
                  std::max(kDeepestFall_db, pickup_db(way, moved, width_m) - here_db)});
    }
}

Reading with_model(Reading change) {
    change.sd = std::hypot(change.sd, kModel_db);
    return change;
}

}  // namespace

bool is_pickup(EntryWay way) {
    return way == EntryWay::pickup_loop || way == EntryWay::pickup_lead || way == EntryWay::pickup_capacitive;
}

std::optional<Reading> reroute_change(EntryWay way, const CableData& cables, const std::optional<ChangeSeen>& across_seats, double separation_m) {
    if (!is_pickup(way)) return Reading{0.0, 0.5};
    if (known(cables.separation_m) < 0.0 && !across_seats) return std::nullopt;
    WeighedSum sum;
    draw(way, cables, separation_m, [&](const Drawn& one) {
        const double weight =
            across_seats ? likeliness_db(across_seats->change_db, std::max(0.5, across_seats->sd_db), across_seats->at_most, one.seats_db) : 1.0;
        sum.add(one.moved_db, weight);
    });
    return with_model(sum.reading());
}

std::optional<Reading> across_seats_change(EntryWay way, const CableData& cables) {
    if (!is_pickup(way)) return Reading{0.0, 0.5};
    if (known(cables.separation_m) < 0.0) return std::nullopt;
    WeighedSum sum;
    draw(way, cables, 0.2, [&](const Drawn& one) { sum.add(one.seats_db, 1.0); });
    return with_model(sum.reading());
}

}  // namespace hushtrace
