#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

#include "hushtrace/measure/reading.hpp"

namespace hushtrace {

/// The quasi-peak meter of ITU-R BS.468-4 section 2 with the weighting network before it: full-wave rectifier, then
/// two followers that rise faster than they fall. Streamed; memory does not grow.
///
/// Indications are in the samples' unit, such that a steady 1 kHz sine reads its rms. Tone bursts read as the
/// standard's two tables ask (tests/reference/weighting_bs468_quasipeak.csv).
class QuasiPeakMeter {
public:
    /// throws Error invalid_request for a rate that is not above 0
    explicit QuasiPeakMeter(double sample_rate_hz);
    ~QuasiPeakMeter();
    QuasiPeakMeter(QuasiPeakMeter&&) noexcept;
    QuasiPeakMeter& operator=(QuasiPeakMeter&&) noexcept;
    void add(std::span<const double> samples);
    double indication() const;  ///< where the needle stands now
    double highest() const;     ///< the highest that it stood
    /// Mean indication once the needle has risen (1 s); its sd from the needle's own unrest, widened after Student so
    /// that two of them make 95 %. Nothing for a take under 3 s.
    std::optional<Reading> mean() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
