#pragma once
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "svg.hpp"

/// What pictures with the level as colour have in common.
namespace hushtrace {

/// Levels that the palette's ends stand for: from the usual level of the quiet part to the strongest, 30 to 90 dB apart.
std::pair<double, double> level_span_dbfs(const std::vector<std::vector<float>>& columns_dbfs);

/// The palette with its levels, right of the plot: dBV where the scale is known.
std::string level_key(const svg::Frame& frame, const std::vector<std::vector<float>>& columns_dbfs,
                      std::optional<double> volts_full_scale);

}  // namespace hushtrace
