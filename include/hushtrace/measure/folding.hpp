#pragma once
#include <cstddef>
#include <optional>
#include <span>

namespace hushtrace {

/// What a tone leaves between its harmonics when it is clipped in numbers: harmonics above half the clipping stage's
/// sample rate fold back to |m fs - k f|. An analogue rail leaves nothing there.
struct Folding {
    double clipped_at_hz = 0;     ///< the stage's sample rate, by its nominal value
    double clock_ppm = 0;         ///< its own clock against the capture's
    double level_db = 0;          ///< of the folded lines together, against the tone
    std::size_t lines = 0, looked_for = 0;
};

/// Looks for lines that the usual sample rates (32, 44.1, 48, 88.2 and 96 kHz, up to 250 ppm off) would fold a tone's
/// harmonics to. Folding is reported where five lines or more, and a quarter of those looked for, stand ten times over the
/// noise's median round them: of noise alone one bin in a thousand does (exponential law).
///
///   samples  [frames], one channel, 100 cycles or more of one steady tone; fewer find nothing, and so does a tone whose
///            folded lines fall on its own harmonics (1000 Hz at 48 kHz), and a sample that isn't finite
///   tone_hz  as measured in these samples
std::optional<Folding> find_folding(std::span<const double> samples, double sample_rate_hz, double tone_hz);

}  // namespace hushtrace
