#pragma once
#include <span>

#include "hushtrace/measure/reading.hpp"

namespace hushtrace {

/// A peak that a rail cut, upright.
struct CutPeak {
    double height = 0;    ///< of its flat top's middle
    double integral = 0;  ///< of the sound up to there [s]
    double width = 0;     ///< half of the flat top's [samples]
};

/// Where a rail lies.
struct RailLevel {
    Reading level_dbfs;
    double corner_hz = 0;  ///< of the coupling behind it
};

/// Level [dBFS] of the rail that cut peaks share. A coupling (high-pass of first order, corner 0 to 25 Hz) has moved each
/// flat top by 2 pi corner times the sound's integral: every corner is tried, weighed by how well the peaks then agree,
/// and what the peaks leave open of it is part of the uncertainty.
///   cuts  at least one
RailLevel rail_level(std::span<const CutPeak> cuts);

}  // namespace hushtrace
