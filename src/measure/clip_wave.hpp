#pragma once
#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "clip_model.hpp"

/// The waves that a clip model makes, and their harmonics.
namespace hushtrace {

inline constexpr double kSharp = 0.004;  ///< 1/p from which Rapp's corner is told from a sharp one in double precision

struct Rails {
    std::optional<double> upper_db, lower_db;  ///< drive over each
};
Rails rails_of(const ClipModel& m);

/// The first half of a period of amplitude 1 before the rails, crest first, both ends included; the second half is its
/// mirror image.
std::vector<double> railed_half(const ClipModel& m);
/// Its harmonics: all real, so that a few sums over a quarter of the period take the place of a transform.
std::vector<std::complex<double>> spectrum_of_half(const std::vector<double>& half, std::size_t count);

/// One period of a stage that follows cos but for the steepness `most` a radian.
std::vector<double> slewed_wave(double most, double* share = nullptr);
double steepness(const ClipModel& m);
std::vector<std::complex<double>> spectrum_of(const std::vector<double>& wave, std::size_t count);

}  // namespace hushtrace
