#include "loads.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "engine.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double turn = 2.0 * std::numbers::pi;

}  // namespace

Load::Load(const LoadPart& part, double sample_period_s, std::uint64_t seed)
    : part_(part),
      period_s_(sample_period_s),
      random_(seed, 301),
      speed_(4.0, sample_period_s * static_cast<double>(control_period)) {
    speed_.settle(random_);
}

void Load::switch_to(bool on) {
    on_ = on;
}

double Load::mean_a() const {
    return part_.pwm ? part_.current_a * part_.pwm->duty : part_.current_a;
}

double Load::advance() {
    double ripple = 0;
    if (part_.pwm) ripple += chopped();
    if (part_.motor && on_) ripple += commutated();
    return ripple;
}

// A square wave whose edges fall between the samples: band-limited impulses, summed up.
double Load::chopped() {
    chop_rev_ += part_.pwm->frequency_hz * period_s_;
    const double step = part_.pwm->frequency_hz * period_s_;
    const auto edge = [&](double past_rev, double height) {
        edges_.add(edge_, 1.0 - std::clamp(past_rev / step, 0.0, 1.0), height);
        high_ = !high_;
    };
    if (high_ && chop_rev_ >= part_.pwm->duty) edge(chop_rev_ - part_.pwm->duty, -part_.current_a);
    if (chop_rev_ >= 1.0) {
        chop_rev_ -= 1.0;
        if (!high_ && on_) edge(chop_rev_, part_.current_a);
    }
    height_ += edges_.next();
    return on_ ? height_ - mean_a() : 0.0;
}

// Bars pass the brushes: the strongest line at bars x turns, its double, and the turns themselves from uneven
// bars.
double Load::commutated() {
    const MotorPart& motor = *part_.motor;
    if (count_++ % control_period == 0) speed_now_ = 1.0 + 0.01 * motor.drift_percent * speed_.next(random_);
    turn_rev_ += motor.speed_rps * speed_now_ * period_s_;
    turn_rev_ -= std::floor(turn_rev_ / 1024.0) * 1024.0;
    const double bar = turn * motor.bars * turn_rev_;
    const double shaft = turn * turn_rev_;
    return motor.ripple_a * (std::cos(bar) + 0.3 * std::cos(2.0 * bar) + 0.12 * std::cos(shaft) +
                             0.1 * std::cos(bar - shaft) + 0.02 * random_.gaussian());
}

ConverterHash::ConverterHash(const DevicePart& part, double sample_rate_hz, double sample_period_s,
                             std::uint64_t seed)
    : part_(part),
      period_s_(sample_period_s),
      random_(seed, 401),
      drift_(0.8, sample_period_s * static_cast<double>(control_period)),
      pulse_([](double t) { return std::exp(-t / 6e-5) * std::cos(turn * 7000.0 * t); }, 5e-4,
             sample_rate_hz),
      rate_hz_(part.hash_hz) {
    drift_.settle(random_);
    // One pulse peaks below 1 once band-limited; scaled so that hash_mv is what the pulses reach.
    double peak = 1e-9;
    for (std::size_t i = 0; i < pulse_.length(); ++i) peak = std::max(peak, std::abs(pulse_.row(0.0)[i]));
    gain_ = 1e-3 * part.hash_mv / peak;
}

double ConverterHash::advance() {
    if (count_++ % control_period == 0) rate_hz_ = part_.hash_hz * (1.0 + 0.015 * drift_.next(random_));
    const double step = rate_hz_ * period_s_;
    rev_ += step;
    if (rev_ >= 1.0) {
        rev_ -= 1.0;
        // Light load: the controller leaves pulses out now and then and places the others unevenly.
        if (random_.uniform() > 0.08) {
            const double uneven = std::clamp(0.04 * random_.gaussian(), -0.12, 0.12) / step;
            sum_.add(pulse_, std::max(0.0, 64.0 - rev_ / step + uneven),
                     gain_ * (1.0 + 0.1 * random_.gaussian()));
        }
    }
    return sum_.next() + 2e-5 * part_.hash_mv * random_.gaussian();
}

Mains::Mains(double frequency_hz, double harmonic_share, double sample_rate_hz, double sample_period_s,
             std::uint64_t seed)
    : frequency_hz_(frequency_hz),
      period_s_(sample_period_s),
      random_(seed, 501),
      drift_(6.0, sample_period_s * static_cast<double>(control_period)) {
    drift_.settle(random_);
    for (int n = 1; n <= 25 && n * frequency_hz < 0.45 * sample_rate_hz; ++n) {
        const double odd = n == 1 ? 1.0 : harmonic_share * std::pow(3.0 / n, 1.3);
        peaks_.push_back(std::numbers::sqrt2 * (n % 2 == 1 ? odd : 0.15 * odd));
    }
}

double Mains::advance() {
    if (count_++ % control_period == 0) drift_hz_ = std::clamp(0.02 * drift_.next(random_), -0.05, 0.05);
    rev_ += (frequency_hz_ + drift_hz_) * period_s_;
    rev_ -= std::floor(rev_);
    const std::complex<double> first(std::cos(turn * rev_), std::sin(turn * rev_));
    std::complex<double> now = first;
    double sum = 0;
    for (const double peak : peaks_) {
        sum += peak * now.imag();
        now *= first;
    }
    return sum;
}

}  // namespace hushtrace::simulated
