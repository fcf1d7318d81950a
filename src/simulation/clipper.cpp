#include "clipper.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "filters.hpp"

namespace hushtrace::simulated {
namespace {

constexpr std::size_t taps = 2 * Clipper::half_taps;
constexpr std::size_t fine_taps = taps * Clipper::oversampling;

using Pair = double __attribute__((vector_size(16)));  // both compilers have it, and the filters live by it

Pair pair_at(const double* from) {
    Pair pair;
    std::memcpy(&pair, from, sizeof pair);
    return pair;
}

/// Sum of products, in strands so that the additions needn't wait for each other. `count` is a multiple of 8.
double dot(const double* a, const double* b, std::size_t count) {
    Pair s0 = {0, 0}, s1 = {0, 0}, s2 = {0, 0}, s3 = {0, 0};
    for (std::size_t i = 0; i < count; i += 8) {
        s0 += pair_at(a + i) * pair_at(b + i);
        s1 += pair_at(a + i + 2) * pair_at(b + i + 2);
        s2 += pair_at(a + i + 4) * pair_at(b + i + 4);
        s3 += pair_at(a + i + 6) * pair_at(b + i + 6);
    }
    const Pair sum = (s0 + s1) + (s2 + s3);
    return sum[0] + sum[1];
}

/// One rail, for a magnitude against a limit of 1: straight, then a parabola from 1 - knee to 1 + knee, then
/// flat.
double one_rail(double x, double knee) {
    if (x <= 1.0 - knee) return x;
    if (x >= 1.0 + knee) return 1.0;
    const double over = x - 1.0 + knee;
    return x - over * over / (4.0 * knee);
}
double one_rail_integral(double x, double knee) {
    if (x <= 1.0 - knee) return 0.5 * x * x;
    const auto inside = [knee](double at) {
        const double over = at - 1.0 + knee;
        return 0.5 * at * at - (knee > 0 ? over * over * over / (12.0 * knee) : 0.0);
    };
    if (x < 1.0 + knee) return inside(x);
    return inside(1.0 + knee) + (x - 1.0 - knee);
}

}  // namespace

double RailLaw::limited(double x) const {
    return x >= 0 ? positive * one_rail(x / positive, knee) : negative * one_rail(x / negative, knee);
}
double RailLaw::limited_integral(double x) const {
    return x >= 0 ? positive * positive * one_rail_integral(x / positive, knee)
                  : negative * negative * one_rail_integral(x / negative, knee);
}
double RailLaw::quiet_below() const {
    const bool straight = bend_2 == 0 && bend_3 == 0;
    return (straight ? 0.97 : 0.25) * std::min(positive, -negative) * (1.0 - knee);
}

Clipper::Clipper(const RailLaw& law)
    : law_(law),
      quiet_below_(law.quiet_below()),
      up_(oversampling * taps),
      down_(fine_taps),
      history_(2 * taps, 0.0),
      fine_(2 * fine_taps, 0.0) {
    // Row r of the interpolator gives the point r / oversampling after the window's middle sample.
    for (std::size_t r = 0; r < oversampling; ++r) {
        for (std::size_t i = 0; i < taps; ++i) {
            const double t = static_cast<double>(i) - (static_cast<double>(half_taps) - 1.0) -
                             static_cast<double>(r) / oversampling;
            up_[r * taps + i] = kaiser_sinc(t, static_cast<double>(half_taps), 0.5 * 0.95, 10.0);
        }
        double sum = 0;
        for (std::size_t i = 0; i < taps; ++i) sum += up_[r * taps + i];
        for (std::size_t i = 0; i < taps; ++i) up_[r * taps + i] /= sum;
    }
    // The last fine point lies 15/16 sample after the row 0 point and the averaging costs half a fine step:
    // with its middle here the decimator's delay comes out at whole samples, `delay` in all.
    double sum = 0;
    for (std::size_t i = 0; i < fine_taps; ++i) {
        const double t =
            (static_cast<double>(i) - (static_cast<double>(fine_taps) / 2.0 + 0.5)) / oversampling;
        sum += down_[i] = kaiser_sinc(t, static_cast<double>(half_taps), 0.5 * 0.94, 11.0);
    }
    for (double& tap : down_) tap /= sum;
}

double Clipper::next(double in) {
    history_[position_] = history_[position_ + taps] = in;
    position_ = position_ + 1 == taps ? 0 : position_ + 1;
    const double* window = history_.data() + position_;  // oldest first
    // Loudness is seen `delay` samples before it comes out; the fine signal fills its decimator in that time.
    if (std::abs(in) > quiet_below_) loud_for_ = 3 * taps;
    if (loud_for_ == 0) {
        fine_ready_ = 0;
        return law_.bent(window[taps - 1 - delay]);
    }
    --loud_for_;
    return worked(window);
}

double Clipper::worked(const double* window) {
    if (fine_ready_ == 0) {
        std::fill(fine_.begin(), fine_.end(), 0.0);
        last_bent_ = law_.bent(dot(window, up_.data() + 0, taps));
        last_integral_ = law_.limited_integral(last_bent_);
    }
    for (std::size_t r = 0; r < oversampling; ++r) {
        const double bent = law_.bent(dot(window, up_.data() + r * taps, taps));
        const double integral = law_.limited_integral(bent);
        const double step = bent - last_bent_;
        const double limited = std::abs(step) > 1e-6 ? (integral - last_integral_) / step
                                                     : law_.limited(0.5 * (bent + last_bent_));
        last_bent_ = bent;
        last_integral_ = integral;
        fine_[fine_position_] = fine_[fine_position_ + fine_taps] = limited;
        fine_position_ = fine_position_ + 1 == fine_taps ? 0 : fine_position_ + 1;
    }
    if (fine_ready_ < delay - 4) {  // still filling; what comes out now went in while it was quiet
        ++fine_ready_;
        return law_.bent(window[taps - 1 - delay]);
    }
    return dot(fine_.data() + fine_position_, down_.data(), fine_taps);
}

}  // namespace hushtrace::simulated
