#pragma once
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// Lines that keep a constant ratio to a speed known beforehand.
struct GuidedRidges {
    std::vector<Ridge> ridges;  ///< in time, as find_ridges gives them
    double lag_s = 0;           ///< the speed's clock less the sound's, as taken
};

/// Resamples the sound by the speed (computed order tracking), so that what follows it hardly moves, and looks there through
/// windows of 0.3 to 0.7 s: some 3 dB fainter lines than with nothing known. The clocks may differ by `most_lag_s`: at each
/// lag the sound's power is summed along the speed for every ratio, the best lag is taken, and what is found at another lag
/// than 0 must be so much likelier than noise as there were lags to choose from.
///   speed   of any unit, above 0; it holds beyond its ends
///   search  as for find_ridges: `known` and `still` are of the sound as it is
///   returns nothing for sound shorter than a second
///   throws  Error invalid_request for a speed that is not above 0; not_finite
GuidedRidges find_ridges_along(std::span<const double> samples, double sample_rate_hz, const Track& speed,
                               const RidgeSearch& search, double most_lag_s);

}  // namespace hushtrace
