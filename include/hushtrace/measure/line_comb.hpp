#pragma once
#include <cstddef>
#include <functional>
#include <vector>

#include "hushtrace/measure/still_lines.hpp"

namespace hushtrace {

/// One line of a comb.
struct CombTooth {
    int number = 1;
    double frequency_hz = 0, frequency_sd_hz = 0;
    double surprise = 0;               ///< of the channel where it stands out most
    std::vector<double> mean_square;   ///< [channels]
    double total() const;
};

/// Lines at whole multiples of one spacing.
struct LineComb {
    double spacing_hz = 0, spacing_sd_hz = 0;
    std::vector<CombTooth> teeth;     ///< those that stand (noise alone: one place in twenty), ascending
    std::size_t places = 0;           ///< looked at
    double surprise = 0;              ///< of all places together
    double surprise_of_rest = 0;      ///< of all but the strongest tooth
    double surprise_beyond_two = 0;   ///< of all but the two strongest: two lines alone lie on some comb by chance
    const CombTooth* tooth(int number) const;
    const CombTooth* strongest() const;
    /// The largest number that divides all teeth's numbers.
    int common_divisor() const;
    /// The same of the teeth that are hardly chance (1 in 150 places); 0 without any.
    int solid_divisor() const;
};

/// How a comb is read.
struct CombPlaces {
    int most_number = 40;
    double to_hz = 20000.0;                        ///< and not above 0.45 of the rate
    std::function<bool(double)> spoken_for;        ///< frequencies [Hz] that count for nothing; may be empty
    std::function<bool(double)> doubtful;          ///< where a line must stand out by itself, and steadily; may be empty
};

/// Reads the comb at a spacing: each place's most surprising bin, the spacing sharpened by the teeth found so far, and
/// all places together, each counting by what its surprise is above 1.5 (surprise_of_sum). The strongest of a few
/// channels speaks for a place, at the price of having looked in each.
///   channels  of one take: same rate and bins; silent ones left out are empty spectra
LineComb read_comb(const std::vector<const StillSpectrum*>& channels, double spacing_hz, double spacing_sd_hz,
                   const CombPlaces& places);

/// The best comb whose spacing lies within `tolerance` (relative) of a nominal one: tried at the spacings that steady
/// lines suggest and on a grid. Both surprises are less what looking at so many spacings allows noise.
LineComb find_comb(const std::vector<const StillSpectrum*>& channels, double nominal_hz, double tolerance,
                   const CombPlaces& places);

/// The comb to which a line belongs, of any spacing from `least_hz` up: the line is tooth 1 to 24 of it. Of spacings
/// that explain about as much, the widest. surprise_of_rest is what the other teeth say, less what the choice allows.
LineComb comb_through(const std::vector<const StillSpectrum*>& channels, double line_hz, double line_sd_hz,
                      double least_hz, const CombPlaces& places);

}  // namespace hushtrace
