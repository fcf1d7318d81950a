#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/transfer.hpp"

namespace hushtrace {

/// One all-pass in a path: all levels alike, the phase turned by half a turn (first order) or a whole one.
struct AllPass {
    int order = 2;
    Reading frequency_hz;  ///< where it has turned by half of that
    double q = 0;          ///< of second order
};
struct AllPassFit {
    std::vector<AllPass> all_passes;  ///< none where delay and polarity explain the phase
    bool inverted = false;
    bool sure = false;     ///< the polarity: left_over_rad is small, and the lowest frequencies say so
    Reading delay_s;       ///< of the rest of the path
    double left_over_rad = 0, without_rad = 0;  ///< rms of the phase unexplained, with and without the all-passes
};

/// Whether what minimum phase and a delay leave of a path's phase is turned by one or two all-passes, as some factory
/// processors turn it. A crossover's two halves added up turn it so as well.
///   source   second order: phase = -2 atan2(x/Q, 1 - x^2), first: -2 atan x; x the frequency over the all-pass's (any
///            textbook on filters: Zoelzer, Digital Audio Signal Processing, from memory)
///   around_s delay to within a few ms
///   returns  nothing where fewer than two octaves stand 20 dB out of the noise
std::optional<AllPassFit> find_all_passes(std::span<const TransferPoint> transfer, double around_s);

}  // namespace hushtrace
