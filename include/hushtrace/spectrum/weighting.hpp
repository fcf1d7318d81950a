#pragma once
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace hushtrace {

/// Weighting curves as power factors at a frequency; 1 at 1 kHz, 0 at dc.
///   source  A, C: IEC 61672-1:2013 annex E; ITU-R BS.468-4 figure 1a (the passive network's formula)
double a_weighting_power(double frequency_hz);
double c_weighting_power(double frequency_hz);
double itu468_weighting_power(double frequency_hz);

/// The weighting network of ITU-R BS.468-4 as a filter, 0 dB at 1 kHz, for meters that rectify.
///
/// A rectifier needs more samples than a spectrum does: what comes out is `oversampling()` times as dense, 170 kHz
/// at least. At that rate the network's six poles, taken over by their impulse response, differ from it by less than
/// 0.01 dB up to 20 kHz (what folds lies 90 dB down); the interpolation before adds less than 0.15 dB up to 0.45 of
/// the take's rate. The delay is 12 samples of the take where there is an interpolation.
class Itu468Filter {
public:
    /// throws Error invalid_request for a rate that is not above 0
    explicit Itu468Filter(double sample_rate_hz);
    ~Itu468Filter();
    Itu468Filter(Itu468Filter&&) noexcept;
    Itu468Filter& operator=(Itu468Filter&&) noexcept;
    std::size_t oversampling() const;
    /// samples [frames] -> weighted [frames * oversampling()], in the same unit; state is carried from call to call
    void filter(std::span<const double> samples, std::vector<double>& weighted);

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
