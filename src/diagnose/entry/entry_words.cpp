#include "entry_words.hpp"

#include <fmt/format.h>

#include <cctype>
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

/// What people conclude from a test, and must not.
const char* trap_of(const EntryOutcome& outcome) {
    constexpr double helps_db = -6.0;
    const bool fell = outcome.heard ? *outcome.heard == "gone" || *outcome.heard == "quieter" : outcome.change < helps_db;
    switch (outcome.test) {
        case EntryTest::isolator:
            return fell ? " So the lead's shield carries it; neither by which way, nor that an isolator is the cure, is shown by that." : "";
        case EntryTest::dummy_floating:
        case EntryTest::termination_1k:
        case EntryTest::termination_10k:
        case EntryTest::unplugged_at_source: return fell ? " A pulled plug silences a ground loop too: it convicts nobody." : "";
        case EntryTest::shorted_at_amp: return " That judges only what lies behind the input.";
        case EntryTest::loads_on: return outcome.change < 2.0 ? " No rise excludes nothing." : "";
        default: return "";
    }
}

std::string spelled_small(std::string word) {
    word.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(word.front())));
    return word;
}

/// Noise that falls a little at volume zero comes from both sides of the volume control.
std::string shares_words(const EntryOutcome& outcome) {
    constexpr double least_db = 1.5, most_db = 20.0;
    if (outcome.at_most || !outcome.plain_db || -outcome.change < least_db + outcome.sd * 0.5 || -outcome.change > most_db) return "";
    const double after = std::pow(10.0, outcome.change / 10.0);
    return fmt::format(" So {:.0f} % of its power come from before the volume control ({:.0f} dB), {:.0f} % from behind it ({:.0f} dB).",
                       100.0 * (1.0 - after), *outcome.plain_db + 10.0 * std::log10(1.0 - after), 100.0 * after, *outcome.plain_db + outcome.change);
}

}  // namespace

bool has_an_entry(NoiseKind kind) { return kind != NoiseKind::hiss && kind != NoiseKind::clipping && kind != NoiseKind::phone_burst; }

std::string plain_name(const EntrySet& set) {
    std::string out(plain_name(set.first));
    if (set.second) out += " together with " + std::string(plain_name(*set.second));
    return out;
}

std::string name_of(const EntryOutcome& outcome) {
    std::string out(facts_of(outcome.test).name);
    for (std::size_t i = 0; i < outcome.also.size(); ++i)
        out += fmt::format("{}{}", i + 1 < outcome.also.size() ? ", " : " and ", facts_of(outcome.also[i]).name);
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
        out.text = fmt::format("With {} the ear heard it {}.{}", name_of(outcome), *outcome.heard, trap_of(outcome));
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
    const auto side = [&](const char* one, const char* other) {
        if (std::abs(outcome.change) < 2.0) return fmt::format("{} and {} carry it alike.", one, spelled_small(other));
        return fmt::format("{} carries it {:.0f} dB louder than {}.", outcome.change > 0.0 ? one : other, std::abs(outcome.change),
                           spelled_small(outcome.change > 0.0 ? other : one));
    };
    switch (outcome.test) {
        case EntryTest::left_against_right: out.text = side("Left", "Right"); break;
        case EntryTest::front_against_rear: out.text = side("Front", "Rear"); break;
        case EntryTest::level_wanders:
            out.text = outcome.change < 1.5
                           ? fmt::format("Its level holds still within the take ({:.1f} dB).", outcome.change)
                           : fmt::format("Its level strays by {:.1f} dB within the take, as a joint does that moves.", outcome.change);
            break;
        case EntryTest::supply_slope:
            out.unit = "dB/decade";
            out.text = fmt::format(
                "Over the supply's voltage it goes by {:+.0f} dB a decade; that tells capacitive pick-up from the rest, and no loop from magnetic "
                "pick-up.",
                outcome.change);
            break;
        default: out.text = fmt::format("With {} {}.", name_of(outcome), change_words(outcome)); break;
    }
    if (outcome.test == EntryTest::volume_zero && outcome.also.empty()) out.text += shares_words(outcome);
    if (outcome.also.empty()) out.text += trap_of(outcome);
    return out;
}

Remedy remedy_of(EntryWay way) {
    switch (way) {
        case EntryWay::ground_loop:
            return {
                "Remake the amplifier's ground: bare metal, a short cable of the supply's gauge, a ring terminal, sealed after; then read its drop "
                "under load, below 0.1 V.",
                "An isolator would hide a bad ground instead.", EntryTest::temporary_ground, "ground remade"};
        case EntryWay::pickup_loop:
        case EntryWay::pickup_lead:
            return {"Lay the signal lead away from the supply cable: the first 10 to 20 cm bring most; cross it at right angles.", "",
                    EntryTest::temporary_lead, "lead rerouted"};
        case EntryWay::pickup_capacitive:
            return {"Fit a signal lead with a whole, braided shield, joined at both plugs.",
                    "A shield that is open or thin lets the supply cable's voltage in.", EntryTest::temporary_lead, "lead renewed"};
        case EntryWay::source_supply:
            return {"Fit a filter into the source's supply lead, or feed the source straight from the battery, fused at the battery.",
                    "The source's own battery shows what a clean supply brings.", EntryTest::source_on_own_battery, "supply filter fitted"};
        case EntryWay::source_internal:
            return {"Use another input of the source, or have the source itself repaired or changed.",
                    "Another source in its place shows what that brings.", EntryTest::substitute_source, "source changed"};
        case EntryWay::source_shield_open:
            return {
                "Prove it, source off and its leads out: ohms from the jack's shell to the source's case, near 0 healthy, open burnt. Then have the "
                "link inside "
                "repaired, or fit a lasting one with a 1 A fuse from the lead's shell to the case, at the source.",
                "It burns open where a lead is plugged in live: amplifier off before plugs are moved.", EntryTest::source_shell_link,
                "shell link mended"};
        case EntryWay::contact:
            return {"Renew the lead's plugs, or the lead; clean the jacks.", "A joint that moves turns ground current into noise.",
                    EntryTest::temporary_lead, "lead renewed"};
        case EntryWay::antenna_lead:
            return {"Clean the antenna's base and its ground, or fit an isolator into the antenna lead.", "Pulling it shows what that brings.",
                    EntryTest::antenna_unplugged, "antenna mended"};
        case EntryWay::amplifier_internal:
            return {"Look behind the input: the amplifier's supply cable, its ground, and the amplifier itself.",
                    "At its input there is nothing to cure.", EntryTest::amp_on_own_battery, ""};
        case EntryWay::speaker_side:
            return {"Look at the speaker leads: their route beside supply cables, and crossovers near motors.",
                    "A test speaker straight at the amplifier is clean.", std::nullopt, ""};
        case EntryWay::measuring_setup:
            return {
                "Run the laptop on its battery, no network or phone cable, no USB lead to the source; leave the interface's own ground open where it "
                "may be, and take "
                "its output lead off the source; then capture again.",
                "What the set-up makes is no fault of the vehicle: it is put right first.", EntryTest::laptop_on_battery, "set-up changed"};
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
        case EntryTest::test_speaker_on_dummy: return {"hookup", "shorted_at_amp,test_speaker"};
        case EntryTest::ground_drop: return {"what", "ground_drop"};
        case EntryTest::shell_to_case: return {"what", "shell_to_case"};
        default: break;
    }
    for (const Hookup hookup :
         {Hookup::inputs_shorted, Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::dummy_floating, Hookup::termination_1k,
          Hookup::termination_10k, Hookup::shorted_at_source, Hookup::unplugged_at_source, Hookup::temporary_lead, Hookup::temporary_ground,
          Hookup::source_shell_link, Hookup::shell_link_at_amp, Hookup::isolator, Hookup::antenna_unplugged, Hookup::substitute_source,
          Hookup::source_isolated, Hookup::source_on_own_battery, Hookup::amp_on_own_battery, Hookup::test_speaker})
        if (test_of(hookup) == test) return {"hookup", std::string(to_word(hookup))};
    return {};
}

}  // namespace hushtrace
