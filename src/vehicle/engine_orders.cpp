#include "hushtrace/vehicle/engine_orders.hpp"

#include <algorithm>

namespace hushtrace {

double firing_order(int cylinders, int strokes) {
    return strokes == 2 ? static_cast<double>(cylinders) : 0.5 * static_cast<double>(cylinders);
}

std::vector<PulleyGuess> pulleys_for(double hz_per_rpm, double sd, int sets) {
    constexpr double kLeast = 1.8, kMost = 3.6, kUsualLeast = 2.0, kUsualMost = 3.2;
    std::vector<PulleyGuess> guesses;
    for (const int pairs : {6, 7, 8, 5, 9}) {
        PulleyGuess guess;
        guess.pole_pairs = pairs;
        guess.pulley_ratio = 10.0 / sets * hz_per_rpm / pairs;
        guess.pulley_ratio_sd = 10.0 / sets * sd / pairs;
        const double reach = 2.0 * guess.pulley_ratio_sd;
        guess.usual =
            pairs >= 6 && pairs <= 8 && guess.pulley_ratio >= kUsualLeast && guess.pulley_ratio <= kUsualMost;
        if (guess.pulley_ratio >= kLeast - reach && guess.pulley_ratio <= kMost + reach) guesses.push_back(guess);
    }
    std::stable_partition(guesses.begin(), guesses.end(), [](const PulleyGuess& guess) { return guess.usual; });
    return guesses;
}

}  // namespace hushtrace
