#pragma once
#include <cstddef>
#include <optional>
#include <span>

namespace hushtrace {

/// A steady tone as found in a span. Amplitudes are peak values, full scale = 1.0; sd is a standard
/// uncertainty.
struct ToneReading {
    double frequency_hz = 0, frequency_sd_hz = 0;
    double amplitude = 0, amplitude_sd = 0;
    double phase_rad = 0;   ///< of amplitude * cos(2 pi f t + phase) at the span's first sample, -pi..pi
    double level_dbfs = 0;  ///< AES17: amplitude 1.0 reads 0
    double level_sd_db = 0;
    double snr_db = 0;  ///< tone against all that is neither tone, harmonic (2nd to 10th) nor dc, 0..fs/2
    double mean = 0;    ///< dc
    double cycles = 0;  ///< of the tone in the span
    double false_tone_probability =
        0;  ///< upper bound for noise alone having made this peak; 1 is "no tone at all"
};

/// Where to look. Without limits the strongest line between one cycle per span and half the rate is taken.
struct ToneSearch {
    std::optional<double> from_hz, to_hz;
};

/// Reads the strongest steady tone of a span: its place from a windowed transform, then a least-squares sine
/// fit with the frequency among the unknowns (IEEE Std 1057, four-parameter fit), dc and the harmonics up to
/// the 10th fitted along with it, so that a few cycles of a clipped tone read right too.
///
/// Without noise the error is that of rounding, at any frequency between two bins. In white noise the
/// frequency's spread is that of Rife and Boorstyn 1974, IEEE Trans. IT-20(5), as long as SNR times samples is 21
/// dB or more (tests/bench/frequency_bound.cpp). The uncertainties use the noise density found next to the tone,
/// not the noise of the whole band, and what lines and noise farther off may bend (a foreign line less than three
/// bins away is known in part only). Where noise may have taken the
/// tone's place (false_tone_probability above 1e-3), frequency_sd_hz covers the range searched by that
/// probability.
///
///   samples  [frames], one channel; 3 cycles of the tone or more, 16 samples or more. One tone must be
///   steady over
///            the span: a level that moves is read as its mean, and the movement as noise
///   throws   Error empty_input; not_finite; too_short; invalid_request for a search range that is empty or
///   outside
///            0..fs/2; invalid_input when there is nothing but digital silence or dc
ToneReading read_tone(std::span<const double> samples, double sample_rate_hz, const ToneSearch& search = {});

}  // namespace hushtrace
