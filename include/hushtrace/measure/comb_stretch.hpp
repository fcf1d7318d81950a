#pragma once
#include <optional>

#include "hushtrace/measure/column_map.hpp"
#include "hushtrace/measure/line_comb.hpp"
#include "hushtrace/measure/still_lines.hpp"

namespace hushtrace {

/// A comb that sounds through a part of a stretch.
struct CombStretch {
    LineComb comb;                   ///< powers are means over the whole stretch
    double from_s = 0, to_s = 0;
    double surprise = 0;             ///< less what trying all parts and spacings allows
    bool throughout = false;
};

/// The part of a stretch through which a comb of known spacing stands out most: for each column the sum over all
/// places of the cell against its noise, for every run of columns that sum against a gamma law. A cell counts for 12
/// times its noise at most, so that no single line decides. Ten spacings near by are held against it: what they reach,
/// the noise reaches by itself.
std::optional<CombStretch> find_comb_stretch(const ColumnMap& map, const StillSpectrum& still, double spacing_hz, double tolerance,
                                             const CombPlaces& places, double least_surprise);

}  // namespace hushtrace
