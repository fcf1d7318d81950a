#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

namespace hushtrace {

/// Level of one channel over a stretch of sound.
struct Level {
    double rms_dbfs = 0;   ///< [dBFS] AES17: a full-scale sine reads 0, a full-scale square wave +3.01
    double peak_dbfs = 0;  ///< [dBFS] highest magnitude; sample value 1.0 reads 0
    double mean = 0;       ///< dc, full scale = 1.0; it is part of the rms
};

/// Gathers the level of one channel as its samples come; memory does not grow.
class LevelMeter {
public:
    /// throws Error not_finite for a NaN or an infinity; what came before it still counts
    void add(std::span<const double> samples);
    std::uint64_t count() const { return count_; }
    double largest_magnitude() const { return largest_; }
    /// Digital silence reads -infinity. throws Error empty_input before the first sample
    Level result() const;

private:
    std::uint64_t count_ = 0;
    double sum_ = 0, sum_of_squares_ = 0, largest_ = 0;
};

/// Level of one channel over the whole span.
///
///   samples   [frames], one channel, full scale is ±1.0
///   returns   rms_dbfs and peak_dbfs [dBFS]; digital silence reads -infinity
///   throws    Error: empty_input for no samples, not_finite for a NaN or an infinity
Level measure_level(std::span<const double> samples);

}  // namespace hushtrace
