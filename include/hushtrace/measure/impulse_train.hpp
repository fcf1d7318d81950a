#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"
#include "hushtrace/measure/sound_span.hpp"

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
    double faint_significance = 6.0;  ///< one between this and the former is given last: more must speak for it
    std::size_t most_trains = 2;
};

/// The strongest train of clicks in a stretch of sound, or none. The rate may wander by a few percent a
/// second.
///
/// A comb of lines at h and at h/2 is told apart by what lies between the harmonics, so that a train is not
/// taken for one of half or twice its rate unless every second click differs. A train most of whose turns hold no click is
/// one of a fraction of its rate, which may lie below `from_hz`.
std::optional<ImpulseTrain> find_impulse_train(std::span<const double> samples, double sample_rate_hz,
                                               const ImpulseSearch& search = {});

/// The strongest train, and the strongest of what it leaves, unless one's rate is a whole multiple of the other's.
std::vector<ImpulseTrain> find_impulse_trains(std::span<const double> samples, double sample_rate_hz,
                                              const ImpulseSearch& search = {});

/// Where a train's clicks sound: its profile's loud phases in every turn, and a twenty-fourth of a turn on either side.
std::vector<SoundSpan> loud_spans(const ImpulseTrain& train, double duration_s);

/// The sound with the train's clicks blanked: silent at those phases of the train where its profile stands 3 dB above
/// what lies between clicks, at most half of the time. For looking for other lines, not for reading levels.
std::vector<double> blank_clicks(std::span<const double> samples, double sample_rate_hz, const ImpulseTrain& train);

}  // namespace hushtrace
