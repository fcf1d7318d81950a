#pragma once
#include <cstddef>
#include <vector>

namespace hushtrace::simulated {

/// An output stage's static law: straight up to its rails, with a rounded corner of a stated width, and a
/// slight second- and third-order bend below them.
struct RailLaw {
    double positive = 1, negative = -1;  ///< [V]
    double knee = 0;                     ///< half width of the corner, share of the rail
    double bend_2 = 0, bend_3 = 0;       ///< y = x + bend_2 x^2 + bend_3 x^3 before the rails
    double bent(double x) const { return x * (1.0 + x * (bend_2 + x * bend_3)); }
    double limited(double x) const;           ///< the rails alone
    double limited_integral(double x) const;  ///< its antiderivative
    double value(double x) const { return limited(bent(x)); }
    /// Below this input the law is as good as straight or bent so gently that nothing folds.
    double quiet_below() const;
};

/// Applies a law without folding its harmonics: sixteen times oversampled, with the law averaged between
/// neighbouring points by its antiderivative (Parker, Zavalishin, Le Bivic 2016, DAFx). While the input stays
/// far below the rails the bend alone is applied, at the plain rate and with the same delay.
class Clipper {
public:
    explicit Clipper(const RailLaw& law);
    double next(double in);
    static constexpr std::size_t oversampling = 16, half_taps = 32;
    /// Delay of the signal [samples].
    static constexpr std::size_t delay = 2 * half_taps - 1;

private:
    double worked(const double* window);

    RailLaw law_;
    double quiet_below_;
    std::vector<double> up_;       // oversampling rows of 2 half_taps
    std::vector<double> down_;     // 2 half_taps rows of oversampling
    std::vector<double> history_;  // twice over, newest window contiguous
    std::vector<double> fine_;     // likewise, oversampled and limited
    std::size_t position_ = 0, fine_position_ = 0, loud_for_ = 0, fine_ready_ = 0;
    double last_bent_ = 0, last_integral_ = 0;
};

}  // namespace hushtrace::simulated
