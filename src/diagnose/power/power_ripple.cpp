#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <memory>
#include <numbers>

#include "../takes/floor_reading.hpp"
#include "../takes/take_spans.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/vehicle/coupling.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"
#include "power_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kIdleRpm = 800;
constexpr double kInputCapacitor_f = 4e-3, kCapacitor_ohm = 0.015;  // two electrolytics behind the terminals: common practice, no source
constexpr double kInsulation_m = 0.003;
constexpr double kMostRead_s = 60;
constexpr double kLowest_hz = 20, kHighest_hz = 20000, kStep = 1.005;

struct Divided {
    double volts, current_a;
};
/// The battery's ripple, divided between the feed and the capacitors.
Divided divided(const FeedEstimate& feed, double frequency_hz) {
    const double omega = 2.0 * std::numbers::pi * frequency_hz;
    const std::complex<double> along(feed.resistance_ohm, omega * feed.inductance_h);
    const std::complex<double> across(kCapacitor_ohm, -1.0 / (omega * kInputCapacitor_f));
    const double current_a = feed.battery_ripple_v / std::abs(along + across);
    return {current_a * std::abs(across), current_a};
}

std::optional<FeedEstimate::Worst> worst_of(const FeedEstimate& feed, std::optional<double> hz_per_rpm) {
    FeedEstimate::Worst worst;
    double hz = kLowest_hz;
    while (hz <= kHighest_hz) {
        if (const Divided here = divided(feed, hz); here.volts > worst.ripple_v) worst = {hz, here.volts, here.current_a, std::nullopt};
        hz *= kStep;
    }
    if (worst.ripple_v <= 1.01 * feed.battery_ripple_v) return std::nullopt;
    if (hz_per_rpm) worst.rpm = worst.frequency_hz / *hz_per_rpm;
    return worst;
}

/// Of one channel, the interface's own noise taken off; unset for digital silence.
std::optional<Reading> ripple_of(const Job& job, const Take& take, std::size_t channel, BlockReader& reader) {
    if (reader.channels() <= channel) throw Error(ErrorKind::invalid_input, "it has fewer channels than job.json says");
    const double rate = reader.sample_rate_hz(), scale = *job.volts_full_scale(take, channel);
    SpectrumAccumulator spectrum(rate, fast_length(static_cast<std::size_t>(rate / 4)));
    Block block;
    for (double read_s = 0; read_s < kMostRead_s && reader.read(block, kReadFrames) > 0; read_s += static_cast<double>(block.frames()) / rate)
        spectrum.add(block.channel(channel));
    const Reading read = noise_floor(spectrum.result()).all.unweighted;
    Reading squared{read.value * scale * scale, read.sd * scale * scale, read.limited_by};  // [V^2]
    if (!(squared.value > 0)) return std::nullopt;
    if (const auto own_dbv = job.own_noise_at_probe_dbv(kOwnNoiseFields.front(), take, channel)) {
        const double own = power_from_decibels(*own_dbv);
        squared = less_interface(squared, {own, own * (power_from_decibels(kOwnNoiseSd_db) - 1.0), {}});
    }
    const double volts = std::sqrt(squared.value), of_noise = 0.5 * squared.sd / squared.value;
    const double of_scale = amplitude_from_decibels(job.volts_full_scale_sd_db(channel).value_or(0.0)) - 1.0;
    return Reading{volts, volts * std::hypot(of_noise, of_scale), squared.limited_by};
}

}  // namespace

void estimate_ripple(const Job& job, PowerAnalysis& out) {
    const auto feed = std::find_if(out.cables.begin(), out.cables.end(), [](const PowerCable& one) { return one.part == "feed"; });
    if (feed == out.cables.end() || !feed->resistance_ohm) return;
    FeedEstimate estimate;
    estimate.resistance_ohm = *feed->resistance_ohm;
    const double radius_m = 1e-3 * std::sqrt(*feed->area_mm2 / std::numbers::pi);
    const double height_m = std::max(job.cables.above_metal_m.value_or(0.01), radius_m + kInsulation_m);
    estimate.inductance_h = *feed->length_m * inductance_over_plane_h_per_m(height_m, radius_m);
    const AlternatorData& alternator = job.vehicle.alternator;
    std::optional<double> hz_per_rpm;
    if (alternator.pole_pairs && alternator.pulley_ratio && *alternator.pole_pairs > 0 && *alternator.pulley_ratio > 0) {
        hz_per_rpm = whine_hz_per_rpm(*alternator.pole_pairs, *alternator.pulley_ratio);
        estimate.line_hz = kIdleRpm * *hz_per_rpm;
        estimate.line_known = true;
    }
    estimate.impedance_ohm = std::hypot(estimate.resistance_ohm, 2.0 * std::numbers::pi * estimate.line_hz * estimate.inductance_h);
    const Divided at_line = divided(estimate, estimate.line_hz);
    estimate.ripple_a = at_line.current_a;
    estimate.ripple_v = at_line.volts;
    estimate.resonance_hz = 1.0 / (2.0 * std::numbers::pi * std::sqrt(estimate.inductance_h * kInputCapacitor_f));
    estimate.worst = worst_of(estimate, hz_per_rpm);
    out.feed = estimate;
    out.assumptions.push_back(
        fmt::format("ripple: 50 mV at the battery, {:g} mF and {:g} mohm behind the amplifiers' terminals, the feed {:.0f} mm above "
                    "the body (common practice, no source)",
                    1e3 * kInputCapacitor_f, 1e3 * kCapacitor_ohm, 1e3 * height_m));
}

void read_ripple(const OpenedJob& opened, const OpenTake& open, PowerAnalysis& out) {
    for (const Take& take : opened.job.takes) {
        const auto channel = std::find(take.channels.begin(), take.channels.end(), Channel::supply);
        if (channel == take.channels.end()) continue;
        const auto index = static_cast<std::size_t>(channel - take.channels.begin());
        if (take.conditions.has(Hookup::inputs_shorted)) continue;  // the interface's own noise
        if (!opened.job.volts_full_scale(take, index)) {
            out.warnings.push_back({"supply_not_calibrated", "the supply channel has no scale: its ripple can't be told in volts", take.file});
            continue;
        }
        if (take.has(TakeFault::overload) || take.has(TakeFault::dropout)) {
            out.warnings.push_back({"supply_take_faulty", "samples were lost or overloaded: its ripple isn't told", take.file});
            continue;
        }
        try {
            const auto reader = open(take);
            const auto volts = ripple_of(opened.job, take, index, *reader);
            if (!volts) {
                out.warnings.push_back({"supply_silent", "the supply channel is digital silence: is its probe plugged in?", take.file});
                continue;
            }
            out.ripple.push_back({take.file, take.conditions.engine, *volts});
            out.takes.push_back(take.file);
        } catch (const Error& error) {
            out.warnings.push_back({"take_unreadable", fmt::format("left out: {}", error.what()), take.file});
        }
    }
}

}  // namespace hushtrace
