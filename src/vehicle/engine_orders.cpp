#include "hushtrace/vehicle/engine_orders.hpp"

namespace hushtrace {

double firing_order(int cylinders, int strokes) {
    return strokes == 2 ? static_cast<double>(cylinders) : 0.5 * static_cast<double>(cylinders);
}

std::pair<double, double> firing_range_hz(double rpm_low, double rpm_high, std::optional<int> cylinders,
                                          std::optional<int> strokes) {
    const double least = firing_order(cylinders.value_or(3), strokes.value_or(4));
    const double most = firing_order(cylinders.value_or(12), strokes.value_or(4));
    return {least * rpm_low / 60.0, most * rpm_high / 60.0};
}

std::vector<PulleyGuess> pulleys_for(double hz_per_rpm) {
    std::vector<PulleyGuess> guesses;
    for (const int pairs : {6, 7, 8}) {
        const double ratio = 10.0 * hz_per_rpm / pairs;
        if (ratio >= 1.9 && ratio <= 3.6) guesses.push_back({pairs, ratio});
    }
    return guesses;
}

}  // namespace hushtrace
