#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/tone_place.hpp"
#include "hushtrace/measure/transfer.hpp"
#include "hushtrace/signal/tone.hpp"

namespace hushtrace {

/// What a path does to noise that is known sample by sample.
struct NoiseResponse {
    Transfer transfer;
    std::vector<double> coherence;  ///< of each point, 0..1: the share of the captured power that the played one explains
    double averages = 0;            ///< segments, less what their overlap shares
    double coarse_delay_s = 0;
    double file_rate_hz = 0;  ///< at which the noise was written
};

/// Response of one channel from pink noise: H1 = Sxy / Sxx between the played noise and the capture.
///
/// The played noise is made anew from its seed at its file's rate and drawn at the capture's instants as the player's
/// clock makes them appear (windowed sinc of 64 taps, Blackman-Harris), shifted by the path's delay, so that both lie in
/// one segment. Segments of one second (a sixteenth of the noise where that is less), Hann, half overlapping; bins within
/// a 1/24 octave are taken together.
///   source  Bendat, Piersol, Random Data, ch. 9: H1, and its random error
///           sd(|H|)/|H| = sqrt((1 - coherence) / (2 n coherence)), n independent averages
///
///   tone_s        how long the noise played, by the player's clock
///   file_rate_hz  of the file; where unset the usual rates are tried and the one that fits is taken
///   returns       points from 20 Hz to 20 kHz or 0.42 of the lower of both rates
///   throws        Error too_short: under 2 s of noise; invalid_input: no usual rate's noise is in the capture; not_finite
NoiseResponse measure_noise_response(std::span<const double> samples, double sample_rate_hz, const Pink& played,
                                     const TonePlace& place, double tone_s,
                                     std::optional<double> file_rate_hz = std::nullopt);

}  // namespace hushtrace
