#include "entry_words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "entry_conditions.hpp"

namespace hushtrace {
namespace {

std::string change_words(const EntryOutcome& outcome) {
    constexpr double same_db = 2.0;
    if (outcome.at_most) return fmt::format("it is not found any more: {:.0f} dB down at least", std::max(0.0, -outcome.change));
    if (std::abs(outcome.change) < same_db) return fmt::format("it stays as it is ({:+.1f} dB)", outcome.change);
    return fmt::format("it {} by {:.0f} dB", outcome.change < 0.0 ? "falls" : "rises", std::abs(outcome.change));
}

}  // namespace

bool has_an_entry(NoiseKind kind) { return kind != NoiseKind::hiss && kind != NoiseKind::clipping && kind != NoiseKind::phone_burst; }

std::string plain_name(const EntrySet& set) {
    std::string out(plain_name(set.first));
    if (set.second) out += " together with " + std::string(plain_name(*set.second));
    return out;
}

Evidence said(const EntryOutcome& outcome, const Job& job) {
    Evidence out;
    out.takes = outcome.takes;
    out.observations = outcome.observations;
    const EntryTestFacts& facts = facts_of(outcome.test);
    if (outcome.done) {
        out.value = outcome.change;
        out.unit = "dB";
        out.sd = outcome.sd;
        out.text = fmt::format("After \"{}\" {}.", *outcome.done, change_words(outcome));
        return out;
    }
    if (outcome.heard) {
        out.text = fmt::format("With {} the ear heard it {}.", facts.name, *outcome.heard);
        return out;
    }
    if (facts.read_by == ReadBy::meter) {
        const double value = job.observations.at(outcome.observations.front()).value.value_or(0.0);
        out.value = value;
        out.unit = outcome.test == EntryTest::ground_drop ? "V" : "ohm";
        out.text = outcome.test == EntryTest::ground_drop
                       ? fmt::format("The amplifier's ground drops {:.2g} V; below 0.1 V is good, above 0.2 V is a fault.", value)
                       : fmt::format("From the source's jack shell to its case a meter reads {:.2g} ohm; near 0 is healthy, open is burnt.", value);
        return out;
    }
    out.value = outcome.change;
    out.unit = "dB";
    out.sd = outcome.sd;
    out.text = outcome.test == EntryTest::left_against_right
                   ? (std::abs(outcome.change) < 2.0 ? "Left and right carry it alike."
                                                     : fmt::format("{} carries it {:.0f} dB louder than {}.", outcome.change > 0.0 ? "Left" : "Right",
                                                                   std::abs(outcome.change), outcome.change > 0.0 ? "right" : "left"))
                   : fmt::format("With {} {}.", facts.name, change_words(outcome));
    return out;
}

Remedy remedy_of(EntryWay way) {
    switch (way) {
        case EntryWay::ground_loop:
            return {"Remake the amplifier's ground: bare metal, a short cable of the supply's gauge, a ring terminal, sealed after; then read its drop "
                    "under load, below 0.1 V.",
                    "An isolator would hide a bad ground instead.", EntryTest::temporary_ground, "ground remade"};
        case EntryWay::pickup_loop:
        case EntryWay::pickup_lead:
            return {"Lay the signal lead away from the supply cable: the first 10 to 20 cm bring most; cross it at right angles.", "", EntryTest::temporary_lead,
                    "lead rerouted"};
        case EntryWay::pickup_capacitive:
            return {"Fit a signal lead with a whole, braided shield, joined at both plugs.", "A shield that is open or thin lets the supply cable's voltage in.",
                    EntryTest::temporary_lead, "lead renewed"};
        case EntryWay::source_supply:
            return {"Fit a filter into the source's supply lead, or feed the source straight from the battery, fused at the battery.",
                    "The source's own battery shows what a clean supply brings.", EntryTest::source_on_own_battery, "supply filter fitted"};
        case EntryWay::source_internal:
            return {"Use another input of the source, or have the source itself repaired or changed.", "Another source in its place shows what that brings.",
                    EntryTest::substitute_source, "source changed"};
        case EntryWay::source_shield_open:
            return {"Prove it, source off and its leads out: ohms from the jack's shell to the source's case, near 0 healthy, open burnt. Then have the link inside "
                    "repaired, or fit a lasting one with a 1 A fuse from the lead's shell to the case, at the source.",
                    "It burns open where a lead is plugged in live: amplifier off before plugs are moved.", EntryTest::source_shell_link, "shell link mended"};
        case EntryWay::contact:
            return {"Renew the lead's plugs, or the lead; clean the jacks.", "A joint that moves turns ground current into noise.", EntryTest::temporary_lead,
                    "lead renewed"};
        case EntryWay::antenna_lead:
            return {"Clean the antenna's base and its ground, or fit an isolator into the antenna lead.", "Pulling it shows what that brings.",
                    EntryTest::antenna_unplugged, "antenna mended"};
        case EntryWay::amplifier_internal:
            return {"Look behind the input: the amplifier's supply cable, its ground, and the amplifier itself.", "At its input there is nothing to cure.",
                    EntryTest::amp_on_own_battery, ""};
        case EntryWay::speaker_side:
            return {"Look at the speaker leads: their route beside supply cables, and crossovers near motors.", "A test speaker straight at the amplifier is clean.",
                    std::nullopt, ""};
        case EntryWay::measuring_setup:
            return {"Run the laptop on its battery, no network or phone cable, no USB lead to the source; leave the interface's own ground open where it may be, and take "
                    "its output lead off the source; then capture again.",
                    "The set-up makes this noise, not the vehicle.", EntryTest::laptop_on_battery, "set-up changed"};
    }
    return {};
}

TestCondition condition_of(EntryTest test) {
    switch (test) {
        case EntryTest::volume_zero: return {"volume", "0"};
        case EntryTest::source_paused: return {"source", "paused"};
        case EntryTest::source_off: return {"source", "off"};
        case EntryTest::another_input: return {"input", "another"};
        case EntryTest::laptop_on_battery: return {"laptop", "battery"};
        case EntryTest::tone_lead_off:
        case EntryTest::device_unplugged: return {"attached", "none"};
        case EntryTest::loads_on: return {"loads", "more"};
        case EntryTest::ground_drop: return {"what", "ground_drop"};
        case EntryTest::shell_to_case: return {"what", "shell_to_case"};
        default: break;
    }
    for (const Hookup hookup : {Hookup::inputs_shorted, Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::dummy_floating, Hookup::termination_1k,
                                Hookup::termination_10k, Hookup::shorted_at_source, Hookup::unplugged_at_source, Hookup::temporary_lead, Hookup::temporary_ground,
                                Hookup::source_shell_link, Hookup::shell_link_at_amp, Hookup::isolator, Hookup::antenna_unplugged, Hookup::substitute_source,
                                Hookup::source_isolated, Hookup::source_on_own_battery, Hookup::amp_on_own_battery, Hookup::test_speaker})
        if (test_of(hookup) == test) return {"hookup", std::string(to_word(hookup))};
    return {};
}

}  // namespace hushtrace
