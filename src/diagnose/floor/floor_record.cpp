#include "hushtrace/diagnose/floor_record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <tuple>

#include "../entry/entry_conditions.hpp"
#include "../takes/take_kind.hpp"
#include "floor_record_parts.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

bool is_floor_of_the_system(const Take& take) {
    const Conditions& now = take.conditions;
    return plays_nothing(take) && take.volume_steps.empty() && now.point == Point::amp_input && hookups_of(now).empty() &&
           now.source.value_or(SourceState::on) == SourceState::on && !take.has(TakeFault::source_muted) && !take.has(TakeFault::overload) &&
           std::any_of(take.channels.begin(), take.channels.end(), carries_signal);
}

const char* engine_words(Engine engine) {
    switch (engine) {
        case Engine::off: return "engine off";
        case Engine::accessory: return "accessory";
        case Engine::key_on: return "key on, engine off";
        case Engine::cranking: return "cranking";
        case Engine::idle: return "idle";
        case Engine::raised: return "raised";
        case Engine::sweep: return "sweep";
        case Engine::ready: return "ready";
    }
    return "";
}
int engine_order(Engine engine) {
    switch (engine) {
        case Engine::off: return 0;
        case Engine::accessory: return 1;
        case Engine::key_on: return 2;
        case Engine::ready: return 3;
        case Engine::idle: return 4;
        case Engine::raised: return 5;
        case Engine::sweep: return 6;
        case Engine::cranking: return 7;
    }
    return 8;
}

std::string name_of(const Conditions& now) {
    std::string name = engine_words(now.engine);
    for (const std::string& load : sorted(now.loads)) name += ", " + spaced(load);
    if (now.at_amplifier) name += " (at " + *now.at_amplifier + ")";
    return name;
}

/// What no customer's vehicle has: things that hang on it while it is measured, and where its laptop is fed from.
int set_up_marks(const Take& take) {
    int marks = 0;
    for (const AttachedDevice& device : take.conditions.attached)
        marks += device.powered_from == PoweredFrom::vehicle || device.powered_from == PoweredFrom::mains || device.device == "interface_output";
    if (take.conditions.laptop.value_or(LaptopPower::battery) != LaptopPower::battery) ++marks;
    if (take.conditions.amplifier == AmplifierState::off) ++marks;
    return marks + 2 * static_cast<int>(take.faults.size());
}

/// Changes in the order in which they were noted first; before any change: 0.
std::size_t state_of(const std::vector<std::optional<std::string>>& states, const Take& take) {
    return static_cast<std::size_t>(std::find(states.begin(), states.end(), take.after_change) - states.begin());
}

struct Group {
    std::string name;
    std::vector<const Take*> takes;
};

/// Takes of one condition together, each as the analysis read it.
std::vector<Group> group_takes(const Job& job, const NoiseAnalysis& noise) {
    std::vector<Group> groups;
    for (const Take& take : job.takes) {
        const bool read = std::any_of(noise.floor.begin(), noise.floor.end(), [&](const FloorReading& one) { return one.take == take.file; });
        if (!read || !is_floor_of_the_system(take)) continue;
        const std::string name = name_of(take.conditions);
        auto there = std::find_if(groups.begin(), groups.end(), [&](const Group& one) { return one.name == name; });
        if (there == groups.end()) there = groups.insert(groups.end(), Group{name, {}});
        there->takes.push_back(&take);
    }
    return groups;
}

const Take* newest_of(const Group& group, const std::vector<std::optional<std::string>>& states) {
    const Take* best = nullptr;
    for (const Take* one : group.takes) {
        if (best) {
            const auto here = state_of(states, *one), there = state_of(states, *best);
            if (here < there || (here == there && set_up_marks(*one) > set_up_marks(*best))) continue;
        }
        best = one;
    }
    return best;
}

void note_set_up(const Take& take, ConditionFloor& condition) {
    for (const AttachedDevice& device : take.conditions.attached)
        if (device.powered_from == PoweredFrom::vehicle || device.powered_from == PoweredFrom::mains)
            condition.notes.push_back(fmt::format("{} was attached, powered from {}: it may have added to the noise", device.device,
                                                  device.powered_from == PoweredFrom::mains ? "the mains" : "the vehicle"));
    if (const auto laptop = take.conditions.laptop; laptop && *laptop != LaptopPower::battery)
        condition.notes.push_back(fmt::format("the laptop ran on {}: it may have added to the noise; capture it on its battery",
                                              *laptop == LaptopPower::mains ? "the mains" : "the vehicle"));
    if (take.conditions.amplifier == AmplifierState::off) condition.notes.emplace_back("the amplifier was off");
    if (take.has(TakeFault::dropout)) condition.notes.emplace_back("samples were lost in this take: levels hold, lines may read weak");
    if (!take.conditions.volume) condition.notes.emplace_back("the take doesn't say at which volume of the source it was made");
}

ConditionFloor condition_of(const Job& job, const NoiseAnalysis& noise, const GainAnalysis* gain, const Group& group, const Take& take) {
    ConditionFloor condition;
    condition.name = group.name;
    condition.engine = take.conditions.engine;
    condition.loads = sorted(take.conditions.loads);
    condition.at_amplifier = take.conditions.at_amplifier;
    condition.take = take.file;
    condition.volume = take.conditions.volume;
    condition.rpm = take.conditions.rpm;
    condition.after_change = take.after_change;
    for (const Take* one : group.takes)
        if (one != &take) condition.other_takes.push_back(one->file);
    note_set_up(take, condition);
    for (const FloorReading& floor : noise.floor) {
        const auto place = floor.take == take.file ? file_place_of(take, floor.channel) : std::nullopt;
        if (!place) continue;
        const FloorCase the{job, noise, gain, take, *place};
        ChannelFloor& channel = condition.channels.emplace_back();
        channel.channel = floor.channel;
        channel.floor = floor;
        hold_to_ceiling(the, channel);
        hold_to_amplifiers(the, channel);
    }
    return condition;
}

/// What the set-up makes by itself, each channel's latest.
std::vector<FloorReading> interface_of(const Job& job, const NoiseAnalysis& noise) {
    std::vector<FloorReading> found;
    for (const FloorReading& one : noise.floor) {
        const Take* take = take_of(job, one.take);
        if (!take || !take->conditions.has(Hookup::inputs_shorted) || one.third_octaves.empty()) continue;
        std::erase_if(found, [&](const FloorReading& older) { return older.channel == one.channel; });
        found.push_back(one);
    }
    return found;
}

}  // namespace

const Take* take_of(const Job& job, const std::string& file) {
    for (const Take& take : job.takes)
        if (take.file == file) return &take;
    return nullptr;
}

std::optional<std::size_t> file_place_of(const Take& take, Channel channel) {
    const auto found = std::find(take.channels.begin(), take.channels.end(), channel);
    if (found == take.channels.end()) return std::nullopt;
    return static_cast<std::size_t>(found - take.channels.begin());
}

FloorRecord floor_record(const OpenedJob& opened, const NoiseAnalysis& noise, const GainAnalysis* gain) {
    FloorRecord record;
    std::vector<std::optional<std::string>> states;
    for (const Take& take : opened.job.takes)
        if (std::find(states.begin(), states.end(), take.after_change) == states.end()) states.push_back(take.after_change);
    // takes made before any change come first, wherever they stand in the list
    std::stable_partition(states.begin(), states.end(), [](const auto& state) { return !state.has_value(); });
    for (const Group& group : group_takes(opened.job, noise))
        record.conditions.push_back(condition_of(opened.job, noise, gain, group, *newest_of(group, states)));
    std::stable_sort(record.conditions.begin(), record.conditions.end(), [](const ConditionFloor& a, const ConditionFloor& b) {
        return std::tuple(engine_order(a.engine), a.loads.size(), a.name) < std::tuple(engine_order(b.engine), b.loads.size(), b.name);
    });
    record.interface = interface_of(opened.job, noise);
    judge_floor(opened.job, record);
    tell_gaps(opened, gain, record);
    return record;
}

bool fails_limit(const FloorRecord& record) {
    return std::any_of(record.acceptance.begin(), record.acceptance.end(),
                       [](const FloorVerdict& one) { return one.written && one.verdict == "fail"; });
}

}  // namespace hushtrace
