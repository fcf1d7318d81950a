#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// Short clicks that come again and again, found in time: by the envelope of what lies above `above_hz`.
struct ImpulseTrain {
    Track rate;               ///< clicks per second, over time
    double significance = 0;  ///< standard deviations above what noise reaches
    double mean_square = 0;   ///< that the clicks add to the sound above 100 Hz, full scale squared
    double mean_square_sd = 0;
    std::vector<double> profile;     ///< mean power above above_hz at each phase of the train, from phase 0 at time 0
    double contrast_db = 0;  ///< power at the click against power between clicks, averaged over the train
};

/// How trains are looked for.
struct ImpulseSearch {
    double from_hz = 6.0, to_hz = 180.0;  ///< clicks per second
    double above_hz = 2000.0;
    double least_significance = 6.0;
};

/// The strongest train of clicks in a stretch of sound, or none. The rate may wander by a few percent a
/// second.
///
/// A comb of lines at h and at h/2 is told apart by what lies between the harmonics, so that a train is not
/// taken for one of half or twice its rate unless every second click differs.
std::optional<ImpulseTrain> find_impulse_train(std::span<const double> samples, double sample_rate_hz,
                                               const ImpulseSearch& search = {});

/// The sound with the train's clicks blanked: silent at those phases of the train where its profile stands 3 dB above
/// what lies between clicks, at most half of the time. For looking for other lines, not for reading levels.
std::vector<double> blank_clicks(std::span<const double> samples, double sample_rate_hz, const ImpulseTrain& train);

}  // namespace hushtrace
