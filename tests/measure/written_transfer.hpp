#pragma once
#include <cmath>
#include <complex>
#include <functional>

#include "hushtrace/measure/transfer.hpp"

/// Transfers that are written down point by point: 24 points an octave, 1000 Hz times 2^(k/24).
namespace written_transfer {

using Gain = std::function<std::complex<double>(int k)>;

inline double hz_of(double k) { return 1000.0 * std::exp2(k / 24.0); }
inline hushtrace::Transfer path(int from, int to, const Gain& gain, double noise_power = 0) {
    hushtrace::Transfer out;
    for (int k = from; k <= to; ++k) out.push_back({hz_of(k), gain(k), noise_power, true});
    return out;
}
/// All levels alike between two points, both included, and another one beyond.
inline Gain band(int from, int to, double inside_db, double outside_db) {
    return [=](int k) { return std::pow(10.0, (k >= from && k <= to ? inside_db : outside_db) / 20); };
}
inline Gain level(double db) { return band(0, 0, db, db); }

}  // namespace written_transfer
