#pragma once
#include <cstddef>
#include <vector>

namespace hushtrace {

/// Stretches round a peak, in samples.
struct BreakFrame {
    std::size_t reach = 4096;  ///< either way, for the prediction
    std::size_t near = 600;    ///< either way, that the break is held against
    std::size_t gap = 24;      ///< of it left out next to the peak
    std::size_t inside = 16;   ///< either way, where the break may lie
    std::size_t apart = 24;    ///< from one peak to the next
};
BreakFrame frame_for(double sample_rate_hz);

/// How sharply a wave breaks at a peak, in standard deviations of what lies beside it.
class BreakReader {
public:
    explicit BreakReader(const BreakFrame& frame);
    /// around [2 reach + 1], the peak in the middle
    double read(const std::vector<double>& around);

private:
    BreakFrame frame_;
    std::vector<double> window_, noisy_, windowed_, forward_, white_, sizes_;
};

}  // namespace hushtrace
