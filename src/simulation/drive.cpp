#include "drive.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "hushtrace/signal/error.hpp"
#include "machinery.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double source_current_a = 1.0;  // what the source itself draws; usual, no source
constexpr double pump_prime_s = 2.0;      // a fuel pump runs this long at key-on (trade figure, from memory)

OnePole shield_low_pass(const Wiring& wiring, double rate_hz) {
    return OnePole::low_pass(wiring.shield_total_ohm / (2.0 * std::numbers::pi * wiring.shield_h), rate_hz);
}

}  // namespace

TestDrive::TestDrive(const Scenario& scenario)
    : scenario_(scenario),
      rate_hz_(scenario.interface.sample_rate_hz),
      period_s_(1.0 / (rate_hz_ * (1.0 + 1e-6 * scenario.interface.clock_ppm))),
      output_pad_(std::pow(10.0, -scenario.interface.output_pad_db / 20.0)),
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
        const auto& further = scenario_.source.further;
        const bool more = std::any_of(further.begin(), further.end(),
                                      [&](const FurtherOutput& one) { return one.channel == channel; });
        if (more && wanted.conditions.point == Point::amp_output)
            refuse(fmt::format("channel {}: this vehicle's amplifier has a left and a right output only", to_word(channel)));
        const bool signal = channel == Channel::left || channel == Channel::right || more;
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
    if (wiring_.shields) parts_->shields = TwoShields(*wiring_.shields, rate_hz_);
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
    parts_->amplifier.switch_to(amplifier_on);
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

double TestDrive::measure_ripple_v() {
    const auto settling = static_cast<std::size_t>(0.2 * rate_hz_),
               counted = static_cast<std::size_t>(rate_hz_);
    std::array<double, 2> readings{};
    double sum = 0, squares = 0;
    for (std::size_t frame = 0; frame < settling + counted; ++frame) {
        step(0.0, {readings.data(), set_.channels.size()});
        if (frame < settling) continue;
        const double volts = parts_->supply.terminal_voltage();
        sum += volts;
        squares += volts * volts;
    }
    const double count = static_cast<double>(counted), mean = sum / count;
    return std::sqrt(std::max(0.0, squares / count - mean * mean));
}

double TestDrive::left_joint_ohm() const {
    return wiring_.core_joint && scenario_.lead.contact->sides[0] ? scenario_.lead.contact->ohm : 0.0;
}

}  // namespace hushtrace::simulated
