#pragma once
#include <span>

namespace hushtrace {

/// Whether a hump of the spectrum is a line that moves slowly, or noise, or a line whose phase hunts: what the frequency of one
/// moment says of that of a later one.
///
/// The hump is shifted to 0 Hz and cut out, z. Over a lag by which the hump as a whole has lost its coherence, a line that keeps its
/// frequency for a while turns by a phase of its own, and by the same once more a while later: the mean of
/// z(t + lag) z*(t) [z(t + lag + apart) z*(t + apart)]* over (mean |z|^2)^2 is then near 1. Of Gaussian noise it is the product of
/// correlations that are gone (Isserlis 1918), of a phase with independent steps (a renewal process, a random walk) as well.
///   width_hz   of the hump at half its height
///   share      of the power within some two widths of the middle that is the hump's, not the noise's beside it
///   returns    1 for a line that wanders slowly, 0.1 to 0.2 for noise; 0 where the sound holds fewer than ten such lags
double phase_memory(std::span<const double> samples, double sample_rate_hz, double centre_hz, double width_hz, double share = 1.0);

}  // namespace hushtrace
