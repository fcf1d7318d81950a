#pragma once
#include <cmath>
#include <complex>
#include <cstddef>
#include <functional>
#include <numbers>
#include <vector>

namespace hushtrace::simulated {

/// Windowed-sinc low-pass by the Kaiser window (Kaiser 1974): value at `t` [samples] from its centre, half
/// its length `half_taps`, cut-off `cut` [cycles per sample]. Its integral over all t is 1 within the
/// window's ripple.
double kaiser_sinc(double t, double half_taps, double cut, double beta);

/// One pole or one zero by the bilinear transform, pre-warped at its corner.
class OnePole {
public:
    static OnePole low_pass(double corner_hz, double sample_rate_hz);
    static OnePole high_pass(double corner_hz, double sample_rate_hz);
    /// Rises by 6 dB an octave from the corner up to a second corner at 0.4 of the rate: (1 + s/w0) / (1 +
    /// s/w1).
    static OnePole rising_from(double corner_hz, double sample_rate_hz);
    /// (1 - s/w0) / (1 + s/w0): all frequencies alike, turned by a quarter at the corner.
    static OnePole all_pass(double corner_hz, double sample_rate_hz);
    std::complex<double> response(double frequency_hz, double sample_rate_hz) const;
    double next(double in) {
        const double out = b0_ * in + state_;
        state_ = b1_ * in - a1_ * out;
        return out;
    }
    void clear() { state_ = 0; }

private:
    OnePole(double b0, double b1, double a1) : b0_(b0), b1_(b1), a1_(a1) {}
    double b0_, b1_, a1_;
    double state_ = 0;
};

/// A second-order section in the analogue form (c0 + c1 s + c2 s^2) / (d0 + d1 s + d2 s^2), bilinear.
class SecondOrder {
public:
    SecondOrder(double c0, double c1, double c2, double d0, double d1, double d2, double sample_rate_hz);
    double next(double in) {
        const double out = b0_ * in + first_;
        first_ = b1_ * in - a1_ * out + second_;
        second_ = b2_ * in - a2_ * out;
        return out;
    }
    /// The coefficients of another one, the memory kept.
    void become(const SecondOrder& other) {
        b0_ = other.b0_, b1_ = other.b1_, b2_ = other.b2_, a1_ = other.a1_, a2_ = other.a2_;
    }
    std::complex<double> response(double frequency_hz, double sample_rate_hz) const;

private:
    double b0_, b1_, b2_, a1_, a2_;
    double first_ = 0, second_ = 0;
};

/// Rate of change of a current or voltage, right to 0.1 % up to 0.4 of the sample rate, together with the
/// value itself at the same instant (both come `delay` samples late).
class Differentiator {
public:
    explicit Differentiator(double sample_rate_hz);
    void push(double in);
    double value() const { return value_; }
    double slope() const { return slope_; }  ///< [units of the input per second]
    static constexpr std::size_t delay = 16;

private:
    std::vector<double> taps_, history_;  // history twice over, so that a window never wraps
    std::size_t position_ = 0;
    double value_ = 0, slope_ = 0;
};

class DelayLine {
public:
    explicit DelayLine(std::size_t samples) : history_(samples, 0.0) {}
    double next(double in) {
        if (history_.empty()) return in;
        const double out = history_[position_];
        history_[position_] = in;
        position_ = position_ + 1 == history_.size() ? 0 : position_ + 1;
        return out;
    }

private:
    std::vector<double> history_;
    std::size_t position_ = 0;
};

/// The shape of an event shorter than the signal's own detail (a spark, an edge), band-limited and tabled at
/// many positions between two samples, so that events fall at their exact times and nothing folds.
class EventShape {
public:
    /// `response` [value at t seconds after the event], 0 before it; `duration_s` until it has died away.
    EventShape(const std::function<double(double)>& response, double duration_s, double sample_rate_hz);
    /// An impulse of area one sample: integrated, it is a step of height 1.
    static EventShape impulse();

    std::size_t length() const { return length_; }
    /// The row for an event `fraction` (0..1) of a sample after the sample that it is added at.
    const double* row(double fraction) const;
    static constexpr std::size_t lead = 16;  ///< samples before the event that the band limit needs

private:
    EventShape() = default;
    static constexpr std::size_t positions = 128;
    std::size_t length_ = 0;
    std::vector<double> table_;
};

/// Adds events up, sample after sample. An event may lie up to `reach` samples ahead.
class EventSum {
public:
    EventSum() : ring_(size, 0.0) {}
    /// The event happens `ahead` samples (0 or more) after the present one. All come out EventShape::lead
    /// late.
    void add(const EventShape& shape, double ahead, double amplitude) {
        const auto whole = static_cast<std::size_t>(ahead);
        const double* row = shape.row(ahead - static_cast<double>(whole));
        for (std::size_t i = 0; i < shape.length(); ++i)
            ring_[(position_ + whole + i) % size] += amplitude * row[i];
    }
    double next() {
        const double out = ring_[position_];
        ring_[position_] = 0.0;
        position_ = (position_ + 1) % size;
        return out;
    }
    static constexpr std::size_t reach = 512;

private:
    static constexpr std::size_t size = 4096;
    std::vector<double> ring_;
    std::size_t position_ = 0;
};

}  // namespace hushtrace::simulated
