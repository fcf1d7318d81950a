#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <memory>
#include <numbers>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/vehicle/coupling.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"
#include "power_parts.hpp"
#include "take_spans.hpp"

namespace hushtrace {
namespace {

constexpr double kIdleRpm = 800;
constexpr double kInputCapacitor_f = 4e-3, kCapacitor_ohm = 0.015;  // two electrolytics behind the terminals: common practice, no source
constexpr double kInsulation_m = 0.003;
constexpr double kMostRead_s = 60;

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
    if (alternator.pole_pairs && alternator.pulley_ratio && *alternator.pole_pairs > 0 && *alternator.pulley_ratio > 0) {
        estimate.line_hz = kIdleRpm * whine_hz_per_rpm(*alternator.pole_pairs, *alternator.pulley_ratio);
        estimate.line_known = true;
    }
    const double omega = 2.0 * std::numbers::pi * estimate.line_hz;
    const std::complex<double> along(estimate.resistance_ohm, omega * estimate.inductance_h);
    const std::complex<double> across(kCapacitor_ohm, -1.0 / (omega * kInputCapacitor_f));
    estimate.impedance_ohm = std::abs(along);
    estimate.ripple_a = estimate.battery_ripple_v / std::abs(along + across);
    estimate.ripple_v = estimate.ripple_a * std::abs(across);
    out.feed = estimate;
    out.assumptions.push_back(fmt::format("ripple: 50 mV at the battery, {:g} mF and {:g} mohm behind the amplifiers' terminals, the feed {:.0f} mm above "
                                          "the body (common practice, no source)",
                                          1e3 * kInputCapacitor_f, 1e3 * kCapacitor_ohm, 1e3 * height_m));
}

void read_ripple(const OpenedJob& opened, const OpenTake& open, PowerAnalysis& out) {
    for (const Take& take : opened.job.takes) {
        const auto channel = std::find(take.channels.begin(), take.channels.end(), Channel::supply);
        if (channel == take.channels.end()) continue;
        const auto index = static_cast<std::size_t>(channel - take.channels.begin());
        const auto scale = opened.job.volts_full_scale(take, index);
        if (!scale) {
            out.warnings.push_back({"supply_not_calibrated", "the supply channel has no scale: its ripple can't be told in volts", take.file});
            continue;
        }
        if (take.has(TakeFault::overload) || take.has(TakeFault::dropout)) {
            out.warnings.push_back({"supply_take_faulty", "samples were lost or overloaded: its ripple isn't told", take.file});
            continue;
        }
        try {
            const auto reader = open(take);
            if (reader->channels() <= index) throw Error(ErrorKind::invalid_input, "it has fewer channels than job.json says");
            const double rate = reader->sample_rate_hz();
            SpectrumAccumulator spectrum(rate, fast_length(static_cast<std::size_t>(rate / 4)));
            Block block;
            for (double read_s = 0; read_s < kMostRead_s && reader->read(block, kReadFrames) > 0;
                 read_s += static_cast<double>(block.frames()) / rate)
                spectrum.add(block.channel(index));
            const Reading square = noise_floor(spectrum.result()).all.unweighted;
            const double volts = *scale * std::sqrt(std::max(0.0, square.value));
            const double sd = square.value > 0 ? 0.5 * volts * square.sd / square.value : 0.0;
            out.ripple.push_back({take.file, take.conditions.engine, {volts, sd, square.limited_by}});
            out.takes.push_back(take.file);
        } catch (const Error& error) {
            out.warnings.push_back({"take_unreadable", fmt::format("left out: {}", error.what()), take.file});
        }
    }
}

}  // namespace hushtrace
