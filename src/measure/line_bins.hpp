#pragma once
#include <vector>

#include "hushtrace/measure/lines.hpp"

namespace hushtrace {

/// For each bin: does it belong to a line?
inline std::vector<bool> bins_of_lines(const PowerSpectrum& spectrum, const std::vector<SpectralLine>& lines) {
    std::vector<bool> in_line(spectrum.density.size(), false);
    for (const SpectralLine& line : lines)
        for (std::size_t k = spectrum.bin_of(line.low_hz); k <= spectrum.bin_of(line.high_hz); ++k) in_line[k] = true;
    return in_line;
}

}  // namespace hushtrace
