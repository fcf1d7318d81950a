#pragma once
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/transfer.hpp"

namespace hushtrace {

/// What a response is made of, as equalisers and crossovers make them.
enum class ShapeKind { peak, low_shelf, high_shelf, high_pass, low_pass };
std::string_view to_word(ShapeKind kind);  ///< "peak", "low_shelf", ...

/// One part of a response.
struct ShapePart {
    ShapeKind kind = ShapeKind::peak;
    /// Of a peak its middle; of a shelf where half of its decibels are reached; of a high- or low-pass its corner: -3 dB of
    /// a Butterworth, -6 dB of a Linkwitz-Riley filter.
    Reading frequency_hz;
    Reading gain_db;              ///< of peaks (a dip's is negative) and shelves
    double q = 0;                 ///< of peaks and shelves
    int slope_db_per_octave = 0;  ///< of high- and low-passes: 6, 12, 18, 24, 36, 48
    bool linkwitz_riley = false;
};

/// A response as a level and parts in cascade.
struct ResponseShape {
    double level_db = 0;  ///< where no part reaches
    std::vector<ShapePart> parts;   ///< by rising frequency
    double left_over_db = 0;        ///< rms of what the parts don't explain
    double from_hz = 0, to_hz = 0;  ///< band that was looked at
    /// Half of what lies between the highest and the lowest point, a sixth of an octave averaged.
    double flat_within_db = 0;
    /// Low and high end both up by shelves or peaks of 1.5 dB and more: what a loudness control does.
    bool loudness = false;
};

/// Reads the parts: one after the other the part that explains most of what is left is added (peaks, shelves, high- and
/// low-passes of usual slopes), all parts fitted anew together each time (Levenberg-Marquardt on decibels, far points
/// counting less after Huber 1964), as long as the Bayes information criterion (Schwarz 1978) gains clearly and the part
/// bends the response by half a decibel. Then each part's kind and slope are tried again, and parts that nothing needs
/// are dropped.
///   source  peaks and shelves: analogue prototypes of R. Bristow-Johnson's "Cookbook formulae for audio EQ biquad filter
///           coefficients"; slopes: Butterworth 1930, |H|^2 = 1/(1 + x^2n); Linkwitz and Riley 1976, |H| = 1/(1 + x^n).
///           The bilinear transform's bend towards half the rate is tried for 44.1, 48 and 96 kHz and for none
///   returns nothing where less than two octaves stand out of the noise
std::optional<ResponseShape> shape_of(std::span<const TransferPoint> transfer);

}  // namespace hushtrace
