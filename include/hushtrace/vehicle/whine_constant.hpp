#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/vehicle/engine_orders.hpp"

namespace hushtrace {

/// A speed that a take may have had [1/min], and how sure: one part of a mixture.
struct SpeedGuess {
    double rpm = 0;
    double sd_share = 0;  ///< standard deviation, of the speed
    double weight = 1;    ///< probability that this is the right guess; the parts of a take sum to 1 or less
};

/// A line that may be a take's whine.
struct WhineLine {
    double frequency_hz = 0;
    double sd_share = 0;
    double log_weight = 0;  ///< natural log of how likely it is by its looks; 0: as good as any
    /// The speed over the very stretch in which the line was followed; goes before the take's guesses.
    std::optional<SpeedGuess> measured;
};
struct WhineTake {
    std::vector<WhineLine> lines;
    std::vector<SpeedGuess> speeds;
};

/// What is known of a vehicle's alternator by hand.
struct ToldAlternator {
    std::optional<double> pole_pairs, pulley_ratio;
};

/// Hertz of whine per rpm, jointly from all takes.
struct WhineConstant {
    double hz_per_rpm = 0, sd = 0;
    double probability = 0;                        ///< that the constant is this one and none far from it
    std::vector<std::optional<std::size_t>> line;  ///< [takes] the line that is the whine; none fits: unset
};

/// The constant that explains the takes best, by Bayes's rule on a grid: for each constant k and each take the
/// mixture of all its lines over all its speeds, |ln(f / k N)| being normal with the two uncertainties and a slip of
/// the belt of 0.7 % (common practice, no source: 1 to 2 % steady), or the take says nothing (4 %). Before: 1.2
/// to 2.4 Hz/rpm usual, 0.8 to 2.8 possible, twice these on two sets.
///   common_sd_share   what all speeds may be wrong by alike (a dial that reads high)
///   returns nothing when no take has both a line and a speed
std::optional<WhineConstant> joint_whine_constant(std::span<const WhineTake> takes, const ToldAlternator& told,
                                                  double common_sd_share);

/// Natural log of how likely a constant is before anything is measured; minus 20 outside all ranges.
double log_prior_of_constant(double hz_per_rpm, const ToldAlternator& told);

}  // namespace hushtrace
