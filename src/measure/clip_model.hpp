#pragma once
#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "cholesky.hpp"

namespace hushtrace {

/// A tone's harmonics as captured, the fundamental first: the wave is the real part of the sum of
/// value[k] exp(i (k + 1) w t).
struct ToneHarmonics {
    double tone_hz = 0;
    std::vector<std::complex<double>> value;
    std::vector<double> sd;  ///< of a harmonic's real part, and of its imaginary part
};

/// What stands in the tone's way.
enum class ClipShape { straight, equal_rails, upper_rail, lower_rail, unequal_rails, slope };

/// Unknowns of the model, in the order of their places.
struct ClipModel {
    enum Place : std::size_t { scale_ln, phase, coupling_hz, lag, bend_2, bend_3, drive_db, edge, other_drive_db, places };
    ClipShape shape = ClipShape::straight;
    /// scale_ln: ln of the first rail's height (straight: of the amplitude; slope: of the steepest slope a radian);
    /// phase of the crest [rad]; coupling_hz: corner of the high-pass; lag: tone's frequency over the corner of the
    /// low-pass; bends against the amplitude; drive over the first rail (slope: over the slope); edge: 1/p of Rapp's
    /// law; drive over the other rail
    std::array<double, places> value{};

    /// The places that this shape has.
    std::vector<std::size_t> free() const;
    /// Harmonics of the wave as it leaves the path.
    std::vector<std::complex<double>> harmonics(double tone_hz, std::size_t count) const;
    /// Share of the time beyond a rail (soft: beyond where it would reach 1 % THD), or at the slope's limit.
    double clipped_share() const;
    /// Amplitude of the tone, had nothing stood in its way [dB re full scale].
    double amplitude_db() const;
    /// Amplitude at which this stage bends a tone to 1 % THD [dB re full scale].
    double amplitude_db_at_one_percent() const;
};

struct ClipFit {
    ClipModel model;
    Matrix covariance{ClipModel::places};  ///< misfit, where the model is not the whole truth, included
    double misfit = 0;                     ///< squared, in units of the weights; what is expected included
    double freedom = 1;
    double unexplained_share = 0;  ///< of the harmonics' amplitude (rms), fundamental left out
    /// To within noise and what is granted the path: no need to look for a better one.
    bool fits() const { return misfit < 1.2 * freedom; }
};

/// 1/p of Rapp's law up to which a corner is called sharp: rounded over a tenth of the rail or so.
inline constexpr double kHardEdge = 0.12;

/// Best fit of one shape; unset where no start leads to one. `like` is a simpler shape's fit to start from as well.
std::optional<ClipFit> fit_clip_model(ClipShape shape, const ToneHarmonics& heard, const ClipFit* like = nullptr);

/// The same fit once more, held to what noise and misfit turned out to be: for uncertainties.
ClipFit sharpened(const ClipFit& found, const ToneHarmonics& heard);

}  // namespace hushtrace
