#pragma once
#include <cstdint>
#include <vector>

#include "engine.hpp"
#include "filters.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// One short, ringing pulse a firing; each cylinder has its own strength, each firing its own jitter.
class Ignition {
public:
    Ignition(const IgnitionPart& part, int cylinders, double sample_rate_hz, std::uint64_t seed);
    /// Height of the pulse train now: a single pulse peaks near 1.
    double advance(const EngineMotion& engine);

private:
    IgnitionPart part_;
    Random random_;
    EventShape shape_;
    EventSum sum_;
    std::vector<double> cylinder_strength_;
};

}  // namespace hushtrace::simulated
