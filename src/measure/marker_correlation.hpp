#pragma once
#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/marker_finder.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {

/// Correlates one frame of sound with both markers by phase alone, in several bands.
class MarkerCorrelation {
public:
    /// length: samples in a frame, even
    MarkerCorrelation(double sample_rate_hz, std::size_t length);

    std::size_t length() const { return transform_.length(); }
    std::size_t bands() const { return bands_.size(); }
    /// 0: up to 8000 Hz, 1: 1000 Hz, 2: 160 Hz. At low rates the first ends where the rate does.
    std::size_t band_kind(std::size_t band) const { return bands_[band].kind; }

    /// Takes a frame's phases under a Hann window. False when the frame is silent.
    bool load(std::span<const double> frame);

    struct Peak {
        Marker::End end = Marker::End::opening;
        std::size_t band = 0;
        double start_s = 0;  ///< the marker's first sample, from the frame's
        double strength = 0;
    };
    /// The highest place among those where the marker's middle lies in the middle half of the frame; strength
    /// against the rms of all places but those within 50 ms.
    Peak peak(Marker::End end, std::size_t band);
    /// The marker's time to a fraction of a sample, from the stretch around it alone; time_s counts from the
    /// frame's start.
    /// `likeness` is the share of the band's power there that the marker explains, 0..1.
    FoundMarker refine(std::span<const double> frame, const Peak& peak, double& likeness);

private:
    using Complex = std::complex<double>;
    struct Band {
        std::size_t from = 0, to = 0;  // bins, `to` not included
        std::size_t kind = 0;
        double to_hz = 0;
        double crossing_s = 0;  // the time that a marker takes from one end to the other
        RealTransform inverse;
        std::array<double, 2> reference_s{};  // opening, closing
    };
    Complex turned(const std::vector<Complex>& product, const Band& band, double time_s) const;
    double phase_product(std::span<const double> stretch, Marker::End end, const Band& band,
                         std::vector<Complex>& product);

    double rate_;
    RealTransform transform_;
    std::vector<double> window_, windowed_;
    std::vector<Complex> spectrum_, phases_;
    std::array<std::vector<Complex>, 2> markers_;        // their spectra
    std::array<std::vector<Complex>, 2> marker_phases_;  // conjugated
    std::vector<Band> bands_;
};

}  // namespace hushtrace
