#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/signal/block.hpp"

/// A whine that a cable is moved under, with all that may lead a follower astray: known truth, from closed forms.
struct FollowedLaw {
    double duration_s = 22, rate_hz = 48000;
    double over_noise_db = 15;        ///< whine's whole power over the noise's in 100 Hz round its leading line
    double wander = 0.015;            ///< rms of the engine's speed, below 1 Hz
    double firing_swing = 0.01;       ///< of the speed, 26 times a second
    std::size_t neighbours = 2;       ///< lines that hold still, 2 to 15 % away, -10 to +5 dB against the whine
    bool clicks = true;               ///< ignition
    bool pink = true;
    double step_s = 8, step_db = -6;  ///< the whine's level changes at once
    double gone_s = 12, back_s = 18;  ///< between them there is none
    double sweep_to = 1.0;            ///< a foot takes the speed to so many times idle and back, between 2 and 7 s
};
struct FollowedSound {
    hushtrace::Block sound;                 ///< two channels; the second is half as loud in whine, other noise
    std::vector<double> frequency_hz;       ///< [frames] true
    double first_hz = 0;                    ///< mean
    double mean_square = 0;                 ///< of the whine before the step, first channel
};

inline FollowedSound followed_sound(const FollowedLaw& law, std::uint64_t seed) {
    constexpr double turn = 2.0 * std::numbers::pi;
    std::mt19937_64 random(seed * 6007 + 5);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> even;
    FollowedSound out;
    const auto count = static_cast<std::size_t>(law.duration_s * law.rate_hz);
    out.sound.reset(2, count);
    out.frequency_hz.resize(count);
    out.first_hz = 700.0 * std::exp(even(random) * std::log(2500.0 / 700.0));

    std::vector<double> place[2];   // slow sines: rms 1 together
    for (int k = 1; k <= 20; ++k) {
        place[0].push_back(normal(random));
        place[1].push_back(normal(random));
    }
    const auto slow = [&](double t) {
        double sum = 0;
        for (std::size_t k = 0; k < 20; ++k) {
            const double at = turn * static_cast<double>(k + 1) / 20.0 * t;
            sum += place[0][k] * std::cos(at) + place[1][k] * std::sin(at);
        }
        return sum / std::sqrt(20.0);
    };
    // noise, and its density at the leading line
    const double density = 1e-10;   // full scale squared per hertz, at the leading line
    for (std::size_t c = 0; c < 2; ++c) {
        auto x = out.sound.channel(c);
        double a = 0, b = 0, d = 0;
        const double white = std::sqrt(density * law.rate_hz / 2.0);
        for (double& v : x) {
            const double w = normal(random);
            if (!law.pink) {
                v = white * w;
                continue;
            }
            // 3 dB less an octave within 0.5 dB from 40 Hz up at 48 kHz; density 1 at 1 kHz within 1 dB (read off its spectrum)
            a = 0.99765 * a + w * 0.0990460;
            b = 0.96300 * b + w * 0.2965164;
            d = 0.57000 * d + w * 1.0526913;
            v = white * 0.297 * (a + b + d + w * 0.1848) * std::sqrt(out.first_hz / 1000.0);
        }
    }
    // the whine: three lines
    const double power = 100.0 * density * std::pow(10.0, law.over_noise_db / 10.0);
    const double second_db = -6.0 - 14.0 * even(random), third_db = -10.0 - 15.0 * even(random);
    const double part[3] = {1.0, std::pow(10.0, second_db / 10.0), std::pow(10.0, third_db / 10.0)};
    const double whole = part[0] + part[1] + part[2];
    out.mean_square = power;
    double phase = even(random), firing = even(random), click_turns = even(random);
    std::size_t since_click = 1000;
    double click_size = 0;
    double next_speed = 1.0 + law.wander * slow(0), speed = next_speed, slope = 0;
    for (std::size_t n = 0; n < count; ++n) {
        const double t = static_cast<double>(n) / law.rate_hz;
        if (n % 480 == 0) {
            speed = next_speed;
            const double then = t + 480.0 / law.rate_hz;
            next_speed = 1.0 + law.wander * slow(then);
            if (law.sweep_to != 1.0 && then > 2.0 && then < 7.0)
                next_speed *= std::pow(law.sweep_to, 0.5 - 0.5 * std::cos(turn * (then - 2.0) / 5.0));
            slope = (next_speed - speed) / 480.0;
        }
        speed += slope;
        firing = std::fmod(firing + 26.0 * speed / law.rate_hz, 1.0);
        const double f = out.first_hz * speed;
        out.frequency_hz[n] = f;
        phase = std::fmod(phase + f * (1.0 + law.firing_swing / (speed * speed) * std::cos(turn * firing)) / law.rate_hz, 1.0);
        double gain = t < law.step_s ? 1.0 : std::pow(10.0, law.step_db / 20.0);
        if (t >= law.gone_s) gain = t < law.back_s ? 0.0 : 1.0;
        double whine = 0;
        for (int m = 1; m <= 3; ++m) whine += std::sqrt(2.0 * power * part[m - 1] / whole) * std::sin(turn * m * phase + m);
        double click = 0;
        if (law.clicks) {
            click_turns += 26.0 * speed / law.rate_hz;
            if (click_turns >= 1.0) {
                click_turns -= 1.0;
                since_click = 0;
                click_size = 30.0 * std::sqrt(power) * (1.0 + 0.15 * normal(random));
            }
            if (since_click < 60) {
                const double k = static_cast<double>(since_click++);
                click = click_size * std::exp(-k / 8.0) * std::cos(1.2 * k);
            }
        }
        out.sound.channel(0)[n] += gain * whine + click;
        out.sound.channel(1)[n] += 0.5 * gain * whine + click;
    }
    for (std::size_t i = 0; i < law.neighbours; ++i) {
        const double away = (0.02 + 0.13 * even(random)) * (even(random) < 0.5 ? -1.0 : 1.0);
        const double size = std::sqrt(2.0 * power) * std::pow(10.0, (-10.0 + 15.0 * even(random)) / 20.0), start = turn * even(random);
        for (std::size_t c = 0; c < 2; ++c)
            for (std::size_t n = 0; n < count; ++n)
                out.sound.channel(c)[n] += size * std::sin(turn * out.first_hz * (1.0 + away) * static_cast<double>(n) / law.rate_hz + start);
    }
    return out;
}
