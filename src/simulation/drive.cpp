#include "drive.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "alternator.hpp"
#include "engine.hpp"
#include "hushtrace/signal/error.hpp"
#include "ignition.hpp"
#include "interface_input.hpp"
#include "loads.hpp"
#include "source.hpp"
#include "supply.hpp"

namespace hushtrace::simulated {
namespace {

using Net = GroundNetwork;

constexpr double source_current_a = 1.0;  // what the source itself draws; usual, no source
constexpr double device_feed_ohm =
    0.3;                              // impedance over which a device's capacitors draw ripple from the line
constexpr double pump_prime_s = 2.0;  // a fuel pump runs this long at key-on (trade figure, from memory)
constexpr double substitute_noise_v = 3e-6;  // rms of a portable player, whole band

double dot(const Net::PerDrive& a, const Net::PerDrive& b) {
    double sum = 0;
    for (std::size_t d = 0; d < a.size(); ++d) sum += a[d] * b[d];
    return sum;
}

OnePole shield_low_pass(const Wiring& wiring, double rate_hz) {
    return OnePole::low_pass(wiring.shield_total_ohm / (2.0 * std::numbers::pi * wiring.shield_h), rate_hz);
}

}  // namespace

/// All that has a memory. Built anew when the seed changes, else it runs on from render to render.
struct Machinery {
    Machinery(const Scenario& scenario, double rate_hz, double period_s, std::uint64_t seed)
        : engine(scenario.vehicle, period_s, seed),
          alternator(scenario.vehicle.alternator, rate_hz, period_s),
          mains(scenario.vehicle.mains_hz, scenario.laptop.harmonic_share, rate_hz, period_s, seed),
          supply(scenario, rate_hz),
          source(scenario.source, rate_hz, period_s, seed),
          shield(OnePole::low_pass(1000.0, rate_hz)),
          isolator(OnePole::high_pass(12.0, rate_hz)),
          random(seed, 801) {
        if (scenario.vehicle.ignition)
            ignition.emplace(*scenario.vehicle.ignition, scenario.vehicle.cylinders, rate_hz, seed);
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
    std::vector<InterfaceChannel> inputs;
    OnePole shield, isolator;
    std::vector<OnePole> isolators;
    Random random;
    /// What isn't made by the supply's differentiators waits for them.
    DelayLine dash_delay{Differentiator::delay}, spark_delay{2 * Differentiator::delay};
    DelayLine pickup_delay{Differentiator::delay};
};

TestDrive::TestDrive(const Scenario& scenario)
    : scenario_(scenario),
      rate_hz_(scenario.interface.sample_rate_hz),
      period_s_(1.0 / (rate_hz_ * (1.0 + 1e-6 * scenario.interface.clock_ppm))),
      volume_(std::round(0.5 * scenario.source.volume_top)) {
    set_conditions({});
    seed_.reset();  // the first conditions set from outside start afresh
}
TestDrive::~TestDrive() = default;

void TestDrive::check(const SimulatedConditions& wanted) const {
    const auto refuse = [](const std::string& text) { throw Error(ErrorKind::invalid_request, text); };
    const Conditions& conditions = wanted.conditions;
    if (conditions.engine == Engine::ready)
        refuse("engine ready: this vehicle is no hybrid and not electric");
    if (conditions.rpm) {
        if (!(*conditions.rpm >= 100 && *conditions.rpm <= 9000))
            refuse(fmt::format("rpm must lie from 100 to 9000, asked for {}", *conditions.rpm));
        if (!engine_turns(conditions.engine))
            refuse("rpm is given, but the engine doesn't turn: set engine to idle or raised");
    }
    if (conditions.volume && !(*conditions.volume >= 0 && *conditions.volume <= scenario_.source.volume_top))
        refuse(fmt::format("volume must lie from 0 to {}, asked for {}", scenario_.source.volume_top,
                           *conditions.volume));
    for (const std::string& load : conditions.loads) {
        const auto known = std::any_of(scenario_.loads.begin(), scenario_.loads.end(),
                                       [&](const LoadPart& part) { return part.name == load; });
        if (known) continue;
        std::string names;
        for (const LoadPart& part : scenario_.loads) names += (names.empty() ? "" : ", ") + part.name;
        refuse(fmt::format("this vehicle has no load {}; it has {}", load, names.empty() ? "none" : names));
    }
    if (wanted.channels.empty() || wanted.channels.size() > 2)
        refuse("the interface has two inputs: name one or two channels");
    for (const Channel channel : wanted.channels) {
        const bool signal = channel == Channel::left || channel == Channel::right;
        const bool clamp = channel == Channel::supply_current && scenario_.interface.amps_per_volt;
        if (!signal && channel != Channel::supply && !clamp)
            refuse(fmt::format("channel {} can't be captured on this vehicle", to_word(channel)));
    }
    device_on_source(conditions);
}

const DevicePart* TestDrive::device_on_source(const Conditions& conditions) const {
    const DevicePart* found = nullptr;
    for (const AttachedDevice& attached : conditions.attached) {
        if (attached.powered_from != PoweredFrom::vehicle)
            continue;  // nothing ties it to the vehicle's ground
        const auto part = std::find_if(scenario_.devices.begin(), scenario_.devices.end(),
                                       [&](const DevicePart& one) { return one.device == attached.device; });
        if (part == scenario_.devices.end()) {
            std::string names;
            for (const DevicePart& one : scenario_.devices) names += (names.empty() ? "" : ", ") + one.device;
            throw Error(ErrorKind::invalid_request,
                        fmt::format("this vehicle has no device {} fed by it; it has {}", attached.device,
                                    names.empty() ? "none" : names));
        }
        if (found)
            throw Error(ErrorKind::invalid_request,
                        "only one device fed from the vehicle can be on the source's input");
        found = &*part;
    }
    return found;
}

void TestDrive::set_conditions(const SimulatedConditions& wanted) {
    check(wanted);
    const DevicePart* device = device_on_source(wanted.conditions);
    Wiring wiring = work_out_wiring(scenario_, wanted.conditions, wanted.interface_feeds_source, device);
    std::unique_ptr<Player> player;
    if (wanted.played_file) {
        const double clock_ratio =
            (1.0 + 1e-6 * scenario_.source.clock_ppm) / (1.0 + 1e-6 * scenario_.interface.clock_ppm);
        player = std::make_unique<Player>(*wanted.played_file, rate_hz_, clock_ratio);
    }
    // Nothing can fail from here on.
    if (!parts_ || seed_ != wanted.seed) {
        parts_ = std::make_unique<Machinery>(scenario_, rate_hz_, period_s_, wanted.seed);
        seed_ = wanted.seed;
        parts_->source.set_volume(volume_);
    }
    set_ = wanted;
    wiring_ = wiring;
    device_ = device;
    frames_since_set_ = 0;
    parts_->shield = shield_low_pass(wiring_, rate_hz_);
    const SourceState state = wanted.conditions.source.value_or(SourceState::on);
    parts_->source.set_state(state);
    parts_->source.play(std::move(player));
    while (parts_->inputs.size() < set_.channels.size())
        parts_->inputs.emplace_back(scenario_.interface, parts_->inputs.size(), rate_hz_, wanted.seed);
    if (wanted.conditions.volume) set_volume(*wanted.conditions.volume);
    switch_loads();
}

void TestDrive::switch_loads() {
    const Conditions& conditions = set_.conditions;
    const bool turning = engine_turns(conditions.engine);
    double loads_a = 0, dash_a = source_current_a, extra_a = 0;
    for (Load& load : parts_->loads) {
        const auto& named = conditions.loads;
        const bool asked = std::find(named.begin(), named.end(), load.part().name) != named.end();
        const bool primed = conditions.engine == Engine::key_on &&
                            static_cast<double>(frames_since_set_) * period_s_ < pump_prime_s;
        load.switch_to(asked || (load.part().always_on && (turning || primed)));
        if (!load.on()) continue;
        loads_a += load.mean_a();
        dash_a += load.part().dash_share * load.mean_a();
        if (!load.part().always_on) extra_a += load.mean_a();
    }
    if (device_) loads_a += device_->current_a;
    const bool amplifier_on = conditions.amplifier.value_or(AmplifierState::on) == AmplifierState::on;
    currents_.amplifier_a = amplifier_on && wiring_.feed_connected ? scenario_.amplifier.idle_current_a : 0.0;
    currents_.dash_a = dash_a;
    currents_.vehicle_a =
        loads_a + source_current_a + currents_.amplifier_a + (turning ? scenario_.vehicle.base_load_a : 0.0);
    parts_->alternator.set_load(currents_.vehicle_a);
    if (frames_since_set_ == 0) parts_->engine.set_state(conditions.engine, conditions.rpm, extra_a);
}

void TestDrive::set_volume(double volume) {
    if (!(volume >= 0 && volume <= scenario_.source.volume_top))
        throw Error(ErrorKind::invalid_request, fmt::format("volume must lie from 0 to {}, asked for {}",
                                                            scenario_.source.volume_top, volume));
    volume_ = volume;
    parts_->source.set_volume(volume);
}

void TestDrive::render(std::span<const double> interface_output, Block& captured) {
    const std::size_t channels = set_.channels.size();
    captured.reset(channels, interface_output.size());
    std::array<double, 2> readings{};
    for (std::size_t frame = 0; frame < interface_output.size(); ++frame) {
        if (frames_since_set_++ == static_cast<std::uint64_t>(pump_prime_s * rate_hz_) + 1 &&
            set_.conditions.engine == Engine::key_on)
            switch_loads();
        step(interface_output[frame], {readings.data(), channels});
        for (std::size_t c = 0; c < channels; ++c)
            captured.channel(c)[frame] = parts_->inputs[c].convert(readings[c]);
    }
}

void TestDrive::step(double interface_output, std::span<double> readings_v) {
    Machinery& parts = *parts_;
    parts.engine.advance();
    double line_a = parts.alternator.advance(parts.engine);
    double dash_a = 0;
    for (Load& load : parts.loads) {
        const double change = load.advance();
        line_a -= change;
        dash_a += load.part().dash_share * change;
    }
    double spark = 0;
    if (parts.ignition) {
        spark = parts.ignition->advance(parts.engine);
        line_a -= scenario_.vehicle.ignition->pulse_a * spark;
        spark = parts.spark_delay.next(scenario_.vehicle.ignition->pulse_lead_v * spark);
    }
    parts.supply.advance(line_a, wiring_.feed_connected);
    const double line_v = parts.supply.voltage();

    Net::PerDrive drive{};
    drive[Net::feed_current] = parts.supply.feed_a();
    drive[Net::dash_current] = parts.dash_delay.next(dash_a);
    drive[Net::body_voltage] = 1e-3 * scenario_.vehicle.body_mohm * parts.supply.feed_a();
    if (scenario_.source.antenna)
        drive[Net::antenna_voltage] = 1e-3 * scenario_.source.antenna->base_mohm * parts.supply.feed_a();
    if (device_) {
        const auto which = static_cast<std::size_t>(device_ - scenario_.devices.data());
        drive[Net::socket_voltage] =
            1e-3 * device_->socket_ground_mohm * line_v / device_feed_ohm + parts.hashes[which].advance();
    }
    if (set_.conditions.laptop == LaptopPower::mains) {
        const double mains = parts.mains.advance();
        drive[Net::leakage_current] = 1e-6 * scenario_.laptop.leakage_ua * mains;
        drive[Net::earth_voltage] = 1e-3 * scenario_.laptop.earth_difference_mv * mains;
    }

    const auto& grounds = wiring_.grounds;
    const double around_shield =
        dot(grounds.shield_voltage, drive) + wiring_.loop_mutual_h * parts.supply.feed_slope();
    const double shield_a = parts.shield.next(around_shield / wiring_.shield_total_ohm);
    const auto potential = [&](Net::Node node) {
        return dot(grounds.potential[node], drive) + grounds.per_shield_amp[node] * shield_a;
    };
    const double in_series =
        wiring_.shield_drop_ohm * shield_a + wiring_.lead_mutual_h * parts.supply.feed_slope();
    const double pickup = parts.pickup_delay.next(in_series) +
                          wiring_.core_ohm * wiring_.stray_f * parts.supply.voltage_slope() + spark;
    const double beyond_lead =
        wiring_.sees_y_lead_drop ? potential(Net::lead_shell) - potential(Net::interface_ground) : 0.0;

    double line_in_v = 0, aux_noise_v = 0;
    if (set_.interface_feeds_source) {
        line_in_v = interface_output * scenario_.interface.output_full_scale_v * std::numbers::sqrt2 +
                    potential(Net::interface_ground) - potential(Net::source_case);
    }
    if (device_) {
        const double around = drive[Net::socket_voltage] - potential(Net::source_case);
        aux_noise_v = around * device_->aux_shield_ohm / (device_->aux_shield_ohm + device_->link_ohm);
    }
    std::array<double, 2> from_source =
        parts.source.advance(line_in_v, aux_noise_v, wiring_.source_has_supply ? line_v : 0.0);

    for (std::size_t c = 0; c < readings_v.size(); ++c) {
        const Channel channel = set_.channels[c];
        if (channel == Channel::supply) {
            readings_v[c] = line_v;
            continue;
        }
        if (channel == Channel::supply_current) {
            readings_v[c] = parts.supply.feed_a() / *scenario_.interface.amps_per_volt;
            continue;
        }
        const bool right = channel == Channel::right;
        double signal = 0;
        if (wiring_.source_substituted)
            signal = substitute_noise_v * parts.random.gaussian();
        else if (wiring_.source_connected)
            signal = wiring_.signal_gain * from_source[right ? 1 : 0];
        if (wiring_.isolated) signal = parts.isolators[c].next(signal);
        readings_v[c] = wiring_.inputs_shorted
                            ? 0.0
                            : signal + pickup * (right ? scenario_.lead.right_over_left : 1.0) + beyond_lead;
    }
}

}  // namespace hushtrace::simulated
