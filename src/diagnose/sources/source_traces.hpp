#pragma once
#include <list>
#include <vector>

#include "noise_parts.hpp"

namespace hushtrace {

/// Where each source lies in each take that it has a level in: the track of its leading line and its lines' ratios to
/// it, or the clicks' rate. Sources without a place of their own (hiss, clipping) have none.
std::vector<SourceTrace> traces_of(const std::list<TakeSurvey>& surveys, const std::list<WhineInTake>& whines,
                                   const std::vector<NoiseSource>& sources);

/// Of each followed source, the lines of its take over its cycles; analysis.traces are those of `surveys`.
std::vector<OrderSpectrumReading> order_spectra_of(const std::list<TakeSurvey>& surveys, const NoiseAnalysis& analysis);

/// Whether a kind is made of clicks that come evenly.
bool is_of_clicks(NoiseKind kind);

}  // namespace hushtrace
