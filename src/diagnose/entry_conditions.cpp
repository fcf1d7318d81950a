#include "entry_conditions.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double kSameSpeed = 0.15;   // of the rpm: a test at another speed is none

std::optional<EntryTest> attached_test(const Conditions& plain, const Conditions& tested) {
    std::optional<EntryTest> found;
    for (const AttachedDevice& device : plain.attached) {
        const bool still = std::find(tested.attached.begin(), tested.attached.end(), device) != tested.attached.end();
        if (still) continue;
        if (found) return std::nullopt;   // two things went
        found = device.device == "interface_output" ? EntryTest::tone_lead_off : EntryTest::device_unplugged;
    }
    for (const AttachedDevice& device : tested.attached) {
        const bool known = std::any_of(plain.attached.begin(), plain.attached.end(), [&device](const AttachedDevice& one) { return one.device == device.device; });
        if (!known) return std::nullopt;
    }
    return found;
}

}  // namespace

std::vector<std::string> sorted(std::vector<std::string> words) {
    std::sort(words.begin(), words.end());
    return words;
}

std::vector<Hookup> hookups_of(const Conditions& conditions) {
    std::vector<Hookup> some = conditions.hookup;
    std::erase(some, Hookup::normal);
    std::sort(some.begin(), some.end());
    return some;
}

std::optional<EntryTest> hookup_test(const Conditions& plain, const Conditions& tested) {
    const std::vector<Hookup> before = hookups_of(plain);
    std::vector<Hookup> more = hookups_of(tested);
    for (const Hookup one : before) {
        const auto same = std::find(more.begin(), more.end(), one);
        if (same == more.end()) return std::nullopt;
        more.erase(same);
    }
    return more.size() == 1 ? test_of(more.front()) : std::nullopt;
}

bool same_speed(const Conditions& a, const Conditions& b) {
    if (a.engine != b.engine) return false;
    if (!a.rpm || !b.rpm || *a.rpm <= 0.0 || *b.rpm <= 0.0) return true;
    return std::abs(*a.rpm / *b.rpm - 1.0) < kSameSpeed;
}

std::optional<EntryTest> test_of(Hookup hookup) {
    switch (hookup) {
        case Hookup::inputs_shorted: return EntryTest::inputs_shorted;
        case Hookup::shorted_at_amp: return EntryTest::shorted_at_amp;
        case Hookup::lead_on_dummy_at_amp: return EntryTest::lead_on_dummy_at_amp;
        case Hookup::dummy_floating: return EntryTest::dummy_floating;
        case Hookup::termination_1k: return EntryTest::termination_1k;
        case Hookup::termination_10k: return EntryTest::termination_10k;
        case Hookup::shorted_at_source: return EntryTest::shorted_at_source;
        case Hookup::unplugged_at_source: return EntryTest::unplugged_at_source;
        case Hookup::temporary_lead: return EntryTest::temporary_lead;
        case Hookup::temporary_ground: return EntryTest::temporary_ground;
        case Hookup::source_shell_link: return EntryTest::source_shell_link;
        case Hookup::shell_link_at_amp: return EntryTest::shell_link_at_amp;
        case Hookup::isolator: return EntryTest::isolator;
        case Hookup::antenna_unplugged: return EntryTest::antenna_unplugged;
        case Hookup::substitute_source: return EntryTest::substitute_source;
        case Hookup::source_isolated: return EntryTest::source_isolated;
        case Hookup::source_on_own_battery: return EntryTest::source_on_own_battery;
        case Hookup::amp_on_own_battery: return EntryTest::amp_on_own_battery;
        case Hookup::test_speaker: return EntryTest::test_speaker;
        case Hookup::normal: return std::nullopt;
    }
    return std::nullopt;
}

std::optional<EntryTest> test_between(const Conditions& plain, const Conditions& tested, bool follows_engine) {
    if (plain.point != tested.point) return std::nullopt;
    // the set-up's own floor needs no engine
    const bool floor = tested.has(Hookup::inputs_shorted) && hookups_of(plain).empty();
    if (floor) return EntryTest::inputs_shorted;
    if (follows_engine && (!engine_turns(plain.engine) || !same_speed(plain, tested))) return std::nullopt;
    std::vector<std::optional<EntryTest>> differ;
    if (hookups_of(plain) != hookups_of(tested)) differ.push_back(hookup_test(plain, tested));
    if (plain.volume != tested.volume)
        differ.push_back(plain.volume && tested.volume && *tested.volume < *plain.volume ? std::optional(EntryTest::volume_zero) : std::nullopt);
    if (plain.source.value_or(SourceState::on) != tested.source.value_or(SourceState::on)) {
        const SourceState state = tested.source.value_or(SourceState::on);
        const bool from_on = plain.source.value_or(SourceState::on) == SourceState::on;
        differ.push_back(!from_on                        ? std::nullopt
                         : state == SourceState::off     ? std::optional(EntryTest::source_off)
                         : state == SourceState::paused  ? std::optional(EntryTest::source_paused)
                                                         : std::optional(EntryTest::volume_zero));
    }
    if (plain.input != tested.input && plain.input && tested.input) differ.push_back(EntryTest::another_input);
    if (plain.attached != tested.attached) differ.push_back(attached_test(plain, tested));
    if (plain.laptop.value_or(LaptopPower::battery) != tested.laptop.value_or(LaptopPower::battery))
        differ.push_back(tested.laptop.value_or(LaptopPower::battery) == LaptopPower::battery ? std::optional(EntryTest::laptop_on_battery) : std::nullopt);
    if (sorted(plain.loads) != sorted(tested.loads)) {
        const bool more = tested.loads.size() > plain.loads.size() &&
                          std::all_of(plain.loads.begin(), plain.loads.end(),
                                      [&](const std::string& load) { return std::find(tested.loads.begin(), tested.loads.end(), load) != tested.loads.end(); });
        differ.push_back(more ? std::optional(EntryTest::loads_on) : std::nullopt);
    }
    return differ.size() == 1 ? differ.front() : std::nullopt;
}

}  // namespace hushtrace
