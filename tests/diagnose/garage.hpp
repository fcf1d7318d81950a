#pragma once
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <list>
#include <optional>
#include <string>
#include <vector>

#include "../../src/diagnose/sources/engine_view.hpp"
#include "../../src/diagnose/sources/noise_sources.hpp"
#include "diagnose/whine_take.hpp"

/// Takes of one running vehicle, and what its whine's constant should come to, for the tests of the view over them.
namespace hushtrace::garage {

using namespace hushtrace::whine_take;

inline MovingFamily family_of(double mean_hz, const Lines& lines, double wander = 0.004) {
    MovingFamily family;
    family.mean_hz = mean_hz;
    family.wander = wander;
    for (const auto& [ratio, power] : lines) family.lines.push_back(line_of(ratio, power));
    return family;
}
inline double wandering(double t) { return 1.0 + 0.02 * std::sin(0.9 * t + 0.15 * t * t) + 0.01 * std::sin(2.3 * t); }
/// The family's track as the engine wanders, or as something else does.
inline void follow(MovingFamily& family, double late_s = 0, double swing = 1) {
    double sum = 0;
    for (int i = 0; i <= 400; ++i) {
        const double t = 0.05 * i, hz = family.mean_hz * (1 + swing * (wandering(t - late_s) - 1));
        family.ridge.track.time_s.push_back(t);
        family.ridge.track.frequency_hz.push_back(hz);
        sum += hz / 401;
    }
    family.mean_hz = sum;
}

/// Takes of one vehicle; the one at rest is held against all others where it is there.
struct Garage {
    std::list<Take> takes;
    std::list<TakeSurvey> surveys;
    VehicleData vehicle;
    TakeSurvey rest;
    Take rest_take;
    bool has_rest = false;
    std::vector<Warning> warnings;

    Garage() {
        rest_take.file = "rest";
        rest.take = &rest_take;
        fill(rest);
    }
    Garage(const Garage&) = delete;
    static void fill(TakeSurvey& survey) {
        survey.duration_s = 20;
        survey.channels.resize(2);
        survey.channels[1].channel = Channel::right;
        for (ChannelSurvey& channel : survey.channels) {
            channel.spectrum.sample_rate_hz = 48000;
            channel.spectrum.length = 48000;
        }
    }
    TakeSurvey& add(const std::string& file, std::optional<double> rpm, Engine engine = Engine::idle) {
        Take& take = takes.emplace_back();
        take.file = file;
        take.conditions.engine = engine;
        take.conditions.rpm = rpm;
        TakeSurvey& survey = surveys.emplace_back();
        survey.take = &take;
        fill(survey);
        return survey;
    }
    EngineView view() {
        return view_engine(vehicle, surveys, [this](const TakeSurvey&) { return has_rest ? &rest : nullptr; }, warnings);
    }
    EngineFindings findings() { return view().findings; }
    void told(double pole_pairs, double pulley_ratio) {
        vehicle.alternator.pole_pairs = pole_pairs;
        vehicle.alternator.pulley_ratio = pulley_ratio;
    }
};
inline void hold(ChannelSurvey& channel, double hz, double power, double prominence_db = 20, double sd_hz = 0.01) {
    SpectralLine line;
    line.frequency_hz = hz;
    line.frequency_sd_hz = sd_hz;
    line.mean_square = power;
    line.prominence_db = prominence_db;
    channel.lines.push_back(line);
}

/// A take's lines as the joint estimate should have them: 0.15 nats a decibel of merit, down to -6, and what else speaks for or against each.
inline WhineTake followed_lines(const TakeSurvey& survey, double sd_share, const std::vector<double>& besides) {
    WhineTake out;
    const auto candidates = whine_candidates(survey);
    REQUIRE(candidates.size() == besides.size());
    double best = -1e9;
    for (const WhineCandidate& one : candidates) best = std::max(best, one.merit_db);
    for (std::size_t i = 0; i < candidates.size(); ++i)
        out.lines.push_back({candidates[i].frequency_hz, sd_share, std::max(-6.0, 0.15 * (candidates[i].merit_db - best)) + besides[i], {}});
    out.speeds = stated_guesses(survey.take->conditions).first;
    return out;
}
inline void check_constant(const EngineFindings& findings, const std::vector<WhineTake>& takes, double alike = 0.025) {
    const auto wanted = joint_whine_constant(takes, {}, 0.0);
    REQUIRE(wanted);
    REQUIRE(findings.hz_per_rpm);
    CHECK(*findings.hz_per_rpm == Approx(wanted->hz_per_rpm).epsilon(1e-9));
    CHECK(*findings.hz_per_rpm_sd == Approx(std::hypot(wanted->sd, alike * wanted->hz_per_rpm)).epsilon(1e-9));
}
inline const double kFollowedSd = std::hypot(0.001, 0.5 * 0.004);

}  // namespace hushtrace::garage
