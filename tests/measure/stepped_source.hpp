#pragma once
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/signal/block.hpp"

/// A source whose knob is turned by hand while a tone plays, for tests; it shares nothing with the simulated
/// vehicle.
namespace stepped_source {

/// One stop of the knob.
struct Stop {
    double level_db = -20;  ///< of the tone before the output stage; 0 peaks at 1.0
    double duration_s = 1.0;
    double silence_before_s = 0;
    bool click_before = false;
    double clicks_within_s = 0;  ///< a click this long after the stop's start; 0 for none
};

using Stage = std::function<double(double)>;  ///< what the output stage does to a sample

inline Stage hard(double rail) {
    return [rail](double x) { return std::clamp(x, -rail, rail); };
}
inline Stage one_sided(double rail) {
    return [rail](double x) { return std::min(x, rail); };
}
/// Clean at low level, saturating softly towards the rail.
inline Stage soft(double rail) {
    return [rail](double x) { return rail * std::tanh(x / rail); };
}

struct Source {
    double rate = 48000, tone_hz = 997;
    double clock_ppm = 0;
    std::vector<Stop> stops;
    std::vector<Stage> channels = {hard(0.5), hard(0.5)};
    std::vector<double> channel_gain = {1.0, 0.97};
    double noise_rms = 1e-5;
    double lead_in_s = 0.7, lead_out_s = 0.5;
    bool chirps =
        false;  ///< a rising chirp in the lead-in, a falling one in the lead-out, as a tone file has them
    double turn_s = 0.01;  ///< the knob's ramp from one level to the next
    double interface_rail = 1.0;
    double pad = 1.0;  ///< between source and interface
    unsigned seed = 1;
};

inline hushtrace::Block render(const Source& source) {
    std::vector<double> gain;
    std::vector<double> clicks;
    const auto append = [&](double seconds, double value) {
        gain.insert(gain.end(), static_cast<std::size_t>(seconds * source.rate), value);
        clicks.resize(gain.size(), 0.0);
    };
    append(source.lead_in_s, 0.0);
    double before = 0;
    for (const Stop& stop : source.stops) {
        const double level = std::pow(10.0, stop.level_db / 20);
        if (stop.silence_before_s > 0) {
            append(stop.silence_before_s, 0.0);
            before = 0;
        }
        const auto turn = static_cast<std::size_t>(source.turn_s * source.rate);
        for (std::size_t i = 0; i < turn; ++i)
            append(1.0 / source.rate + 1e-9,
                   before + (level - before) * static_cast<double>(i) / static_cast<double>(turn));
        const std::size_t start = gain.size();
        append(stop.duration_s, level);
        const auto click = [&](std::size_t at) {
            for (std::size_t i = 0; i < 40 && at + i < clicks.size(); ++i)
                clicks[at + i] = 0.2 * std::exp(-static_cast<double>(i) / 8.0);
        };
        if (stop.click_before) click(start);
        if (stop.clicks_within_s > 0)
            click(start + static_cast<std::size_t>(stop.clicks_within_s * source.rate));
        before = level;
    }
    append(source.lead_out_s, 0.0);
    // 0.6 s from 40 Hz to 8 kHz at -12 dB of the neighbouring stop's level, 0.2 s away from the tone
    std::vector<double> chirp(gain.size(), 0.0);
    if (source.chirps && !source.stops.empty()) {
        const auto count = static_cast<std::size_t>(0.6 * source.rate);
        const auto lead_in = static_cast<std::size_t>(source.lead_in_s * source.rate);
        const auto lead_out = static_cast<std::size_t>(source.lead_out_s * source.rate);
        const auto gap = static_cast<std::size_t>(0.2 * source.rate);
        const double octaves = std::log(8000.0 / 40.0);
        for (std::size_t n = 0; n < count; ++n) {
            const double share = static_cast<double>(n) / static_cast<double>(count);
            const double phase =
                2.0 * std::numbers::pi * 40.0 * 0.6 / octaves * (std::exp(share * octaves) - 1.0);
            const double x = 0.25 * std::sin(phase);
            chirp.at(lead_in - gap - count + n) = x * std::pow(10.0, source.stops.front().level_db / 20);
            chirp.at(gain.size() - lead_out + gap + count - 1 - n) =
                x * std::pow(10.0, source.stops.back().level_db / 20);
        }
    }
    hushtrace::Block block(source.channels.size(), gain.size());
    std::mt19937_64 engine(source.seed);
    std::normal_distribution<double> normal(0.0, source.noise_rms);
    const double omega =
        2.0 * std::numbers::pi * source.tone_hz * (1 + source.clock_ppm * 1e-6) / source.rate;
    for (std::size_t c = 0; c < source.channels.size(); ++c)
        for (std::size_t n = 0; n < gain.size(); ++n) {
            const double played =
                source.channel_gain.at(c) * gain[n] * std::sin(omega * static_cast<double>(n));
            const double x =
                source.pad * (source.channels[c](played + clicks[n] + source.channel_gain.at(c) * chirp[n])) +
                normal(engine);
            const double held = std::clamp(x, -source.interface_rail, source.interface_rail);
            block.channel(c)[n] = std::round(held * 8388607.0) / 8388607.0;
        }
    return block;
}

/// Stops of uneven length from one level on, `step_db` apart.
inline std::vector<Stop> staircase(double first_db, double step_db, std::size_t count, unsigned seed = 7) {
    std::mt19937 engine(seed);
    std::uniform_real_distribution<double> duration(0.5, 1.1);
    std::vector<Stop> stops;
    for (std::size_t i = 0; i < count; ++i) {
        Stop stop;
        stop.level_db = first_db + step_db * static_cast<double>(i);
        stop.duration_s = duration(engine);
        stops.push_back(stop);
    }
    return stops;
}

}  // namespace stepped_source
