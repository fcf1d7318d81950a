#pragma once
#include "hushtrace/measure/line_comb.hpp"

namespace hushtrace {

/// A comb read as a pulse-width switched load's.
struct DutyFit {
    double duty = 0.5, duty_sd = 0.3;   ///< up to 0.5: a duty and what it lacks to 1 have the same lines
    double tilt = 0;                    ///< powers of n on the pulse's own lines
    double misfit_db = 0;               ///< rms of the lines against the best pulse
    std::size_t lines = 0;              ///< that it was fitted to
};

/// Fits duty, tilt (-1 to 1) and level to the teeth of a comb, and to the places where none stands.
///   least_mean_square  of a line that would have been seen at each place [number - 1]
DutyFit fit_duty(const LineComb& comb, std::size_t channel, const std::vector<double>& least_mean_square);

}  // namespace hushtrace
