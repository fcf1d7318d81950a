#pragma once
#include <complex>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/ridge.hpp"

/// One channel over another at the lines of a followed family, and what such points say: a slope, an impedance.
namespace hushtrace {

/// A line in one bin of frequency: what y shows for each unit of x.
struct LineTransferPoint {
    double ratio = 1;                 ///< of the line to the track
    double frequency_hz = 0;          ///< where x was strong, mean over the bin's blocks
    std::complex<double> gain;        ///< H1: y over x, in units of sample values
    double coherence = 0;             ///< 0..1, the bias of few averages taken off
    double averages = 0;              ///< independent ones that the blocks are worth
    double relative_sd = 0;           ///< of |gain|; of its real and imaginary part, each against |gain|

    Reading magnitude_db() const;     ///< |gain|; sd of the averaging alone
};
struct LineTransferRequest {
    std::vector<double> ratios = {1.0};   ///< of the lines to the track
    double block_s = 0.1;                 ///< Hann windows, half overlapped; the track must be known within 0.3 / block_s
    int bins_per_octave = 6;              ///< blocks are sorted by the line's frequency in their middle
    double least_hz = 30, most_hz = 20000;
};
struct LineTransfer {
    std::vector<LineTransferPoint> points;   ///< ascending frequency; only those seen
    double delay_s = 0;                      ///< by which y comes late, where that is clear; left in the gains' phase
    std::size_t bins = 0;                    ///< that were looked at, seen or not
};

/// Both channels are turned back by the track's phase times each ratio, so that averaging follows the engine; blocks of one
/// bin give H1 = mean(conj(X) Y) / (mean |X|^2 - noise of x), where the noise is that of six tracks beside the line. A delay
/// between the channels would turn the phase within a bin: it is found first, within 1.5 ms, and allowed for.
///
///   x, y      [frames], alike in length, full scale or any other unit
///   track     its time 0 is the first frame; held beyond its ends
///   returns   points whose coherence noise alone shows in fewer than one of 10^5 bins, (1 - c)^(n-1), whose |gain| is known to a
///             quarter, and where x's line stands 10 dB out of what lies beside it: half of what is taken off for that is part of
///             the uncertainty, since it may be noise on both channels. A line above 0.45 of the rate, or nearer to 0 Hz than seven of its filter's bins, has none
///   throws    Error invalid_request for unequal lengths or no track; too_short for less than four blocks; not_finite
///   source    Bendat and Piersol, Random Data, 4th edition, ch. 9 (from memory): var |H| / |H|^2 = (1 - c) / (2 n c), bias of
///             coherence (1 - c)^2 / n; half overlapping Hann windows are worth 0.95 of their number
LineTransfer line_transfer(std::span<const double> x, std::span<const double> y, double sample_rate_hz, const Track& track,
                           const LineTransferRequest& request);

/// Points of several lines in the same bin as one, weighted by their variances; lines that disagree leave it as unsure as they
/// are apart. The phase is that of the mean of gains.
std::vector<LineTransferPoint> joined_by_frequency(std::span<const LineTransferPoint> points, int bins_per_octave = 6);

/// |gain| against the logarithm of frequency, as a straight line.
struct SlopeFit {
    Reading db_per_decade;        ///< sd such that value -+ 2 sd holds 95 %, by Student's t for so few points
    Reading middle_db;            ///< the line's height at middle_hz, where the two are independent
    double middle_hz = 0;
    double decades = 0;           ///< from the lowest to the highest point
    double scatter_db = 0;        ///< of the points about the line, beyond their own noise
};
/// Weighted least squares; what scatters beyond the points' own sd is added to it until chi squared is what it should be.
///   returns  nothing for fewer than three points, or points that lie within 5 % of one frequency
///   source   Paule and Mandel 1982, J. Res. NBS 87(5), "Consensus values and weighting factors" (from memory)
std::optional<SlopeFit> fit_slope(std::span<const LineTransferPoint> points);

/// A resistance, an inductance and, where it shows, a capacitance in series.
struct SeriesImpedance {
    Reading resistance_ohm, inductance_h;
    Reading corner_hz;                       ///< R / (2 pi L), where the two are alike
    std::optional<Reading> capacitance_f;    ///< unset: the points show none
    double from_hz = 0, to_hz = 0;
    double misfit = 0;                       ///< rms of what the fit leaves, over |Z|, beyond the points' own noise
};
/// Least squares through gains that are voltage over current [ohm]: the real part gives R, the imaginary one 2 pi f L - 1 / (2 pi f C).
/// Uncertainties hold the points' noise and the misfit, with Student's t as above.
///   returns  nothing for fewer than three points, points within half an octave, or an R or L that isn't above its own sd
std::optional<SeriesImpedance> fit_series_impedance(std::span<const LineTransferPoint> points);

}  // namespace hushtrace
