#include "filters.hpp"

#include <algorithm>

namespace hushtrace::simulated {
namespace {

constexpr double pi = std::numbers::pi;

/// Modified Bessel function of the first kind, order 0, by its power series.
double bessel_i0(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; term > 1e-17 * sum; ++k) {
        const double factor = x / (2.0 * k);
        term *= factor * factor;
        sum += term;
    }
    return sum;
}

}  // namespace

double kaiser_sinc(double t, double half_taps, double cut, double beta) {
    const double place = t / half_taps;
    if (std::abs(place) >= 1.0) return 0.0;
    const double window = bessel_i0(beta * std::sqrt(1.0 - place * place)) / bessel_i0(beta);
    const double angle = 2.0 * pi * cut * t;
    return 2.0 * cut * (std::abs(angle) < 1e-9 ? 1.0 : std::sin(angle) / angle) * window;
}

OnePole OnePole::low_pass(double corner_hz, double sample_rate_hz) {
    const double k = std::tan(pi * std::min(corner_hz / sample_rate_hz, 0.49));
    return {k / (1.0 + k), k / (1.0 + k), (k - 1.0) / (k + 1.0)};
}
OnePole OnePole::high_pass(double corner_hz, double sample_rate_hz) {
    const double k = std::tan(pi * std::min(corner_hz / sample_rate_hz, 0.49));
    return {1.0 / (1.0 + k), -1.0 / (1.0 + k), (k - 1.0) / (k + 1.0)};
}
OnePole OnePole::rising_from(double corner_hz, double sample_rate_hz) {
    const double zero = std::tan(pi * std::min(corner_hz / sample_rate_hz, 0.39));
    const double pole = std::tan(pi * 0.4);
    const double scale = pole / zero;  // (1 + s/zero) / (1 + s/pole) with s = (z - 1)/(z + 1)
    return {scale * (zero + 1.0) / (pole + 1.0), scale * (zero - 1.0) / (pole + 1.0),
            (pole - 1.0) / (pole + 1.0)};
}

OnePole OnePole::all_pass(double corner_hz, double sample_rate_hz) {
    const double k = std::tan(pi * std::min(corner_hz / sample_rate_hz, 0.49));
    return {(k - 1.0) / (k + 1.0), 1.0, (k - 1.0) / (k + 1.0)};
}
std::complex<double> OnePole::response(double frequency_hz, double sample_rate_hz) const {
    const auto back = std::polar(1.0, -2.0 * pi * frequency_hz / sample_rate_hz);
    return (b0_ + b1_ * back) / (1.0 + a1_ * back);
}
std::complex<double> SecondOrder::response(double frequency_hz, double sample_rate_hz) const {
    const auto back = std::polar(1.0, -2.0 * pi * frequency_hz / sample_rate_hz);
    return (b0_ + back * (b1_ + back * b2_)) / (1.0 + back * (a1_ + back * a2_));
}

SecondOrder::SecondOrder(double c0, double c1, double c2, double d0, double d1, double d2,
                         double sample_rate_hz) {
    const double k = 2.0 * sample_rate_hz;
    const double norm = d0 + d1 * k + d2 * k * k;
    b0_ = (c0 + c1 * k + c2 * k * k) / norm;
    b1_ = (2.0 * c0 - 2.0 * c2 * k * k) / norm;
    b2_ = (c0 - c1 * k + c2 * k * k) / norm;
    a1_ = (2.0 * d0 - 2.0 * d2 * k * k) / norm;
    a2_ = (d0 - d1 * k + d2 * k * k) / norm;
}

// The ideal differentiator's impulse response is (-1)^n / n; a Kaiser window of this length keeps it right to
// 0.4 fs.
Differentiator::Differentiator(double sample_rate_hz) : taps_(delay + 1), history_(2 * (2 * delay + 1), 0.0) {
    for (std::size_t n = 1; n <= delay; ++n) {
        const double place = static_cast<double>(n) / static_cast<double>(delay + 1);
        const double window = bessel_i0(5.0 * std::sqrt(1.0 - place * place)) / bessel_i0(5.0);
        taps_[n] = sample_rate_hz * window * (n % 2 == 1 ? 1.0 : -1.0) / static_cast<double>(n);
    }
}

void Differentiator::push(double in) {
    constexpr std::size_t length = 2 * delay + 1;
    history_[position_] = history_[position_ + length] = in;
    position_ = position_ + 1 == length ? 0 : position_ + 1;
    const double* centre = history_.data() + position_ + delay;
    value_ = *centre;
    double slope = 0;
    for (std::size_t n = 1; n <= delay; ++n)
        slope += taps_[n] * (centre[n] - centre[-static_cast<std::ptrdiff_t>(n)]);
    slope_ = slope;
}

EventShape::EventShape(const std::function<double(double)>& response, double duration_s,
                       double sample_rate_hz) {
    constexpr int fine = 16;  // points per sample at which the response is taken
    const auto points = static_cast<std::size_t>(std::ceil(duration_s * sample_rate_hz * fine));
    std::vector<double> values(points);
    for (std::size_t i = 0; i < points; ++i)
        values[i] = response((static_cast<double>(i) + 0.5) / (fine * sample_rate_hz));
    length_ = 2 * lead + points / fine + 1;
    const auto reach_points = static_cast<std::ptrdiff_t>(lead * fine);
    table_.assign((positions + 1) * length_, 0.0);
    // The band limit, tabled on a grid that both the fine points and the tabled positions fall on.
    constexpr int grid = 256;
    std::vector<double> limit(2 * lead * grid + 1);
    for (std::size_t i = 0; i < limit.size(); ++i) {
        const double t = static_cast<double>(i) / grid - static_cast<double>(lead);
        limit[i] = kaiser_sinc(t, static_cast<double>(lead), 0.42, 8.0) / fine;
    }
    for (std::size_t p = 0; p <= positions; ++p) {
        for (std::size_t n = 0; n < length_; ++n) {
            // Time of sample n after the event, in grid steps; the event's own instant is sample `lead` +
            // p/positions.
            const auto after = static_cast<std::ptrdiff_t>((n * grid)) -
                               static_cast<std::ptrdiff_t>(lead * grid) -
                               static_cast<std::ptrdiff_t>(p * grid / positions);
            const std::ptrdiff_t middle = after * fine / grid;
            double sum = 0;
            for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, middle - reach_points);
                 i < std::min(static_cast<std::ptrdiff_t>(points), middle + reach_points); ++i) {
                const std::ptrdiff_t offset = after - (2 * i + 1) * grid / (std::ptrdiff_t{2} * fine);
                const std::ptrdiff_t at = offset + static_cast<std::ptrdiff_t>(lead) * grid;
                if (at >= 0 && at < static_cast<std::ptrdiff_t>(limit.size()))
                    sum += values[static_cast<std::size_t>(i)] * limit[static_cast<std::size_t>(at)];
            }
            table_[p * length_ + n] = sum;
        }
    }
}

EventShape EventShape::impulse() {
    EventShape shape;
    shape.length_ = 2 * lead + 1;
    shape.table_.assign((positions + 1) * shape.length_, 0.0);
    for (std::size_t p = 0; p <= positions; ++p) {
        double* row = shape.table_.data() + p * shape.length_;
        double sum = 0;
        for (std::size_t n = 0; n < shape.length_; ++n) {
            const double t =
                static_cast<double>(n) - static_cast<double>(lead) - static_cast<double>(p) / positions;
            sum += row[n] = kaiser_sinc(t, static_cast<double>(lead), 0.42, 8.0);
        }
        for (std::size_t n = 0; n < shape.length_; ++n) row[n] /= sum;  // a step ends exactly at its height
    }
    return shape;
}

const double* EventShape::row(double fraction) const {
    const auto position = static_cast<std::size_t>(std::lround(std::clamp(fraction, 0.0, 1.0) * positions));
    return table_.data() + position * length_;
}

}  // namespace hushtrace::simulated
