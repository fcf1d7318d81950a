#pragma once
#include <list>
#include <optional>
#include <string>
#include <vector>

#include "noise_parts.hpp"

/// The alternator's field regulator, seen in its whine: it switches at a rate of its own (100 to 400 Hz are usual),
/// and so modulates the whine by lines on both sides whose distance does not follow the engine.
namespace hushtrace {

struct Regulator {
    double switching_hz = 0, sd_hz = 0;
    double level_db = 0;  ///< both sidebands against the whine
    std::vector<std::string> takes;
};
/// Looked for beside each followed whine, in the first minute of its take. A distance counts where an engine that
/// wanders would have smeared it, or where two takes at different speeds agree. A take that can't be read again says
/// nothing.
std::optional<Regulator> find_regulator(const OpenedJob& job, const std::list<WhineInTake>& whines);

/// Evenly spaced pairs of lines beside a whine that holds still [Hz]: they are no tones of their own.
std::vector<double> held_sidebands(const WhineInTake& whine);

/// Puts the regulator into the whine's evidence.
void add_regulator(NoiseSource& whine, const Regulator& regulator);

}  // namespace hushtrace
