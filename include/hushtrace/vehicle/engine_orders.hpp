#pragma once
#include <string>
#include <vector>

namespace hushtrace {

/// What is known of frequencies that follow an engine. An order counts events per crankshaft turn.
///   sources  six-pulse rectifier theory; common practice for the usual ranges, no source (docs/noise.md lists both)

/// Hertz of whine per rpm of the crankshaft, p r / 10 for six pulses: p pole pairs, r pulley ratio.
struct WhineConstants {
    static constexpr double usual_low = 1.2, usual_high = 2.4;
    static constexpr double possible_low = 0.8, possible_high = 2.8;   // twice that on machines with two sets
};
inline double whine_hz_per_rpm(double pole_pairs, double pulley_ratio) { return pole_pairs * pulley_ratio / 10.0; }

/// Crankshaft speed of an idling engine, cold or warm [1/min].
struct IdleSpeed {
    static constexpr double low = 550.0, high = 1500.0;
};

/// Ignition (or injection) events per crankshaft turn: cylinders / 2 for four strokes, cylinders for two.
/// Wasted spark doesn't double it.
double firing_order(int cylinders, int strokes);

/// Pole pairs and pulley ratio that would give a whine constant. Every constant in reach is met by some ratio, since
/// ratios are not whole: the list says which pairs of them are worth counting on the vehicle.
struct PulleyGuess {
    int pole_pairs = 0;
    double pulley_ratio = 0, pulley_ratio_sd = 0;
    bool usual = false;   ///< 6 to 8 pole pairs, ratio 2 to 3.2 (common practice, no source)
};
/// Pole pairs from 5 to 9 whose ratio lies in 1.8 to 3.6 within two standard deviations, usual ones first; empty when
/// none does. `sets` is 1, or 2 for two sets of windings (twelve pulses: p r / 5).
std::vector<PulleyGuess> pulleys_for(double hz_per_rpm, double sd = 0, int sets = 1);

}  // namespace hushtrace
