#pragma once
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// Stretches round a peak, in samples.
struct BreakFrame {
    std::size_t reach = 4096;  ///< either way, for the prediction
    std::size_t near = 600;    ///< either way, that the break is held against
    std::size_t beside = 120;  ///< either way, beyond the gap: where the sound may be livelier than farther out
    std::size_t gap = 24;      ///< of it left out next to the peak
    std::size_t inside = 16;   ///< either way, where the break may lie
    std::size_t apart = 24;    ///< from one peak to the next
};
BreakFrame frame_for(double sample_rate_hz);

/// How a peak differs from what the sound round it lets expect.
struct PeakBreak {
    double sharpness = 0;  ///< largest break near the peak, of either sign, in standard deviations of what lies beside
    double missing = 0;    ///< how clearly the cap of a wave is missing, likewise; 0 where no cap with a flat top is
    double width = 0;      ///< half of the missing cap's width [samples]
    double centre = 0;     ///< its place from the peak [samples]
    /// Both together: music's own onsets break, but seldom as a missing cap; noise may look like one, but breaks
    /// little.
    double strength() const;
};

/// Makes a peak and what surrounds it white by its own linear prediction, and looks for breaks and missing caps.
class BreakReader {
public:
    explicit BreakReader(const BreakFrame& frame);
    /// around [2 reach + 1], the peak, upright, in the middle
    PeakBreak read(const std::vector<double>& around);

private:
    /// A wave's cap that a rail would take away: a parabola, limited to the band of the samples.
    struct Cap {
        double width, centre;
        std::ptrdiff_t first;  ///< sample, from the peak
        std::vector<double> shape;
    };
    void whiten(const std::vector<double>& around);
    double sharpness();
    double noise_of(const Cap& cap);
    double weight_of(const Cap& cap) const;

    BreakFrame frame_;
    std::vector<std::vector<Cap>> caps_;  // by width
    std::vector<double> window_, noisy_, windowed_, forward_, white_, far_, beside_, echo_;
};

}  // namespace hushtrace
