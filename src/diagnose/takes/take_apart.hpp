#pragma once
#include <functional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// Whether a source has sound of its own in a take: lines with a track, clicks, crackle, hiss.
bool can_be_taken_out(const NoiseSource& source, const NoiseAnalysis& analysis, const std::string& take);

/// Takes a stretch of a take apart: first all sources with lines, loudest first, each from what those before have left,
/// so that two whose lines cross don't both take what is there; then clicks and crackle; what is left is hiss. Hands on
/// those of `wanted`, in that order, each as sound of its own (two channels).
void take_apart(const Block& sound, double sample_rate_hz, const std::string& take, const NoiseAnalysis& analysis,
                const std::vector<const NoiseSource*>& wanted,
                const std::function<void(const NoiseSource& source, Block& alone)>& use);

}  // namespace hushtrace
