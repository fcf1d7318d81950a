#include "ignition.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::simulated {

Ignition::Ignition(const IgnitionPart& part, int cylinders, double sample_rate_hz, std::uint64_t seed)
    : part_(part),
      random_(seed, 201),
      shape_(
          [&part](double t) {
              return std::exp(-t / part.ring_decay_s) *
                     std::sin(2.0 * std::numbers::pi * part.ring_hz * t + 0.6);
          },
          8.0 * part.ring_decay_s, sample_rate_hz) {
    for (int c = 0; c < cylinders; ++c)
        cylinder_strength_.push_back(std::max(0.2, 1.0 + 0.01 * part.scatter_percent * random_.gaussian()));
}

double Ignition::advance(const EngineMotion& engine) {
    if (const auto ago = engine.fired_samples_ago()) {
        const double strength = cylinder_strength_[static_cast<std::size_t>(engine.cylinder())] *
                                std::max(0.2, 1.0 + 0.005 * part_.scatter_percent * random_.gaussian());
        const double samples_per_degree = 1.0 / (360.0 * engine.revolutions_per_sample());
        const double jitter =
            part_.jitter_deg * samples_per_degree * std::clamp(random_.gaussian(), -3.0, 3.0);
        constexpr double middle = 128;  // room for jitter to both sides
        sum_.add(shape_, std::clamp(middle - *ago + jitter, 0.0, 2.0 * middle), strength);
    }
    return sum_.next();
}

}  // namespace hushtrace::simulated
