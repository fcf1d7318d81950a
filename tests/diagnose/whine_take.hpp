#pragma once
#include <optional>
#include <utility>
#include <vector>

#include "../../src/diagnose/sources/noise_parts.hpp"

/// Takes with followed and held lines, for the tests of the alternator's whine.
namespace hushtrace::whine_take {

inline OrderLine line_of(double ratio, double power, double ratio_sd = 1e-4) {
    OrderLine line;
    line.ratio = ratio;
    line.ratio_sd = ratio_sd;
    line.mean_square = {0.25 * power, 0.75 * power};   // the second channel is the louder one
    line.prominence_db = 20;
    return line;
}
using Lines = std::vector<std::pair<double, double>>;   // ratio, power

/// A take of two channels with one followed family.
struct Run {
    Take take;
    TakeSurvey survey;
    explicit Run(double mean_hz, const Lines& lines, std::optional<double> rpm = 1000.0, Engine engine = Engine::idle) {
        take.file = "takes/run.flac";
        take.conditions.engine = engine;
        take.conditions.rpm = rpm;
        survey.take = &take;
        survey.duration_s = 8;
        survey.channels.resize(2);
        survey.channels[1].channel = Channel::right;
        for (ChannelSurvey& channel : survey.channels) {
            channel.spectrum.sample_rate_hz = 48000;
            channel.spectrum.length = 48000;
            channel.spectrum.effective_duration_s = 8;
        }
        MovingFamily family;
        family.mean_hz = mean_hz;
        family.wander = 0.004;
        family.significance = 12;
        for (const auto& [ratio, power] : lines) family.lines.push_back(line_of(ratio, power));
        survey.families.push_back(family);
    }
    Run(const Run&) = delete;
    void click(double rate_hz, double significance = 30, std::size_t channel = 0, double wander = 0) {
        ImpulseTrain train;
        for (int i = 0; i < 100; ++i) {
            train.rate.time_s.push_back(0.1 * i);
            train.rate.frequency_hz.push_back(rate_hz * (1.0 + (i % 2 == 0 ? wander : -wander)));   // wander() is just that
        }
        train.significance = significance;
        survey.channels[channel].clicks = train;
    }
    void hold(double hz, double power, double prominence_db = 20, std::size_t channel = 0) {
        SpectralLine line;
        line.frequency_hz = hz;
        line.frequency_sd_hz = 0.01;
        line.mean_square = power;
        line.prominence_db = prominence_db;
        survey.channels[channel].lines.push_back(line);
    }
    std::vector<HeldLine> held(const std::vector<const TakeSurvey*>& others = {}) const { return held_lines(survey, others); }
};

}  // namespace hushtrace::whine_take
