#pragma once
#include <complex>
#include <span>
#include <vector>

#include "filters.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// Filters of a source one after the other, as its digital processor has them: second-order sections by the bilinear
/// transform, pre-warped at each filter's frequency, which for peaks, shelves and all-passes gives the well-known audio
/// biquads.
class FilterChain {
public:
    FilterChain() = default;
    FilterChain(std::span<const FilterPart> parts, double sample_rate_hz);
    double next(double in) {
        for (OnePole& one : first_orders_) in = one.next(in);
        for (SecondOrder& one : sections_) in = one.next(in);
        return in;
    }
    std::complex<double> response(double frequency_hz, double sample_rate_hz) const;

private:
    std::vector<OnePole> first_orders_;
    std::vector<SecondOrder> sections_;
};

/// Gain of the shelf that a factory source sets by its volume [dB]; between entries it goes straight.
double volume_bass_db(const VolumeBassPart& part, double volume);

/// A low shelf whose gain follows the volume, moving there as fast as the volume itself.
class VolumeBass {
public:
    VolumeBass(const VolumeBassPart& part, std::size_t channels, double sample_rate_hz);
    void set_volume(double volume, bool at_once);
    void move(double approach);
    double next(std::size_t channel, double in) { return shelves_[channel].next(in); }

private:
    void redraw();
    VolumeBassPart part_;
    double rate_hz_, gain_db_ = 0, wanted_db_ = 0, drawn_db_ = 1e9;
    std::vector<SecondOrder> shelves_;
};

/// Turns all outputs down together when one of them would exceed the threshold. The peak is held with the release's time
/// constant, the gain approaches with the attack's, so a steady tone stays clean but for a trace in the bass.
class Limiter {
public:
    Limiter(const LimiterPart& part, double sample_period_s);
    /// What all outputs are multiplied by, from the loudest of them at this instant [V].
    double gain_for(double loudest_v);
    /// The same for a steady sine of this peak.
    static double steady_gain(const LimiterPart& part, double peak_v);

private:
    LimiterPart part_;
    double attack_, release_, held_v_ = 0, gain_db_ = 0;
};

}  // namespace hushtrace::simulated
