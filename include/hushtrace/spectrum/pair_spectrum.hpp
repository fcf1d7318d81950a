#pragma once
#include <cstddef>
#include <memory>
#include <span>
#include <utility>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// Averages the power spectra of two channels at once: one complex transform holds both, so that a stereo take costs
/// little more than one channel. Same segments and same result as two SpectrumAccumulators, to rounding: what rounding
/// lets through from one channel into the other lies 290 dB down.
class PairSpectrumAccumulator {
public:
    /// as SpectrumAccumulator; throws Error invalid_request
    PairSpectrumAccumulator(double sample_rate_hz, std::size_t length, WindowKind window = WindowKind::hann,
                            double overlap = 0.5);
    ~PairSpectrumAccumulator();
    PairSpectrumAccumulator(PairSpectrumAccumulator&&) noexcept;
    PairSpectrumAccumulator& operator=(PairSpectrumAccumulator&&) noexcept;
    /// both spans of the same size
    void add(std::span<const double> x, std::span<const double> y);
    /// The segments of another stretch of the same take, read by an accumulator with the same settings. The result is
    /// that of one pass when the later stretch starts a whole number of hops after the first, and the first ends
    /// length - hop frames after that start.
    void merge(const PairSpectrumAccumulator& later);
    std::size_t segments() const;
    std::size_t hop() const;  ///< frames from one segment's start to the next
    /// throws Error too_short when not one segment was complete
    std::pair<PowerSpectrum, PowerSpectrum> result() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
