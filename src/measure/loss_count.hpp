#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>

namespace hushtrace {

struct LossCount {
    std::optional<std::int64_t> frames;  ///< positive lost, negative repeated; the smallest that fits
    bool certain = false;                ///< no other within 2000 fits
};

/// How many lost (or repeated) frames turn a tone's phase by `step_rad`, within four standard deviations.
inline LossCount count_lost_frames(double step_rad, double step_sd_rad, double cycles_per_frame) {
    const std::int64_t most = 2000;
    const double margin_rad = 4 * step_sd_rad + 1e-6;
    LossCount found;
    std::int64_t fitting = 0;
    for (std::int64_t size = 1; size <= most; ++size) {
        for (const std::int64_t frames : {size, -size}) {
            const double cycles = cycles_per_frame * static_cast<double>(frames);
            const double expected = 2 * std::numbers::pi * (cycles - std::round(cycles));
            if (std::abs(std::remainder(step_rad - expected, 2 * std::numbers::pi)) > margin_rad) continue;
            if (!found.frames) found.frames = frames;
            ++fitting;
        }
    }
    found.certain = fitting == 1;
    return found;
}

}  // namespace hushtrace
