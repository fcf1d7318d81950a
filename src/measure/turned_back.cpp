#include "turned_back.hpp"

#include <cmath>
#include <numbers>

namespace hushtrace {

double TurnedBack::gain(double offset_hz) const {
    const double x = std::numbers::pi * offset_hz / rate_hz;
    if (std::abs(x) < 1e-9) return 1.0;
    return std::sin(x) / x * (std::sin(x) / x);
}

TurnedBack turned_back(std::span<const double> samples, double rate, const Track& track, double ratio, std::size_t step) {
    constexpr double turn = 2.0 * std::numbers::pi;
    TurnedBack out;
    out.rate_hz = rate / static_cast<double>(step);
    const std::size_t steps = samples.size() / step;
    if (steps < 2) return out;
    out.values.reserve(steps - 1);
    const double length = static_cast<double>(step), scale = 1.0 / length;
    double phase = 0, f0 = ratio * track.at(0.0);
    std::complex<double> rising = 0;  // the part of the triangle that the step before gave
    for (std::size_t s = 0; s < steps; ++s) {
        const double f1 = ratio * track.at(static_cast<double>((s + 1) * step) / rate);
        const double advance = turn * f0 / rate, bend = turn * (f1 - f0) / (rate * length);
        // a running product of running products; its error grows too little in a step to matter
        double re = std::cos(phase), im = -std::sin(phase);
        double turn_re = std::cos(advance + 0.5 * bend), turn_im = -std::sin(advance + 0.5 * bend);
        const double bend_re = std::cos(bend), bend_im = -std::sin(bend);
        double all_re = 0, all_im = 0, late_re = 0, late_im = 0;
        const double* x = samples.data() + s * step;
        for (std::size_t i = 0; i < step; ++i) {
            const double here_re = x[i] * re, here_im = x[i] * im, weight = static_cast<double>(i);
            all_re += here_re;
            all_im += here_im;
            late_re += weight * here_re;
            late_im += weight * here_im;
            const double next = re * turn_re - im * turn_im;
            im = re * turn_im + im * turn_re;
            re = next;
            const double next_turn = turn_re * bend_re - turn_im * bend_im;
            turn_im = turn_re * bend_im + turn_im * bend_re;
            turn_re = next_turn;
        }
        phase = std::fmod(phase + advance * length + 0.5 * bend * length * length, turn);
        f0 = f1;
        const std::complex<double> all(scale * all_re, scale * all_im), late(scale * scale * late_re, scale * scale * late_im);
        if (s > 0) out.values.push_back(rising + all - late);
        rising = late;
    }
    return out;
}

}  // namespace hushtrace
