#pragma once
#include "hushtrace/measure/marker_finder.hpp"

namespace hushtrace {

/// Where a played tone lies in a capture.
struct TonePlace {
    double start_s = 0;  ///< of its first sample, in the capture's own time
    double start_sd_s = 0;
    double clock_ppm = 0;  ///< capture clock against the player's: positive when the capture has more samples
    double clock_ppm_sd = 0;
};
inline TonePlace place_of(const LinedUp& lined_up) {
    return {lined_up.tone_start_s, lined_up.opening.time_sd_s, lined_up.clock_ppm, lined_up.clock_ppm_sd};
}

}  // namespace hushtrace
