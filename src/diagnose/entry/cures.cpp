#include "cures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "hushtrace/vehicle/coupling.hpp"
#include "over_ways.hpp"
#include "steady_draws.hpp"

namespace hushtrace {
namespace {

using LinesOfNoise = std::vector<std::pair<double, double>>;

constexpr double kNothing = 0.3;  // dB: sd of what a cure doesn't touch
// Usual parts, common practice, no source: a lead's shield, what else its loop has where it is hard grounded, and the loop's inductance (5 m at 1 uH)
constexpr double kShield_ohm = 0.1, kLoop_ohm = 0.18, kLoop_h = 5e-6;
constexpr double kSource_ohm = 150, kInput_ohm = 15000;
constexpr double kWinding_f = 100e-12, kWinding_ohm = 300, kPrimary_h = 2.0;
constexpr double kClip_h = 1e-6;
constexpr double kChoke_h = 20e-6;
constexpr double kCommonMode_ohm = 20000;
constexpr double kBetterShield_ohm = 0.03;

/// Change of a noise's power when each of its lines changes by a ratio [dB].
template <class Ratio>
double change_db(const LinesOfNoise& lines, Ratio&& ratio) {
    double sum = 0;
    for (const auto& [frequency_hz, share] : lines) {
        const double one = ratio(frequency_hz);
        sum += share * one * one;
    }
    return std::max(kDeepestFall_db, 10.0 * std::log10(sum));
}

bool by_the_shield(EntryWay way) {
    return way == EntryWay::ground_loop || way == EntryWay::pickup_loop || way == EntryWay::source_shield_open || way == EntryWay::antenna_lead;
}

/// Half of such joints sit in the shield, half in the core; the set-up's loop closes by the shield or by the source.
Reading one_of_two(double one_db, double other_db) {
    return {10.0 * std::log10(0.5 * std::pow(10.0, one_db / 10.0) + 0.5 * std::pow(10.0, other_db / 10.0)), 0.5 * std::abs(one_db - other_db)};
}

Reading isolator(EntryWay way, const LinesOfNoise& lines) {
    const double opened =
        change_db(lines, [](double f) { return isolator_ratio(kWinding_f, kSource_ohm, shield_share(kShield_ohm, kLoop_ohm, kLoop_h, f), f); });
    if (by_the_shield(way)) return {opened, 6.0};
    if (way == EntryWay::contact || way == EntryWay::measuring_setup) return one_of_two(opened, 0.0);
    return {0.0, kNothing};
}

Reading source_filter(EntryWay way, const LinesOfNoise& lines) {
    if (way != EntryWay::source_supply) return {0.0, kNothing};
    return {change_db(lines, [](double f) { return supply_filter_ratio({}, f); }), 4.0};
}

/// A coil that bears the amplifier's current: the current in its branch drives its ground, the wires beside the lead, and what reaches its inside.
Reading amplifier_filter(EntryWay way, const LinesOfNoise& lines, const Job& job) {
    if (way != EntryWay::ground_loop && way != EntryWay::amplifier_internal && !is_pickup(way)) return {0.0, kNothing};
    const double cable_h = 0.45e-6 * (job.supply.length_m && *job.supply.length_m > 0.0 ? *job.supply.length_m : 5.0);
    SteadyDraws draws;
    WeighedSum sum;
    for (int i = 0; i < 400; ++i) {
        const double branch_ohm = draws.about(0.03, 0.4), capacitor_f = draws.about(6e-3, 0.6);
        sum.add(change_db(lines, [&](double f) { return added_coil_ratio(branch_ohm, cable_h, capacitor_f, kChoke_h, f); }), 1.0);
    }
    return sum.reading();
}

Reading ferrite(EntryWay way, const LinesOfNoise& lines) {
    if (!by_the_shield(way)) return {0.0, kNothing};
    return {change_db(lines, [](double f) { return ferrite_ratio(kLoop_ohm, kLoop_h, kClip_h, f); }), kNothing};
}

Reading another_cable(EntryWay way, const LinesOfNoise& lines) {
    switch (way) {
        case EntryWay::ground_loop:
        case EntryWay::pickup_loop:
        case EntryWay::antenna_lead: {  // the same loop, less of it on the shield
            const double rest_ohm = kLoop_ohm - kShield_ohm;
            return {change_db(lines,
                              [rest_ohm](double f) {
                                  return shield_share(kBetterShield_ohm, kBetterShield_ohm + rest_ohm, kLoop_h, f) /
                                         shield_share(kShield_ohm, kLoop_ohm, kLoop_h, f);
                              }),
                    4.0};
        }
        case EntryWay::pickup_lead:
            return {-15.0, 7.0};  // core and return a tenth as far apart, or twisted
        case EntryWay::pickup_capacitive:
            return {-25.0, 6.0};  // a braid covers what an open shield didn't
        case EntryWay::contact:
            return {-25.0, 6.0};
        default:
            return {0.0, kNothing};
    }
}

Reading balanced_input(EntryWay way, const LinesOfNoise& lines) {
    const double left = differential_residue(kSource_ohm, kCommonMode_ohm);
    const double rejected = change_db(lines, [left](double f) { return left / shield_share(kShield_ohm, kLoop_ohm, kLoop_h, f); });
    if (by_the_shield(way)) return {rejected, 8.0};
    if (way == EntryWay::contact || way == EntryWay::measuring_setup) return one_of_two(rejected, 0.0);
    if (way == EntryWay::pickup_lead || way == EntryWay::pickup_capacitive) return {-6.0, 6.0};  // alike in both conductors, as far as they are
    return {0.0, kNothing};
}

std::string isolator_words(const ActsOn& on, const std::optional<ChangeSeen>& tried) {
    return fmt::format(
               "{}It opens the lead's shield; it costs bass ({:.0f} dB at 20 Hz, {:.1f} dB at 40 Hz with {:.0f} H and {:.0f} ohm of source and "
               "winding), and hides a bad ground "
               "rather than mends it. That one helps proves that the lead's shield carries the noise: neither by which path, nor that the cure is "
               "found.",
               !tried           ? ""
               : tried->at_most ? "The isolator was tried: the noise was gone, the figure is the least. "
                                : "The isolator was tried: the figure is what it showed. ",
               transformer_bass_db(20, kSource_ohm + kWinding_ohm, kInput_ohm, kPrimary_h),
               transformer_bass_db(40, kSource_ohm + kWinding_ohm, kInput_ohm, kPrimary_h), kPrimary_h, kSource_ohm + kWinding_ohm) +
           (on.job.source.output == OutputKind::speaker ? " At a speaker output it must bear the power." : "");
}

std::string source_filter_words(const LinesOfNoise& lines) {
    const SupplyFilter filter;
    const double change = change_db(lines, [&](double f) { return supply_filter_ratio(filter, f); });
    return fmt::format(
        "1 mH and 2200 uF (corner {:.0f} Hz) change this noise's lines on the source's supply by {:+.0f} dB{}: it helps what comes by the source's "
        "supply, and nothing else. "
        "The coil must bear the source's current; fuse before it.",
        filter.corner_hz(), change, change > 0.0 ? ", up, since they lie near the corner" : "");
}

Cure cure(const ActsOn& on, const char* what, const char* name, const WayChange& change, std::string text) {
    const Reading expected = power_change(on.standing.posterior, change);
    return {on.source.id, what, name, expected.value, expected.sd, std::move(text)};
}

}  // namespace

std::vector<std::pair<double, double>> lines_of(const NoiseSource& source) {
    constexpr std::array<double, 5> spread_hz = {250, 500, 1000, 2000, 4000};
    LinesOfNoise lines;
    const auto add = [&lines](double frequency_hz, double level_db) {
        if (std::isfinite(frequency_hz) && frequency_hz >= 1.0 && std::isfinite(level_db))
            lines.emplace_back(frequency_hz, std::pow(10.0, level_db / 10.0));
    };
    if (source.loudness)
        for (const auto& [frequency_hz, level_db] : source.loudness->lines) add(frequency_hz, level_db);
    if (lines.empty())
        for (const Harmonic& one : source.harmonics) add(one.frequency_hz, one.level_dbfs);
    const bool clicks = source.kind == NoiseKind::ignition_tick || source.kind == NoiseKind::periodic_tick || source.kind == NoiseKind::crackle;
    if (lines.empty() && source.frequency_hz && !clicks) add(*source.frequency_hz, 0.0);
    if (lines.empty())
        for (const double frequency_hz : spread_hz) add(frequency_hz, 0.0);
    double all = 0;
    for (const auto& line : lines) all += line.second;
    for (auto& line : lines) line.second /= all;
    return lines;
}

std::vector<Cure> cures_for(const ActsOn& on) {
    const LinesOfNoise lines = lines_of(on.source);
    const auto tried = seen(on.standing.evidence, EntryTest::isolator);
    std::vector<Cure> out;
    out.push_back(cure(
        on, "isolator", "an isolating transformer in the lead", [&](EntryWay way) { return isolator(way, lines); }, isolator_words(on, tried)));
    if (tried) {
        out.back().expected_change_db = tried->change_db;
        out.back().sd_db = tried->sd_db;
    }
    out.push_back(cure(
        on, "supply_filter", "a filter in the source's supply lead", [&](EntryWay way) { return source_filter(way, lines); },
        source_filter_words(lines)));
    out.push_back(cure(
        on, "supply_filter_amplifier", "a choke in the amplifier's supply cable", [&](EntryWay way) { return amplifier_filter(way, lines, on.job); },
        fmt::format("{:.0f} uH that bear the amplifier's full current, with its own capacitors: they may tune as well as choke, and the supply sags "
                    "when it plays loud. "
                    "A sound ground does more.",
                    1e6 * kChoke_h)));
    out.push_back(cure(
        on, "ferrite", "a clip-on ferrite round the lead", [&](EntryWay way) { return ferrite(way, lines); },
        fmt::format("At 1 kHz it adds {:.0f} milliohm to a loop of tenths of an ohm: nothing in the audio band. It helps against radio and "
                    "converters far above it.",
                    1e3 * 2.0 * std::numbers::pi * 1000.0 * kClip_h)));
    out.push_back(cure(
        on, "another_cable", "a better shielded lead on the same route", [&](EntryWay way) { return another_cable(way, lines); },
        "A thick braid lowers what a ground loop leaves on it, and a tight or twisted lead picks up less; it mends neither ground nor route."));
    out.push_back(cure(
        on, "balanced_input", "a differential input or a balanced line driver", [&](EntryWay way) { return balanced_input(way, lines); },
        fmt::format("A differential input rejects what a shield carries as well as the source's two legs are alike: with {:.0f} ohm in one and none "
                    "in the other, {:.0f} dB; a "
                    "balanced driver at the source does better. It needs both conductors at the source.",
                    kSource_ohm, 20.0 * std::log10(differential_residue(kSource_ohm, kCommonMode_ohm)))));
    std::stable_sort(out.begin(), out.end(), [](const Cure& a, const Cure& b) { return a.expected_change_db < b.expected_change_db; });
    return out;
}

}  // namespace hushtrace
