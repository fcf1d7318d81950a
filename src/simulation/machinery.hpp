#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "alternator.hpp"
#include "contact.hpp"
#include "engine.hpp"
#include "filters.hpp"
#include "ignition.hpp"
#include "interface_input.hpp"
#include "loads.hpp"
#include "power_amplifier.hpp"
#include "random.hpp"
#include "scenario.hpp"
#include "source.hpp"
#include "supply.hpp"

namespace hushtrace::simulated {

/// All that has a memory. Built anew when the seed changes, else it runs on from render to render.
struct Machinery {
    Machinery(const Scenario& scenario, double rate_hz, double period_s, std::uint64_t seed)
        : engine(scenario.vehicle, period_s, seed),
          alternator(scenario.vehicle.alternator, rate_hz, period_s),
          mains(scenario.vehicle.mains_hz, scenario.laptop.harmonic_share, rate_hz, period_s, seed),
          supply(scenario, rate_hz),
          source(scenario.source, rate_hz, period_s, seed),
          amplifier(scenario.amplifier, rate_hz, seed),
          shield(OnePole::low_pass(1000.0, rate_hz)),
          isolator(OnePole::high_pass(12.0, rate_hz)),
          random(seed, 801) {
        if (scenario.vehicle.ignition)
            ignition.emplace(*scenario.vehicle.ignition, scenario.vehicle.cylinders, rate_hz, seed);
        if (scenario.lead.contact) contact.emplace(*scenario.lead.contact, period_s, seed);
        for (const LoadPart& load : scenario.loads)
            loads.emplace_back(load, period_s, seed + 7919 * (loads.size() + 1));
        for (const DevicePart& device : scenario.devices)
            hashes.emplace_back(device, rate_hz, period_s, seed + 7919 * (hashes.size() + 1));
        for (std::size_t c = 0; c < 2; ++c) isolators.push_back(isolator);
    }
    EngineMotion engine;
    Alternator alternator;
    std::optional<Ignition> ignition;
    std::vector<Load> loads;
    std::vector<ConverterHash> hashes;
    Mains mains;
    Supply supply;
    Source source;
    PowerAmplifier amplifier;
    std::vector<InterfaceChannel> inputs;
    OnePole shield, isolator;
    std::optional<BadContact> contact;
    TwoShields shields{{}, 1.0};
    std::vector<OnePole> isolators;
    Random random;
    /// What isn't made by the supply's differentiators waits for them.
    DelayLine dash_delay{Differentiator::delay}, spark_delay{2 * Differentiator::delay};
    std::array<DelayLine, 2> pickup_delay{DelayLine(Differentiator::delay), DelayLine(Differentiator::delay)};
    std::array<DelayLine, 2> pin1_delay{DelayLine(Differentiator::delay), DelayLine(Differentiator::delay)};
    /// And what joins the signal behind the amplifier waits for that as well.
    DelayLine speaker_delay{Differentiator::delay + Clipper::delay},
        output_ground_delay{Differentiator::delay + Clipper::delay};
};

}  // namespace hushtrace::simulated
