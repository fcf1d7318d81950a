#pragma once
#include <cstddef>
#include <filesystem>
#include <functional>
#include <vector>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// Averaged spectra of all channels of a take file, as one pass over it would give (to rounding).
///
/// The file is cut at a segment's edge into as many parts as there are threads; each thread decodes and transforms its
/// own part through a reader of its own. A file that can't be sought in, or whose header doesn't say how long it is,
/// is read by one. Memory: a few segments a thread, whatever the take's length.
///   length   samples in a segment for a rate [Hz]; even
///   returns  [channels]; empty where the take is shorter than one segment
///   throws   Error as TakeReader does; invalid_request as SpectrumAccumulator does
std::vector<PowerSpectrum> spectra_of_file(const std::filesystem::path& file,
                                           const std::function<std::size_t(double rate_hz)>& length,
                                           std::size_t threads, WindowKind window = WindowKind::hann,
                                           double overlap = 0.5);

}  // namespace hushtrace
