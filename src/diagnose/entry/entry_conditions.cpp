#include "entry_conditions.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double kSameSpeed = 0.15;   // of the rpm: a test at another speed is none

using Tests = std::vector<EntryTest>;

/// What went from the attached devices; nothing where one came.
std::optional<Tests> attached_tests(const Conditions& plain, const Conditions& tested) {
    Tests found;
    for (const AttachedDevice& device : plain.attached) {
        const bool still = std::find(tested.attached.begin(), tested.attached.end(), device) != tested.attached.end();
        if (still) continue;
        const EntryTest test = device.device == "interface_output" ? EntryTest::tone_lead_off : EntryTest::device_unplugged;
        if (std::find(found.begin(), found.end(), test) == found.end()) found.push_back(test);
    }
    for (const AttachedDevice& device : tested.attached) {
        const bool known =
            std::any_of(plain.attached.begin(), plain.attached.end(), [&device](const AttachedDevice& one) { return one.device == device.device; });
        if (!known) return std::nullopt;
    }
    return found;
}

/// A test speaker and a dummy plug in the amplifier's input, together, are a test of their own.
Tests as_one(Tests tests) {
    const auto dummy = std::find(tests.begin(), tests.end(), EntryTest::shorted_at_amp),
               speaker = std::find(tests.begin(), tests.end(), EntryTest::test_speaker);
    if (dummy != tests.end() && speaker != tests.end()) {
        *dummy = EntryTest::test_speaker_on_dummy;
        tests.erase(speaker);
    }
    std::sort(tests.begin(), tests.end());
    return tests;
}

std::optional<Tests> hookup_tests(const Conditions& plain, const Conditions& tested) {
    std::vector<Hookup> more = hookups_of(tested);
    for (const Hookup one : hookups_of(plain)) {
        const auto same = std::find(more.begin(), more.end(), one);
        if (same == more.end()) return std::nullopt;
        more.erase(same);
    }
    Tests found;
    for (const Hookup one : more)
        if (const auto test = test_of(one)) found.push_back(*test);
    return as_one(std::move(found));
}

std::optional<Tests> source_tests(const Conditions& plain, const Conditions& tested) {
    const SourceState before = plain.source.value_or(SourceState::on), after = tested.source.value_or(SourceState::on);
    if (before == after) return Tests{};
    if (before != SourceState::on) return std::nullopt;
    return Tests{after == SourceState::off      ? EntryTest::source_off
                 : after == SourceState::paused ? EntryTest::source_paused
                                                : EntryTest::volume_zero};
}

/// More loads are a test of what follows the engine; of other noise they may be what makes it.
std::optional<Tests> load_tests(const Conditions& plain, const Conditions& tested, bool follows_engine) {
    const std::vector<std::string> before = sorted(plain.loads), after = sorted(tested.loads);
    if (before == after) return Tests{};
    if (!follows_engine || !std::includes(after.begin(), after.end(), before.begin(), before.end())) return std::nullopt;
    return Tests{EntryTest::loads_on};
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
    const auto some = hookup_tests(plain, tested);
    return some && some->size() == 1 ? std::optional(some->front()) : std::nullopt;
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

std::vector<EntryTest> tests_between(const Conditions& plain, const Conditions& tested, bool follows_engine) {
    if (plain.point != tested.point) return {};
    // the set-up's own floor needs no engine
    if (tested.has(Hookup::inputs_shorted) && !plain.has(Hookup::inputs_shorted)) return {EntryTest::inputs_shorted};
    if (plain.engine != tested.engine || (follows_engine && (!engine_turns(plain.engine) || !same_speed(plain, tested)))) return {};
    if (plain.amplifier && tested.amplifier && plain.amplifier != tested.amplifier) return {};
    Tests all;
    const auto add = [&all](const std::optional<Tests>& some) {
        if (some) all.insert(all.end(), some->begin(), some->end());
        return some.has_value();
    };
    if (!add(hookup_tests(plain, tested)) || !add(source_tests(plain, tested)) || !add(attached_tests(plain, tested)) ||
        !add(load_tests(plain, tested, follows_engine)))
        return {};
    if (plain.volume && tested.volume && plain.volume != tested.volume) {
        if (*tested.volume > *plain.volume) return {};
        if (std::find(all.begin(), all.end(), EntryTest::volume_zero) == all.end()) all.push_back(EntryTest::volume_zero);
    }
    if (plain.input && tested.input && plain.input != tested.input) all.push_back(EntryTest::another_input);
    const LaptopPower before = plain.laptop.value_or(LaptopPower::battery), after = tested.laptop.value_or(LaptopPower::battery);
    if (before != after && after != LaptopPower::battery) return {};
    if (before != after) all.push_back(EntryTest::laptop_on_battery);
    return as_one(std::move(all));
}

}  // namespace hushtrace
