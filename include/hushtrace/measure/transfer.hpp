#pragma once
#include <complex>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/reading.hpp"

namespace hushtrace {

/// What a path does to one frequency: the captured wave over the played one, with the noise that lies under it.
struct TransferPoint {
    double frequency_hz = 0;
    std::complex<double> gain;  ///< 1 when the capture shows what was played, at the time at which it was played
    double noise_power = 0;     ///< expected |error of gain|^2
    bool noise_known = true;    ///< false where nothing told the noise: the reading is then limited by length

    /// Whether the wave stands out of the noise: ten times its power, which noise alone reaches once in 20000.
    bool seen() const { return std::norm(gain) > 10.0 * noise_power; }
    /// |gain| in dB, the noise's power taken off. Where the wave isn't seen it reads what may be there at most, the
    /// noise, and is limited by it; digital silence reads -infinity.
    Reading magnitude_db() const;
    Reading phase_rad() const;  ///< -pi..pi
};

/// On equal steps of the logarithm of frequency: transfer_frequencies().
using Transfer = std::vector<TransferPoint>;

inline constexpr int transfer_points_per_octave = 24;
/// 1000 Hz times 2^(k/24), those within from_hz..to_hz.
std::vector<double> transfer_frequencies(double from_hz, double to_hz);

/// The point nearest to a frequency; nothing when the transfer ends more than a step below or above it.
std::optional<TransferPoint> point_at(std::span<const TransferPoint> transfer, double frequency_hz);

/// One path against another, `over / under`, point by point: both on the same frequencies. A point is as noisy as the
/// two together; one whose `under` isn't seen says nothing (gain 0, noise 0).
Transfer ratio_of(std::span<const TransferPoint> over, std::span<const TransferPoint> under);

/// Group delay [s] at each point, by the phase's slope over a sixth of an octave; nothing where the points there
/// aren't seen.
std::vector<std::optional<Reading>> group_delay_s(std::span<const TransferPoint> transfer);

/// The phase [rad] that a minimum-phase path of this magnitude has, at each point from the first to the last that
/// stands 20 dB out of the noise (0 elsewhere). Beyond them the magnitude is taken to go on at the slope that it has there.
///   source  Bode 1940, "Relations between attenuation and phase in feedback amplifier design", Bell System
///           Technical Journal 19(3): phase = 1/pi integral of dA/du ln coth(|u|/2) du, u = ln(f/f0)
std::vector<double> minimum_phase_rad(std::span<const TransferPoint> transfer);

/// A path as a minimum-phase filter, a delay and a polarity.
struct DelayFit {
    Reading delay_s;         ///< of the path without its filters' own delay
    bool inverted = false;   ///< polarity turned
    bool sure = false;       ///< the polarity: the phase left over is nearer to 0 or half a turn than to between
    double intercept_rad = 0;  ///< phase at 0 Hz as the line fits it, less the polarity's half turn; near 0 when sure
    std::optional<Reading> clock_ppm;  ///< where asked for: what is left of the clocks' difference
    double from_hz = 0, to_hz = 0;     ///< what was used
};
struct DelayFitRequest {
    double around_s = 0;    ///< delay to within a few ms, as the coarse search found it
    double lowest_hz = 0, highest_hz = 1e9;
    /// Of an exponential sweep: its first frequency and rate constant. Then the clocks' difference is fitted too,
    /// by which a frequency f comes late by ppm times the time at which the sweep reaches f.
    std::optional<double> sweep_from_hz, sweep_constant_s;
};
/// Least squares through the phase that the minimum-phase part leaves. Its uncertainty holds the noise and the scatter
/// about the line.
///   returns  nothing when fewer than 12 points (half an octave) stand 20 dB out of the noise
std::optional<DelayFit> fit_delay(std::span<const TransferPoint> transfer, const DelayFitRequest& request = {});

}  // namespace hushtrace
